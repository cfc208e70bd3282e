"""Cases that cannot be met and files that are wrong: the exit code, one message, nothing else.

Each infeasible case has one limit that binds; the message has to name it and say by how much.
"""

from __future__ import annotations

import json
import math
import subprocess
import sys
from pathlib import Path
from typing import Any, NamedTuple

import pytest

from simcheck.cli.main import main
from tests.cases_for_tests import Tables, toml

MEMBER = '[[ring.member]]\nname = "R1"\nslot = 1\n'


def low_ring(latitude: str, low: str, high: str) -> Tables:
    """A craft on a ring 400 km up, its slot a little off, with 1.5 revolutions to get there.

    A slot ahead can only be reached from inside, one behind only from outside.
    """
    angles = {"inclination": "35 deg", "raan": "60 deg"}
    return {
        "+ring": {"altitude": "400 km", "slots": 1, "argument_of_latitude": latitude} | angles,
        "+craft.orbit": {
            "periapsis_altitude": "400 km",
            "apoapsis_altitude": "400 km",
            "true_anomaly": "0 deg",
        }
        | angles,
        "tolerance": {"phase": "0.5 deg"},
        "limits": {"duration": "178 min", "min_altitude": low, "max_radius": high},
    }


class Infeasible(NamedTuple):
    """A case, the limit that binds, and bounds of the excess in SI (None: some number)."""

    tables: Tables
    limit: str
    excess: tuple[float, float] | None
    tail: str = ""


# The plan of the minimal case costs some 700 m/s, needs an hour to the first apsis and a transfer
# of five, and 110 kg.
INFEASIBLE = {
    "dv": Infeasible({"limits": {"dv": "300 m/s"}}, "dv", (300.0, 600.0)),
    "dv by a little": Infeasible({"limits": {"dv": "690 m/s"}}, "dv", (0.0, 60.0)),
    "propellant": Infeasible({"craft": {"propellant": "5 kg"}}, "propellant", (500.0, 800.0)),
    "no propellant": Infeasible({"craft": {"propellant": "0 kg"}}, "propellant", (600.0, 800.0)),
    "duration": Infeasible({"limits": {"duration": "30 min"}}, "duration", (60.0, 86400.0)),
    "altitude": Infeasible(
        low_ring("15 deg", "399.9 km", "3796.3 km"), "min_altitude", (50e3, 400e3)
    ),
    "radius": Infeasible(low_ring("-15 deg", "399.9 km", "3796.3 km"), "max_radius", (50e3, 400e3)),
    "separation": Infeasible(
        {
            "ring": {"slots": 4},
            "craft": {"slot": 0},
            "tolerance": {"phase": "0.5 deg"},
            "limits": {"separation": "20000 km", "duration": "3 d"},
        },
        "separation",
        None,
        MEMBER,
    ),
}


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A working directory that a command might litter."""
    monkeypatch.chdir(tmp_path)
    return tmp_path


def written(folder: Path, text: str) -> Path:
    path = folder / "case.toml"
    path.write_text(text, encoding="utf-8")
    return path


@pytest.mark.parametrize("name", INFEASIBLE)
def test_the_binding_limit_is_named(
    name: str, folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Exit 3, the limit and by how much in the message and the document, and nothing written."""
    infeasible = INFEASIBLE[name]
    path = written(folder, toml(infeasible.tables) + infeasible.tail)
    assert main(["check", str(path), "--json"]) == 3
    out, err = capsys.readouterr()
    error = json.loads(out)["error"]  # one document: anything behind it would be an error here
    assert error["exit_code"] == 3
    assert error["limit"] == infeasible.limit
    assert infeasible.limit in error["message"]
    assert err == f"simcheck: {error['message']}\n"
    assert "Traceback" not in err
    assert [p.name for p in folder.iterdir()] == ["case.toml"]
    assert_amount(error, infeasible.excess)


def assert_amount(error: dict[str, Any], bounds: tuple[float, float] | None) -> None:
    """By how much: a number, in the words too."""
    excess = error["excess"]
    assert isinstance(excess, float)
    assert math.isfinite(excess)
    assert excess > 0
    if bounds is not None:
        assert bounds[0] < excess < bounds[1]
    shown = [excess / unit for unit in (1.0, 60.0, 1e3, 3600.0, 86400.0)]
    texts = [f"{value:.{digits}f}" for value in shown for digits in (1, 2, 0)]
    message = error["message"].replace(",", "")
    assert any(f" {text} " in f"{message} " for text in texts), message


@pytest.mark.parametrize("command", ["check", "plan", "fly"])
def test_every_command_refuses_alike(
    command: str, folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """check, plan and fly end with 3 in either format; without --json stdout is empty."""
    path = written(folder, toml({"limits": {"dv": "300 m/s"}}))
    assert main([command, str(path)]) == 3
    out, err = capsys.readouterr()
    assert out == ""
    assert err.startswith("simcheck: no plan")
    assert err.count("\n") == 1


def test_lifting_the_limit_as_told_gives_a_plan(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The excess is not just any number: with that much more Δv there is a plan."""
    path = written(folder, toml({"limits": {"dv": "300 m/s"}}))
    assert main(["plan", str(path), "--json"]) == 3
    excess = json.loads(capsys.readouterr().out)["error"]["excess"]
    # 2 % for the finite burns that the two-body excess does not know.
    path = written(folder, toml({"limits": {"dv": f"{1.02 * (300 + excess)} m/s"}}))
    assert main(["plan", str(path), "--json"]) == 0
    plan = json.loads(capsys.readouterr().out)
    assert plan["total_dv_m_s"] > 0.98 * (300 + excess)


@pytest.mark.slow
@pytest.mark.parametrize(
    ("name", "changes"),
    [
        ("thrust far too small", {"engine": {"thrust": "1e-6 N"}}),
        ("shortest burn too long", {"engine": {"min_burn": "50 min"}}),
    ],
)
def test_engines_that_cannot_do_it(
    name: str, changes: Tables, folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """An engine of no use is a plan that does not exist, in one sentence."""
    path = written(folder, toml(changes))
    assert main(["plan", str(path), "--json"]) == 3
    out, err = capsys.readouterr()
    assert json.loads(out)["error"]["exit_code"] == 3
    assert err.count("\n") == 1


WRONG: dict[str, Tables] = {
    "a unit is missing": {"engine": {"thrust": 400.0}},
    "a unit of another kind": {"ring": {"period": "12 km"}},
    "an unknown key": {"engine": {"thrusst": "400 N"}},
    "an unknown table": {"engines": {"thrust": "400 N"}},
    "an unknown body": {"body": {"name": "Vulcan"}},
    "a slot that the ring has not": {"craft": {"slot": 7}},
    "an orbit through the ground": {"craft.orbit": {"periapsis_altitude": "-10 km"}},
    "not a number": {"tolerance": {"eccentricity": float("nan")}},
    "infinite": {"limits": {"duration": "inf d"}},
}


@pytest.mark.parametrize("name", WRONG)
def test_a_wrong_file_ends_with_2(
    name: str, folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Wrong input is 2, with the file named, whatever the format; nothing is planned or written."""
    path = written(folder, toml(WRONG[name]))
    assert main(["check", str(path), "--json"]) == 2
    out, err = capsys.readouterr()
    document = json.loads(out)
    assert document["error"]["exit_code"] == 2
    assert str(path) in err
    assert "Traceback" not in err
    assert [p.name for p in folder.iterdir()] == ["case.toml"]


@pytest.mark.parametrize("name", ["nowhere.toml", "."])
def test_no_file_at_all(name: str, folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A file that is not there, or a directory, is wrong input."""
    assert main(["plan", name]) == 2
    assert capsys.readouterr().out == ""


@pytest.mark.parametrize(("limit", "code"), [("15 d", 0), ("30 min", 3)])
def test_json_is_one_document_of_a_process(limit: str, code: int, folder: Path) -> None:
    """Run as a person does, stdout holds one JSON document, planned or refused."""
    path = written(folder, toml({"limits": {"duration": limit}}))
    command = [sys.executable, "-m", "simcheck.cli.main", "check", str(path), "--json"]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    assert done.returncode == code
    document = json.loads(done.stdout)
    assert document["schema"].startswith("simcheck.check" if code == 0 else "simcheck.error")
    assert ("error" in document) == (code == 3)
    assert [p.name for p in folder.iterdir()] == ["case.toml"]
