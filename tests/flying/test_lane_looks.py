"""Extremes of coasts side by side against `clearances`, which finds them as events."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from simcheck.clearances import Clearances, Stretch, clearances
from simcheck.engines.base import Thrust
from simcheck.engines.batches import TaylorBatches, ThrustBatch
from simcheck.engines.choosing import fast_propagator
from simcheck.engines.gravity import gravity_of
from simcheck.flying.lane_burns import LaneBurns
from simcheck.flying.lane_looks import Looks
from simcheck.kernels.vectors import unit
from simcheck.measuring import relay_state, resolve_ring
from simcheck.planning.commanding import member_states
from simcheck.records.case import Case, Member
from tests.engines.bench import state
from tests.flying.bench import case

MEMBERS = (Member(name="R1", slot=0), Member(name="R2", slot=1))
HOUR = 3600.0


@cache
def scene(members: tuple[Member, ...] = MEMBERS) -> tuple[Case, Looks, TaylorBatches]:
    made = case(members=members)
    p = fast_propagator(gravity_of(made))
    batches = TaylorBatches(p.gravity)
    return made, Looks(made, batches, resolve_ring(made.ring, p), p), batches


def exact(made: Case, time: float, y: np.ndarray, until: float) -> Clearances:
    """By events and cubics, from time on; members are followed from 0."""
    p = fast_propagator(gravity_of(made))
    motion = resolve_ring(made.ring, p)
    there = [p.advance(0.0, m, time).state for m in member_states(made, motion, p)]
    return clearances(p, [Stretch(time, until, y, None)], there, 0.0)


def nearest(seen: Clearances) -> list[float]:
    """The least distance to each member."""
    last = max(p.member for p in seen.passings)
    return [min(p.distance_m for p in seen.passings if p.member == k) for k in range(last + 1)]


@pytest.mark.parametrize(
    ("e", "room"), [((0.0, 0.01), 0.1), ((0.01, 0.1), 0.5), ((0.1, 0.5), 0.5), ((0.5, 0.8), 5.0)]
)
def test_close_approaches_are_right_to_metres(e: tuple[float, float], room: float) -> None:
    """Orbits that cross or touch the ring anywhere, for up to a week: as exact as the motion.

    A step of 13 to 25 deg leaves 3e-9 to 1e-7 of the radius on a quintic.
    """
    made, _, _ = scene()
    made = replace(made, limits=replace(made.limits, separation_m=20e3))
    p = fast_propagator(gravity_of(made))
    watching = Looks(made, TaylorBatches(p.gravity), resolve_ring(made.ring, p), p)
    rng, rows = np.random.default_rng(7), []
    for _ in range(25):
        size, turned = rng.uniform(0.8, 1.0) * 2.5, rng.uniform(0.0, 6.2, 2)
        rows.append(
            state(size, rng.uniform(*e), rng.uniform(0.0, 1.1), argp=turned[0], nu=turned[1])
        )
    times = rng.uniform(0.0, 1e5, 25)
    until = times + rng.uniform(1.0, 170.0, 25) * HOUR
    found = watching.look(times, np.array(rows), until)
    for k in range(25):
        seen = exact(made, times[k], rows[k], until[k])
        assert found[2:, k] == pytest.approx(nearest(seen), abs=room)


def burns(count: int) -> tuple[np.ndarray, np.ndarray, LaneBurns]:
    """Burns of minutes by a strong engine, near members and far from them, some turning."""
    made, _, batches = scene()
    p = fast_propagator(gravity_of(made))
    motion = resolve_ring(made.ring, p)
    members = member_states(made, motion, p)
    rng = np.random.default_rng(11)
    times = rng.uniform(1e3, 2e5, count)
    push = ThrustBatch(
        rng.uniform(400.0, 2000.0, count),
        np.full(count, 310.0),
        np.arange(count) % 2 == 0,
        unit(rng.normal(size=(count, 3))),
    )
    ends = times + rng.uniform(20.0, 2500.0, count)
    states = np.empty((count, 7))
    for k in range(count):
        y = np.append(p.advance(0.0, members[k % 2], times[k]).state[:6], 4000.0)
        away = 3e5 if k % 3 else 8e6
        y[:3] += away * unit(rng.normal(size=3))
        y[3:6] += rng.normal(0.0, 400.0, 3)
        states[k] = y
    after = batches.advance(times, states, ends, push)
    none = np.zeros(count, dtype=bool)
    return times, states, LaneBurns(ends, after, np.zeros(count), none, none, push)


def test_burns_are_looked_at_where_they_may_be_the_nearest() -> None:
    """Each burn's least distance to each member, as `clearances` has it, unless more is known.

    What is known already, and lower than a burn can go, comes back.
    """
    made, looks, _ = scene()
    p = fast_propagator(gravity_of(made))
    motion = resolve_ring(made.ring, p)
    times, states, went = burns(24)
    found = looks.look_at_burns(times, states, went, np.full((2, 24), np.inf))
    inside = 0
    for k in range(24):
        push, turning = went.push, bool(np.asarray(went.push.steering)[k])
        thrust = Thrust(
            thrust_n=float(push.thrust_n[k]),
            isp_s=float(push.isp_s[k]),
            steering="rsw" if turning else "inertial",
            direction=push.direction[k],
        )
        there = [p.advance(0.0, m, times[k]).state for m in member_states(made, motion, p)]
        seen = clearances(p, [Stretch(times[k], went.ends[k], states[k], thrust)], there, 0.0)
        assert found[:, k] == pytest.approx(nearest(seen), abs=1.0)
        inside += sum(x.kind == "minimum" for x in seen.passings)
    assert inside >= 5
    known = 0.999 * found
    assert looks.look_at_burns(times, states, went, known).tobytes() == known.tobytes()
    assert (looks.look_at_burns(times, states, went, 1.001 * found) == found).all()


def test_a_burn_looked_at_is_the_same_in_any_company() -> None:
    """The same bits alone and beside others; one missed, or broken down, has met nothing."""
    _, looks, _ = scene()
    times, states, went = burns(12)
    known = np.full((2, 12), np.inf)
    whole = looks.look_at_burns(times, states, went, known)
    for some in (np.array([7]), np.arange(12)[::-1]):
        part = went._replace(
            ends=went.ends[some], states=went.states[some], push=went.push.of(some)
        )
        found = looks.look_at_burns(times[some], states[some], part, known[:, some])
        assert found.tobytes() == np.ascontiguousarray(whole[:, some]).tobytes()
    went.ends[3], went.states[5] = times[3], np.nan
    found = looks.look_at_burns(times, states, went, known)
    assert np.isinf(found[:, [3, 5]]).all()
    others = np.setdiff1d(np.arange(12), [3, 5])
    assert (found[:, others] == whole[:, others]).all()


def ellipses(count: int, *, e: tuple[float, float] = (0.1, 0.7)) -> np.ndarray:
    rng = np.random.default_rng(2)
    return np.array(
        [
            state(
                rng.uniform(1.1, 2.0),
                rng.uniform(*e),
                rng.uniform(0.3, 1.1),
                nu=rng.uniform(0.0, 6.2),
            )
            for _ in range(count)
        ]
    )


@pytest.mark.parametrize("e", [0.12, 0.3, 0.5, 0.7, 0.85])
def test_radii_on_ellipses_are_those_of_the_apsides(e: float) -> None:
    """Lowest and largest radius to 300 m on ellipses, mostly to one, over parts of a revolution
    and many.

    Revolutions differ by some hundred metres in J2 to J4, and samples do not show which is the
    lowest.
    """
    made, looks, _ = scene(())
    rng = np.random.default_rng(0)
    rows = np.array(
        [state(rng.uniform(1.1, 2.0), e, 0.7, nu=rng.uniform(0.0, 6.0)) for _ in range(20)]
    )
    times = np.linspace(0.0, 5e4, 20)
    until = times + rng.uniform(0.3, 60.0, 20) * HOUR
    found = looks.look(times, rows, until)
    off = []
    for k in range(20):
        seen = exact(made, times[k], rows[k], until[k])
        off.append((found[0, k] - seen.lowest_radius_m, found[1, k] - seen.largest_radius_m))
    assert np.abs(off).max() < 300.0
    assert np.median(np.abs(off)) < 1.0
    assert len(found) == 2


def test_a_start_just_past_its_periapsis_does_not_hide_the_next() -> None:
    """A coast that begins a little above its periapsis is lowest a revolution later, not there."""
    made, looks, _ = scene(())
    row = state(1.13, 0.7, 0.7, nu=0.07)
    (low, _) = looks.look(np.zeros(1), row[None], np.array([20.0 * HOUR]))
    seen = exact(made, 0.0, row, 20.0 * HOUR)
    assert low[0] == pytest.approx(seen.lowest_radius_m, abs=100.0)
    assert seen.lowest_radius_m < np.linalg.norm(row[:3]) - 1e3


def test_radii_near_a_circle() -> None:
    """Near the ring, of fewer samples, to a few hundred metres of 12,000 km."""
    made, looks, _ = scene(())
    rows = np.array([state(2.4, e, 0.7, nu=nu) for e in (1e-3, 0.02, 0.05) for nu in (0.0, 2.0)])
    times, until = np.zeros(6), np.array([2.0, 7.0, 20.0, 40.0, 30.0, 90.0]) * HOUR
    found = looks.look(times, rows, until)
    for k in range(6):
        seen = exact(made, 0.0, rows[k], until[k])
        assert found[0, k] == pytest.approx(seen.lowest_radius_m, abs=300.0)
        assert found[1, k] == pytest.approx(seen.largest_radius_m, abs=300.0)


def test_distances_to_members_are_the_closest_approaches() -> None:
    """The least distance to each member to a metre, from the epoch and from long after it.

    Craft that pass through the members' ring and one that follows a member closely.
    """
    made, looks, batches = scene()
    p = fast_propagator(gravity_of(made))
    motion = resolve_ring(made.ring, p)
    rows = ellipses(10, e=(0.2, 0.6))
    relay = np.append(relay_state(motion, p, 0), 500.0)
    rows[-1] = p.advance(0.0, relay, -3.0).state  # three seconds behind
    times = np.concatenate([[0.0, 0.0], np.linspace(1e3, 9e5, 7), [0.0]])
    until = times + np.linspace(4.0, 50.0, 10) * HOUR
    found = looks.look(times, rows, until)
    for k in range(10):
        seen = exact(made, times[k], rows[k], until[k])
        assert found[2:, k] == pytest.approx(nearest(seen), abs=1.0)
        assert np.min(found[2:, k]) == pytest.approx(seen.closest_m, abs=1.0)
    assert found[2, -1] < 0.1 * np.min(found[2:, :-1])
    assert batches.gravity.gm == made.body.gm_m3_s2


def test_lanes_with_nowhere_to_go_have_met_nothing() -> None:
    """No span, a span back in time, or no number: nothing is met, and no other lane is touched."""
    made, looks, _ = scene()
    rows = ellipses(5)
    until = np.array([2.0, 0.0, -3.0, 2.0, 2.0]) * HOUR
    good = looks.look(np.zeros(5), rows, until)
    rows[3, 4] = np.nan
    found = looks.look(np.zeros(5), rows, until)
    assert found[:, [1, 2, 3]].tolist() == [[np.inf] * 3, [0.0] * 3, [np.inf] * 3, [np.inf] * 3]
    assert found[:, [0, 4]].tobytes() == good[:, [0, 4]].tobytes()
    assert np.isfinite(found[:, [0, 4]]).all()
    assert looks.look(np.empty(0), np.empty((0, 7)), np.empty(0)).shape == (4, 0)
    assert made.members == MEMBERS


def test_a_lane_is_the_same_alone_and_in_any_company() -> None:
    """Alone, in part, in another order, by looks made anew: the same bits.

    Members are followed as far as any lane so far has asked; those before do not move for that.
    """
    _, looks, _ = scene()
    rows, times = ellipses(12), np.linspace(0.0, 8e5, 12)
    until = times + np.geomspace(0.5, 80.0, 12) * HOUR
    whole = looks.look(times, rows, until)
    for some in (np.array([11]), np.array([0]), np.array([5, 2]), np.arange(12)[::-1]):
        made = case(members=MEMBERS)
        p = fast_propagator(gravity_of(made))
        fresh = Looks(made, TaylorBatches(p.gravity), resolve_ring(made.ring, p), p)
        for one in (looks, fresh):
            found = one.look(times[some], rows[some], until[some])
            assert found.tobytes() == np.ascontiguousarray(whole[:, some]).tobytes()
