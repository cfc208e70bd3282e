"""Motion under other bodies and sunlight: the engines agree, whatever an arc is cut into."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from simcheck.engines.base import Stop, stop_at_apsis, stop_at_period
from simcheck.engines.batches import TaylorBatches, ThrustBatch
from simcheck.engines.gravity import Gravity
from simcheck.engines.pulls import longest_arc
from simcheck.engines.reference import ReferencePropagator
from simcheck.engines.taylor import TaylorPropagator
from simcheck.engines.variational import tangent
from simcheck.errors import FlightError
from simcheck.kernels.vectors import dot, norm
from tests.engines import skies
from tests.engines.bench import NAMES, POLE, period, state
from tests.engines.skies import (
    BURN,
    DAY_S,
    HIGH,
    LOW,
    MOON,
    START,
    quick,
    switchings,
)
from tests.helpers import assert_metres, assert_metres_per_second, assert_relative, assert_seconds

ORBITS = {"low": LOW, "high": HIGH}
FULL, LIGHT = skies.about_the_moon(skies.sky()), skies.about_the_moon(skies.sky(pulls=False))

ENGINES = [TaylorPropagator, ReferencePropagator]
both = pytest.mark.parametrize("engine", ENGINES, ids=NAMES)
either = pytest.mark.parametrize("name", ORBITS)


# ------------------------------------------------------------------- two engines


@either
@pytest.mark.parametrize("gravity", [FULL, LIGHT], ids=["all", "light"])
def test_the_engines_agree(name: str, gravity: Gravity, monkeypatch: pytest.MonkeyPatch) -> None:
    """Within a millimetre after four revolutions, through shadows that the reference steps over.

    With a sail of 1 m2/kg, whose push of 6e-6 m/s2 is fifty times a relay's.
    """
    y = ORBITS[name]
    until = START + 4 * period(y, MOON.gm)
    noted = switchings(monkeypatch)
    fast = TaylorPropagator(gravity).advance(START, y, until).state
    assert noted == [0.0, 1.0] * 4
    slow = ReferencePropagator(gravity).advance(START, y, until).state
    assert_metres(fast[:3], slow[:3], 1e-3)
    assert_metres_per_second(fast[3:6], slow[3:6], 1e-6)


@either
def test_the_forces_are_felt(name: str) -> None:
    """Pulls and push each move the craft by what they are: half of a t^2, within a factor."""
    y = ORBITS[name]
    span = 0.5 * period(y, MOON.gm)
    rest = TaylorPropagator(skies.about_the_moon(None)).advance(START, y, START + span).state
    for gravity, size in ((LIGHT, 6.36e-6), (FULL, 1.4e-5 * norm(y[:3]) / 1e7)):
        moved = norm(TaylorPropagator(gravity).advance(START, y, START + span).state - rest)
        assert 0.1 < moved / (0.5 * size * span**2) < 10.0


@either
def test_batches_are_the_scalar_engine(name: str) -> None:
    """After ten revolutions of many windows: to rounding, as without a sky."""
    y, span = ORBITS[name], 10 * period(ORBITS[name], MOON.gm)
    times = START + np.array([0.0, 4321.0, 1e6, 0.0, 17.0])
    until = times + span * np.array([1.0, 0.9, -0.8, 1.0, 0.05])
    found = TaylorBatches(FULL).advance(times, np.stack([y] * 5), until)
    for k in range(5):
        one = TaylorPropagator(FULL).advance(times[k], y, until[k]).state
        assert_metres(found[k, :3], one[:3], 1e-5)


def test_a_lane_is_the_same_alone_and_in_any_company() -> None:
    """Bit for bit, whatever the others' orbits, times and windows, coasting, burning, sampling."""
    rng = np.random.default_rng(7)
    n = 11
    states = np.array([ORBITS["low" if k % 3 else "high"] for k in range(n)])
    states[:, :3] *= 1 + 0.01 * rng.random((n, 1))
    times = START + rng.uniform(0.0, 3e6, n)
    until = times + rng.choice([2e3, 2e4, 9e5, -3e5], n)
    fast = TaylorBatches(FULL)
    burn = ThrustBatch(np.full(n, 0.5), np.full(n, 300.0), "rsw", np.tile([0.0, 1.0, 0.0], (n, 1)))
    grid = times[:, None] + np.linspace(0.1, 1.0, 9) * np.abs(until - times)[:, None]
    stop = stop_at_period(1.02 * period(LOW, MOON.gm), MOON.gm)
    coasts = fast.advance(times, states, until)
    burns = fast.advance(times, states, until, burn)
    samples = fast.sample(times, states, grid)
    stops = fast.until_stop(times, states, np.abs(until - times) + times, burn, stop)
    assert np.isfinite(coasts).all()
    assert np.isfinite(stops.states).all()
    for rows in (np.array([3]), np.array([9, 4, 0, 7, 10, 2])):
        some = times[rows], states[rows]
        assert np.array_equal(fast.advance(*some, until[rows]), coasts[rows])
        assert np.array_equal(fast.advance(*some, until[rows], burn.of(rows)), burns[rows])
        assert np.array_equal(fast.sample(*some, grid[rows]), samples[rows])
        again = fast.until_stop(*some, np.abs(until - times)[rows] + some[0], burn.of(rows), stop)
        assert np.array_equal(again.states, stops.states[rows])
        assert np.array_equal(again.times, stops.times[rows])


def test_the_same_again_whatever_was_flown_before() -> None:
    """Bit for bit, though the arc before ended just behind an edge of the shadow."""
    fast = TaylorPropagator(FULL)
    span = 2.3 * period(LOW, MOON.gm)

    def ends() -> list[bytes]:
        found = fast.advance(START, LOW, START + span).state.tobytes()
        turned = tangent(FULL, LOW, span, start=START).by_state.tobytes()
        return [found, turned]

    first = ends()
    for share in np.linspace(0.02, 1.0, 12):
        fast.advance(START, LOW, START + share * span)
        tangent(LIGHT, LOW, share * period(LOW, MOON.gm), start=START)
    assert ends() == first


# ------------------------------------------------------------------- arcs and parts


@both
def test_a_long_arc_is_the_sum_of_its_parts(engine: type) -> None:
    """Cut anywhere, in the shadow or out of it, at the ends of windows or not."""
    p = engine(FULL)
    span = (2.0 if engine is ReferencePropagator else 30.0) * period(LOW, MOON.gm)
    whole = p.advance(START, LOW, START + span).state
    now, y = START, LOW
    for until in START + span * np.array([0.01, 0.15, 0.151, 0.4, 0.77, 1.0]):
        now, y, _ = p.advance(now, y, until)
    assert now == START + span
    assert_metres(y[:3], whole[:3], 1e-3 if engine is ReferencePropagator else 1e-5)


@both
@either
def test_back_and_forth(engine: type, name: str) -> None:
    """A coast and the same back end where they began, through shadows seen from their other end."""
    p, y = engine(FULL), ORBITS[name]
    span = 3.37 * period(y, MOON.gm)
    there = p.advance(START, y, START + span).state
    back = p.advance(START + span, there, START).state
    assert_metres(back[:3], y[:3], 2e-3 if engine is ReferencePropagator else 1e-6)


def test_batches_go_back_and_forth() -> None:
    """So do lanes."""
    y, span = np.stack([LOW] * 3), np.array([1.2, 3.37, 9.9]) * period(LOW, MOON.gm)
    fast = TaylorBatches(FULL)
    there = fast.advance(np.full(3, START), y, START + span)
    assert_metres(fast.advance(START + span, there, np.full(3, START))[:, :3], y[:, :3], 1e-5)


@both
def test_sampling_is_advancing(engine: type) -> None:
    """At times a minute and days apart, the first of them far from the start."""
    p = engine(FULL)
    days = [0.5, 0.501, 0.502, 1.4, 1.41, 5.0, 9.3] if engine is TaylorPropagator else [0.1, 0.3]
    times = START + DAY_S * np.array(days)
    rows = p.sample(START, LOW, times)
    for time, row in zip(times, rows, strict=True):
        assert_metres(row[:3], p.advance(START, LOW, time).state[:3], 1e-3)
    batch = TaylorBatches(FULL).sample(
        np.full(2, START), np.stack([LOW] * 2), np.stack([times] * 2)
    )
    assert_metres(batch[1, :, :3], rows[:, :3], 1e-3)


@either
def test_the_engines_find_the_same_passages(name: str) -> None:
    """Every node and apsis of three revolutions and windows, within 0.01 ms (measured 0.9 us)."""
    y = ORBITS[name]
    until = START + 3 * period(y, MOON.gm)
    fast = TaylorPropagator(FULL).passages(START, y, until, POLE)
    slow = ReferencePropagator(FULL).passages(START, y, until, POLE)
    assert [event.kind for event in fast] == [event.kind for event in slow]
    assert len(fast) == 12
    assert_seconds([e.time for e in fast], [e.time for e in slow], 1e-5)
    for event in fast:
        r, v = event.state[:3], event.state[3:6]
        off = r[2] / norm(v) if event.kind == "node" else dot(r, v) / norm(v) ** 2
        assert abs(off) < 1e-6
        there = TaylorPropagator(FULL).advance(START, y, event.time).state
        assert_metres(r, there[:3], 1e-3)


def test_an_equatorial_orbit_leaves_its_plane() -> None:
    """Other bodies stand outside the equator: its nodes mean something, unlike under zonals."""
    flat = state(3.0, 0.1, 0.0, body=MOON)
    until = START + 5 * period(flat, MOON.gm)
    zonal = skies.about_the_moon(None)
    assert not [
        e for e in TaylorPropagator(zonal).passages(START, flat, until, POLE) if e.kind == "node"
    ]
    assert [
        e for e in TaylorPropagator(FULL).passages(START, flat, until, POLE) if e.kind == "node"
    ]


# ------------------------------------------------------------------- burns and stops


@pytest.mark.parametrize("gravity", [FULL, quick()], ids=["sunlight", "many windows"])
@pytest.mark.parametrize(
    "stop",
    [stop_at_period(1.08 * period(LOW, MOON.gm), MOON.gm), stop_at_apsis(1.42 * 1.7374e6, MOON.gm)],
    ids=["period", "apsis"],
)
def test_stops_are_met_with_a_sky(gravity: Gravity, stop: Stop) -> None:
    """At one time by both engines and the batches, with edges of shadow and windows on the way."""
    weak = replace(BURN, thrust_n=6.0)
    fast = TaylorPropagator(gravity).advance(START, LOW, START + 1e5, weak, stop)
    slow = ReferencePropagator(gravity).advance(START, LOW, START + 1e5, weak, stop)
    assert fast.stopped
    assert slow.stopped
    assert fast.time - START > 5000.0
    assert_seconds(fast.time, slow.time, 1e-5)
    assert_metres(fast.state[:3], slow.state[:3], 2e-2)  # at 1.6 km/s
    assert abs(stop.value(fast.state, gravity.gm)) < 1e-12
    lanes = ThrustBatch(np.full(3, 6.0), np.full(3, 300.0), "rsw", np.tile(weak.direction, (3, 1)))
    found = TaylorBatches(gravity).until_stop(
        np.full(3, START), np.stack([LOW] * 3), START + np.array([1e5, 1e3, 1e5]), lanes, stop
    )
    assert found.stopped.tolist() == [True, False, True]
    assert_seconds(found.times[[0, 2]], fast.time, 1e-6)
    assert found.times[1] == START + 1e3
    assert_relative(found.states[0, 6], fast.state[6], 1e-12)
    assert_metres(found.states[0, :3], fast.state[:3], 1e-3)


def test_a_burn_over_many_windows_is_the_references() -> None:
    """Its mass flows on from window to window."""
    gravity = quick()
    until = START + 20_000.0
    assert longest_arc(gravity) < 5000.0
    weak = replace(BURN, thrust_n=10.0)
    fast = TaylorPropagator(gravity).advance(START, LOW, until, weak).state
    slow = ReferencePropagator(gravity).advance(START, LOW, until, weak).state
    assert_metres(fast[:3], slow[:3], 1e-3)
    assert_relative(fast[6], LOW[6] - weak.flow_kg_s * 20_000.0, 1e-14)
    lanes = ThrustBatch(np.array([10.0]), np.array([300.0]), "rsw", weak.direction[None])
    batch = TaylorBatches(gravity).advance(np.array([START]), LOW[None], np.array([until]), lanes)
    assert_metres(batch[0, :3], fast[:3], 1e-5)


# ------------------------------------------------------------------- the end of what is known


@both
def test_an_arc_that_leaves_the_known_time_raises(engine: type) -> None:
    """At once, with the times in question; forth and back, sampled and watched."""
    p = engine(skies.about_the_moon(skies.sky(days=30.0)))
    end = min(track.end_s for track in p.gravity.sky.tracks)
    message = rf"leaves the time for which the other bodies are known, -\d+ to {end:.0f} s past"
    for start, until in ((0.0, 2e7), (2e7, 2.1e7), (0.0, -1e7), (2e7, 0.0)):
        with pytest.raises(FlightError, match=message):
            p.advance(start, HIGH, until)
    for start in (0.0, 2e7):
        with pytest.raises(FlightError, match=message):
            p.advance(start, HIGH, 2.1e7, replace(BURN, thrust_n=1e-6))
    with pytest.raises(FlightError, match=message):
        p.sample(0.0, HIGH, np.array([10.0, 2e7]))
    with pytest.raises(FlightError, match=message):
        p.passages(0.0, HIGH, 2e7, POLE)


def test_derivatives_that_leave_the_known_time_raise() -> None:
    """With the same words."""
    gravity = skies.about_the_moon(skies.sky(days=30.0))
    with pytest.raises(FlightError, match="leaves the time for which the other bodies are known"):
        tangent(gravity, HIGH, 1e5, start=30 * DAY_S)


def test_a_lane_that_leaves_the_known_time_is_nan_alone() -> None:
    """Coasting, burning, stopping or sampled; the others do not notice."""
    gravity = skies.about_the_moon(skies.sky(days=30.0))
    fast, y = TaylorBatches(gravity), np.stack([HIGH] * 4)
    times = np.array([0.0, 0.0, 1e8, 0.0])
    until = np.array([1e4, 1e7, 1.01e8, 1e5])
    gone = [False, True, True, False]
    burn = ThrustBatch(np.full(4, 1.0), np.full(4, 300.0), "rsw", np.tile(BURN.direction, (4, 1)))
    found = fast.advance(times, y, until)
    assert np.isnan(found).all(axis=1).tolist() == gone
    assert np.isfinite(found).all(axis=1).tolist() == [not one for one in gone]
    assert np.array_equal(fast.advance(times[:1], y[:1], until[:1])[0], found[0])
    assert (
        np.isnan(fast.advance(times, y, until, replaced(burn, 1e-3))).any(axis=1).tolist() == gone
    )
    stopped = fast.until_stop(times, y, until, replaced(burn, 1e-3), stop_at_period(1e7, MOON.gm))
    assert np.isnan(stopped.states).all(axis=1).tolist() == gone
    assert np.isnan(stopped.times).tolist() == gone
    assert not stopped.stopped.any()
    grid = times[:, None] + (until - times)[:, None] * np.array([0.1, 0.9, 1.0])
    samples = fast.sample(times, y, grid)
    assert np.isnan(samples).any(axis=(1, 2)).tolist() == gone


def replaced(burn: ThrustBatch, newton: float) -> ThrustBatch:
    return burn._replace(thrust_n=np.full_like(burn.thrust_n, newton))
