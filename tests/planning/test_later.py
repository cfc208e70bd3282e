"""The case seen later: slots, members and limits where they then are; plans put on its clock."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from simcheck.files.records_json import write_record
from simcheck.measuring import average, offsets, relay_state
from simcheck.planning.commanding import Range, member_states
from simcheck.planning.later import seen_from, shifted
from simcheck.planning.planner import plan_ring
from simcheck.records.case import Case, Member
from simcheck.records.estimate import Estimate
from simcheck.records.plan import Plan
from tests.cases_for_tests import EARTH, IMPULSIVE, MARS, OPEN, VESTA, case, orbit, ring
from tests.helpers import assert_metres, assert_radians, assert_relative, assert_seconds

# A window of two revolutions leaves terms of second order in the mean longitude: measuring
# promises 1e-6 of a revolution about Mars and the Earth, 1e-4 about Vesta.
TERMS = {"Mars": 1e-6, "Earth": 1e-6, "Vesta": 1e-4}


def estimate(site: Range, revolutions: float, state: np.ndarray | None = None) -> Estimate:
    """An exact one, some revolutions of the ring after the epoch."""
    time = revolutions * site.motion.period_s
    found = site.propagator.advance(0.0, site.start if state is None else state, time).state
    return Estimate(
        time_s=time, position_m=found[:3], velocity_m_s=found[3:6], mass_kg=float(found[6])
    )


def seen(made: Case, revolutions: float, **spent: float) -> tuple[Range, Range, Estimate]:
    """The case and the same seen later, both ready to plan in, and the estimate between them."""
    site = Range(made)
    known = estimate(site, revolutions)
    later = seen_from(made, known, site.motion, site.propagator, **spent)
    return site, Range(later), known


def on_slot(made: Case) -> Case:
    """The case with its craft on its slot."""
    site = Range(made)
    state = relay_state(site.motion, site.propagator, made.craft.slot)
    craft = replace(made.craft, position_m=state[:3], velocity_m_s=state[3:])
    return replace(made, craft=craft)


@pytest.mark.parametrize("inclination", [0.0, 35.0, 90.0, 144.0, 180.0])
@pytest.mark.parametrize(
    ("body", "period", "forces"),
    [(MARS, 12.0, ()), (MARS, 6.0, ("j2",)), (EARTH, 3.0, ("j2",)), (VESTA, 8.0, ("j2",))],
)
def test_a_relay_on_its_slot_is_still_on_it(
    body: Any, period: float, forces: Any, inclination: float
) -> None:
    """Seen 7.3 revolutions on, all four errors against the slot as it then is are zero."""
    goal = ring(period, inclination=inclination, raan=200.0, slots=3)
    made = on_slot(case(body, goal=goal, forces=forces, slot=2))
    _, late, _ = seen(made, 7.3)
    off = offsets(average(late.propagator, 0.0, late.start, late.motion), late.motion, 2)
    term = 2 * np.pi * TERMS[body.name]
    assert abs(off.phase) < term
    assert abs(off.period) < term * late.motion.period_s
    assert off.eccentricity < term
    assert off.plane < term


@pytest.mark.parametrize("inclination", [0.0, 35.0, 90.0, 144.0, 180.0])
def test_slots_are_where_the_ring_had_them(inclination: float) -> None:
    """The rebased ring's slots and axes are those of the first ring at the later time."""
    goal = ring(6.0, inclination=inclination, raan=200.0, slots=3)
    site, late, known = seen(case(MARS, goal=goal, forces=("j2",)), 41.7)
    for more in (0.0, 1e5):
        there = site.motion.frame(known.time_s + more)
        assert_metres(late.motion.frame(more), there, 1e-9)  # unit vectors: 1e-9 rad
        for slot in range(3):
            was = site.motion.longitude(slot, known.time_s + more)
            assert_radians(late.motion.longitude(slot, more), was, 1e-9)


@pytest.mark.parametrize("size", [{"period_h": 6.0}, {"radius_km": 9000.0}])
@pytest.mark.parametrize("inclination", [0.0, 35.0, 90.0])
def test_the_rebased_ring_is_the_same_to_the_last_bit(size: Any, inclination: float) -> None:
    """Radius, period and node rate do not depend on when the ring is looked at."""
    goal = ring(**size, inclination=inclination, raan=10.0)
    site, late, _ = seen(case(MARS, goal=goal, forces=("j2",)), 3.21)
    assert late.motion[1:] == site.motion[1:]


def test_members_move_along() -> None:
    """A member in a state of its own, and one on its slot, are later where they fly to."""
    own = orbit(MARS, 8000.0, 9000.0, 30.0, 20.0, 10.0, 5.0)
    members = (
        Member(name="own", slot=None, position_m=own[0], velocity_m_s=own[1]),
        Member(name="slotted", slot=1),
    )
    made = case(MARS, goal=ring(6.0), forces=("j2",), members=members, separation_m=1e4)
    site, late, known = seen(made, 5.4)
    assert [x.name for x in late.case.members] == ["own", "slotted"]
    assert late.case.members[1].position_m is None
    was = member_states(made, site.motion, site.propagator)
    for before, after in zip(was, late.members, strict=True):
        flown = site.propagator.advance(0.0, before, known.time_s).state
        # What is averaged away leaves a slot to 1e-6 of a revolution, some 50 m of this ring.
        assert_metres(after[:3], flown[:3], 50.0)
    flown = site.propagator.advance(0.0, was[0], known.time_s).state
    assert_metres(late.members[0][:3], flown[:3], 1e-3)


def test_the_limits_are_what_is_left() -> None:
    """Duration shrinks by the time gone and Δv by what was flown; other limits stay."""
    made = case(days=10.0, dv_m_s=900.0, min_altitude_m=2e5, max_radius_m=6e7)
    _, late, known = seen(made, 3.0, spent_m_s=250.0)
    left = late.case.limits
    assert_seconds(left.duration_s, 864000.0 - known.time_s, 1e-6)
    assert left.dv_m_s == 650.0
    assert (left.min_altitude_m, left.max_radius_m) == (2e5, 6e7)


def test_the_limits_never_turn_negative() -> None:
    """Past the time allowed and beyond the Δv allowed, hardly anything is left, and no less."""
    _, late, _ = seen(case(days=1.0, dv_m_s=100.0), 5.0, spent_m_s=250.0)
    assert 0.0 < late.case.limits.duration_s < 1.0
    assert late.case.limits.dv_m_s == 0.0


def test_a_limit_that_is_not_there_stays_so() -> None:
    """A Δv without a limit has none later either."""
    _, late, _ = seen(case(), 1.0, spent_m_s=250.0)
    assert late.case.limits.dv_m_s == np.inf


@pytest.mark.parametrize(("mass", "left"), [(None, 300.0), (415.5, 105.5), (309.0, 0.0)])
def test_the_craft_is_where_and_as_heavy_as_estimated(mass: float | None, left: float) -> None:
    """State and propellant are the estimate's; without a mass the case's; never below empty."""
    made = case()
    site = Range(made)
    known = replace(estimate(site, 1.2), mass_kg=mass)
    craft = seen_from(made, known, site.motion, site.propagator).craft
    assert craft.propellant_kg == left
    assert craft.dry_mass_kg == 310.0
    assert np.array_equal(craft.position_m, known.position_m)
    assert np.array_equal(craft.velocity_m_s, known.velocity_m_s)


def planned() -> Plan:
    """A plan with everything that has a time: burns, commands, alternatives, a primer."""
    start = orbit(MARS, 6000.0, 9000.0, 35.0, 60.0, 75.0, 200.0)
    made = case(MARS, start, slot=1, engine=IMPULSIVE, tolerance=OPEN, days=3.0)
    plan = plan_ring(made)
    assert plan.commands
    assert plan.alternatives
    assert plan.primer is not None
    return plan


def differences(one: Any, other: Any, key: str = "") -> list[tuple[str, float]]:
    """Numbers of two written records that differ, and by how much; nothing else may."""
    if isinstance(one, dict):
        assert one.keys() == other.keys()
        return [x for k in one for x in differences(one[k], other[k], f"{key}.{k}")]
    if isinstance(one, list):
        assert len(one) == len(other)
        return [x for a, b in zip(one, other, strict=True) for x in differences(a, b, key)]
    if isinstance(one, float) and one != other:
        return [(key, other - one)]
    assert one == other
    return []


def test_shifting_moves_every_time_and_nothing_else() -> None:
    """All fields in seconds past the epoch move by as much; there and back is the same plan."""
    plan = planned()
    later = shifted(plan, 4096.0)
    moved = differences(write_record(plan), write_record(later))
    assert {key for key, _ in moved} == {
        ".burns.time_s",
        ".commands.ignition_s",
        ".arrival_time_s",
        ".alternatives.arrival_time_s",
        ".primer.time_s",
        ".primer.largest_time_s",
    }
    for _, change in moved:
        assert_relative(change, 4096.0, 1e-12)
    back = differences(write_record(plan), write_record(shifted(later, -4096.0)))
    assert all(abs(change) < 1e-9 for _, change in back)  # rounding of some 1e5 s


def test_a_shifted_plan_without_burns_or_primer() -> None:
    """A plan with nothing in it can be shifted too."""
    empty = replace(planned(), burns=(), commands=(), alternatives=(), primer=None)
    assert shifted(empty, 10.0).arrival_time_s == empty.arrival_time_s + 10.0
