"""Flights side by side, open loop and with a team, are those of `fly_plan`, one by one."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from simcheck.dispersing.flights import Job, fly_chunk
from simcheck.flying.lanes import fly_lanes
from simcheck.flying.mission import fly_plan
from simcheck.flying.together import team_of
from simcheck.judging import judge
from simcheck.planning.planner import plan_ring
from simcheck.records.case import Case, Errors, Limits, Member, Operations
from simcheck.records.dispersion import OUTCOMES
from simcheck.records.plan import Plan
from simcheck.records.wish import Wish
from tests.cases_for_tests import MARS, case
from tests.flying import loops

ERRORS = Errors(
    thrust_bias=0.01,
    isp_bias=0.003,
    magnitude_proportional=0.005,
    magnitude_fixed_m_s=0.005,
    pointing_proportional_rad=0.01,
    pointing_fixed_m_s=0.003,
    ignition_time_s=0.2,
    initial_position_m=200.0,
    initial_velocity_m_s=0.05,
    accelerometer_scale=0.001,
)
COUNT = 10


def relay(cutoff: str = "duration", errors: Errors = ERRORS, **limits: float) -> tuple[Case, Plan]:
    """An invented case with a member, and a plan for it."""
    made = case(MARS, slot=3, forces=("j2",), members=(Member(name="M", slot=0),), **limits)
    engine = replace(made.engine, cutoff=cutoff)  # type: ignore[arg-type]
    made = replace(made, engine=engine, errors=errors)
    return made, plan_ring(made, Wish(effort=0))


@pytest.mark.parametrize("cutoff", ["duration", "velocity", "orbit"])
def test_lanes_are_the_flights(cutoff: str) -> None:
    """Errors, Δv, propellant and arrival to rounding; extremes to some ten metres."""
    made, plan = relay(cutoff)
    flown = fly_lanes(made, plan, 4, range(COUNT))
    for k in range(COUNT):
        one = fly_plan(made, plan, seed=4, sample=k, reference=False)
        assert abs(np.degrees(flown.phase[k]) - one.errors.phase_deg) < 1e-8
        assert abs(flown.period[k] - one.errors.period_s) < 1e-5
        assert abs(flown.eccentricity[k] - one.errors.eccentricity) < 1e-10
        assert abs(np.degrees(flown.plane[k]) - one.errors.plane_deg) < 1e-9
        assert abs(flown.e_vector[k, 0] - one.components.eccentricity_k) < 1e-10
        assert abs(flown.e_vector[k, 1] - one.components.eccentricity_h) < 1e-10
        leans = np.degrees(np.arctan2(flown.normal[k, :2], flown.normal[k, 2]))
        assert abs(leans[0] - one.components.plane_x_deg) < 1e-9
        assert abs(leans[1] - one.components.plane_y_deg) < 1e-9
        assert abs(flown.dv[k] - one.dv_used_m_s) < 1e-9
        assert abs(flown.propellant[k] - one.propellant_used_kg) < 1e-9
        assert abs(flown.arrival[k] - one.arrival_time_s) < 1e-6
        assert abs(flown.lowest[k] - made.body.radius_m - one.lowest_altitude_m) < 30.0
        assert abs(flown.largest[k] - one.largest_radius_m) < 30.0
        assert one.closest_approach_m is not None
        assert abs(flown.nearest[0, k] - one.closest_approach_m) < 1.0


def test_burns_end_as_their_commands_have_it() -> None:
    """A plan that was made for another cutoff than the case's engine has keeps its own."""
    made, plan = relay("orbit")
    engine = replace(made.engine, cutoff="duration")
    made = replace(made, engine=engine)  # type: ignore[arg-type]
    flown = fly_lanes(made, plan, 4, range(3))
    for k in range(3):
        one = fly_plan(made, plan, seed=4, sample=k, reference=False)
        assert abs(flown.period[k] - one.errors.period_s) < 1e-5
        assert {arc.ended for arc in one.arcs if arc.kind == "burn"} == {"orbit"}


def test_without_errors_every_lane_is_the_nominal() -> None:
    """The same row for each sample, and it is within."""
    made, plan = relay(errors=Errors())
    rows = fly_chunk(Job(case=made, plan=plan, seed=0, planner="ring"), 0, 5)
    assert rows["within"].all()
    assert len(np.unique(rows["phase_deg"])) == 1


def test_a_lane_does_not_depend_on_its_neighbours() -> None:
    """One by one, in other chunks, in another order: the same bytes."""
    made, plan = relay()
    job = Job(case=made, plan=plan, seed=4, planner="ring")
    together = fly_chunk(job, 0, COUNT)
    for first, count in ((0, 1), (3, 4), (9, 1)):
        part = fly_chunk(job, first, count)
        assert part.tobytes() == together[first : first + count].tobytes()


def test_rows_are_judged_as_flights_are() -> None:
    """Tolerances and limits tight enough that some lanes keep them and some do not."""
    loose = replace(ERRORS, thrust_bias=3e-4, pointing_proportional_rad=3e-4, isp_bias=0.0)
    loose = replace(loose, magnitude_proportional=2e-4, magnitude_fixed_m_s=0.0)
    made, plan = relay(errors=loose)
    mean = plan.commanded_dv_m_s
    for limits in (made.limits, replace(made.limits, dv_m_s=mean)):
        one = replace(made, limits=limits)
        rows = fly_chunk(Job(case=one, plan=plan, seed=6, planner="ring"), 0, 30)
        verdicts = [
            judge(one, fly_plan(one, plan, seed=6, sample=k, reference=False)).verdict == "within"
            for k in range(30)
        ]
        assert rows["within"].astype(bool).tolist() == verdicts
        assert 0 < sum(verdicts) < 30


@pytest.mark.parametrize("what", ["tank", "radius", "separation", "altitude"])
def test_lanes_out_of_the_ordinary_fly_alone(what: str) -> None:
    """A dry tank, or near a limit: flown by `fly_plan`, and the row is that flight's."""
    made, plan = relay()
    nominal = fly_plan(made, plan, reference=False)
    assert nominal.closest_approach_m is not None
    limits = {
        "tank": Limits(),
        "radius": Limits(max_radius_m=nominal.largest_radius_m),
        "altitude": Limits(min_altitude_m=nominal.lowest_altitude_m),
        "separation": Limits(separation_m=nominal.closest_approach_m),
    }[what]
    craft = made.craft
    if what == "tank":
        craft = replace(craft, propellant_kg=0.6 * nominal.propellant_used_kg)
    made = replace(made, limits=limits, craft=craft)
    assert fly_lanes(made, plan, 4, range(6)).alone.all()
    rows = fly_chunk(Job(case=made, plan=plan, seed=4, planner="ring"), 0, 6)
    for row in rows:
        one = fly_plan(made, plan, seed=4, sample=int(row["sample"]), reference=False)
        assert OUTCOMES[row["outcome"]] == one.outcome
        assert row["phase_deg"] == one.errors.phase_deg or np.isnan(row["phase_deg"])
        assert row["lowest_altitude_m"] == one.lowest_altitude_m
        assert row["closest_approach_m"] == row["closest_1_m"] == one.closest_approach_m


def test_a_broken_separation_is_outside() -> None:
    """Flights that pass a member too near are outside, in lanes as alone; the others are not.

    Lanes fly alone only within a fiftieth of the separation and 200 m.
    """
    made, plan = relay()
    loose = replace(made, tolerance=replace(made.tolerance, phase_rad=3.0, period_s=1e4))
    loose = replace(loose, tolerance=replace(loose.tolerance, eccentricity=0.9, plane_rad=3.0))
    free = fly_chunk(Job(case=loose, plan=plan, seed=4, planner="ring"), 0, 12)
    assert free["within"].all()
    asked = float(np.median(free["closest_approach_m"]))
    strict = replace(loose, limits=replace(loose.limits, separation_m=asked))
    job = Job(case=strict, plan=plan, seed=4, planner="ring")
    rows = fly_chunk(job, 0, 12)
    assert rows["within"].tolist() == (free["closest_approach_m"] >= asked).tolist()
    for row in rows:
        one = fly_plan(strict, plan, seed=4, sample=int(row["sample"]), reference=False)
        assert row["within"] == (judge(strict, one).verdict == "within")
    near = abs(free["closest_approach_m"] - asked) < 0.02 * asked + 200.0
    below = free["closest_approach_m"] < asked
    alone = fly_lanes(strict, plan, 4, range(12)).alone
    assert alone.tolist() == (near | below).tolist()


def test_missed_burns_are_missed() -> None:
    """With a chance of a third, the lanes that miss a burn are those that do in `fly_plan`."""
    made, plan = relay(errors=replace(ERRORS, missed_burn=0.3))
    flown = fly_lanes(made, plan, 4, range(COUNT))
    for k in range(COUNT):
        one = fly_plan(made, plan, seed=4, sample=k, reference=False)
        if not flown.alone[k]:
            assert abs(flown.dv[k] - one.dv_used_m_s) < 1e-9
            assert abs(flown.period[k] - one.errors.period_s) < 1e-5
    assert len(np.unique(np.round(flown.dv / 50))) > 2


# With a team


OPERATIONS = {
    "each burn, ten minutes": loops.TRACKED,
    "each burn, half a revolution": Operations(
        replan="each-burn", max_trims=4, settle_revolutions=0.5
    ),
    "each burn, no trims": replace(loops.TRACKED, max_trims=0),
    "trims only": Operations(replan="never", max_trims=5),
    "one trim": replace(loops.TRACKED, max_trims=1),
}


@pytest.mark.parametrize("name", OPERATIONS)
@pytest.mark.parametrize("cutoff", ["duration", "orbit"])
def test_lanes_with_a_team_are_the_flights(name: str, cutoff: str) -> None:
    """Each decides as it would alone: errors, Δv, dates, numbers of burns and of decisions.

    Rounding grows through decisions taken from it: 1e-6 of any tolerance.
    """
    made = loops.relay(replace(loops.REALISTIC, ignition_time_s=0.2), OPERATIONS[name])
    made = replace(made, engine=replace(made.engine, cutoff=cutoff))  # type: ignore[arg-type]
    plan = loops.relay_plan()
    commands = tuple(replace(x, cutoff=made.engine.cutoff) for x in plan.commands)
    plan = replace(plan, commands=commands)
    flown = fly_lanes(made, plan, 4, range(4), closed_loop=True)
    assert not flown.alone.all() or not made.operations.max_trims
    for k in np.flatnonzero(~flown.alone):
        team = team_of(made, plan, "ring", loops.OwnPlanner(plan))
        one = fly_plan(made, plan, seed=4, sample=int(k), reference=False, team=team)
        assert flown.decisions[k] == len(one.decisions)
        assert flown.burns[k] == sum(arc.kind == "burn" for arc in one.arcs)
        assert abs(np.degrees(flown.phase[k]) - one.errors.phase_deg) < 5e-7
        assert abs(flown.period[k] - one.errors.period_s) < 5e-6
        assert abs(flown.eccentricity[k] - one.errors.eccentricity) < 2e-9
        assert abs(np.degrees(flown.plane[k]) - one.errors.plane_deg) < 1e-7
        assert abs(flown.dv[k] - one.dv_used_m_s) < 1e-6
        assert abs(flown.propellant[k] - one.propellant_used_kg) < 1e-6
        assert abs(flown.arrival[k] - one.arrival_time_s) < 1e-3
    if made.operations.max_trims:
        assert (flown.burns > 3).any()


def test_with_a_team_a_missed_ignition_of_the_plan_flies_alone() -> None:
    """The planner is asked then: just the lanes that miss a burn before trims begin are left."""
    made = loops.relay(replace(loops.REALISTIC, missed_burn=1.0))
    assert fly_lanes(made, loops.relay_plan(), 4, range(3), closed_loop=True).alone.all()
    made = loops.relay(replace(loops.REALISTIC, missed_burn=0.1))
    flown = fly_lanes(made, loops.relay_plan(), 4, range(30), closed_loop=True)
    assert 0 < flown.alone.sum() < 30


def test_a_team_without_a_course_leaves_all_to_the_planner() -> None:
    """A plan whose burns overlap cannot be flown without errors: every lane flies alone."""
    one = loops.relay_plan().commands[0]
    wrong = replace(loops.relay_plan(), commands=(one, replace(one, burn="B2")))
    assert fly_lanes(loops.relay(), wrong, 4, range(3), closed_loop=True).alone.all()
