"""Whole commands on a whole case, as a person runs them."""

from __future__ import annotations

import json
import subprocess
import sys
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest

import simcheck
from simcheck.cli.main import main
from tests.helpers import assert_metres, assert_relative, assert_seconds

CASE = """
# An invented case: a fourth relay about Mars, from a tilted eccentric orbit to its slot.
[case]
title = "A fourth relay"
epoch = "2031-04-12T06:00:00"
[body]
name = "Mars"
forces = ["j2"]
[ring]
period = "12 h"
inclination = "35 deg"
raan = "60 deg"
slots = 4
argument_of_latitude = "10 deg"
[[ring.member]]
name = "R1"
slot = 0
[craft]
name = "R4"
slot = 3
dry_mass = "310 kg"
propellant = "110 kg"
[craft.orbit]
periapsis_altitude = "450 km"
apoapsis_altitude = "9800 km"
inclination = "28 deg"
raan = "40 deg"
argp = "75 deg"
true_anomaly = "200 deg"
[engine]
thrust = "400 N"
isp = "318 s"
[errors]
magnitude_proportional = "0.5 %"
pointing_proportional = "0.5 deg"
[tolerance]
phase = "0.5 deg"
period = "5 s"
eccentricity = 0.002
plane = "0.1 deg"
[limits]
duration = "15 d"
dv = "1500 m/s"
min_altitude = "200 km"
"""


@pytest.fixture(scope="module")
def case_path(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("case") / "relay.toml"
    path.write_text(CASE, encoding="utf-8")
    return path


def run(capsys: pytest.CaptureFixture[str], *arguments: str | Path) -> tuple[int, Any]:
    """Exit code and JSON document of a command."""
    code = main([*map(str, arguments), "--json"])
    return code, json.loads(capsys.readouterr().out)


@pytest.fixture(scope="module")
def checked(case_path: Path) -> Any:
    """The document of `simcheck check`, from a fresh process, with the modules it imported."""
    code = (
        "import sys; from simcheck.cli.main import main; code = main(sys.argv[1:]);"
        "print(*sys.modules, file=sys.stderr); sys.exit(code)"
    )
    command = [sys.executable, "-c", code, "check", str(case_path), "--json"]
    done = subprocess.run(command, capture_output=True, text=True, check=True)
    return json.loads(done.stdout), set(done.stderr.split())


def test_check_is_within_and_leaves_room(checked: Any) -> None:
    """The nominal flight of a plain case uses less than a tenth of each tolerance."""
    document, _ = checked
    assert document["verdict"] == "within"
    assert document["findings"] == []
    assert max(document["used"].values()) < 0.1  # the project's own bar
    assert document["numerical"]["engine_disagreement_m"] < 1.0  # the project's own bar


def test_check_imports_nothing_it_does_not_need(checked: Any) -> None:
    """The main job pays for neither statistics nor plots nor unit parsing."""
    _, modules = checked
    assert "numpy" in modules  # or the list is not what it should be
    assert not {"scipy.stats", "matplotlib", "astropy", "pydantic"} & modules


def test_arcs_follow_each_other(checked: Any) -> None:
    """Each arc starts where and when the one before ended; burns use what is said to be used."""
    document, _ = checked
    arcs = document["arcs"]
    for one, two in pairwise(arcs):
        assert_seconds(two["start_s"], one["end_s"], 0.0)
        assert_metres(two["start"]["position_m"], one["end"]["position_m"], 0.0)
        assert two["start"]["mass_kg"] == one["end"]["mass_kg"]
    used = arcs[0]["start"]["mass_kg"] - arcs[-1]["end"]["mass_kg"]
    assert_relative(document["propellant_used_kg"], used, 1e-9)  # sums of ten terms, rounding only
    burnt = sum(arc["dv_m_s"] for arc in arcs if arc["kind"] == "burn")
    assert_relative(document["dv_used_m_s"], burnt, 1e-9)


def test_a_plan_flown_from_its_file_is_the_plan_checked(
    case_path: Path, checked: Any, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """plan, then fly with the plan's file, gives what check gave, to the last digit.

    But for what losing burns would cost, which only check says.
    """
    document, _ = checked
    code, plan = run(capsys, "plan", case_path)
    assert code == 0
    assert {key: plan[key] for key in document["plan"]} == document["plan"]
    path = tmp_path / "plan.json"
    path.write_text(json.dumps(plan), encoding="utf-8")
    code, flown = run(capsys, "fly", case_path, path)
    assert code == 0
    assert document["setbacks"]
    both = {key: value for key, value in document.items() if key != "setbacks"}
    assert flown == both | {"schema": "simcheck.fly/1"}


def test_samples_are_repeatable_and_differ(
    case_path: Path, checked: Any, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The same seed and sample give the same flight, another sample another one."""
    path = tmp_path / "plan.json"
    path.write_text(json.dumps(checked[0]), encoding="utf-8")
    arguments = ("fly", case_path, path, "--seed", "4", "--sample")
    first, again, other = (run(capsys, *arguments, number) for number in ("1", "1", "2"))
    assert first == again
    assert first[1]["errors"] != other[1]["errors"]
    assert (first[1]["seed"], first[1]["sample"]) == (4, 1)
    for code, document in (first, other):
        assert code == (0 if document["verdict"] == "within" else 1)


@pytest.mark.parametrize(
    ("old", "new", "code"),
    [
        ('dv = "1500 m/s"', 'dv = "300 m/s"', 3),
        ('duration = "15 d"', 'duration = "2 h"', 3),
        ('isp = "318 s"', 'isp = "318"', 2),
        ('thrust = "400 N"', 'trust = "400 N"', 2),
    ],
)
def test_what_cannot_be_planned_or_read(
    old: str, new: str, code: int, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Limits that no plan keeps end with 3, a wrong file with 2, in either format."""
    path = tmp_path / "case.toml"
    path.write_text(CASE.replace(old, new), encoding="utf-8")
    assert main(["check", str(path)]) == code
    out, err = capsys.readouterr()
    assert out == ""
    assert err.startswith("simcheck: ")
    assert "Traceback" not in err
    ended, document = run(capsys, "check", path)
    assert ended == code
    assert document["error"]["exit_code"] == code
    if code == 3:
        assert document["error"]["limit"]


def test_python_says_the_same(case_path: Path, checked: Any) -> None:
    """The verbs of the package give the numbers of the command."""
    document, _ = checked
    case = simcheck.load_case(case_path)
    plan = simcheck.plan(case)
    flight = simcheck.fly(case, plan, reference=False)
    verdict = simcheck.judge(case, flight)
    assert verdict.verdict == document["verdict"]
    assert plan.total_dv_m_s == document["plan"]["total_dv_m_s"]
    assert flight.errors.phase_deg == document["errors"]["phase_deg"]
    assert flight.engine_disagreement_m is None
