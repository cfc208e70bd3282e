"""Motion under other bodies and sunlight: the engines agree, and what is kept is kept."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from simcheck.engines import taylor
from simcheck.engines.base import Stop, Thrust, stop_at_apsis, stop_at_period
from simcheck.engines.batches import TaylorBatches, ThrustBatch
from simcheck.engines.gravity import Gravity
from simcheck.engines.pulls import longest_arc, place_of, push_of
from simcheck.engines.reference import ReferencePropagator
from simcheck.engines.taylor import TaylorPropagator
from simcheck.engines.variational import tangent
from simcheck.errors import FlightError
from simcheck.files.ephemeris import default_period
from simcheck.kernels.vectors import cross, dot, norm
from simcheck.records.sky import AU_M, SUN_PRESSURE_N_M2, Sky, Sunlight
from tests.engines import skies
from tests.engines.bench import NAMES, POLE, period, state
from tests.engines.skies import DAY_S, EARTH, SAIL, SUN
from tests.engines.test_variational import assert_like
from tests.helpers import assert_metres, assert_metres_per_second, assert_relative, assert_seconds
from tests.strategies import BODIES, TAU

MOON = BODIES["Moon"]
START = 1e5  # s: no arc begins at the epoch, so that the clock counts
LOW = state(1.25, 0.02, 0.2, body=MOON)  # 2.6 hours a revolution
HIGH = state(5.0, 0.1, 0.9, body=MOON)  # a day; both see the shadow in each
ORBITS = {"low": LOW, "high": HIGH}
FULL, LIGHT = skies.about_the_moon(skies.sky()), skies.about_the_moon(skies.sky(pulls=False))
QUICK = replace(EARTH, period_s=0.6 * DAY_S)
"""The Earth in a hurry: windows of 72 minutes."""

ENGINES = [TaylorPropagator, ReferencePropagator]
both = pytest.mark.parametrize("engine", ENGINES, ids=NAMES)
either = pytest.mark.parametrize("name", ORBITS)
BURN = Thrust(thrust_n=40.0, isp_s=300.0, steering="rsw", direction=np.array([0.0, 1.0, 0.0]))


def quick() -> Gravity:
    """In which a burn of some hours crosses windows."""
    return skies.about_the_moon(Sky(pulling=(skies.track(QUICK, 30.0),)))


def switchings(monkeypatch: pytest.MonkeyPatch) -> list[float]:
    """What the fast engine makes of each edge of the shadow, noted as it flies.

    heyoka may find one crossing twice, 1e-14 apart, which switches nothing: noted once.
    """
    noted: list[float] = []
    plain = taylor.lit_beyond

    def note(direction: int, step: float) -> float:
        lit = plain(direction, step)
        if noted[-1:] != [lit]:
            noted.append(lit)
        return lit

    monkeypatch.setattr(taylor, "lit_beyond", note)
    return noted


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
    assert np.isfinite(coasts).all() and np.isfinite(stops.states).all()
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
    batch = TaylorBatches(FULL).sample(np.full(2, START), np.stack([LOW] * 2), np.stack([times] * 2))
    assert_metres(batch[1, :, :3], rows[:, :3], 1e-3)


@either
def test_the_engines_find_the_same_passages(name: str) -> None:
    """Every node and apsis of three revolutions and windows, to a microsecond of each other's.

    Dense output of the reference is an order less accurate than its steps: 1 ms.
    """
    y = ORBITS[name]
    until = START + 3 * period(y, MOON.gm)
    fast = TaylorPropagator(FULL).passages(START, y, until, POLE)
    slow = ReferencePropagator(FULL).passages(START, y, until, POLE)
    assert [event.kind for event in fast] == [event.kind for event in slow]
    assert len(fast) == 12
    assert_seconds([e.time for e in fast], [e.time for e in slow], 1e-2)
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
    assert not [e for e in TaylorPropagator(zonal).passages(START, flat, until, POLE) if e.kind == "node"]
    assert [e for e in TaylorPropagator(FULL).passages(START, flat, until, POLE) if e.kind == "node"]


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
    assert fast.stopped and slow.stopped
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
    assert np.isnan(fast.advance(times, y, until, replaced(burn, 1e-3))).any(axis=1).tolist() == gone
    stopped = fast.until_stop(times, y, until, replaced(burn, 1e-3), stop_at_period(1e7, MOON.gm))
    assert np.isnan(stopped.states).all(axis=1).tolist() == gone
    assert np.isnan(stopped.times).tolist() == gone
    assert not stopped.stopped.any()
    grid = times[:, None] + (until - times)[:, None] * np.array([0.1, 0.9, 1.0])
    samples = fast.sample(times, y, grid)
    assert np.isnan(samples).any(axis=(1, 2)).tolist() == gone


def replaced(burn: ThrustBatch, newton: float) -> ThrustBatch:
    return burn._replace(thrust_n=np.full_like(burn.thrust_n, newton))


# ------------------------------------------------------------------- what is kept


def test_the_jacobi_integral_is_kept() -> None:
    """About a body with zonals, under one more on a circle in its equator: to 1e-13 over a month.

    v^2/2 - U - gm (1/|d - r| - r.d/d^3) - W h_z, W the rate of the circle (Roy 2005, section 5.9).
    """
    body = replace(EARTH, inclination_rad=0.0)
    gravity = skies.about_the_moon(Sky(pulling=(skies.track(body, 60.0),)))
    p, y = TaylorPropagator(gravity), HIGH
    times = np.linspace(1e3, 28 * DAY_S, 60)
    rows = np.concatenate([[y], p.sample(0.0, y, times)])
    times = np.append(0.0, times)
    found = jacobi(gravity, rows, times, TAU / body.period_s)
    energy = jacobi(gravity, rows, times, 0.0)
    assert np.ptp(energy) > 1e-4 * abs(energy[0])
    assert np.ptp(found) < 3e-12 * abs(found[0])


def jacobi(gravity: Gravity, rows: np.ndarray, times: np.ndarray, rate: float) -> np.ndarray:
    """Its value (n,) in J/kg at states (n, 7), for all that pulls or pushes."""
    r, v = rows[:, :3], rows[:, 3:6]
    size = norm(r)
    s = r[:, 2] / size
    potential = gravity.gm / size
    legendre = [(3 * s**2 - 1) / 2, (5 * s**3 - 3 * s) / 2, (35 * s**4 - 30 * s**2 + 3) / 8]
    for n, (j, p) in enumerate(zip(gravity.zonals, legendre, strict=True), start=2):
        potential = potential - gravity.gm / size * j * (gravity.radius / size) ** n * p
    assert gravity.sky is not None
    for track in gravity.sky.pulling:
        d = place_of(track, times)
        far = norm(d)
        potential = potential + track.gm_m3_s2 * (1 / norm(d - r) - dot(r, d) / far**3)
    if gravity.sky.sunlight is not None and gravity.sky.sun is not None:
        d = place_of(gravity.sky.sun, times)
        potential = potential - push_of(gravity.sky.sunlight) * (1 / norm(d - r) - 1 / norm(d))
    return np.asarray(dot(v, v) / 2 - potential - rate * cross(r, v)[:, 2])


def test_sunlight_in_the_open_is_a_potential_too() -> None:
    """An orbit that faces the Sun never sees the shadow, and keeps the same integral with light.

    Without the light's potential the energy swings by 9 J/kg of 5e5.
    """
    sun = replace(SUN, inclination_rad=0.0, true_anomaly_rad=0.0)
    gravity = skies.about_the_moon(Sky(pulling=(), sun=skies.track(sun, 30.0), sunlight=SAIL))
    y = state(3.0, 0.02, np.pi / 2, raan=np.pi / 2, body=MOON)
    assert abs(cross(y[:3], y[3:6])[0]) > 0.99 * norm(cross(y[:3], y[3:6]))
    times = np.linspace(1e3, 9 * DAY_S, 40)
    rows = np.concatenate([[y], TaylorPropagator(gravity).sample(0.0, y, times)])
    times = np.append(0.0, times)
    found = jacobi(gravity, rows, times, TAU / sun.period_s)
    dark = jacobi(gravity._replace(sky=replace(gravity.sky, sunlight=None)), rows, times, 0.0)
    assert np.ptp(dark) > 5.0
    assert np.ptp(found) < 1e-7


# ------------------------------------------------------------------- light and shadow


@pytest.mark.parametrize("back", [False, True])
def test_sunlight_ends_where_the_shadow_begins(back: bool) -> None:
    """Where nothing pulls, a craft that crosses the cylinder is pushed for the rest of the time.

    At 0.6 radii above the axis it is dark for 1.6 radii of its way: a closed form, but for what
    the push weakens on the way, 1e-7.
    """
    radius, speed, span = 1e6, 2000.0, 3000.0
    sun = replace(SUN, inclination_rad=0.0, true_anomaly_rad=0.0, period_s=1e12)
    seen = Sky(sun=skies.track(sun, 30.0), sunlight=Sunlight(area_to_mass_m2_kg=50.0, reflectivity=2.0))
    gravity = Gravity(1e-3, radius, sky=seen)
    dark = 1.6 * radius / speed
    push = SUN_PRESSURE_N_M2 * 100.0 / (1.0 + 3 * radius / AU_M) ** 2
    y = np.array([-3 * radius, -3 * radius, 0.6 * radius, 0.0, speed, 0.0, 1.0])
    time, sign = 0.0, 1.0
    if back:
        y[1], time, sign = 3 * radius, span, -1.0
    moved = TaylorPropagator(gravity).advance(time, y, span - time).state
    assert moved[3] == pytest.approx(-sign * push * (span - dark), rel=1e-6)
    # Pushed up to the middle of the way less the chord's half, and likewise after it.
    before = after = (span - dark) / 2
    expected = before * (span - before / 2) + after**2 / 2
    assert moved[0] + 3 * radius == pytest.approx(-push * expected, rel=1e-6)
    lane = TaylorBatches(gravity).advance(np.array([time]), y[None], np.array([span - time]))
    assert_metres(lane[0, :3], moved[:3], 1e-6)


@pytest.mark.reference("M. Soop (1994), Handbook of Geostationary Orbits: eclipses up to 72 minutes")
def test_a_geostationary_relay_at_the_equinox(monkeypatch: pytest.MonkeyPatch) -> None:
    """Two edges a day, the longest night 72 minutes (from memory) with the penumbra's 4.

    Half of the penumbra counts as dark here: 69 to 70 minutes, asin(R/a)/pi of a day.
    """
    gravity = skies.about_the_earth("2031-03-19T12:00:00", 30.0, light=SAIL)
    p = TaylorPropagator(gravity)
    a = 42164.17e3
    y = np.array([a, 0.0, 0.0, 0.0, np.sqrt(gravity.gm / a), 0.0, 1.0])
    noted = switchings(monkeypatch)
    p.advance(0.0, y, 4 * DAY_S)
    assert sorted(noted) == [0.0] * 4 + [1.0] * 4
    assert gravity.sky is not None and gravity.sky.sun is not None
    sun = gravity.sky.sun
    times = np.arange(DAY_S, 2 * DAY_S, 10.0)
    rows = p.sample(0.0, y, times)
    there = place_of(sun, times)
    along = dot(rows[:, :3], there) / norm(there)
    width = np.sqrt(dot(rows[:, :3], rows[:, :3]) - along**2)
    minutes = np.sum((along < 0) & (width < 6378.137e3)) / 6.0
    assert minutes == pytest.approx(70.0, abs=1.0)


def test_no_shadow_in_front_of_the_body(monkeypatch: pytest.MonkeyPatch) -> None:
    """Half a revolution over the day side crosses the cylinder twice and stays in the light."""
    sun = replace(SUN, inclination_rad=0.0, true_anomaly_rad=0.0)
    gravity = skies.about_the_moon(Sky(sun=skies.track(sun, 30.0), sunlight=SAIL))
    y = state(1.5, 0.0, 0.3, raan=-np.pi / 2, argp=0.0, nu=0.0, body=MOON)
    noted = switchings(monkeypatch)
    span = 0.5 * period(y, MOON.gm)
    TaylorPropagator(gravity).advance(0.0, y, span)
    assert noted == []
    TaylorPropagator(gravity).advance(0.0, y, 2 * span)
    assert noted == [0.0, 1.0]


# ------------------------------------------------------------------- derivatives

STEPS = np.array([10.0, 10.0, 10.0, 0.01, 0.01, 0.01, 1.0])


def slopes(gravity: Gravity, y: np.ndarray, span: float, thrust: Thrust | None) -> np.ndarray:
    """End (7,) by start (7, 7), by differences of the fast engine."""
    p, columns = TaylorPropagator(gravity), []
    for k, step in enumerate(STEPS):
        shift = np.eye(7)[k] * step
        up, down = (p.advance(START, y + s * shift, START + span, thrust).state for s in (1, -1))
        columns.append((up - down) / (2 * step))
    return np.stack(columns, axis=1)


@pytest.mark.parametrize("span", [2e4, 6e5, -3e5])
def test_the_tangent_of_a_coast(span: float) -> None:
    """By differences, through windows: their curvature leaves 1e-5. The end is the flight's own."""
    gravity = skies.about_the_moon(skies.sky(light=None))
    found = tangent(gravity, HIGH, span, start=START)
    assert_like(found.by_state, slopes(gravity, HIGH, span, None), 1e-5)
    p = TaylorPropagator(gravity)
    end = p.advance(START, HIGH, START + span).state
    assert_metres(found.state[:3], end[:3], 1e-5)
    later, sooner = (p.advance(START, HIGH, START + span + s).state for s in (5.0, -5.0))
    assert_metres_per_second(found.rates[:3], (later - sooner)[:3] / 10.0, 1e-3)
    assert norm(found.rates[3:6] - (later - sooner)[3:6] / 10.0) < 1e-6


@pytest.mark.parametrize("steering", ["rsw", "inertial"])
def test_the_tangent_of_a_burn_over_windows(steering: str) -> None:
    """A burn of 5.5 hours by its start, its thrust, Isp and direction."""
    gravity, span = quick(), 20_000.0
    thrust = replace(BURN, thrust_n=10.0, steering=steering)
    found = tangent(gravity, HIGH, span, thrust, start=START)
    assert_like(found.by_state, slopes(gravity, HIGH, span, thrust), 1e-5)

    def end(**change: object) -> np.ndarray:
        return TaylorPropagator(gravity).advance(
            START, HIGH, START + span, replace(thrust, **change)
        ).state

    assert_metres(found.state[:3], end()[:3], 1e-5)
    by_thrust = (end(thrust_n=10.1) - end(thrust_n=9.9)) / 0.2
    assert_like(found.by_thrust, by_thrust, 1e-4)
    by_isp = (end(isp_s=303.0) - end(isp_s=297.0)) / 6.0
    assert_like(found.by_isp, by_isp, 1e-3)
    for axis in range(3):
        shift = 1e-3 * np.eye(3)[axis]
        by_axis = (end(direction=thrust.direction + shift) - end(direction=thrust.direction - shift)) / 2e-3
        assert_like(found.by_direction[:, axis], by_axis, 1e-4)


def test_the_tangent_in_sunlight() -> None:
    """The push is in it; how the shadow's edge moves with the state is left out, as it says."""
    y = state(3.0, 0.02, np.pi / 2, raan=np.pi / 2 + 1.0, body=MOON)  # faces the Sun
    sail = replace(SAIL, area_to_mass_m2_kg=500.0)
    gravity = skies.about_the_moon(skies.sky(light=sail))
    found = tangent(gravity, y, 1e5, start=START)
    end = TaylorPropagator(gravity).advance(START, y, START + 1e5).state
    dark = TaylorPropagator(skies.about_the_moon(skies.sky(light=None)))
    assert norm(dark.advance(START, y, START + 1e5).state[:3] - end[:3]) > 1e5
    assert_metres(found.state[:3], end[:3], 1e-5)
    assert_like(found.by_state, slopes(gravity, y, 1e5, None), 1e-5)


# ------------------------------------------------------------------- published


@pytest.mark.reference("M. Soop (1994), Handbook of Geostationary Orbits (from memory)")
@pytest.mark.parametrize(("year", "drift"), [(2015, 0.75), (2006, 0.95), (2025, 0.95)])
def test_a_geostationary_plane_tilts_as_published(year: int, drift: float) -> None:
    """0.75 deg in a year when the Moon's orbit is flattest against the equator, 0.95 at its steepest.

    The pole of the orbit moves towards the vernal equinox: the node lies near 90 deg. The rule is
    given to 0.05 deg at best; measured 0.764, 0.955, 0.953 with 86 deg.
    """
    gravity = skies.about_the_earth(f"{year}-01-01T00:00:00", 380.0)
    a = 42164.17e3
    y = np.array([[a, 0.0, 0.0, 0.0, np.sqrt(gravity.gm / a), 0.0, 1000.0]])
    end = TaylorBatches(gravity, 1e-13).advance(np.zeros(1), y, np.array([365.25 * DAY_S]))[0]
    h = cross(end[:3], end[3:6])
    assert np.degrees(np.arccos(h[2] / norm(h))) == pytest.approx(drift, abs=0.025)
    assert np.degrees(np.arctan2(h[0], -h[1])) == pytest.approx(90.0, abs=10.0)


@pytest.mark.reference("M. Soop (1994), Handbook of Geostationary Orbits: 0.011 Cr A/m (from memory)")
def test_sunlight_turns_the_eccentricity_on_its_circle() -> None:
    """In a year the vector goes round a circle of 0.011 times the reflectivity times A/m in m2/kg.

    Along the equinoxes' direction; across it the Sun's tilt takes 1 - cos 23.4 deg away.
    """
    light = Sunlight(area_to_mass_m2_kg=0.02, reflectivity=1.5)
    gravity = skies.about_the_earth(
        "2020-01-01T00:00:00", 380.0, zonal=False, pulls=False, light=light
    )
    a = 42164.17e3
    y = np.array([[a, 0.0, 0.0, 0.0, np.sqrt(gravity.gm / a), 0.0, 1000.0]])
    days = TAU * np.sqrt(a**3 / gravity.gm) * np.arange(1, 367)
    rows = TaylorBatches(gravity, 1e-13).sample(np.zeros(1), y, days[None])[0]
    r, v = rows[:, :3], rows[:, 3:]
    e = cross(v, cross(r, v)) / gravity.gm - r / norm(r)[:, None]
    radii = np.ptp(e, axis=0) / 2 / 0.03
    assert radii[1] == pytest.approx(0.011, abs=0.0002)
    assert radii[0] / radii[1] == pytest.approx(np.cos(np.radians(23.44)), abs=0.01)
    assert norm(e[-1]) < 0.05 * 0.03 * 0.011  # closed


SLOW = 200.0  # the far body's mean motion against the orbit's; theory leaves out 1/SLOW and more


@pytest.mark.reference("Lidov (1962), Kozai (1962): critical inclination 39.23 deg (from memory)")
def test_a_far_body_makes_tilted_circles_eccentric() -> None:
    """e grows as exp(s t), s = 3/4 N^2/n sqrt(2 (5 sin^2 i - 2)): not at all below 39.23 deg.

    From the doubly averaged equations of the eccentricity vector near a circle (as in Tremaine and
    Yavetz 2014, Am. J. Phys. 82, 769, from memory): k' = (5 sin^2 i - 2) h, h' = 2 k in 3/4 N^2/n,
    from the node; each lane starts along the growing direction. Measured within 0.02 % at 60 deg
    and 2 % at 45 deg, where what is left out, 1/SLOW, meets a growth near zero; 39.55 deg.
    """
    gravity, n = far_body()
    inclinations = np.radians([30.0, 45.0, 50.0, 55.0, 60.0])
    growth = 5 * np.sin(inclinations) ** 2 - 2
    pace = 0.75 * n / SLOW**2
    e, argp = 0.01, np.where(growth > 0, np.arctan2(np.sqrt(2.0), np.sqrt(np.abs(growth))), 0.0)
    y = np.array([far_state(e, i, w) for i, w in zip(inclinations, argp, strict=True)])
    span = 1.6 / (pace * np.sqrt(2 * growth[-1]))
    times = np.linspace(0.0, span, 201)[1:]
    rows = TaylorBatches(gravity, 1e-12).sample(np.zeros(5), y, np.tile(times, (5, 1)))
    r, v = rows[..., :3], rows[..., 3:]
    h = cross(r, v)
    found = norm(cross(v, h) / gravity.gm - r / norm(r)[..., None])
    rates = np.array([np.polyfit(times, np.log(one), 1)[0] for one in found])
    assert_relative(rates[1:], pace * np.sqrt(2 * growth[1:]), within=0.03)
    slope, at_zero = np.polyfit(np.sin(inclinations[1:]) ** 2, rates[1:] ** 2, 1)
    assert np.degrees(np.arcsin(np.sqrt(-at_zero / slope))) == pytest.approx(39.23, abs=0.4)
    # Below it the vector turns on an ellipse with axes as sqrt(2 / |growth|).
    turn = pace * np.sqrt(-2 * growth[0]) * times
    ellipse = e * np.hypot(np.cos(turn), np.sqrt(2 / -growth[0]) * np.sin(turn))
    assert_relative(found[0], ellipse, within=0.03)
    kept = h[..., 2] / np.sqrt(gravity.gm * 1e7)  # sqrt(1 - e^2) cos i
    assert np.max(np.abs(kept / np.cos(inclinations)[:, None] - 1)) < 1e-3
    turned = np.degrees(np.arccos(h[-1, -1, 2] / norm(h[-1, -1])))
    assert turned < 60.0 - 0.05


def far_body() -> tuple[Gravity, float]:
    """An invented body a hundred radii of the orbit away, and the mean motion of 1e7 m."""
    gm, distance = 1e14, 1e9
    n = float(np.sqrt(gm / 1e21))
    pull = (n / SLOW) ** 2 * distance**3
    third = replace(
        EARTH,
        gm_m3_s2=pull,
        semi_major_axis_m=distance,
        inclination_rad=0.0,
        period_s=default_period(distance, gm + pull),
    )
    return Gravity(gm, 1e6, sky=Sky(pulling=(skies.track(third, 3000.0),))), n


def far_state(e: float, i: float, argp: float) -> np.ndarray:
    """A state (7,) with a semi-major axis of 1e7 m."""
    body = BODIES["Moon"]._replace(gm=1e14, radius=1e6)
    return state(10.0 * (1 - e), e, i, raan=0.0, argp=argp, nu=0.0, body=body)

