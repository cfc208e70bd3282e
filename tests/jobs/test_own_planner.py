"""Somebody else's planner, installed beside simcheck: run by its name, and caught when it fails."""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
import tomllib
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

import simcheck
from simcheck.cli.main import main
from simcheck.errors import InputError, PlannerError
from simcheck.planning.planner import plan_ring
from simcheck.records.case import Case, Operations
from simcheck.records.plan import Plan
from simcheck.records.wish import Wish
from simcheck.testing import as_toml
from tests.cases_for_tests import toml
from tests.flying.loops import REALISTIC, near_slot, relay, relay_plan
from tests.planning.test_registry import register

ROOT = Path(__file__).parents[2]
SOURCE = ROOT / "tests" / "planners" / "two_burns"
CIRCULAR = {
    "+craft.orbit": {
        "periapsis_altitude": "2000 km",
        "apoapsis_altitude": "2000 km",
        "inclination": "28 deg",
        "raan": "50 deg",
        "true_anomaly": "200 deg",
    }
}


@pytest.fixture(scope="module")
def installed(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The example's package as pip would install it, by hand: there may be no network."""
    target = tmp_path_factory.mktemp("site")
    project = tomllib.loads((SOURCE / "pyproject.toml").read_text())["project"]
    shutil.copy(SOURCE / "two_burns.py", target)
    info = target / f"{project['name'].replace('-', '_')}-{project['version']}.dist-info"
    info.mkdir()
    (info / "METADATA").write_text(
        f"Metadata-Version: 2.1\nName: {project['name']}\nVersion: {project['version']}\n"
    )
    points = [
        f"[{group}]\n" + "".join(f"{name} = {value}\n" for name, value in points.items())
        for group, points in project["entry-points"].items()
    ]
    (info / "entry_points.txt").write_text("\n".join(points))
    return target


def run(installed: Path, *arguments: str | Path) -> subprocess.CompletedProcess[str]:
    """simcheck in a process of its own, the package on its path."""
    return subprocess.run(
        [sys.executable, "-m", "simcheck.cli.main", *map(str, arguments)],
        capture_output=True,
        text=True,
        check=False,
        env={**os.environ, "PYTHONPATH": os.pathsep.join([str(ROOT), str(installed)])},
    )


def test_it_is_listed(installed: Path) -> None:
    """With its package, its version and the first line of its docstring."""
    document = json.loads(run(installed, "planners", "--json").stdout)
    assert document["planners"][1] == {
        "name": "two-burns",
        "package": "two-burns 0.1",
        "function": "two_burns:plan",
        "about": "Hohmann's two burns at the nodes, the plane turned with the second; any phase on "
        "arrival.",
        "usable": True,
        "problem": None,
    }


def test_it_plans_a_case(installed: Path, tmp_path: Path) -> None:
    """check with its name: its plan is flown, judged and within, and said to be its own."""
    path = tmp_path / "round.toml"
    path.write_text(toml({"body": {"forces": ["j2"]}, **CIRCULAR}))
    done = run(installed, "check", path, "--planner", "two-burns", "--json")
    assert done.stderr == ""
    assert done.returncode == 0
    document = json.loads(done.stdout)
    assert document["plan"]["planner"] == "two-burns"
    assert document["verdict"] == "within"
    assert len(document["plan"]["commands"]) == 2
    refused = [row["how"] for row in document["setbacks"] if not row["recovered"]]
    assert "two-burns: expected a circular start and no phase to meet" in refused


def test_it_refuses_what_it_is_not_made_for(installed: Path, tmp_path: Path) -> None:
    """Its own InputError is the command's message and exit code."""
    path = tmp_path / "phase.toml"
    path.write_text(toml({"tolerance": {"phase": "0.5 deg"}, **CIRCULAR}))
    done = run(installed, "plan", path, "--planner", "two-burns")
    assert (done.returncode, done.stdout) == (2, "")
    assert "two-burns: expected a circular start and no phase to meet" in done.stderr


def crash(case: Case, wish: Wish) -> Plan:
    """A planner that fails whatever it is asked."""
    return 1 / 0  # type: ignore[return-value]


def _first(case: Case, wish: Wish) -> Plan | None:
    """The plan of the relay in tests, asked for before any flight."""
    return relay_plan() if wish.flying is None else None


def rash(case: Case, wish: Wish) -> Plan:
    """Good before the flight; once under way it commands a burn a minute before the estimate."""
    plan = _first(case, wish) or plan_ring(case, wish)
    if wish.flying is None or not plan.commands:
        return plan
    first = replace(plan.commands[0], ignition_s=-60.0)
    return replace(plan, commands=(first, *plan.commands[1:]))


def dazed(case: Case, wish: Wish) -> Plan:
    """Good before the flight; once under way its numbers are none."""
    plan = _first(case, wish)
    return plan or replace(relay_plan(), commanded_dv_m_s=float("nan"))


@pytest.fixture
def relay_path(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A relay with errors and a flight team, and three planners that somebody registered."""
    here = __name__
    register(monkeypatch, *((name, f"{here}:{name}") for name in ("crash", "rash", "dazed")))
    path = tmp_path / "relay.toml"
    path.write_text(as_toml(relay(REALISTIC)), encoding="utf-8")
    return path


@pytest.mark.parametrize("extra", [[], ["--json"]], ids=["table", "json"])
@pytest.mark.parametrize("command", ["check", "plan", "fly", "disperse"])
def test_its_crash_is_its_own(
    command: str, extra: list[str], relay_path: Path, capsys: Any
) -> None:
    """Exit code 76 whatever the format, and a message that says who, what, where and how again."""
    assert main([command, str(relay_path), "--planner", "crash", *extra]) == 76
    out, err = capsys.readouterr()
    assert f"simcheck: the planner crash ({__name__}:crash) is at fault" in err
    assert "it raised ZeroDivisionError at test_own_planner.py:" in err
    assert err.endswith(f"to reproduce: simcheck plan {relay_path} --planner crash\n")
    if extra:
        document = json.loads(out)
        assert document["error"]["exit_code"] == 76
        assert "the planner crash" in document["error"]["message"]


def test_its_traceback_can_be_seen(relay_path: Path, monkeypatch: Any, capsys: Any) -> None:
    """As that of a bug of simcheck."""
    monkeypatch.setenv("SIMCHECK_TRACEBACK", "1")
    assert main(["plan", str(relay_path), "--planner", "crash"]) == 76
    assert "return 1 / 0" in capsys.readouterr().err


def test_trim_asks_it_too(relay_path: Path, tmp_path: Path, capsys: Any) -> None:
    """A state 2 deg behind its slot, and a planner that answers with a burn in the past."""
    y = near_slot(2.0)
    state = tmp_path / "state.json"
    state.write_text(
        json.dumps({"time_s": 0.0, "position_m": y[:3].tolist(), "velocity_m_s": y[3:6].tolist()})
    )
    arguments = ["trim", str(relay_path), "--from", str(state), "--planner"]
    assert main([*arguments, "rash"]) == 76
    assert "T1: ignition_s: expected a time after the estimate, 0 s, got -60" in (
        capsys.readouterr().err
    )
    assert main([*arguments, "nobody"]) == 2


@pytest.mark.parametrize(
    ("name", "fault"),
    [
        ("rash", "ignition_s: expected a time after the estimate, 0 s, got -60"),
        ("dazed", "plan: commanded_dv_m_s: expected a finite number, got nan"),
    ],
)
def test_flights_that_it_fails_count_as_failed(
    name: str, fault: str, relay_path: Path, tmp_path: Path, capsys: Any
) -> None:
    """They keep their number and seed, and `fly --sample` shows what was wrong."""
    made = simcheck.load_case(relay_path)
    found = simcheck.disperse(made, relay_plan(), samples=3, seed=5, planner=name)
    assert (found.samples, found.within.count, found.failures) == (3, 0, (0, 1, 2))
    arguments = ["fly", str(relay_path), "--planner", name, "--seed", "5", "--sample", "2"]
    assert main(arguments) == 76
    err = capsys.readouterr().err
    assert fault in err
    assert "to reproduce: the same command" in err
    with pytest.raises(PlannerError) as raised:
        simcheck.fly(made, relay_plan(), seed=5, sample=2, planner=name)
    again = raised.value
    planner: dict[str, Callable[[Case, Wish], Plan]] = {"rash": rash, "dazed": dazed}
    plan = planner[name](again.case, again.wish)
    assert plan.commands[0].ignition_s == -60.0 or np.isnan(plan.commanded_dv_m_s)


def test_a_recovery_that_it_fails_is_a_row_of_the_table(relay_path: Path) -> None:
    """The nominal flight is judged all the same; the table says whose fault it is."""
    made = simcheck.load_case(relay_path)
    rows = simcheck.setbacks(made, relay_plan(), "dazed")
    assert {row.recovered for row in rows} == {False}
    assert all(row.how.startswith("the planner dazed (") for row in rows)
    assert all("commanded_dv_m_s: expected a finite number, got nan" in row.how for row in rows)
    assert simcheck.setbacks(made, relay_plan(), "dazed", workers=2)[0].how == rows[0].how


def test_an_unknown_planner_is_told_before_anything_is_flown(relay_path: Path) -> None:
    """Not as a thousand failed flights."""
    made = replace(simcheck.load_case(relay_path), operations=Operations())
    with pytest.raises(InputError, match="expected one of crash, dazed, rash, ring"):
        simcheck.disperse(made, relay_plan(), samples=2, planner="nobody")
