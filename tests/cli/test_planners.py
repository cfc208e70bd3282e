"""simcheck planners: what is listed, as a table and as JSON, the broken ones too."""

from __future__ import annotations

import json
from typing import Any

import pytest

from simcheck.cli.main import main
from tests.planning.test_registry import HERE, register


@pytest.fixture
def outside(monkeypatch: pytest.MonkeyPatch) -> None:
    register(monkeypatch, ("elsewhere", f"{HERE}:somebody_elses"), ("broken", "nowhere:plan"))


def test_the_table(outside: None, capsys: Any) -> None:
    """A line each: name, package, function, what it says; a broken one with the reason."""
    assert main(["planners"]) == 0
    out, err = capsys.readouterr()
    lines = [" ".join(line.split()) for line in out.splitlines()]
    assert "name package function about" in lines
    assert any(x.startswith("ring simcheck") and "Plan the burns" in x for x in lines)
    assert "broken nowhere:plan CANNOT BE USED: it cannot" in " ".join(lines)
    assert "ModuleNotFoundError" in out
    assert err == ""
    assert max(map(len, out.splitlines())) <= 100


def test_the_document(outside: None, capsys: Any) -> None:
    """The same in JSON, with the keys that every document has."""
    assert main(["planners", "--json"]) == 0
    document = json.loads(capsys.readouterr().out)
    assert document["schema"] == "simcheck.planners/1"
    assert {"case", "simcheck", "inputs_sha256"} < document.keys()
    rows = {row["name"]: row for row in document["planners"]}
    assert list(rows) == ["ring", "broken", "elsewhere"]
    assert rows["elsewhere"] == {
        "name": "elsewhere",
        "package": "",
        "function": f"{HERE}:somebody_elses",
        "about": "A planner from outside that always has the same answer.",
        "usable": True,
        "problem": None,
    }
    assert rows["broken"]["usable"] is False
    assert "No module named 'nowhere'" in rows["broken"]["problem"]
