"""The flight team's policy: what it does with what it believes, and what it asks of a planner."""

import dataclasses
import math

import numpy as np
import pytest

from simcheck.errors import NoPlanError
from simcheck.flying.advising import nothing_left
from simcheck.flying.mission import fly_plan
from simcheck.flying.team import FLY_ON, foreseen, renumbered, stepwise
from simcheck.planning.planner import plan_ring
from simcheck.planning.trimming import MARGIN
from simcheck.records.case import Tolerance
from simcheck.records.plan import Alternative, Burn
from tests.flying.bench import command, plan, same
from tests.flying.loops import (
    OwnPlanner,
    estimate_of,
    near_slot,
    relay,
    relay_plan,
    situation,
)
from tests.helpers import assert_degrees, assert_seconds


def start() -> np.ndarray:
    craft = relay().craft
    return np.array([*craft.position_m, *craft.velocity_m_s, craft.mass_kg])


def arrived(behind_deg: float, *, faster: float = 0.0, **fields):
    """A situation near the slot with no burn left."""
    y = near_slot(behind_deg, faster=faster)
    fields = {"remaining": (), "flown": ("B1", "B2", "B3"), **fields}
    return situation(y, nothing_left(estimate_of(y)), **fields)


def nobody(case, wish):
    raise AssertionError("asked a planner")


def none(case, wish):
    raise NoPlanError("nothing can be done", limit="test", excess=1.0)


# What it does


def test_a_plan_that_lands_is_flown_on():
    """Burns that land within a tenth of each tolerance are flown, and no planner is asked."""
    now = situation(start(), relay_plan())
    choice = stepwise(now, nobody)
    assert choice.action == "fly-on"
    assert choice.plan is now.plan
    assert choice.remaining is now.remaining


@pytest.mark.parametrize(("share", "asks"), [(0.05, 0), (0.2, 1), (0.8, 1)])
def test_burns_left_are_aimed_well_inside(share, asks):
    """Beyond a tenth of a tolerance burns left are aimed anew, though they would still land."""
    now = situation(start(), relay_plan())
    off = abs(foreseen(now, now.estimate, now.remaining).period_s)
    close = dataclasses.replace(now.case, tolerance=Tolerance(period_s=off / share))
    own = OwnPlanner(relay_plan())
    assert stepwise(now._replace(case=close), own).action == ("re-aim" if asks else "fly-on")
    assert len(own.asked) == asks


def test_a_craft_in_its_slot_stops():
    """With no burn left and every error inside half its tolerance there is nothing to do."""
    choice = stepwise(arrived(0.2), nobody)
    assert choice.action == "stop"
    assert choice.remaining == ()
    assert "40%" in choice.why
    assert "-0.2 deg" in choice.why


@pytest.mark.parametrize(("behind", "faster"), [(0.3, 0.0), (0.0, 2.5e-5)], ids=["phase", "period"])
def test_one_error_past_half_its_tolerance_is_not_left(behind, faster):
    """Any one error beyond half its tolerance has the planner asked."""
    own = OwnPlanner(plan(command(1000.0, 1.0, burn="T1")))
    choice = stepwise(arrived(behind, faster=faster), own)
    assert len(own.asked) == 1
    assert choice.action == "trim"
    assert [x.burn for x in choice.remaining] == ["T1"]


def test_what_is_not_listed_is_not_minded():
    """An error without a tolerance neither keeps the team from stopping nor is named."""
    now = arrived(5.2)
    free = dataclasses.replace(now.case, tolerance=Tolerance(period_s=5.0))
    choice = stepwise(now._replace(case=free), nobody)
    assert choice.action == "stop"
    assert "phase" not in choice.why


def test_burns_left_that_miss_are_aimed_anew():
    """A craft kilometres off its course keeps its burns, re-aimed, and then lands."""
    y = start()
    y[:3] += np.array([3000.0, -2000.0, 1000.0])
    now = situation(y, relay_plan())
    before = foreseen(now, now.estimate, now.remaining)
    choice = stepwise(now, plan_ring)
    assert choice.action == "re-aim"
    assert [x.burn for x in choice.remaining] == ["B1", "B2", "B3"]
    after = foreseen(now, now.estimate, choice.remaining)
    assert abs(after.phase_deg) < FLY_ON * 0.5 < abs(before.phase_deg)
    assert abs(after.period_s) < FLY_ON * 5.0
    assert after.eccentricity < FLY_ON * 0.002
    assert after.plane_deg < FLY_ON * 0.1


def test_a_trim_brings_the_craft_into_its_slot():
    """5.2 deg behind, a trim of our planner leaves what the team stops at, numbered from T1."""
    now = arrived(5.2)
    choice = stepwise(now, plan_ring)
    assert choice.action == "trim"
    assert choice.remaining[0].burn == "T1"
    assert all(x.ignition_s >= 0.0 for x in choice.remaining)
    after = foreseen(now, now.estimate, choice.remaining)
    assert abs(after.phase_deg) < MARGIN * 0.5
    assert abs(after.period_s) < MARGIN * 5.0


@pytest.mark.parametrize(("left", "action"), [(True, "fly-on"), (False, "give-up")])
def test_without_a_plan_it_flies_on_or_gives_up(left, action):
    """Where the planner finds nothing, burns left are flown as they stand; else it gives up."""
    y = start()
    y[:3] += 5000.0
    now = situation(y, relay_plan()) if left else arrived(5.2)
    choice = stepwise(now, none)
    assert choice.action == action
    assert "nothing can be done" in choice.why
    assert choice.remaining == now.remaining


def test_with_no_trim_left_it_gives_up():
    """Outside its tolerance and out of trims, the team gives up without asking."""
    choice = stepwise(arrived(5.2, trims_left=0), nobody)
    assert choice.action == "give-up"
    assert "no trim is left" in choice.why
    assert "-5.2 deg" in choice.why


def test_a_trim_of_too_many_burns_is_not_begun():
    """A planner that wants more trim burns than are left is not followed."""
    many = plan(*(command(1000.0 * k, 0.1, burn=f"T{k}") for k in range(1, 5)))
    choice = stepwise(arrived(5.2, trims_left=3), OwnPlanner(many))
    assert choice.action == "give-up"
    assert "4 burns" in choice.why
    assert choice.remaining == ()


def test_a_planner_without_burns_stops_it():
    """A plan of no burns is an answer: the team stops, and says that there is none."""
    choice = stepwise(arrived(5.2), OwnPlanner(plan()))
    assert choice.action == "stop"
    assert "no burn" in choice.why


def test_an_orbit_that_cannot_be_measured_is_the_worst():
    """A craft that would leave the body is no craft in its slot."""
    now = arrived(0.0)
    y = near_slot(0.0)
    y[3:6] *= 1.5
    lost = now._replace(estimate=estimate_of(y, mass_kg=400.0))
    assert math.isnan(foreseen(lost, lost.estimate, ()).phase_deg)
    choice = stepwise(lost, none)
    assert choice.action == "give-up"
    assert "cannot be measured" in choice.why


@pytest.mark.parametrize("left", [1, 2, 3])
def test_a_small_error_with_few_trims_left_ends_in_a_choice(left):
    """0.3 deg behind, of 0.5 allowed, with few trims left: some choice, whatever it is."""
    choice = stepwise(arrived(0.3, trims_left=left), plan_ring)
    assert choice.action in ("trim", "stop", "give-up")


# What it believes


def test_what_is_foreseen_is_what_is_flown():
    """The errors foreseen from the start are those that a perfect flight of the plan ends in.

    The phase is read at the last cutoff there, two revolutions later here.
    """
    now = situation(start(), relay_plan())
    believed = foreseen(now, now.estimate, now.remaining)
    flight = fly_plan(relay(), relay_plan(), reference=False)
    assert_seconds(believed.period_s, flight.errors.period_s, 1e-6)
    assert_degrees(believed.phase_deg, flight.errors.phase_deg, 1e-6)
    assert believed.eccentricity == pytest.approx(flight.errors.eccentricity, abs=1e-9)
    assert believed.plane_deg == pytest.approx(flight.errors.plane_deg, abs=1e-8)


def test_a_mass_that_is_not_known_is_the_cases():
    """An estimate without a mass is foreseen with the craft as heavy as the case has it."""
    now = situation(start(), relay_plan())
    bare = dataclasses.replace(now.estimate, mass_kg=None)
    assert same(foreseen(now, bare, now.remaining), foreseen(now, now.estimate, now.remaining))


def test_the_planner_is_asked_from_the_estimate():
    """The planner sees the case at the estimate: its state, the slots moved on, the limits less."""
    own = OwnPlanner(plan(command(1000.0, 1.0, burn="X1")))
    time = 100_000.0
    y = near_slot(5.2, time=time)
    c = relay()
    c = dataclasses.replace(c, limits=dataclasses.replace(c.limits, dv_m_s=100.0))
    now = situation(y, nothing_left(estimate_of(y)), time=time, remaining=(), spent_m_s=30.0)
    choice = stepwise(now._replace(case=c), own)
    case, wish = own.asked[0]
    assert case.craft.position_m.tobytes() == y[:3].tobytes()
    assert case.craft.mass_kg == y[6]
    assert case.limits.dv_m_s == 70.0
    assert_seconds(case.limits.duration_s, 25 * 86400.0 - time, 1e-6)
    moved = case.ring.argument_of_latitude_rad - c.ring.argument_of_latitude_rad
    assert_degrees(math.degrees(moved), 360.0 * time / now.motion.period_s, 1e-9)
    assert wish.flying.commands == ()
    assert choice.remaining[0].ignition_s == time + 1000.0


# Numbering


def burn(label: str) -> Burn:
    zero = np.zeros(3)
    return Burn(
        label=label,
        purpose="trim",
        reason="a test",
        time_s=0.0,
        position_m=zero,
        dv_m_s=zero,
        dv_rsw_m_s=zero,
        magnitude_m_s=0.0,
    )


def test_burns_are_numbered_on():
    """T1 and T2 of a new trim are T3 and T4 after two flown; other letters count for themselves."""
    made = plan(*(command(1.0, 1.0, burn=x) for x in ("T1", "T2", "B1")))
    made = dataclasses.replace(made, burns=tuple(map(burn, ("T1", "T2", "B1"))))
    again = renumbered(made, ("B1", "B2", "T1", "T2"))
    assert [x.label for x in again.burns] == ["T3", "T4", "B3"]
    assert [x.burn for x in again.commands] == ["T3", "T4", "B3"]
    assert renumbered(made, ()).burns[0].label == "T1"


def test_burns_kept_keep_their_names():
    """A plan that is what was left of the old one is not numbered on."""
    y = start()
    y[:3] += 5000.0
    left = relay_plan().commands[1:]
    own = OwnPlanner(dataclasses.replace(relay_plan(), burns=(), commands=left))
    now = situation(y, relay_plan(), remaining=left, flown=("B1",))
    choice = stepwise(now, own)
    assert choice.action == "re-aim"
    assert [x.burn for x in choice.remaining] == ["B2", "B3"]
    rows = (Alternative(summary="", burns=1, total_dv_m_s=1.0, arrival_time_s=0.0, why_not=""),)
    own = OwnPlanner(dataclasses.replace(relay_plan(), burns=(), commands=left, alternatives=rows))
    later = dataclasses.replace(now.estimate, time_s=10.0)
    assert stepwise(now._replace(estimate=later), own).plan.alternatives[0].arrival_time_s == 10.0
