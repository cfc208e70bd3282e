"""simcheck trim as a person runs it: a case, a tracked state, and the advice in either format."""

from __future__ import annotations

import json
import re
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from rich.cells import cell_len

import simcheck
from simcheck.api import resolved_ring
from simcheck.cli.main import main
from simcheck.files.documents import plan_document
from tests.flying.loops import near_slot
from tests.helpers import assert_degrees, assert_relative

CASE = """
# An invented case: a relay about Mars, on its way to slot 3 of a ring of four.
[case]
title = "A relay near its slot"
epoch = "2031-04-12T06:00:00"
[body]
name = "A body like Mars"
gm = "42828.37 km3/s2"
radius = "3396.19 km"
j2 = 1.9566e-3
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
propellant = "130 kg"
[craft.orbit]
periapsis_radius = "11500 km"
apoapsis_altitude = "8900 km"
inclination = "33 deg"
raan = "61 deg"
argp = "20 deg"
true_anomaly = "100 deg"
[engine]
thrust = "400 N"
isp = "318 s"
[tolerance]
phase = "0.5 deg"
period = "5 s"
eccentricity = 0.002
plane = "0.1 deg"
[limits]
duration = "25 d"
"""
NOW = 172_800.0
TRIM = {"schema", "case", "simcheck", "inputs_sha256", "constants", "estimate", "errors", "sigma"}
TRIM |= {"within", "drift_deg_day", "holds_days", "plan", "left", "why", "tolerance"}


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("trim")
    (path / "relay.toml").write_text(CASE, encoding="utf-8")
    return path


def state(folder: Path, behind_deg: float = 5.2, **fields: Any) -> Path:
    """A state file of a craft that far behind its slot, two days after the epoch."""
    y = near_slot(behind_deg, time=NOW)
    made = {"time_s": NOW, "position_m": y[:3].tolist(), "velocity_m_s": y[3:6].tolist(), **fields}
    path = folder / "state.json"
    path.write_text(json.dumps(made), encoding="utf-8")
    return path


def run(capsys: Any, folder: Path, path: Path, *options: str) -> tuple[int, str, str]:
    code = main(["trim", str(folder / "relay.toml"), "--from", str(path), *options])
    out, err = capsys.readouterr()
    return code, out, err


def test_the_document(folder: Path, capsys: Any) -> None:
    """With --json: errors now, their sigmas, the burns and what they leave, in one document."""
    cov = np.diag([50.0**2] * 3 + [5e-3**2] * 3).tolist()
    code, out, err = run(capsys, folder, state(folder, covariance=cov, mass_kg=400.0), "--json")
    document = json.loads(out)
    assert (code, err) == (0, "")
    assert document["schema"] == "simcheck.trim/1"
    assert document["simcheck"] == simcheck.__version__
    assert document.keys() >= TRIM
    assert_degrees(document["errors"]["phase_deg"], -5.2, 1e-3)
    assert document["tolerance"]["phase_deg"] == 0.5
    assert document["within"] == {
        "phase": False,
        "period": True,
        "eccentricity": True,
        "plane": True,
    }
    assert document["holds_days"] == 0.0
    assert document["estimate"]["mass_kg"] == 400.0
    assert np.shape(document["estimate"]["covariance"]) == (6, 6)
    assert document["sigma"]["phase_deg"] > 0.0
    assert abs(document["left"]["phase_deg"]) < 0.25
    plan = document["plan"]
    assert [burn["label"] for burn in plan["burns"]] == ["T1", "T2"]
    assert all(burn["time_s"] > NOW for burn in plan["burns"])
    assert all(order["ignition_s"] >= NOW for order in plan["commands"])
    assert {"trims within 1 rev", "trims within 10 rev"} <= {
        row["summary"] for row in plan["alternatives"]
    } | {plan["summary"]}


def test_python_says_the_same(folder: Path, capsys: Any) -> None:
    """simcheck.read_state and simcheck.trim give the numbers of the command."""
    path = state(folder, mass_kg=400.0)
    document = json.loads(run(capsys, folder, path, "--json")[1])
    case = simcheck.load_case(folder / "relay.toml")
    got = simcheck.trim(case, simcheck.read_state(path, case))
    assert got.errors.phase_deg == document["errors"]["phase_deg"]
    assert got.plan is not None
    assert got.plan.total_dv_m_s == document["plan"]["total_dv_m_s"]
    assert got.why == document["why"]


def test_the_text(folder: Path, capsys: Any) -> None:
    """As text: where the craft stands, the burns, and the trade, a revolution against ten."""
    code, out, err = run(capsys, folder, state(folder))
    assert (code, err) == (0, "")
    assert max(map(cell_len, out.split("\n"))) <= 100
    assert all(line.isprintable() for line in out.split("\n"))
    for words in (
        "R4, to slot 3",
        "2 d 00:00:00.0 after the epoch",
        "2031-04-14 06:00:00.0 TDB",
        "440.00 kg (the state has none",
        "R4 is 5.20 deg behind slot 3",
        "Outside tolerance: phase.",
        "T1: trim",
        "T2: trim",
        "this plan: trims within",
        "not a flight clearance",
    ):
        assert words in out
    rows = {
        float(wait): float(dv)
        for dv, wait in re.findall(r"(\d+\.\d+) +\d  .*trims within (\S+) rev", out)
    }
    assert_relative(rows[1.0], 10 * rows[10.0], 0.02)


def test_nothing_to_do(folder: Path, capsys: Any) -> None:
    """A craft in its slot is told so, in both formats; there is no plan then."""
    path = state(folder, 0.1)
    code, out, _ = run(capsys, folder, path)
    assert code == 0
    assert "nothing to do" in out
    assert "None is needed." in out
    code, out, _ = run(capsys, folder, path, "--json")
    assert code == 0
    document = json.loads(out)
    assert document["plan"] is None
    assert document["left"] is None


def test_preferences_reach_the_planner(folder: Path, capsys: Any) -> None:
    """--prefer time arrives sooner than --prefer dv, which pays less."""
    path = state(folder)
    soon, cheap = (
        json.loads(run(capsys, folder, path, "--json", "--prefer", x)[1])["plan"]
        for x in ("time", "dv")
    )
    assert soon["arrival_time_s"] < cheap["arrival_time_s"]
    assert soon["commanded_dv_m_s"] > cheap["commanded_dv_m_s"]


@pytest.mark.parametrize(
    ("fields", "options", "code", "words"),
    [
        ({"mass_kg": 300.0}, [], 2, "dry mass"),
        ({"velocity_m_s": [0.0, 0.0, 1e5]}, [], 2, "velocity"),
        ({"time_s": -1.0}, [], 2, "time"),
        ({"covariance": [[1.0]]}, [], 2, "six rows"),
        ({}, ["--planner", "nonsense"], 2, "nonsense"),
        ({"mass_kg": 310.0}, [], 3, "tank|propellant"),
        ({"time_s": 24.9 * 86400.0}, [], 3, "time"),
    ],
    ids=["mass", "open", "early", "covariance", "planner", "dry", "late"],
)
def test_what_is_wrong_ends_the_same_in_both_formats(
    fields: dict[str, Any], options: list[str], code: int, words: str, folder: Path, capsys: Any
) -> None:
    """Wrong input is 2, nothing that can be done 3, with one message, as text and as JSON."""
    path = state(folder, **fields)
    ended, out, err = run(capsys, folder, path, *options)
    assert ended == code
    assert out == ""
    assert err.startswith("simcheck: ")
    assert re.search(words, err)
    assert "a bug of simcheck" not in err
    ended, out, again = run(capsys, folder, path, "--json", *options)
    assert ended == code
    assert again == err
    document = json.loads(out)
    assert document["schema"] == "simcheck.error/1"
    assert document["command"] == "trim"
    assert document["error"]["exit_code"] == code
    assert re.search(words, document["error"]["message"])


@pytest.mark.parametrize("missing", ["relay.toml", "state.json"])
def test_missing_files_are_wrong_input(missing: str, folder: Path, capsys: Any) -> None:
    """A case or state that is not there is named in the message."""
    case, path = folder / "relay.toml", state(folder)
    gone = case.with_name("gone")
    arguments = [str(gone), str(path)] if missing == "relay.toml" else [str(case), str(gone)]
    assert main(["trim", arguments[0], "--from", arguments[1]]) == 2
    assert "gone" in capsys.readouterr().err


def test_a_state_is_asked_for(capsys: Any) -> None:
    """Without --from the usage is told."""
    assert main(["trim", "relay.toml"]) == 2
    assert "--from" in capsys.readouterr().err


def test_the_burn_just_made(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A burn flown with errors is found from a state after it, told, and written as DETERMINED."""
    errors = """
[errors]
thrust_bias = "2 %"
pointing_proportional = "0.5 deg"
navigation_position = "20 m"
navigation_velocity = "5 mm/s"
"""
    path = folder / "flown.toml"
    path.write_text(CASE + errors, encoding="utf-8")
    case = simcheck.load_case(path)
    plan = simcheck.plan(case)
    (folder / "plan.json").write_text(
        json.dumps(plan_document(case, plan, resolved_ring(case))), encoding="utf-8"
    )
    flight = simcheck.fly(case, plan, seed=1, sample=3, reference=False)
    first = next(k for k, arc in enumerate(flight.arcs) if arc.kind == "burn")
    arc, after = flight.arcs[first], flight.arcs[first + 1]
    seen = {
        "time_s": after.end_s,
        "position_m": after.end.position_m.tolist(),
        "velocity_m_s": after.end.velocity_m_s.tolist(),
    }
    (folder / "seen.json").write_text(json.dumps(seen), encoding="utf-8")
    words = ["trim", str(path), "--from", str(folder / "seen.json")]
    words += ["--done", str(folder / "plan.json")]
    target = folder / "advice.ocm"
    assert main([*words, "--write", str(target), "--json"]) == 0
    document = json.loads(capsys.readouterr().out)
    made, truth = document["made"], arc.dv_m_s * np.asarray(arc.direction)
    assert made["burn"] == arc.burn
    assert np.linalg.norm(truth - made["commanded_m_s"]) > 0.02  # of 3 m/s
    assert np.abs(truth - made["dv_m_s"]).max() < 1e-3
    assert document["estimate"]["mass_kg"] == pytest.approx(arc.end.mass_kg, abs=0.01)
    text = target.read_text(encoding="ascii")
    assert text.count("MAN_BASIS = DETERMINED") == 1
    assert str(folder) not in text
    assert re.findall(r"MAN_ID = (\S+)", text)[:2] == ["B1", "B1'"]
    assert text.count("MAN_BASIS = CANDIDATE") == len(document["plan"]["commands"])
    assert main(words) == 0
    said = " ".join(capsys.readouterr().out.split())
    assert "The burn just made" in said
    assert f"burn {arc.burn}: " in said
    assert main([*words, "--write", str(folder / "advice.opm")]) == 2
    assert "advice.opm: expected a file that ends in .ocm" in capsys.readouterr().err
    assert main([*words, "--write", str(target)]) == 2
    assert "is there already" in capsys.readouterr().err
    assert main([*words[:4], "--before", str(folder / "seen.json")]) == 2
    assert "--before goes with --done" in capsys.readouterr().err


def test_what_was_written_begins_a_case(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The message of the test above is a start, a state and a plan, each without loss."""
    if not (folder / "advice.ocm").exists():
        test_the_burn_just_made(folder, capsys)
    begin, end = CASE.index("[craft.orbit]"), CASE.index("[engine]")
    text = (CASE[:begin] + CASE[end:]).replace('name = "R4"', 'name = "R4"\nocm = "advice.ocm"')
    text = text.replace('epoch = "2031-04-12T06:00:00"\n', "")
    wet = re.search(r"WET_MASS = (\S+)", (folder / "advice.ocm").read_text(encoding="ascii"))
    assert wet is not None
    left = f'propellant = "{float(wet[1]) - 310.0:.12g} kg"'
    text = text.replace('propellant = "130 kg"', left)
    (folder / "next.toml").write_text(text, encoding="utf-8")
    seen = json.loads((folder / "seen.json").read_text(encoding="utf-8"))
    begun = simcheck.load_case(folder / "next.toml")
    assert np.abs(begun.craft.position_m - seen["position_m"]).max() < 1e-6
    plan = simcheck.read_plan(folder / "advice.ocm", begun)
    (over,) = plan.warnings
    assert over.endswith("(DETERMINED): not flown again")
