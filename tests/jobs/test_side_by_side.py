"""check --deep and check with two plans, as a person runs them."""

from __future__ import annotations

import json
import shutil
from pathlib import Path
from typing import Any

import pytest

import simcheck
from simcheck.cli.main import main
from simcheck.files.records_json import read_record, write_record
from simcheck.records.comparison import Comparison
from simcheck.records.deep import DeepCheck

CASES = Path(__file__).parents[2] / "cases"
TRANSFER, MOVE = str(CASES / "handbook_transfer.toml"), str(CASES / "geostationary_move.toml")


@pytest.fixture(scope="module")
def plan_path(tmp_path_factory: pytest.TempPathFactory) -> str:
    """A plan of the handbook's case that burns a little too long, as a file."""
    case = simcheck.load_case(TRANSFER)
    plan = simcheck.plan(case)
    document: dict[str, Any] = {"schema": "simcheck.plan/1"} | write_record(plan)
    document["commands"][-1]["duration_s"] *= 1.01
    path = tmp_path_factory.mktemp("plan") / "plan.json"
    path.write_text(json.dumps(document), encoding="utf-8")
    return str(path)


def run(capsys: pytest.CaptureFixture[str], *arguments: str) -> tuple[int, Any]:
    """Exit code and JSON document of a command."""
    code = main([*arguments, "--json"])
    return code, json.loads(capsys.readouterr().out)


def test_a_deep_check_adds_error_bars(capsys: pytest.CaptureFixture[str]) -> None:
    """With --deep the document is that of a check, and `deep` beside it reads back."""
    code, document = run(capsys, "check", TRANSFER, "--deep")
    assert code == 0
    assert document["schema"] == "simcheck.check/1"
    found = read_record(DeepCheck, document["deep"], "out")
    assert found.firm
    assert len(found.variations) == 8
    for bar in found.errors:
        assert bar.value == document["errors"][f"{bar.name}_{bar.unit}".rstrip("_")]
        if bar.room is not None:
            assert bar.bar < 1e-6 * bar.room  # 1e-7 of the period's tolerance, which is the nearest


def test_a_flown_plan_is_double_checked_too(
    plan_path: str, capsys: pytest.CaptureFixture[str]
) -> None:
    """fly --deep says how firm "outside" is; the code is the verdict's."""
    assert main(["fly", TRANSFER, plan_path, "--deep"]) == 1
    out, err = capsys.readouterr()
    assert "Double check: numerical error bars" in out
    assert "FIRM. No other means changes the verdict; the" in " ".join(out.split())
    assert "farthest beyond its edge" in " ".join(out.split())
    assert max(map(len, out.splitlines())) <= 100
    assert err == ""


def test_two_plans_of_a_case(plan_path: str, capsys: pytest.CaptureFixture[str]) -> None:
    """The plan made here against one from a file, whose verdict decides the code."""
    code, document = run(capsys, "check", TRANSFER, plan_path)
    assert code == 1
    assert document["schema"] == "simcheck.compare/1"
    a, b = document["a"], document["b"]
    assert (a["source"], b["source"]) == ("planned here", plan_path)
    assert (a["verdict"]["verdict"], b["verdict"]["verdict"]) == ("within", "outside")
    assert document["inputs_sha256"] == a["inputs_sha256"] == b["inputs_sha256"]
    assert all(pair["turned_deg"] == 0.0 for pair in document["burns"])
    figures = {one["name"]: one for one in document["figures"]}
    assert figures["propellant_used_kg"]["better"] == "A"
    assert figures["period_s"]["better"] == "A"
    names = ("a", "b", "summary", "burns", "figures")
    for name in ("a", "b"):
        document[name] = {key: a[key] for key in ("title", "plan", "flight", "verdict")}
    again = read_record(Comparison, {key: document[key] for key in names}, "out")
    assert again.summary == document["summary"]


def test_a_plan_twice_and_two_files(plan_path: str, capsys: pytest.CaptureFixture[str]) -> None:
    """Two files of one case: nothing is planned, and equal plans are alike."""
    assert main(["check", TRANSFER, plan_path, plan_path]) == 1
    out = capsys.readouterr().out
    assert "B costs the same and arrives with it; both are outside." in " ".join(out.split())
    assert "planned here" not in out


def test_two_cases(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A file that ends in .toml is a case of its own, planned by the same options."""
    other = tmp_path / "other.toml"
    shutil.copy(TRANSFER, other)
    text = other.read_text(encoding="utf-8")
    assert 'dry_mass = "' in text
    other.write_text(text.replace("title = ", 'title = "Another" # '), encoding="utf-8")
    code, document = run(capsys, "check", TRANSFER, str(other))
    assert code == 0
    assert document["b"]["title"] == document["b"]["case"]["title"] == "Another"
    assert document["b"]["inputs_sha256"] != document["inputs_sha256"]
    assert {one["better"] for one in document["figures"]} <= {"alike", None}


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        ((MOVE, "a.json", "--deep"), "leave it out, or OTHER"),
        ((MOVE, "nowhere.json"), "nowhere.json: cannot be read"),
        ((MOVE, "nowhere.toml"), "nowhere.toml"),
    ],
)
def test_what_cannot_be_compared(
    arguments: tuple[str, ...], words: str, capsys: pytest.CaptureFixture[str]
) -> None:
    """Wrong input ends with 2 in either format and names what is wrong."""
    assert main(["check", *arguments]) == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert words in err
    code, document = run(capsys, "check", *arguments)
    assert code == document["error"]["exit_code"] == 2
    capsys.readouterr()


def test_a_sample_is_not_double_checked(capsys: pytest.CaptureFixture[str]) -> None:
    """--deep is for the perfect flight."""
    assert main(["fly", TRANSFER, "--deep", "--sample", "1"]) == 2
    assert "leave out --sample" in capsys.readouterr().err


def test_python_says_the_same(plan_path: str) -> None:
    """The verbs of the package give the records that the command prints."""
    case = simcheck.load_case(TRANSFER)
    plan = simcheck.plan(case)
    found = simcheck.compare(case, plan, simcheck.read_plan(plan_path, case))
    assert found.b.verdict.verdict == "outside"
    flight = simcheck.fly(case, plan, reference=False)
    assert simcheck.doublecheck(case, plan, flight).firm
