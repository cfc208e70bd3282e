"""Messages as a person uses them: a plan written, flown again, brought from elsewhere, an orbit."""

from __future__ import annotations

import json
import re
from pathlib import Path
from typing import Any

import pytest

import simcheck
from simcheck.cli.main import main
from tests.cases_for_tests import toml

CASE = toml(
    {
        "case": {"epoch": "2031-04-12T06:00:00"},
        "body": {"forces": ["j2"]},
        "errors": {
            "thrust_bias": "1 %",
            "pointing_proportional": "0.5 deg",
            "initial_position": "100 m",
        },
        "limits": {"duration": "10 d"},
    }
)


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with a case, its plan as JSON, OPM and OCM, made by one command."""
    made = tmp_path_factory.mktemp("messages")
    (made / "case.toml").write_text(CASE, encoding="utf-8")
    case = simcheck.load_case(made / "case.toml")
    plan = simcheck.plan(case)
    simcheck.write_message(made / "plan.opm", case, plan)
    simcheck.write_message(made / "plan.ocm", case, plan)
    return made


def run(capsys: pytest.CaptureFixture[str], *arguments: str | Path) -> tuple[int, Any]:
    """Exit code and JSON document of a command."""
    code = main([*map(str, arguments), "--json"])
    return code, json.loads(capsys.readouterr().out)


def test_a_plan_is_flown_from_each_of_its_files(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """JSON, OPM and OCM of one plan give one verdict, and errors that agree as printed."""
    case = folder / "case.toml"
    code, document = run(capsys, "plan", case)
    assert code == 0
    (folder / "plan.json").write_text(json.dumps(document), encoding="utf-8")
    flights = [run(capsys, "fly", case, folder / f"plan.{kind}") for kind in ("json", "opm", "ocm")]
    first = flights[0][1]
    assert first["verdict"] == "within"
    for code, found in flights:
        assert code == 0
        assert found["verdict"] == first["verdict"]
        for name, unit in (("phase_deg", 1e-9), ("period_s", 1e-7), ("eccentricity", 1e-12)):
            assert found["errors"][name] == pytest.approx(first["errors"][name], rel=0, abs=unit)
        assert found["dv_used_m_s"] == pytest.approx(first["dv_used_m_s"], rel=1e-12)
        assert len(found["plan"]["commands"]) == len(first["plan"]["commands"])
    assert "of orbit comprehensive message" in flights[2][1]["plan"]["summary"]


def test_an_outside_plan_is_judged(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A plan from elsewhere that misses is outside, and says where it parts from the case."""
    text = (folder / "plan.opm").read_text(encoding="ascii")
    dv = re.search(r"MAN_DV_1 = (\S+)", text)
    assert dv is not None
    text = text.replace(dv[1], f"{float(dv[1]) + 0.05:.6f}", 1)
    text = re.sub(r"(?m)^MASS = .*$", "MASS = 500.0 [kg]", text)
    (folder / "wrong.opm").write_text(text, encoding="ascii")
    code = main(["fly", str(folder / "case.toml"), str(folder / "wrong.opm")])
    said = " ".join(capsys.readouterr().out.split())
    assert code == 1
    assert "OUTSIDE." in said
    assert said.count("WARNING its mass of 500 kg is not the 610 kg of the case") == 1
    code, found = run(capsys, "fly", folder / "case.toml", folder / "wrong.opm")
    mass, first = found["plan"]["warnings"]
    assert first.startswith("B1: it lasts")
    assert [said.count(mass), said.count(first), said.count("WARNING")] == [1, 1, 2]
    assert "in the message and" not in json.dumps(found["plan"]["burns"])


def test_a_flight_is_written(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """One command writes the plan as flown and the flight; another the burns as made."""
    pytest.importorskip("oem")
    case, plan = folder / "case.toml", folder / "plan.ocm"
    planned, flight = folder / "planned.ocm", folder / "flight.oem"
    code, document = run(capsys, "fly", case, plan, "--write", planned, "--write", flight)
    assert code == 0
    burns = len(document["plan"]["commands"])
    assert planned.read_text(encoding="ascii").count("MAN_BASIS = PLANNED") == burns
    assert flight.read_text(encoding="ascii").count("META_START") == len(document["arcs"])
    made = folder / "made.ocm"
    run(capsys, "fly", case, plan, "--sample", "3", "--write", made)
    assert made.read_text(encoding="ascii").count("MAN_BASIS = SIMULATED") == burns
    code, again = run(capsys, "fly", case, made)  # what was made, commanded: another plan
    assert code in {0, 1}
    assert all(" in the message and " in told for told in again["plan"]["warnings"])


def test_check_and_plan_write_too(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The other two commands take the option; what cannot be is told before any work."""
    case, target = str(folder / "case.toml"), folder / "check.ocm"
    assert main(["check", case, "--write", str(target)]) == 0
    assert "MAN_BASIS = PLANNED" in target.read_text(encoding="ascii")
    assert main(["plan", case, "--write", str(folder / "again.opm")]) == 0
    assert "Burns as planned; not flown" in (folder / "again.opm").read_text(encoding="ascii")
    capsys.readouterr()
    assert main(["plan", case, "--write", str(folder / "x.oem")]) == 2
    assert "an ephemeris needs a flight: simcheck fly" in capsys.readouterr().err
    assert main(["plan", case, "--write", str(target)]) == 2
    assert "check.ocm: is there already; remove it or name another" in capsys.readouterr().err
    assert main(["check", case, str(folder / "plan.opm"), "--write", str(folder / "y.opm")]) == 2
    assert "--write is for one plan" in capsys.readouterr().err
    assert not (folder / "y.opm").exists()


def test_a_case_without_epoch(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Without an epoch a case has no dates to write; the message says where to put one."""
    path = tmp_path / "case.toml"
    path.write_text(toml(), encoding="utf-8")
    assert main(["plan", str(path), "--write", str(tmp_path / "a.opm")]) == 2
    said = capsys.readouterr().err
    assert "a message has dates, and the case has no epoch; write epoch under [case]" in said
    assert list(tmp_path.iterdir()) == [path]


def test_two_plans_side_by_side(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A plan from a message is set beside the one made here."""
    assert main(["check", str(folder / "case.toml"), str(folder / "plan.ocm")]) == 0
    assert "plan.ocm" in capsys.readouterr().out
