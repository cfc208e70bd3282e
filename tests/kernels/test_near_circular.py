"""Small burns near a circle: Gauss' equations against exact motion, and the cheapest sets."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from simcheck.kernels.elements import equinoctial_from_state
from simcheck.kernels.kepler import propagate
from simcheck.kernels.near_circular import (
    NORMAL_X,
    NORMAL_Y,
    PERIOD,
    PHASE,
    H,
    K,
    SmallBurn,
    cheapest,
    fewer,
    responses,
)
from simcheck.kernels.transfers import coast_time
from simcheck.kernels.vectors import TAU, norm, unit, wrap
from tests.helpers import assert_relative

GM, RADIUS = 3.986004418e14, 29600.318e3  # the axis of CHECKS 4.1, m
SPEED = float(np.sqrt(GM / RADIUS))
NONE = np.zeros(6)


def flown(burns: list[tuple[float, np.ndarray]], end: float) -> np.ndarray:
    """The change (6,) by burns (longitude, Δv in RSW in m/s) of a circle, flown exactly."""
    r, v, now = np.array([RADIUS, 0.0, 0.0]), np.array([0.0, SPEED, 0.0]), 0.0
    rate = SPEED / RADIUS
    at = 0.0
    for longitude, dv in burns:
        wait = coast_time(r, v, longitude - at, GM)
        r, v = propagate(r, v, wait, GM)
        now, at = now + wait, longitude
        up, pole = unit(r), unit(np.cross(r, v))
        v = v + dv[0] * up + dv[1] * np.cross(pole, up) + dv[2] * pole
    r, v = propagate(r, v, end / rate - now, GM)
    found = equinoctial_from_state(r, v, GM)
    normal = unit(np.cross(r, v))
    period = (float(found.a) / RADIUS) ** 1.5 - 1
    phase = float(wrap(found.longitude - end))
    return np.array([phase, period, found.k, found.h, normal[0], normal[1]])


@given(
    longitude=st.floats(0, TAU),
    left=st.floats(0, 3 * TAU),
    way=st.tuples(*[st.floats(-1, 1)] * 3),
)
def test_responses_are_those_of_exact_motion(longitude, left, way):
    """A burn of a ten-thousandth of the speed changes what the matrix says, to second order."""
    size = 1e-4
    dv = size * np.array(way)
    exact = flown([(longitude, dv * SPEED)], longitude + left)
    linear = responses(np.array([longitude]), np.array([left]))[0] @ dv
    assert np.max(np.abs(exact - linear)) < 30 * (1 + left) * size**2


def test_a_radial_burn_keeps_the_period_to_first_order():
    """Between the apsides it changes e by dv/v; the period only by its square, (dv/v)^2 3/2."""
    for share in (1e-2, 1e-3, 1e-4):
        found = flown([(0.3, np.array([share * SPEED, 0.0, 0.0]))], 1.0)
        assert_relative(np.hypot(found[K], found[H]), share, 2 * share)
        assert_relative(found[PERIOD], 1.5 * share**2, 5 * share)
    assert np.all(responses(np.linspace(0, 6, 7), np.zeros(7))[:, PERIOD, 0] == 0)


@pytest.mark.reference(
    "D'Amico and Montenbruck (2006), J. Guid. 29(3), from memory; numbers recomputed exactly"
)
def test_eccentricity_by_a_tangential_pair_costs_half_the_radial_one():
    """De = 1e-3 costs v de/2 by burns along the track half a turn apart, v de by radial ones.

    Flown exactly they give 1.000125e-3 and 1.0000000e-3, the axis back within 15 m and 30 m.
    """
    de = 1e-3
    along = np.array([0.0, SPEED * de / 4, 0.0])
    pair = flown([(0.0, along), (np.pi, -along)], 2 * TAU)
    assert_relative(2 * norm(along), 1.834808, 1e-6)
    assert_relative(np.hypot(pair[K], pair[H]), 1.000125e-3, 1e-6)
    assert abs(pair[PERIOD]) * RADIUS / 1.5 < 15.0
    radial = np.array([SPEED * de / 2, 0.0, 0.0])
    pair = flown([(0.0, radial), (np.pi, -radial)], 2 * TAU)
    assert_relative(2 * norm(radial), 3.669617, 1e-6)
    assert_relative(np.hypot(pair[K], pair[H]), 1e-3, 1e-7)
    assert abs(pair[PERIOD]) * RADIUS / 1.5 < 30.0


def possible(revolutions: float, count: int = 48) -> tuple[np.ndarray, np.ndarray]:
    """Longitudes of possible burns over some revolutions, and what they do by the last."""
    angle = np.linspace(0, revolutions * TAU, int(count * revolutions) + 1)
    return angle, responses(angle, angle[-1] - angle)


def total(burns: list[SmallBurn] | None) -> float:
    """Sum of the lengths."""
    assert burns is not None
    return float(sum(np.linalg.norm(burn.dv) for burn in burns))


def test_the_cheapest_change_of_eccentricity_is_the_tangential_pair():
    """|de|/2 of the speed, half a turn apart, at the apsides and along the track."""
    angle, effects = possible(1.0)
    want = NONE.copy()
    want[K] = 1e-3
    burns = cheapest(effects, want, want)
    assert_relative(total(burns), 0.5e-3, 1e-6)
    for burn in burns or []:
        assert abs(np.sin(angle[burn.place])) < 1e-9
        assert abs(burn.dv[0]) + abs(burn.dv[2]) < 1e-12


@pytest.mark.parametrize("turns", [1, 2, 10])
def test_the_cheapest_change_of_phase_is_a_period_held_for_all_the_time(turns):
    """dphi over k whole turns: two burns of dphi/(3 2 pi k) each at one place, so 1/k the cost.

    So it is along the track; with radial parts allowed it may be dearer by nothing, and is cheaper
    by less than 0.2 %.
    """
    _, effects = possible(float(turns))
    want = NONE.copy()
    want[PHASE] = np.radians(5.2)
    operators = 2 * np.radians(5.2) / (3 * TAU * turns)
    along = cheapest(effects[:, :, 1:], want, want)
    assert along is not None
    assert [burn.place for burn in along] == [0, len(effects) - 1]
    assert_relative(total(along), operators, 1e-6)
    assert (1 - 2e-3) * operators < total(cheapest(effects, want, want)) < (1 + 1e-6) * operators


def test_the_cheapest_change_of_plane_is_at_the_node():
    """The tilt itself, over the speed, by one burn across the track."""
    angle, effects = possible(1.0)
    want = NONE.copy()
    want[NORMAL_X] = 1e-3
    burns = cheapest(effects, want, want)
    assert_relative(total(burns), 1e-3, 1e-6)
    assert all(abs(abs(np.sin(angle[burn.place])) - 1) < 1e-9 for burn in burns or [])


@settings(max_examples=15)
@given(st.lists(st.floats(-1, 1), min_size=6, max_size=6))
def test_burns_do_what_is_wanted_and_obey_the_primer(want):
    """The set's joint effect is the change wanted; no single axis at all places does it cheaper."""
    from scipy.optimize import linprog

    change = 1e-3 * np.array(want)
    _, effects = possible(2.0, 24)
    burns = cheapest(effects, change, change)
    assert burns is not None
    done = sum((effects[b.place] @ b.dv for b in burns), NONE)
    assert np.max(np.abs(done - change)) < 1e-9
    flat = np.concatenate([effects[:, :, i].T for i in range(3)], axis=1)
    brute = linprog(np.ones(2 * flat.shape[1]), A_eq=np.hstack([flat, -flat]), b_eq=want)
    # Along the axes only: an upper bound. The solver's own tolerance is 1e-7, absolute.
    assert total(burns) <= 1e-3 * brute.fun * (1 + 1e-6) + 1e-9
    assert total(burns) >= 1e-3 * brute.fun / np.sqrt(3) - 1e-9


def test_room_is_used():
    """With some room about the change wanted, only what lies beyond the room is paid for."""
    _, effects = possible(1.0)
    low, high = NONE - 1e-5, NONE + 1e-5
    low[NORMAL_Y], high[NORMAL_Y] = 0.9e-3, 1.1e-3
    assert_relative(total(cheapest(effects, low, high)), 0.9e-3, 1e-6)


def test_what_cannot_be_reached_gives_none():
    """A single possible burn along one line does not change everything."""
    effects = responses(np.array([0.0]), np.array([0.0]))
    assert cheapest(effects, np.full(6, 1e-3), np.full(6, 1e-3)) is None


@pytest.mark.parametrize("turns", [2, 3, 4, 5, 8, 10, 12, 16, 20, 30])
@pytest.mark.parametrize("row", [K, H, NORMAL_X, NORMAL_Y])
def test_what_can_be_reached_is_reached_over_any_time(turns: int, row: int) -> None:
    """Any one error over any number of whole revolutions, burns along the track and across it."""
    _, effects = possible(float(turns))
    want = NONE.copy()
    want[row] = 1e-3
    expected = 0.5e-3 if row in (K, H) else 1e-3
    assert_relative(total(cheapest(effects[:, :, 1:], want, want)), expected, 1e-3)


ROOM = np.array([1e-4, 2e-5, 1e-4, 1e-4, 1e-4, 1e-4])
CHANGES = st.lists(st.floats(-1, 1, allow_subnormal=False), min_size=6, max_size=6)


def reached(effects: np.ndarray, burns: list[SmallBurn]) -> np.ndarray:
    """The burns' joint effect."""
    return sum((effects[b.place] @ b.dv for b in burns), NONE)


@settings(max_examples=12)
@given(CHANGES)
def test_fewer_burns_reach_what_more_do(want: list[float]) -> None:
    """Between the bounds, in places they had, as cheap as can be and no dearer than allowed."""
    change = 1e-3 * np.array(want)
    low, high = change - ROOM, change + ROOM
    _, effects = possible(2.0, 24)
    burns = cheapest(effects, change, change)
    assert burns is not None
    most = 1.3 * total(burns)
    few = fewer(effects, burns, low, high, most)
    places = [b.place for b in few]
    assert set(places) <= {b.place for b in burns}
    assert total(few) <= most
    # A ten-thousandth of the largest change, each over its largest response, counts as made.
    scale = np.max(np.abs(effects), axis=(0, 2))
    slack = 1e-4 * np.max(np.abs([low, high] / scale)) * scale
    assert np.all(np.abs(reached(effects, few) - change) <= ROOM + slack)
    best = cheapest(effects[places], low, high) if len(few) < len(burns) else None
    if best:  # eight rounds of reweighting end within 1 % of the optimum, one within 3 %
        assert total(few) <= total(best) * 1.02


@pytest.mark.parametrize("count", [2, 3])
def test_a_change_that_is_fine_as_it_is_harms_nothing(count: int) -> None:
    """Where the bounds hold no change at all, leaving burns out costs nothing."""
    _, effects = possible(2.0, 24)
    burns = [SmallBurn(12 * i, np.array([0.0, 1e-4, 0.0])) for i in range(count)]
    few = fewer(effects, burns, -ROOM, ROOM, total(burns))
    assert len(few) == 1
    assert total(few) <= 1e-6


def test_burns_on_an_axis_are_no_exception() -> None:
    """Burns where a response is zero but for rounding: what one of them cannot do, it does not."""
    _, effects = possible(2.0)
    want = NONE.copy()
    want[H] = 1e-3  # a quarter turn from the node, where the other responses are 1e-16
    for places in ((12, 36, 60), (12, 36)):
        burns = [SmallBurn(p, np.array([0.0, 1e-4, 0.0])) for p in places]
        few = fewer(effects, burns, want - ROOM, want + ROOM, 1.0)
        assert few is burns or abs(reached(effects, few)[H] - 1e-3) < 1.1e-4


def test_a_burn_that_is_not_needed_is_left_out() -> None:
    """A plane turned by two burns half a turn apart is turned by one of them at the same cost."""
    _, effects = possible(1.0)
    across = np.array([0.0, 0.0, 0.5e-3])
    burns = [SmallBurn(10, across), SmallBurn(34, -across)]
    want = reached(effects, burns)
    assert_relative(np.hypot(want[NORMAL_X], want[NORMAL_Y]), 1e-3, 1e-12)
    (left,) = fewer(effects, burns, want, want, 1.001e-3)
    assert_relative(abs(left.dv[2]), 1e-3, 1e-4)
    assert_relative(np.linalg.norm(left.dv), 1e-3, 1e-4)


def test_burns_that_are_needed_stay() -> None:
    """A pair for the eccentricity cannot be one burn at any price: the period would be wrong."""
    _, effects = possible(1.0)
    want = NONE.copy()
    want[K] = 1e-3
    pair = [SmallBurn(0, np.array([0, 0.25e-3, 0])), SmallBurn(24, np.array([0, -0.25e-3, 0]))]
    want[PHASE] = reached(effects, pair)[PHASE]
    assert np.allclose(reached(effects, pair), want, atol=1e-12)
    assert fewer(effects, pair, want, want, 10 * total(pair)) is pair


def test_a_burn_is_left_out_for_a_price_only() -> None:
    """A small plane burn off the node is dropped where there is room, unless that is too dear."""
    _, effects = possible(1.0)
    burns = [SmallBurn(1, np.array([0, 0, 1e-3])), SmallBurn(11, np.array([0, 0, 0.2e-3]))]
    want, room = reached(effects, burns), np.full(6, 0.21e-3)
    assert fewer(effects, burns, want, want, 2 * total(burns)) is burns
    (left,) = fewer(effects, burns, want - room, want + room, total(burns))
    assert left.place == 1
    assert fewer(effects, burns, want - room, want + room, 0.5 * total(burns)) is burns
