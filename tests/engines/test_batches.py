"""Batches fly as the scalar engine does, and no lane knows of another: not a bit of it."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from simcheck.engines.base import Stop, Thrust, stop_at_apsis, stop_at_period, stop_at_tilt
from simcheck.engines.batches import LANES, TaylorBatches, ThrustBatch
from simcheck.engines.gravity import Gravity
from simcheck.engines.taylor import TaylorPropagator
from simcheck.kernels.elements import classical_from_state, state_from_classical
from simcheck.kernels.vectors import cross, norm, unit
from tests.engines.bench import MARS, gravity, period, state
from tests.helpers import (
    assert_degrees,
    assert_metres,
    assert_metres_per_second,
    assert_relative,
    assert_seconds,
)

DEG = np.pi / 180
N = 11  # three groups, the last of them short of one


class Flights:
    """Lanes that differ in all they can: start, epoch, span, mass, thrust, direction."""

    def __init__(self, n: int = N, seed: int = 3) -> None:
        rng = np.random.default_rng(seed)
        self.states = np.array(
            [
                state(
                    rng.uniform(1.1, 3.0),
                    rng.uniform(0.0, 0.7),
                    rng.uniform(0.0, np.pi),
                    raan=rng.uniform(0.0, 6.0),
                    nu=rng.uniform(0.0, 6.0),
                    mass=rng.uniform(200.0, 2000.0),
                )
                for _ in range(n)
            ]
        ).reshape(n, 7)
        self.periods = np.array([period(y, MARS.gm) for y in self.states])
        self.times = rng.uniform(-1e5, 1e6, n)
        self.until = self.times + rng.uniform(-3.0, 8.0, n) * self.periods
        self.off = self.times + rng.uniform(1.0, 900.0, n)
        self.newton = rng.uniform(1.0, 600.0, n)
        self.isp = rng.uniform(200.0, 3000.0, n)
        self.direction = unit(rng.normal(size=(n, 3)))

    def thrust(self, steering: str = "inertial") -> ThrustBatch:
        return ThrustBatch(self.newton, self.isp, steering, self.direction)

    def scalar_thrust(self, k: int, steering: str = "inertial") -> Thrust:
        return Thrust(
            thrust_n=self.newton[k],
            isp_s=self.isp[k],
            steering=steering,
            direction=self.direction[k],
        )


def assert_states(actual, expected, metres=1e-3, metres_per_second=1e-6):
    """States (..., 7) agree; by rounding only, so a millimetre is plenty."""
    assert_metres(actual[..., :3], expected[..., :3], metres)
    assert_metres_per_second(actual[..., 3:6], expected[..., 3:6], metres_per_second)
    assert_relative(actual[..., 6], expected[..., 6], 1e-13)


def bits(*arrays) -> list[bytes]:
    """To compare to the last bit, the sign of a zero included."""
    return [np.ascontiguousarray(a).tobytes() for a in arrays]


# As the scalar engine flies


@pytest.mark.parametrize("zonal", [True, False])
def test_coasts_are_the_scalar_engines(zonal):
    """Coasts of up to eight revolutions, forward and back, end where the scalar engine ends."""
    f, g = Flights(), gravity(zonal=zonal)
    p = TaylorPropagator(g)
    assert (f.until < f.times).any()
    ends = TaylorBatches(g).advance(f.times, f.states, f.until)
    for k in range(N):
        assert_states(ends[k], p.advance(f.times[k], f.states[k], f.until[k]).state)
    assert bits(ends[:, 6]) == bits(f.states[:, 6])


@pytest.mark.parametrize("steering", ["inertial", "rsw"])
def test_burns_are_the_scalar_engines(steering):
    """Burns of up to a quarter of an hour end where the scalar engine ends, mass included."""
    f, g = Flights(), gravity()
    p = TaylorPropagator(g)
    ends = TaylorBatches(g).advance(f.times, f.states, f.off, f.thrust(steering))
    for k in range(N):
        one = p.advance(f.times[k], f.states[k], f.off[k], f.scalar_thrust(k, steering))
        assert_states(ends[k], one.state)


def test_lanes_of_one_batch_may_be_steered_each_in_its_way():
    """Flags for the steering: each lane, burnt or stopped, has the bits of its steering alone."""
    f, b = Flights(), TaylorBatches(gravity())
    turning = np.arange(N) % 3 == 1
    both = f.thrust()._replace(steering=turning)
    stop = stop_at_period(1.02 * f.periods[1], MARS.gm)
    mixed = b.advance(f.times, f.states, f.off, both)
    stopped = b.until_stop(f.times, f.states, f.off, both, stop)
    for steering, rows in (
        ("rsw", np.flatnonzero(turning)),
        ("inertial", np.flatnonzero(~turning)),
    ):
        burn = f.thrust(steering)
        assert bits(mixed[rows]) == bits(b.advance(f.times, f.states, f.off, burn)[rows])
        one = b.until_stop(f.times, f.states, f.off, burn, stop)
        assert bits(stopped.states[rows], stopped.times[rows]) == bits(
            one.states[rows], one.times[rows]
        )
        some = b.advance(f.times[rows], f.states[rows], f.off[rows], both.of(rows))
        assert bits(some) == bits(mixed[rows])
    other = b.advance(f.times, f.states, f.off, f.thrust("rsw"))
    assert (other[~turning, :3] != mixed[~turning, :3]).any(axis=1).all()


@pytest.mark.parametrize("loose", [1e-12, 1e-10])
def test_a_looser_series_is_off_by_little(loose):
    """A looser tolerance moves eight revolutions by its own size a step, and no lane's company.

    Some 30 steps a revolution, each off by the tolerance of the radius, grow along the track.
    """
    f, g = Flights(), gravity()
    fine = TaylorBatches(g).advance(f.times, f.states, f.until)
    b = TaylorBatches(g, loose)
    found = b.advance(f.times, f.states, f.until)
    size = norm(f.states[:, :3]).max()
    assert_metres(found[:, :3], fine[:, :3], 1e4 * loose * size)
    assert bits(found) != bits(fine)
    assert bits(b.advance(f.times[3:4], f.states[3:4], f.until[3:4])[0]) == bits(found[3])


@pytest.mark.reference("Orekit ConstantThrustManeuverTest::testRoughBehaviour")
def test_published_long_apogee_burn():
    """Each lane ends the published burn with its mass, inclination and axis, as in test_burns."""
    gm, a, e = 3.9860047e14, 24396159.0, 0.72831215
    r, v = state_from_classical(a * (1 - e**2), e, 7 * DEG, 261 * DEG, 180 * DEG, 0.0, gm)
    ra, dec = 351 * DEG, -7.4978 * DEG
    along = [np.cos(ra) * np.cos(dec), np.sin(ra) * np.cos(dec), np.sin(dec)]
    n, b = LANES + 1, TaylorBatches(Gravity(gm, 6378137.0))
    burn = ThrustBatch(np.full(n, 420.0), np.full(n, 318.0), "inertial", np.tile(along, (n, 1)))
    lit = np.full(n, 17134.08)
    ends = b.advance(np.zeros(n), np.tile([*r, *v, 2500.0], (n, 1)), lit)
    ends = b.advance(lit, ends, lit + 3653.99, burn)
    assert_relative(ends[:, 6], 2007.8824544261233, 1e-12)
    orbit = classical_from_state(ends[:, :3], ends[:, 3:6], gm)
    assert_degrees(np.degrees(orbit.i), 2.6872, 1e-4)
    assert_metres(orbit.a[:, None], [28970e3], 1e3)


def test_samples_are_the_scalar_engines():
    """Samples lie where the scalar engine has them, whether or not a grid begins at the start."""
    f, g = Flights(), gravity()
    p, b = TaylorPropagator(g), TaylorBatches(g)
    shares = np.linspace(0.0, 2.0, 9) + np.where(np.arange(N) % 2, 0.0, 1.7)[:, None]
    grid = f.times[:, None] + shares * f.periods[:, None]
    rows = b.sample(f.times, f.states, grid)
    assert rows.shape == (N, 9, 6)
    for k in range(N):
        one = p.sample(f.times[k], f.states[k], grid[k])
        assert_metres(rows[k, :, :3], one[:, :3], 1e-3)
        assert_metres_per_second(rows[k, :, 3:], one[:, 3:6], 1e-6)
    assert bits(rows[1, 0]) != bits(rows[0, 0])
    ends = b.advance(f.times, f.states, grid[:, -1])
    assert_metres(rows[:, -1, :3], ends[:, :3], 1e-3)


def test_stops_are_the_scalar_engines():
    """Every lane's stop ends its burn when and where it ends the scalar engine's.

    Period, apsis and plane in one batch; stops that are never reached, burns of no length.
    """
    f, g = Flights(), gravity()
    p, b = TaylorPropagator(g), TaylorBatches(g)
    f.newton[:], f.isp[:] = 500.0, 300.0
    f.off = f.times + np.where(np.arange(N) == 3, 0.0, 300.0)
    late = [
        p.advance(f.times[k], f.states[k], f.times[k] + 150.0, f.scalar_thrust(k)).state
        for k in range(N)
    ]
    stops = [_stop_at(late[k], k) for k in range(N)]
    stops[5] = stop_at_period(1e9, MARS.gm)
    found = b.until_stop(f.times, f.states, f.off, f.thrust(), stops)
    for k in range(N):
        one = p.advance(f.times[k], f.states[k], f.off[k], f.scalar_thrust(k), stops[k])
        assert bool(found.stopped[k]) == one.stopped
        # A stop is met where its function, rounded, is zero.
        assert_seconds(found.times[k], one.time, 1e-6)
        assert_states(found.states[k], one.state, 1e-2, 1e-5)
    assert found.stopped.sum() >= N - 3
    assert not found.stopped[[3, 5]].any()
    assert bits(found.times[[3, 5]]) == bits(f.off[[3, 5]])
    assert bits(found.states[3]) == bits(f.states[3])


def _stop_at(y: np.ndarray, k: int) -> Stop:
    """A stop that this state is on, of a kind that goes with k."""
    h = cross(y[:3], y[3:6])
    if k % 3 == 0:
        return stop_at_period(period(y, MARS.gm), MARS.gm)
    if k % 3 == 1:
        orbit = classical_from_state(y[:3], y[3:6], MARS.gm)
        return stop_at_apsis(float(orbit.p / (1 - orbit.e)), MARS.gm)
    x = np.array([1.0, 0.0, 0.0])
    return stop_at_tilt(x, float(h @ x / norm(h)))


def test_a_start_on_the_stop_does_not_end_a_burn():
    """Burns that begin exactly on their stops go on, as the scalar engine's do.

    Some for a minute, some for less than the engines' guard, some for no time.
    """
    f, b, p = Flights(30), TaylorBatches(gravity()), TaylorPropagator(gravity())
    stops = [_stop_at(y, k) for k, y in enumerate(f.states)]
    assert sum(stop.reached(y, MARS.gm) for stop, y in zip(stops, f.states, strict=True)) > 20
    f.off = f.times + np.where(np.arange(30) % 7, 60.0, np.arange(30) % 2 * 5e-4)
    found = b.until_stop(f.times, f.states, f.off, f.thrust(), stops)
    for k in range(30):
        one = p.advance(f.times[k], f.states[k], f.off[k], f.scalar_thrust(k), stops[k])
        assert bool(found.stopped[k]) == one.stopped
        assert_states(found.states[k], one.state)
    assert found.stopped.sum() < 10


# No lane knows of another


def everything(f: Flights, rows) -> list[list[bytes]]:
    """All that batches do with some of the lanes, to the bit, lane by lane."""
    b = TaylorBatches(gravity())
    t, y = f.times[rows], f.states[rows]
    grid = t[:, None] + np.array([0.0, 0.3, 1.9]) * f.periods[rows, None] + (t > 3e5)[:, None]
    stops = [stop_at_period(1.02 * f.periods[k], MARS.gm) for k in rows]
    burn = f.thrust().of(rows)
    found = b.until_stop(t, y, f.off[rows], burn, stops)
    parts = (
        b.advance(t, y, f.until[rows]),
        b.advance(t, y, f.off[rows], burn),
        b.advance(t, y, f.off[rows], f.thrust("rsw").of(rows)),
        b.sample(t, y, grid),
        found.times,
        found.states,
        found.stopped,
    )
    return [bits(*(part[k] for part in parts)) for k in range(len(rows))]


def crowd() -> Flights:
    """Lanes beside which another is put to the test: plain, flat, open, long, falling, no number.

    Thrust drives some to their stop at once, some late, some never.
    """
    f = Flights(4 * N, seed=7)
    for k in range(0, 4 * N, 11):
        f.states[k] = state(i=0.0)
        f.states[k, [2, 5]] = -0.0
        f.states[k + 1, 3:6] *= 3.0
        f.until[k + 2] = f.times[k + 2] + 60 * f.periods[k + 2]
        f.states[k + 3, 3:6] = 0.0
        f.until[k + 3] = f.times[k + 3] + 1e5
        f.states[k + 4, 1] = np.nan
        f.off[k + 5] = f.until[k + 5] = f.times[k + 5]
        f.states[k + 6, :3] *= 40.0
        f.newton[k + 7] *= 1e3
    f.newton[::2] *= 20.0
    return f


def test_a_lane_is_the_same_alone_and_in_any_company():
    """Alone, shuffled, in batches of any size, beside lanes that fail: the same bits."""
    f = crowd()
    n = len(f.times)
    whole = everything(f, np.arange(n))
    rng = np.random.default_rng(11)
    for k in range(n):
        assert everything(f, np.array([k]))[0] == whole[k], k
    for size in [*range(2, 10), n, n, n]:
        rows = rng.permutation(n)[:size]
        assert everything(f, rows) == [whole[k] for k in rows]
    twice = np.repeat(rng.permutation(n), 2)
    assert everything(f, twice) == [whole[k] for k in twice]


def test_the_sign_of_a_zero_is_the_same_in_any_company():
    """Flown back in its plane, z is -0 at the last step and 0 if idle steps follow: always 0."""
    y = state(i=0.0)
    y[[2, 5]] = -0.0, 0.0
    b, spans = TaylorBatches(gravity(zonal=False)), -1e4 * np.arange(1.0, LANES + 1)
    zero, states = np.zeros(LANES), np.tile(y, (LANES, 1))
    together = b.advance(zero, states, spans)
    for k in range(LANES):
        alone = b.advance(zero[:1], states[:1], spans[k : k + 1])
        assert bits(alone[0]) == bits(together[k])


@settings(max_examples=25)
@given(
    seed=st.integers(0, 2**32 - 1),
    n=st.integers(1, 2 * LANES + 1),
    lane=st.integers(0, 2 * LANES),
    scale=st.floats(1e-3, 1e3),
)
def test_a_neighbour_changes_nothing(seed, n, lane, scale):
    """One lane keeps its bits whatever the others' radius, speed, span and thrust are."""
    f, g = Flights(n, seed), TaylorBatches(gravity())
    lane %= n
    fixed = Flights(1, 99)
    f.states[:, :3] *= scale
    f.until = np.where(np.abs(f.until - f.times) > 1e6, f.times, f.until)
    for name in ("states", "times", "until", "off", "newton", "isp", "direction"):
        getattr(f, name)[lane] = getattr(fixed, name)[0]
    stop = stop_at_period(1.001 * fixed.periods[0], MARS.gm)
    for many, one in (
        (g.advance(f.times, f.states, f.until), g.advance(fixed.times, fixed.states, fixed.until)),
        (
            g.advance(f.times, f.states, f.off, f.thrust()),
            g.advance(fixed.times, fixed.states, fixed.off, fixed.thrust()),
        ),
        (
            g.until_stop(f.times, f.states, f.off, f.thrust(), stop).states,
            g.until_stop(fixed.times, fixed.states, fixed.off, fixed.thrust(), stop).states,
        ),
    ):
        assert bits(many[lane]) == bits(one[0])


def test_the_same_again_whatever_was_flown_before():
    """Equal starts give equal bits after other flights, and the caller's arrays are left alone."""
    f = crowd()
    before = bits(f.times, f.states, f.until, f.off, f.newton, f.direction)
    rows = np.arange(len(f.times))
    first = everything(f, rows)
    everything(Flights(seed=5), np.arange(N))
    assert everything(f, rows) == first
    assert bits(f.times, f.states, f.until, f.off, f.newton, f.direction) == before


# Lanes with nowhere to go, and lanes that fail


def test_a_lane_with_nowhere_to_go_comes_back_as_it_was():
    """Equal times give equal bits, minus zeros included; so does a burn that would go back."""
    f, b = Flights(), TaylorBatches(gravity())
    f.states[:, 2] = -0.0
    assert bits(b.advance(f.times, f.states, f.times)) == bits(f.states)
    assert bits(b.advance(f.times, f.states, f.times, f.thrust())) == bits(f.states)
    assert bits(b.advance(f.times, f.states, f.times - 9.0, f.thrust())) == bits(f.states)
    back = b.until_stop(f.times, f.states, f.times - 9.0, f.thrust(), stop_at_period(1e4, MARS.gm))
    assert bits(*back[:2]) == bits(f.times, f.states)
    assert not back.stopped.any()
    some = np.where(np.arange(N) % 2, f.times, f.until)
    ends = b.advance(f.times, f.states, some)
    assert bits(ends[1::2]) == bits(f.states[1::2])
    assert (ends[::2, :3] != f.states[::2, :3]).all()


@pytest.mark.parametrize("n", range(2 * LANES + 2))
def test_any_number_of_lanes(n):
    """None, one, and more than fit a group: shapes hold and every lane moves."""
    f, b = Flights(n), TaylorBatches(gravity())
    assert b.advance(f.times, f.states, f.until).shape == (n, 7)
    assert b.sample(f.times, f.states, f.times[:, None]).shape == (n, 1, 6)
    assert b.sample(f.times, f.states, np.empty((n, 0))).shape == (n, 0, 6)
    ends = b.advance(f.times, f.states, f.off, f.thrust())
    assert (ends[:, 6] < f.states[:, 6]).all()
    found = b.until_stop(f.times, f.states, f.off, f.thrust(), stop_at_period(1e9, MARS.gm))
    assert found.stopped.shape == found.times.shape == (n,)
    assert found.states.shape == (n, 7)


@pytest.mark.parametrize("fault", ["place", "speed", "time", "until", "fall", "endless"])
def test_a_coast_that_fails_is_nan_in_its_row_alone(fault):
    """No number at the start, or a fall through the centre: NaN there, the others to the bit."""
    f, b = Flights(), TaylorBatches(gravity())
    grid = f.times[:, None] + np.array([0.5, 1.0, 3.0]) * f.periods[:, None]
    good = b.advance(f.times, f.states, f.until), b.sample(f.times, f.states, grid)
    for k in (0, 5, N - 1):
        if fault == "place":
            f.states[k, 1] = np.inf
        elif fault == "speed":
            f.states[k, 4] = np.nan
        elif fault == "time":
            f.times[k] = np.nan
        elif fault == "until":
            f.until[k] = grid[k, 1] = np.nan
        elif fault == "fall":
            f.states[k, 3:6], f.until[k], grid[k] = 0.0, f.times[k] + 1e6, f.times[k] + [0, 1, 1e6]
        else:
            f.until[k] = grid[k, 2] = np.inf
    ends, rows = b.advance(f.times, f.states, f.until), b.sample(f.times, f.states, grid)
    bad = np.isin(np.arange(N), [0, 5, N - 1])
    assert np.isnan(ends[bad]).all()
    assert np.isnan(rows[bad]).all()
    assert bits(ends[~bad], rows[~bad]) == bits(good[0][~bad], good[1][~bad])


@pytest.mark.parametrize("fault", ["mass", "thrust", "direction", "dry", "until"])
def test_a_burn_that_fails_is_nan_in_its_row_alone(fault):
    """No mass, no number for a thrust, burnt beyond the last kilogram: NaN there alone."""
    f, b = Flights(), TaylorBatches(gravity())
    # Burning dry passes any period.
    stop = Stop(constant=1.0) if fault == "dry" else stop_at_period(1e5, MARS.gm)
    good = b.advance(f.times, f.states, f.off, f.thrust())
    held = b.until_stop(f.times, f.states, f.off, f.thrust(), stop)
    k = 6
    if fault == "mass":
        f.states[k, 6] = 0.0
    elif fault == "thrust":
        f.newton[k] = np.inf
    elif fault == "direction":
        f.direction[k, 0] = np.nan
    elif fault == "dry":
        f.newton[k], f.isp[k] = 1e5, 100.0
        f.off[k] = f.times[k] + 1e3
    else:
        f.off[k] = np.nan
    ends = b.advance(f.times, f.states, f.off, f.thrust())
    found = b.until_stop(f.times, f.states, f.off, f.thrust(), stop)
    others = np.arange(N) != k
    assert np.isnan(ends[k]).all()
    assert bits(ends[others]) == bits(good[others])
    assert np.isnan(found.times[k])
    assert np.isnan(found.states[k]).all()
    assert not found.stopped[k]
    assert bits(*(x[others] for x in found)) == bits(*(x[others] for x in held))
