"""Averages of many lanes are `average`'s, lane by lane, and no lane knows of another."""

import numpy as np
import pytest

from simcheck.engines.batches import TaylorBatches
from simcheck.engines.taylor import TaylorPropagator
from simcheck.errors import FlightError
from simcheck.kernels.vectors import TAU, rsw_frame, wrap
from simcheck.measuring import average, resolve_ring
from simcheck.measuring_lanes import LaneAverages, LaneGlance, average_lanes, glance_lanes
from tests.engines.bench import state
from tests.helpers import assert_metres, assert_radians, assert_relative
from tests.test_measuring import DEG, body, member, ring

N = 70  # two blocks and some


def lanes(g, i: float, seed: int = 2) -> tuple[np.ndarray, np.ndarray]:
    """Times (n,) and states (n, 7) near the ring of two radii, and some far from it; i in rad."""
    rng = np.random.default_rng(seed)
    states = [
        state(
            rng.uniform(1.3, 2.5) if k % 7 == 0 else 2.0 * (1 + 0.01 * rng.normal()),
            rng.uniform(0.0, 0.8) if k % 7 == 0 else 0.02 * rng.random(),
            np.clip(i + 0.02 * rng.normal(), 0.0, np.pi),
            raan=1.0 + 0.02 * rng.normal(),
            nu=rng.uniform(0.0, 6.3),
            body=g,
        )
        for k in range(N)
    ]
    return rng.uniform(0.0, 1e6, N), np.array(states)


def rows(averages: LaneAverages) -> list[bytes]:
    """Every lane's averages, to the bit."""
    columns = np.concatenate([a.reshape(len(averages.time), -1) for a in averages], axis=1)
    return [row.tobytes() for row in columns]


@pytest.mark.parametrize("i", [0.0, 35.0, 90.0, 140.0, 180.0])
@pytest.mark.parametrize(
    ("name", "terms"), [("Mars", ""), ("Mars", "2"), ("Mars", "234"), ("Vesta", "234")]
)
def test_they_are_the_scalar_averages(name, terms, i):
    """Each lane's averages are `average`'s to 1e-11, near a ring of any tilt and far from it.

    Both settle the window to 1e-12; it moves nothing else as much as the time it ends at.
    """
    g = body(name, terms)
    p = TaylorPropagator(g)
    motion = resolve_ring(ring(g, i), p)
    times, states = lanes(g, i * DEG)
    found = average_lanes(TaylorBatches(g), times, states, motion)
    for k in range(0, N, 3):
        one = average(p, times[k], states[k], motion)
        assert_relative(found.time[k] - times[k], one.time - times[k], 1e-11)
        # As lines: at one time.
        line = found.longitude[k] + TAU / one.period * (one.time - found.time[k])
        assert_radians(line, one.longitude, 1e-11)
        assert_relative(found.period[k], one.period, 1e-11)
        assert_metres(found.e_vector[k], one.e_vector, 1e-11)
        assert_metres(found.normal[k], one.normal, 1e-11)
        assert_relative(found.radius[k], one.radius, 1e-11)


@pytest.mark.parametrize("i", [0.0, 63.0, 180.0])
def test_members_of_a_ring_read_zero(i):
    """Relays on their slots read their slots' phase and period, a circle, and no tilt."""
    g = body("Mars", "2")
    p = TaylorPropagator(g)
    motion = resolve_ring(ring(g, i), p)
    states = np.array([member(motion, p, slot) for slot in range(4)])
    found = average_lanes(TaylorBatches(g), np.zeros(4), states, motion)
    phase = [wrap(found.longitude[k] - motion.longitude(k, found.time[k])) for k in range(4)]
    assert np.abs(phase).max() < 1e-11
    assert_relative(found.period, motion.period_s, 1e-11)
    assert np.abs(found.e_vector).max() < 1e-11
    assert np.abs(found.normal[:, :2]).max() < 1e-11


def test_a_lane_that_is_no_closed_orbit_is_nan_alone():
    """Open orbits, falls and states without a number give NaN rows; the others keep their bits."""
    g = body("Mars", "234")
    motion = resolve_ring(ring(g, 35.0), TaylorPropagator(g))
    times, states = lanes(g, 35.0 * DEG)
    b = TaylorBatches(g)
    good = rows(average_lanes(b, times, states, motion))
    states[4, 3:6] *= 2.0
    states[5, 3:6] = 0.0
    states[40, 2] = np.nan
    states[41, 2] = np.inf
    times[69] = np.nan
    found = average_lanes(b, times, states, motion)
    bad = np.isin(np.arange(N), [4, 5, 40, 41, 69])
    for part in found:
        assert np.isnan(part[bad]).all()
        assert np.isfinite(part[~bad]).all()
    after = rows(found)
    assert all(after[k] == good[k] for k in np.flatnonzero(~bad))


def test_rows_are_nan_just_where_the_scalar_average_refuses():
    """Deep in Vesta's field, where orbits break down or find no steady period, both say so alike.

    Where they find one it is the same, though the passes to it differ.
    """
    g = body("Vesta", "234")
    p = TaylorPropagator(g)
    motion = resolve_ring(ring(g, 35.0), p)
    rng = np.random.default_rng(6)
    states = np.array(
        [
            state(rng.uniform(0.1, 1.2), rng.uniform(0, 0.97), 3 * rng.random(), nu=nu, body=g)
            for nu in rng.uniform(0.0, 6.0, N)
        ]
    )
    found = average_lanes(TaylorBatches(g), np.zeros(N), states, motion)
    refused = []
    for k in range(N):
        try:
            assert_relative(found.period[k], average(p, 0.0, states[k], motion).period, 1e-11)
        except FlightError as error:
            assert np.isnan(found.period[k])
            refused.append(str(error))
    assert sum("no steady period" in text for text in refused) >= 3
    assert sum("broke down" in text for text in refused) >= 3


def test_a_lane_is_the_same_alone_and_in_any_company():
    """Alone, shuffled, or in batches of any size, a lane's averages keep their bits."""
    g = body("Mars", "234")
    motion = resolve_ring(ring(g, 35.0), TaylorPropagator(g))
    times, states = lanes(g, 35.0 * DEG)
    b, rng = TaylorBatches(g), np.random.default_rng(4)
    whole = rows(average_lanes(b, times, states, motion))
    for size in [*[1] * 30, *range(2, 9), 33, N, N]:
        some = rng.permutation(N)[:size]
        found = rows(average_lanes(b, times[some], states[some], motion))
        assert found == [whole[k] for k in some]


def test_no_lanes():
    """No lanes give empty arrays."""
    g = body("Mars", "2")
    motion = resolve_ring(ring(g, 35.0), TaylorPropagator(g))
    found = average_lanes(TaylorBatches(g), np.empty(0), np.empty((0, 7)), motion)
    assert [part.shape for part in found] == [(0,), (0,), (0,), (0, 2), (0, 3), (0,)]


# Glances


def near_ring(p, motion) -> tuple[np.ndarray, np.ndarray]:
    """Relays (n, 7) at times (n,), off their slots as a flight team meets them.

    e up to 0.02, the plane up to a degree, the period up to some 0.3 %.
    """
    rng, times = np.random.default_rng(3), np.random.default_rng(4).uniform(0.0, 1e6, N)
    relays, states = [member(motion, p, slot) for slot in range(4)], []
    for k in range(N):
        y = p.advance(0.0, relays[k % 4], times[k]).state
        kick = rsw_frame(y[:3], y[3:6]).T @ (rng.normal(size=3) * [7e-3, 4e-4, 5e-3])
        y[3:6] += np.linalg.norm(y[3:6]) * kick
        states.append(y)
    return times, np.array(states)


@pytest.mark.parametrize("i", [0.0, 35.0, 90.0, 140.0])
@pytest.mark.parametrize(("name", "terms"), [("Mars", ""), ("Mars", "2"), ("Earth", "234")])
def test_a_glance_is_the_average_near_a_ring(name, terms, i):
    """Near a ring glances are averages at the times they end, but for the window's small error.

    J2 R2/r2 is some 5e-4 there and the periodic terms a few times that; times a period off by up to
    0.3 % it makes 6e-6 for those furthest off, in the middle 3e-7. In two-body motion only rounding
    is left.
    """
    g = body(name, terms)
    p = TaylorPropagator(g)
    motion = resolve_ring(ring(g, i), p)
    times, states = near_ring(p, motion)
    seen = glance_lanes(TaylorBatches(g), times, states, motion, 1)
    whole = average_lanes(TaylorBatches(g), times, states, motion)
    ahead = TAU * (seen.time - whole.time) / whole.period
    phase = whole.longitude + ahead - motion.longitude(1, seen.time)
    slow = whole.period / motion.period_s - 1
    expected = np.stack([phase, slow, *whole.e_vector.T, *whole.normal[:, :2].T], axis=-1)
    off = np.abs(seen.errors - expected)
    off[:, 0] = np.abs(wrap(seen.errors[:, 0] - phase))
    worst, middle = (6e-6, 3e-7) if terms else (1e-12, 1e-14)
    assert off.max() < worst
    assert np.median(off) < middle
    assert_radians(seen.longitude, whole.longitude + ahead, worst)
    assert np.hypot(*whole.e_vector.T).max() > 0.015
    assert np.abs(slow).max() > 0.002


def test_a_member_glanced_at_is_in_its_slot():
    """Relays on their slots are seen there to 1e-9, all that fewer samples lose in J2."""
    g = body("Mars", "2")
    p = TaylorPropagator(g)
    motion = resolve_ring(ring(g, 35.0), p)
    states = np.array([member(motion, p, slot) for slot in range(4)])
    for slot in range(4):
        seen = glance_lanes(TaylorBatches(g), np.zeros(4), states, motion, slot)
        assert np.abs(seen.errors[slot]).max() < 1e-9
        phases = np.degrees(seen.errors[:, 0])
        apart = (phases - 90.0 * (np.arange(4) - slot) + 180) % 360 - 180
        assert np.abs(apart).max() < 1e-7


def glanced(seen: LaneGlance) -> list[bytes]:
    """Every lane's glance, to the bit."""
    return [np.hstack(row).tobytes() for row in zip(*seen, strict=True)]


def test_a_glance_is_the_same_alone_and_in_any_company():
    """Alone, shuffled, in batches of any size, beside lanes without an answer: the same bits.

    Open orbits and states without a number are NaN there and nowhere else; no lanes give none.
    """
    g = body("Mars", "234")
    motion = resolve_ring(ring(g, 35.0), TaylorPropagator(g))
    times, states = lanes(g, 35.0 * DEG)
    states[4, 3:6] *= 2.0
    states[5, 3:6] = 0.0
    states[40, 2] = np.nan
    b, rng = TaylorBatches(g), np.random.default_rng(4)
    seen = glance_lanes(b, times, states, motion, 2)
    bad = np.isin(np.arange(N), [4, 5, 40])
    assert (np.isnan(seen.errors).all(axis=1) == bad).all()
    assert (np.isnan(seen.errors).any(axis=1) == bad).all()
    whole = glanced(seen)
    for size in [*[1] * 20, *range(2, 9), 33, N]:
        some = rng.permutation(N)[:size]
        assert glanced(glance_lanes(b, times[some], states[some], motion, 2)) == [
            whole[k] for k in some
        ]
    none = glance_lanes(b, times[:0], states[:0], motion, 2)
    assert [part.shape for part in none] == [(0,), (0, 6), (0,)]
