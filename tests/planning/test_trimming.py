"""Trims: what they cost against the trade's rules, and where they bring a craft, flown in full.

Long because each error, and each pair of them, has its rule of the trade.
"""

from __future__ import annotations

import re
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from hypothesis import Phase, assume, given, settings
from hypothesis import strategies as st

from simcheck.engines.base import G0
from simcheck.errors import FlightError
from simcheck.flying.mission import fly_plan
from simcheck.kernels.kepler import propagate
from simcheck.kernels.near_circular import PERIOD, PHASE, H, K, SmallBurn, responses
from simcheck.kernels.transfers import period_of
from simcheck.kernels.vectors import TAU, unit, wrap
from simcheck.planning.commanding import Range
from simcheck.planning.replanning import trim_plan
from simcheck.planning.trimming import (
    GOOD,
    JUST,
    MARGIN,
    WAITS,
    Trim,
    aim_trim,
    bounds,
    by_preference,
    sparser,
    standing,
    tank_dv,
    trims,
)
from simcheck.records.case import Engine, Tolerance
from tests.cases_for_tests import EARTH, ENGINE, IMPULSIVE, MARS, TOLERANCE, case, ring
from tests.helpers import assert_degrees, assert_metres, assert_relative
from tests.planning.near_slot import near, uses

TIGHT = Tolerance(
    phase_rad=float(np.radians(0.02)),
    period_s=0.2,
    eccentricity=5e-5,
    plane_rad=float(np.radians(0.003)),
)
"""So that what may be left of an error changes no figure here by a per cent."""

THRUSTERS = Engine(name="thrusters", thrust_n=20.0, isp_s=220.0, min_burn_s=0.02)
PERIOD_S = 10800.0


def off(
    *, forces: Any = (), tolerance: Tolerance = TIGHT, days: float = 15.0, **errors: Any
) -> Range:
    """A craft of impulses on an invented 3 h ring about the Earth, off its slot by `errors`."""
    made = case(
        EARTH,
        goal=ring(PERIOD_S / 3600),
        forces=forces,
        engine=IMPULSIVE,
        tolerance=tolerance,
        days=days,
        slot=1,
    )
    return Range(near(made, **errors))


def speed(site: Range) -> float:
    """Along the ring, m/s."""
    return float(np.sqrt(site.case.body.gm_m3_s2 / site.motion.radius_m))


def only(site: Range, wait: float) -> Trim:
    """The trim for that wait."""
    (found,) = trims(site, (wait,))
    return found


def posed(site: Range, wait: float) -> tuple[Range, Trim]:
    """The site and its trim for that wait."""
    return site, only(site, wait)


def parts(trim: Trim) -> np.ndarray:
    """Δv of its burns along R, S and W in m/s, (n, 3)."""
    return trim.speed * np.array([burn.dv for burn in trim.burns])


def longitudes(trim: Trim) -> np.ndarray:
    """Where its burns are in the ring frame, degrees from the node, (n,)."""
    return np.degrees([trim.longitude + trim.angles[burn.place] for burn in trim.burns])


# Where the craft stands


@pytest.mark.parametrize(("forces", "within"), [((), 1e-9), (("j2",), 1e-4)])
def test_the_standing_is_what_the_craft_is_off(forces: Any, within: float) -> None:
    """Six errors as put on; in J2 to what osculating and averaged changes differ by."""
    site = off(forces=forces, phase=-3.0, period=2e-3, e=(1e-3, -2e-3), plane=(0.01, -0.02))
    found = standing(site)
    x, y = np.radians([0.01, -0.02])
    expected = [np.radians(-3.0), 2e-3, 1e-3, -2e-3, x, y]
    assert np.max(np.abs(found.errors - expected)) < within
    slot = float(site.motion.longitude(1, 0.0))
    assert abs(wrap(found.longitude - slot - np.radians(-3.0))) < within


@pytest.mark.parametrize("forces", [(), ("j2",)])
def test_left_alone_the_phase_drifts_as_foreseen(forces: Any) -> None:
    """The errors ahead are those of the craft when the slot has gone on by that angle."""
    site = off(forces=forces, phase=1.0, period=-1e-3, e=(1e-3, 0.0))
    turns = 4.0
    time = turns * site.motion.period_s
    state = site.propagator.advance(0.0, site.start, time).state
    craft = replace(site.case.craft, position_m=state[:3], velocity_m_s=state[3:6])
    ring_then = replace(
        site.case.ring,
        raan_rad=site.case.ring.raan_rad + site.motion.node_rate * time,
        argument_of_latitude_rad=site.case.ring.argument_of_latitude_rad + TAU * turns,
    )
    then = standing(Range(replace(site.case, ring=ring_then, craft=craft))).errors
    ahead = standing(site).ahead(TAU * turns)
    # (dT/T)^2 a radian; in J2 the node and the apsis drift a little otherwise than the ring's.
    assert abs(ahead[PHASE] - then[PHASE]) < TAU * turns * 3e-6
    assert ahead[PHASE] > np.radians(1.0) + 0.9 * TAU * turns * 1e-3
    assert abs(ahead[PERIOD] - then[PERIOD]) < 1e-5


@pytest.mark.parametrize(
    ("errors", "is_near"),
    [
        ({"phase": 170.0}, True),
        ({"period": 0.01, "e": (0.01, 0.01), "plane": (0.5, 0.5)}, True),
        ({"period": -0.15}, False),
        ({"e": (0.07, -0.07)}, False),
        ({"plane": (0.0, -8.0)}, False),
    ],
)
def test_near_is_where_errors_are_linear(errors: Any, is_near: bool) -> None:
    """The phase may be any; period, eccentricity and plane have to be small."""
    assert standing(off(**errors)).near is is_near


def test_an_open_orbit_stands_nowhere() -> None:
    """A craft that leaves the body has no averages to stand on."""
    site = off()
    craft = replace(site.case.craft, velocity_m_s=2 * site.case.craft.velocity_m_s)
    with pytest.raises(FlightError, match="not closed"):
        standing(Range(replace(site.case, craft=craft)))


# What trims cost. The relations are common practice; no single source.


@pytest.mark.parametrize("phase", [-5.2, 5.2])
@pytest.mark.parametrize(("turns", "change"), [(1, 156.0), (10, 15.6)])
def test_a_phase_is_a_change_of_period_held_for_some_revolutions(
    phase: float, turns: int, change: float
) -> None:
    """dT = T dphi/(360 k): 5.2 deg of a 3 h orbit is 156 s for one revolution, 15.6 s for ten."""
    site, trim = posed(off(phase=phase), turns)
    candidate, aimed = aim_trim(site, trim)
    flight = fly_plan(site.case, trim_plan(site, candidate, aimed, []), reference=False)
    between = [arc.start for arc in flight.arcs if arc.kind == "coast"][1]
    first, _ = candidate.impulses
    gm, change = EARTH.gm_m3_s2, np.sign(phase) * change  # a craft behind goes faster round
    planned = float(period_of(first.position, first.after, gm)) - PERIOD_S
    flown = float(period_of(between.position_m, between.velocity_m_s, gm)) - PERIOD_S
    assert_relative(planned, change, 0.02 / turns + 1e-3)  # linear: off by the change itself
    assert_relative(flown, change, 0.01)
    assert [x.burn for x in aimed.commands] == ["T1", "T2"]


@pytest.mark.parametrize("forces", [(), ("j2",)])
def test_a_phase_costs_less_the_longer_it_may_take(forces: Any) -> None:
    """The Δv for k revolutions is 1/k of that for one, as impulses and as commanded."""
    # On the way J2 turns the apsis and the plane a little: tight, they would cost a few per cent.
    loose = replace(TIGHT, plane_rad=TOLERANCE.plane_rad, eccentricity=TOLERANCE.eccentricity)
    site = off(forces=forces, phase=-5.2, tolerance=loose)
    found = trims(site, (1, 2, 5, 10, 20))
    assert [trim.revolutions for trim in found] == [1, 2, 5, 10, 20]
    one = 2 / 3 * speed(site) * 5.2 / 360
    dvs = [aim_trim(site, trim)[1].dv_m_s for trim in found]
    for trim, dv in zip(found, dvs, strict=True):
        assert_relative(trim.dv, one / trim.revolutions, 0.015)
        # The relation is linear, and burns are aimed within a quarter of the tolerance.
        assert_relative(dv, one / trim.revolutions, 0.04)
        assert_relative(dv, dvs[1] * 2 / trim.revolutions, 0.04)


@pytest.mark.parametrize("change", [0.01, -0.01])
def test_a_period_is_set_by_one_burn_along_the_track(change: float) -> None:
    """v/3 dT/T, whenever it is made, so that there is nothing to wait for."""
    site = off(period=change, tolerance=Tolerance(period_s=0.2))
    (trim,) = trims(site)
    assert trim.revolutions == WAITS[0]
    assert_relative(trim.dv, speed(site) * abs(change) / 3, 0.01)
    (burn,) = parts(trim)
    assert burn[1] * change < 0
    assert abs(burn[1]) > 0.999 * trim.dv


@pytest.mark.parametrize("tolerance", [TIGHT, replace(TIGHT, phase_rad=None)])
def test_an_eccentricity_is_set_by_a_pair_along_the_track(tolerance: Tolerance) -> None:
    """v |de|/2 in all, at the apsides half a revolution apart, one ahead and one back."""
    site = off(e=(3e-3, -4e-3), tolerance=tolerance)
    trim = only(site, 2)
    assert_relative(trim.dv, speed(site) * 5e-3 / 2, 0.01)
    along = parts(trim)[:, 1]
    assert_relative(np.abs(along).sum(), trim.dv, 1e-3)
    assert abs(along.sum()) < 0.01 * trim.dv
    apsis = np.degrees(np.arctan2(-4e-3, 3e-3))  # the orbit is raised at its apoapsis
    assert_degrees(longitudes(trim), np.where(along > 0, apsis + 180.0, apsis), 5.0)


@pytest.mark.parametrize("plane", [(0.3, 0.0), (0.0, -0.3), (0.2, 0.25)])
def test_a_plane_is_turned_at_the_node(plane: tuple[float, float]) -> None:
    """v di, across the track, where the two planes meet: once, or in two halves half a turn apart.

    The two cost the same, so the linear problem may have either.
    """
    site = off(plane=plane)
    trim = only(site, 1)
    tilt = np.radians(np.hypot(*plane))
    assert_relative(trim.dv, speed(site) * tilt, 0.01)
    assert len(trim.burns) <= 2
    assert_relative(np.abs(parts(trim)[:, 2]).sum(), trim.dv, 1e-6)
    candidate, _ = aim_trim(site, trim)
    for impulse in candidate.impulses:
        above = unit(impulse.position) @ site.motion.frame(0.0)[2]
        assert abs(above) < tilt * np.sin(np.radians(6.0))  # the grid is 7.5 deg


@pytest.mark.parametrize("around", range(0, 360, 60))
def test_errors_trimmed_together_cost_no_more_than_apart(around: int) -> None:
    """Phase and plane: at most the sum, at least the larger; less where burns can be shared."""
    way = np.radians(around)
    phase, plane = {"phase": -5.2}, {"plane": (0.1 * np.cos(way), 0.1 * np.sin(way))}
    apart = [only(off(**errors), 5).dv for errors in (phase, plane)]
    both = only(off(**phase, **plane), 5).dv
    assert max(apart) < both < sum(apart) * 1.001


def test_shared_burns_are_cheaper() -> None:
    """With the node where a phase trim begins and ends, parts along and across add as squares."""
    site = off(phase=-5.2)
    at = standing(site).longitude + 0.02 * TAU  # of the first burn that a trim may have
    # The normal tilts about the node's direction.
    plane = {"plane": (0.11 * np.sin(at), -0.11 * np.cos(at))}
    apart = [only(off(**errors), 5).dv for errors in ({"phase": -5.2}, plane)]
    assert_relative(apart[0], apart[1], 0.1)
    both = only(off(phase=-5.2, **plane), 5)
    assert_relative(both.dv, np.hypot(*apart), 0.01)
    assert len(sparser(off(phase=-5.2, **plane), both).burns) == 2


# What is trimmed and what is not


INSIDE = {"phase": 0.1, "period": 1e-5, "e": (5e-4, 5e-4), "plane": (0.02, 0.02)}


def test_errors_well_inside_tolerance_are_left_alone() -> None:
    """Each within half its tolerance at every wait, they cause no burn."""
    assert trims(off(tolerance=TOLERANCE, **INSIDE), (0.5, 1, 2, 5, 10, 30)) == []


@pytest.mark.parametrize(
    "beyond", [{"phase": 0.3}, {"period": 3e-4}, {"e": (1.2e-3, 0.0)}, {"plane": (0.0, 0.06)}]
)
def test_an_error_beyond_half_its_tolerance_is_trimmed(beyond: Any) -> None:
    """The negative control: any one of them larger calls for burns."""
    found = trims(off(tolerance=TOLERANCE, **INSIDE | beyond))
    assert found
    assert all(trim.burns for trim in found)


def test_a_drift_that_leaves_the_tolerance_is_stopped() -> None:
    """A period well inside its tolerance is left for a short wait; where it adds up it is met."""
    site = off(tolerance=replace(TOLERANCE, period_s=100.0), period=1e-3)
    assert trims(site, (0.5,)) == []
    assert only(site, 4).burns


@pytest.mark.parametrize(
    ("free", "errors"),
    [
        ("phase_rad", {"phase": 5.0}),
        ("period_s", {"period": 5e-3}),
        ("eccentricity", {"e": (5e-3, 5e-3)}),
        ("plane_rad", {"plane": (0.5, 0.5)}),
    ],
)
def test_an_error_that_is_not_asked_about_is_left_alone(free: str, errors: Any) -> None:
    """With its tolerance not listed there is no burn for it; with it listed there is."""
    wait = (0.5,)  # a period left would drift out of phase
    listed, loose = replace(TOLERANCE, phase_rad=1.0), replace(TOLERANCE, phase_rad=1.0)
    loose = replace(loose, **{free: None})
    listed = TOLERANCE if free == "phase_rad" else listed
    assert trims(off(tolerance=loose, **errors), wait) == []
    assert trims(off(tolerance=listed, **errors), wait)[0].burns


@pytest.mark.parametrize("turns", [0.3, 0.6, 2.5, 7.9])
def test_the_time_left_bounds_the_wait(turns: float) -> None:
    """No trim ends later than the limit on duration, and none is missing that would not."""
    site = off(phase=-5.2, days=turns * PERIOD_S / 86400)
    found = trims(site)
    assert [x.revolutions for x in found] == [w for w in WAITS if w + 0.02 <= turns]
    assert all(x.arrival / TAU <= turns for x in found)


ALL = {"phase": 4.0, "period": 2e-3, "e": (2e-3, -1e-3), "plane": (0.1, 0.2)}


@pytest.mark.parametrize("wait", [1, 3, 10])
def test_fewer_burns_reach_the_same(wait: float) -> None:
    """The sparser trim costs at most 8 % and 5 cm/s more, and lands within the same aim."""
    site, trim = posed(off(tolerance=TOLERANCE, **ALL), wait)
    few = sparser(site, trim)
    assert len(few.burns) < len(trim.burns)
    assert few.dv <= 1.08 * trim.dv + 0.05
    assert {x.place for x in few.burns} <= {x.place for x in trim.burns}
    effects = responses(trim.longitude + trim.angles, trim.angles[-1] - trim.angles)
    left = trim.errors + sum(effects[x.place] @ x.dv for x in few.burns)
    low, high = bounds(TOLERANCE, PERIOD_S, trim.errors, GOOD.fine, GOOD.broken)
    assert np.all(left >= low - 1e-6)
    assert np.all(left <= high + 1e-6)


def test_just_enough_takes_no_more_burns_than_well() -> None:
    """Less ambition, no more burns."""
    for wait in (1, 3, 10):
        site, trim = posed(off(tolerance=TOLERANCE, **ALL), wait)
        assert len(sparser(site, trim, JUST).burns) <= len(sparser(site, trim, GOOD).burns)


def test_longer_waits_have_to_pay() -> None:
    """Shortest first; each longer wait saves 3 % on the one before."""
    for errors in (ALL, {"plane": (0.1, 0.2)}, {"phase": 1.0}):
        found = trims(off(**errors))
        waits, dvs = np.array([x.revolutions for x in found]), np.array([x.dv for x in found])
        assert np.all(np.diff(waits) > 0)
        assert np.all(dvs[1:] <= 0.97 * dvs[:-1])


def test_each_error_may_be_left_as_far_as_is_fine() -> None:
    """Inside half its tolerance it may stay or shrink, beyond it has to go, unlisted it is free."""
    tolerance = Tolerance(phase_rad=0.01, period_s=10.0, eccentricity=1e-3)
    errors = np.array([0.004, -6e-4, 3e-4, -3e-4, 0.1, 0.2])
    low, high = bounds(tolerance, 1e4, errors)
    assert low.tolist() == [0.0, 0.0, 0.0, -3e-4, -np.inf, -np.inf]
    assert high.tolist() == [0.004, 0.0, 3e-4, 0.0, np.inf, np.inf]
    errors[K] = errors[H] = 0.71 * MARGIN * 1e-3  # together just beyond
    low, high = bounds(tolerance, 1e4, errors)
    assert low[K] == high[K] == low[H] == high[H] == 0.0


def test_room_may_be_given_on_both_sides() -> None:
    """A fine error may grow to a share, a broken one has to come within another; both by parts."""
    tolerance = Tolerance(phase_rad=0.01, period_s=10.0, eccentricity=1e-3, plane_rad=1e-3)
    errors = np.array([0.004, -6e-4, 1e-4, -3e-4, 1e-3, 0.0])
    low, high = bounds(tolerance, 1e4, errors, 0.2, 0.7)
    part = 1e-3 / np.sqrt(2)
    assert low == pytest.approx([-2e-3, -7e-4, -0.2 * part, -3e-4, -0.7 * part, -0.7 * part])
    assert high == pytest.approx([4e-3, 7e-4, 0.2 * part, 0.2 * part, 0.7 * part, 0.7 * part])


# Which of them first


def made_up(wait: float, dv: float) -> Trim:
    """A trim that costs so much."""
    burn = SmallBurn(0, np.array([0.0, dv / 1e3, 0.0]))
    return Trim(wait, np.array([wait]), 0.0, np.zeros(6), 1e3, [burn])


@pytest.mark.parametrize(
    ("room", "order"),
    [
        (0.0, [10, 4, 2, 1]),
        (0.5, [4, 10, 2, 1]),
        (1.5, [2, 4, 10, 1]),
        (np.inf, [1, 2, 4, 10]),
    ],
)
def test_the_earliest_that_is_nearly_the_cheapest_is_first(room: float, order: list[int]) -> None:
    """Within the room by wait, beyond it by cost."""
    found = [made_up(1, 9.0), made_up(2, 2.3), made_up(4, 1.4), made_up(10, 1.0)]
    assert [trim.revolutions for trim in by_preference(found, room)] == order


def test_no_trims_have_no_order() -> None:
    """Nothing in, nothing out."""
    assert by_preference([], 1.0) == []


def test_the_tank_is_good_for_what_the_rocket_equation_says() -> None:
    """300 kg of 610 kg at 318 s."""
    site = Range(case(engine=ENGINE))
    assert_relative(tank_dv(site), 318.0 * G0 * np.log(610.0 / 310.0), 1e-12)


# Where trims bring the craft


def test_impulses_bring_it_to_the_slot_in_two_body_motion() -> None:
    """Flown exactly, what is left is of second order in the errors: a per cent of them."""
    site = off(**ALL)
    for trim in trims(site):
        candidate, _ = aim_trim(site, trim)
        r, v, now = site.case.craft.position_m, site.case.craft.velocity_m_s, 0.0
        start = site.motion.radius_m * np.radians(4.0)
        for x in candidate.impulses:
            r, v = propagate(r, v, x.time - now, EARTH.gm_m3_s2)
            assert_metres(r, x.position, 1.0)
            v, now = x.after, x.time
        there = site.motion.radius_m * site.motion.direction(1, now)
        assert_metres(r, there, 0.15 * start)


def test_no_engine_quick_enough_is_said() -> None:
    """A burn shorter than the engine can do is refused in words."""
    engine = replace(ENGINE, min_burn_s=100.0)
    site = off(phase=-0.1)
    site = Range(replace(site.case, engine=engine))
    broken = aim_trim(site, only(site, 10))[1].broken
    assert broken is not None
    assert broken.limit == "min_burn"
    assert re.match(r"needs a burn of .* s where the engine cannot do less", broken.why)


def errors_up_to(largest: float) -> st.SearchStrategy[float]:
    """Both ways, nothing among them."""
    return st.floats(-largest, largest, allow_subnormal=False)


@settings(max_examples=8, phases=(Phase.explicit, Phase.generate))
@given(
    where=st.sampled_from([(EARTH, 3.0, 35.0), (MARS, 6.0, 90.0), (MARS, 12.0, 0.0)]),
    phase=errors_up_to(10.0),
    period=errors_up_to(0.01),
    e=st.tuples(errors_up_to(0.007), errors_up_to(0.007)),
    plane=st.tuples(errors_up_to(0.35), errors_up_to(0.35)),
    wait=st.sampled_from([1, 3, 10]),
    few=st.booleans(),
)
def test_small_errors_are_trimmed_away(
    where: Any, phase: float, period: float, e: Any, plane: Any, wait: float, few: bool
) -> None:
    """Flown in J2 with finite burns, the craft ends where the aiming has to bring it."""
    body, hours, inclination = where
    made = case(
        body,
        goal=ring(hours, inclination=inclination),
        forces=("j2",),
        thrusters=THRUSTERS,
        slot=2,
    )
    made = near(made, phase=phase, period=period, e=e, plane=plane)
    site = Range(made)
    found = trims(site, (wait,))
    assume(found)
    trim = sparser(site, found[0]) if few else found[0]
    candidate, aimed = aim_trim(site, trim)
    flight = fly_plan(made, trim_plan(site, candidate, aimed, []), reference=False)
    assert uses(made, flight.errors) < LEFT
    assert_relative(flight.dv_used_m_s, aimed.dv_m_s, 1e-6)


LEFT = 0.3
"""Share of each tolerance that the aiming may leave."""
