"""A case under third bodies and sunlight: the main job, the closed loop and the messages."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

import simcheck
from simcheck.cli.main import main
from simcheck.doublechecking import variations
from simcheck.engines.choosing import fast_propagator
from simcheck.engines.gravity import gravity_of
from simcheck.files.documents import plan_document
from simcheck.flying.lanes import fly_lanes
from simcheck.flying.mission import fly_plan
from simcheck.flying.together import team_of
from simcheck.measuring import average, offsets, relay_state, resolve_ring
from simcheck.records.case import Case
from simcheck.records.estimate import Estimate
from simcheck.records.plan import Plan
from tests.flying.loops import OwnPlanner
from tests.helpers import assert_degrees, assert_relative

CASE = """
# An invented case: a relay about the Moon, under an Earth and a Sun of the case's own.
[case]
title = "A relay under two bodies and sunlight"
epoch = "2031-04-12T06:00:00"
[body]
name = "Moon"
forces = ["j2", "third-bodies", "sunlight-pressure"]
[[third_body]]
name = "Earth"
gm = "398600.44 km3/s2"
semi_major_axis = "384400 km"
eccentricity = 0.05
inclination = "7 deg"
raan = "30 deg"
period = "27.32 d"
[[third_body]]
name = "Sun"
gm = "1.32712e11 km3/s2"
semi_major_axis = "1.496e8 km"
inclination = "1.5 deg"
true_anomaly = "80 deg"
period = "365.25 d"
irradiance = "1361 W/m2"
[sunlight]
area_to_mass = "0.05 m2/kg"
reflectivity = 1.5
[ring]
period = "14 h"
inclination = "50 deg"
raan = "60 deg"
slots = 3
argument_of_latitude = "10 deg"
[[ring.member]]
name = "R1"
slot = 0
[craft]
name = "R3"
slot = 2
dry_mass = "260 kg"
propellant = "120 kg"
[craft.orbit]
periapsis_radius = "6400 km"
apoapsis_radius = "7300 km"
inclination = "48 deg"
raan = "61 deg"
argp = "20 deg"
true_anomaly = "100 deg"
[engine]
thrust = "200 N"
isp = "310 s"
min_burn = "0.2 s"
[thrusters]
thrust = "6 N"
isp = "215 s"
min_burn = "0.05 s"
[errors]
thrust_bias = "1 %"
pointing_proportional = "0.5 deg"
navigation_position = "50 m"
navigation_velocity = "5 mm/s"
[operations]
replan = "each-burn"
max_trims = 4
settle = "0.5 rev"
[tolerance]
phase = "1 deg"
period = "60 s"
eccentricity = 0.004
plane = "0.5 deg"
[limits]
duration = "14 d"
min_altitude = "100 km"
separation = "20 km"
"""
SAMPLES = 50


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("sky")
    (path / "case.toml").write_text(CASE, encoding="utf-8")
    return path


@pytest.fixture(scope="module")
def case(folder: Path) -> Case:
    return simcheck.load_case(folder / "case.toml")


@pytest.fixture(scope="module")
def plan(case: Case) -> Plan:
    return simcheck.plan(case)


@pytest.fixture(scope="module")
def plan_file(folder: Path, case: Case, plan: Plan) -> Path:
    path = folder / "plan.json"
    path.write_text(
        json.dumps(plan_document(case, plan, simcheck.api.resolved_ring(case))), encoding="utf-8"
    )
    return path


def test_the_perfect_flight_ends_well_within(case: Case, plan: Plan) -> None:
    """Below a tenth of each tolerance, and two engines end within a metre (measured 0.1 mm)."""
    flight = simcheck.fly(case, plan)
    verdict = simcheck.judge(case, flight)
    assert verdict.verdict == "within", verdict.findings
    assert max(verdict.used.values()) < 0.1
    assert flight.engine_disagreement_m is not None
    assert flight.engine_disagreement_m < 1.0


def test_the_same_burns_miss_under_other_forces(case: Case, plan: Plan) -> None:
    """Without the other bodies the plan's burns end outside: they are aimed in these forces."""
    blind = replace(case, forces=("j2",), sky=None)
    flight = simcheck.fly(blind, plan, reference=False)
    assert simcheck.judge(blind, flight).verdict == "outside"


@pytest.mark.slow
def test_deep(case: Case, plan: Plan, monkeypatch: pytest.MonkeyPatch) -> None:
    """Error bars by other means: the epoch moves, axes and units stay, for forces from outside.

    Without the finer steps, which are slow.
    """
    monkeypatch.setattr(variations, "Stepwise", lambda inner, pieces: inner)
    deep = simcheck.doublecheck(case, plan, simcheck.fly(case, plan, reference=False))
    names = {one.name for one in deep.variations}
    assert "another epoch" in names
    assert not names & {"axes turned about the pole", "other units"}
    assert deep.firm
    assert deep.overturned == ()
    for bar, small in zip(deep.errors, (1e-5, 1e-3, 1e-8, 1e-6), strict=True):
        assert 0.0 < bar.bar < small  # deg, s, 1, deg


def test_trims_from_a_state_on_the_way(case: Case) -> None:
    """A state 2 deg behind the slot five days on is brought to it in the sky as it is then.

    Its plane is within tolerance and left so.
    """
    propagator = fast_propagator(gravity_of(case))
    motion = resolve_ring(case.ring, propagator)
    now = 5.0 * 86400.0
    errors = np.array([np.radians(-2.0), 1e-3, 3e-3, 1e-3, 1e-3, 2e-3])
    y = relay_state(motion, propagator, case.craft.slot, now, errors=errors)
    estimate = Estimate(time_s=now, position_m=y[:3], velocity_m_s=y[3:], mass_kg=350.0)
    advice = simcheck.trim(case, estimate)
    assert advice.errors.phase_deg == pytest.approx(-2.0, abs=0.8)  # it drifts while measured
    assert advice.plan is not None
    assert min(command.ignition_s for command in advice.plan.commands) > now
    # Flown on the case's own clock: a coast back to the epoch, then the advice's burns.
    back = propagator.advance(now, np.append(y, 350.0), 0.0).state
    craft = replace(case.craft, position_m=back[:3], velocity_m_s=back[3:6], propellant_kg=90.0)
    flight = simcheck.fly(replace(case, craft=craft), advice.plan, reference=False)
    end = flight.arcs[-1]
    state = np.concatenate([end.end.position_m, end.end.velocity_m_s, [end.end.mass_kg]])
    off = offsets(average(propagator, end.end_s, state, motion), motion, case.craft.slot)
    assert_degrees(np.degrees(off.phase), 0.0, 0.1)
    assert abs(off.period) < 6.0
    assert off.eccentricity < 4e-4
    assert np.degrees(off.plane) < 0.25


def test_a_closed_loop_in_lanes_is_one_by_one(case: Case, plan: Plan) -> None:
    """Flights with errors and a team: lanes decide and end as `fly --sample` does."""
    flown = fly_lanes(case, plan, 7, range(4), closed_loop=True)
    side_by_side = np.flatnonzero(~flown.alone)
    assert len(side_by_side) >= 3
    for k in side_by_side:
        team = team_of(case, plan, "ring", OwnPlanner(plan))
        one = fly_plan(case, plan, seed=7, sample=int(k), reference=False, team=team)
        assert flown.decisions[k] == len(one.decisions)
        assert flown.burns[k] == sum(arc.kind == "burn" for arc in one.arcs)
        assert abs(np.degrees(flown.phase[k]) - one.errors.phase_deg) < 1e-6  # of 1 deg
        assert abs(flown.period[k] - one.errors.period_s) < 6e-5
        assert abs(flown.eccentricity[k] - one.errors.eccentricity) < 4e-9
        assert abs(np.degrees(flown.plane[k]) - one.errors.plane_deg) < 5e-7
        assert abs(flown.dv[k] - one.dv_used_m_s) < 1e-5


def test_a_dispersion(case: Case, plan: Plan, folder: Path, plan_file: Path, capsys) -> None:
    """Fifty flights with the team end within; one of them flown alone by its number is that one."""
    run = folder / "run"
    found = simcheck.disperse(case, plan, samples=SAMPLES, seed=3, out=run)
    assert found.within.count >= 45
    capsys.readouterr()
    code = main(["fly", str(case.path), str(plan_file), "--sample", "11", "--seed", "3", "--json"])
    assert code == 0
    one = json.loads(capsys.readouterr().out)
    row = rows(run)[11]
    assert_degrees(row["phase_deg"], one["errors"]["phase_deg"], 1e-6)
    assert row["period_s"] == pytest.approx(one["errors"]["period_s"], abs=6e-5)
    assert_relative(row["dv_used_m_s"], one["dv_used_m_s"], 1e-6)


def rows(run: Path) -> list[dict[str, float]]:
    import pyarrow.parquet

    return pyarrow.parquet.read_table(run / "samples.parquet").to_pylist()


@pytest.mark.parametrize("suffix", ["opm", "ocm", "oem"])
def test_messages(case: Case, plan: Plan, tmp_path: Path, suffix: str) -> None:
    """Each is written, and a plan read back from one flies like the plan itself."""
    path = tmp_path / f"out.{suffix}"
    flight = simcheck.fly(case, plan, reference=False)
    simcheck.write_message(path, case, plan, flight)
    assert "MOON" in path.read_text(encoding="utf-8").upper()
    if suffix == "oem":
        return
    again = simcheck.fly(case, simcheck.read_plan(path, case), reference=False)
    assert simcheck.judge(case, again).verdict == "within"
