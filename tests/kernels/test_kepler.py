"""Kepler's equation and two-body propagation."""

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from scipy.optimize import brentq

from simcheck.kernels.elements import eccentricity_vector, state_from_classical
from simcheck.kernels.kepler import (
    axis_of_period,
    mean_from_true,
    orbital_period,
    propagate,
    stumpff,
    true_from_mean,
)
from simcheck.kernels.vectors import TAU, dot, norm, rotation
from tests.helpers import (
    assert_degrees,
    assert_metres,
    assert_metres_per_second,
    assert_radians,
    assert_relative,
    assert_vectors,
)
from tests.reference import curtis, poliastro_tests, vallado
from tests.strategies import (
    OPEN,
    Orbit,
    angles,
    closed_eccentricities,
    orbits,
)

# Durations in units of Orbit.time_scale. Of a near-parabolic ellipse that is a small part of a
# period, of a circle a third of one, so that +-12 covers 4 revolutions.
shares = st.floats(-12.0, 12.0, allow_subnormal=False)

# Relative, of states propagated for up to 12 time scales. Rounding in 1/a, amplified by the
# mean anomaly swept and by how far an open orbit has receded, stays below a tenth of this.
PROPAGATED = 1e-10


@pytest.mark.reference(vallado.SOURCE + ", ex. 2-4")
def test_vallado_2_4():
    """A state 40 minutes later is the book's, to its last digit (1e-8 km, 1e-8 km/s)."""
    case = vallado.EX_2_4
    position, velocity = propagate(
        np.array(case["position"]) * 1e3,
        np.array(case["velocity"]) * 1e3,
        case["minutes"] * 60.0,
        vallado.GM * 1e9,
    )
    assert_metres(position, np.array(case["position_after"]) * 1e3, within=2e-5)
    assert_metres_per_second(velocity, np.array(case["velocity_after"]) * 1e3, within=2e-5)


@pytest.mark.reference(poliastro_tests.SOURCE + ", test_angles")
@pytest.mark.parametrize(("e", "mean", "true"), poliastro_tests.KEPLER_TABLE)
def test_kepler_table(e, mean, true):
    """True anomalies are the table's, to its two decimals."""
    assert_degrees(np.degrees(true_from_mean(np.radians(mean), e)), true, within=0.0051)
    assert_degrees(np.degrees(mean_from_true(np.radians(true), e)), mean, within=0.01)


@pytest.mark.reference(vallado.SOURCE + ", ex. 1-1")
def test_geosynchronous_axis():
    """The semi-major axis of a sidereal day is the book's to 0.1 m, its last digit."""
    axis = axis_of_period(vallado.SIDEREAL_DAY_S, vallado.GM * 1e9)
    assert float(axis) == pytest.approx(vallado.EX_1_1_A * 1e3, abs=0.1)
    assert orbital_period(1.0 / axis, vallado.GM * 1e9) == pytest.approx(
        vallado.SIDEREAL_DAY_S, rel=1e-15
    )


@pytest.mark.reference(curtis.FROM_MEMORY + ", sun-synchronous orbit of 100 minutes")
def test_curtis_hundred_minutes():
    """Altitude of a 100-minute orbit, from memory, to the printed 10 m."""
    case = curtis.SUN_SYNCHRONOUS
    axis = axis_of_period(case["minutes"] * 60.0, curtis.GM * 1e9)
    assert float(axis) / 1e3 - curtis.RADIUS == pytest.approx(case["altitude"], abs=0.006)


def test_open_orbits_have_no_period():
    """A parabola and a hyperbola have an infinite period."""
    assert np.isinf(orbital_period(np.array([0.0, -1e-7]), 4e14)).all()


def test_stumpff_satisfies_its_identities():
    """C and S agree with the circular and hyperbolic functions, their series joining smoothly.

    The tolerance on S allows for (root - sin root) losing digits just outside the series.
    """
    z = np.concatenate([np.linspace(-30, 30, 1201), [-0.5, 0.5, -1e-9, 1e-9]])
    c, s = stumpff(z)
    # 1 - z C = cos or cosh, 1 - z S = sin(x)/x or sinh(x)/x.
    root = np.sqrt(np.abs(z))
    even = np.where(z > 0, np.cos(root), np.cosh(root))
    odd = np.where(z > 0, np.sinc(root / np.pi), np.sinh(root) / np.where(z == 0, 1, root))
    odd[z == 0] = 1.0
    assert np.allclose(1 - z * c, even, rtol=4e-15, atol=4e-15)
    assert np.allclose(1 - z * s, odd, rtol=4e-15, atol=4e-15)
    edge = np.array([0.5 - 1e-12, 0.5 + 1e-12, -0.5 - 1e-12, -0.5 + 1e-12])
    for value in stumpff(edge):
        assert_relative(value[::2], value[1::2], within=5e-13)
    assert [float(x) for x in stumpff(np.array(0.0))] == pytest.approx([1 / 2, 1 / 6], rel=1e-15)


@given(closed_eccentricities(), st.floats(-4 * TAU, 4 * TAU, allow_subnormal=False))
def test_mean_and_true_anomaly_are_inverse(e, mean):
    """Mean to true and back, whole revolutions kept.

    Near the periapsis the mean anomaly is the eccentric one times 1 - e, hence the bound.
    """
    true = true_from_mean(mean, e)
    assert abs(mean_from_true(true, e) - mean) <= 2e-14 * (1 + abs(mean))
    assert abs(true - mean) < np.pi + 1e-12


@given(st.floats(1.001, OPEN), st.floats(-0.98, 0.98, allow_subnormal=False))
def test_hyperbolic_mean_and_true_anomaly_are_inverse(e, share):
    """True to hyperbolic mean and back, up to 98 % of the way to the asymptote."""
    true = share * np.arccos(-1.0 / e)
    # Close to e = 1 and to the asymptote arctanh and its inverse lose up to three digits.
    assert_radians(true_from_mean(mean_from_true(true, e), e), true, within=1e-12)


@given(closed_eccentricities(), angles())
def test_keplers_equation_holds(e, mean):
    """The eccentric anomaly behind the true one satisfies M = E - e sin E."""
    true = true_from_mean(mean, e)
    eccentric = 2 * np.arctan2(np.sqrt(1 - e) * np.sin(true / 2), np.sqrt(1 + e) * np.cos(true / 2))
    assert_radians(eccentric - e * np.sin(eccentric), mean, within=2e-14)


@given(orbits(), shares)
def test_energy_and_momentum_are_conserved(orbit: Orbit, share):
    """Energy, angular momentum and the apsis vector stay, for every e below, at and above 1.

    Energy against gm / p, the scale of the kinetic energy at the periapsis.
    """
    start = orbit.state
    end = propagate(*start, share * orbit.time_scale, orbit.gm)
    energies = [dot(v, v) / 2 - orbit.gm / norm(r) for r, v in (start, end)]
    assert abs(energies[1] - energies[0]) <= 1e-13 * orbit.gm / orbit.p * (1 + orbit.e)
    assert_vectors(np.cross(*end), np.cross(*start), within=1e-12)
    vectors = [eccentricity_vector(r, v, orbit.gm) for r, v in (start, end)]
    assert norm(vectors[1] - vectors[0]) <= 1e-12 * (1 + orbit.e)


@given(orbits(), shares)
def test_propagating_back_returns(orbit: Orbit, share):
    """Forth and back ends where it began."""
    start = orbit.state
    there = propagate(*start, share * orbit.time_scale, orbit.gm)
    back = propagate(*there, -share * orbit.time_scale, orbit.gm)
    assert_vectors(back[0], start[0], within=PROPAGATED)
    assert_vectors(back[1], start[1], within=PROPAGATED)


@given(orbits(), shares, shares)
def test_two_steps_are_one(orbit: Orbit, first, second):
    """Propagating in two steps ends where one step of their sum ends."""
    start, unit_of_time = orbit.state, orbit.time_scale
    middle = propagate(*start, first * unit_of_time, orbit.gm)
    twice = propagate(*middle, second * unit_of_time, orbit.gm)
    once = propagate(*start, (first + second) * unit_of_time, orbit.gm)
    assert_vectors(twice[0], once[0], within=PROPAGATED)
    assert_vectors(twice[1], once[1], within=PROPAGATED)


@given(orbits(e=closed_eccentricities(0.95)), st.integers(-1000, 1000))
def test_a_whole_period_returns(orbit: Orbit, revolutions):
    """After whole periods the craft is where it was, even a thousand of them later.

    The mean anomaly's error is that of the period, some roundings of 1/a (2a/r of them near
    the periapsis), times the anomaly swept; the periapsis passes (1 + e)/(1 - e)^1.5 faster.
    """
    start = orbit.state
    end = propagate(*start, revolutions * orbit.period, orbit.gm)
    roundings = 1e-15 * (1 + abs(revolutions)) * TAU
    within = 10 * roundings * (1 + orbit.e) / (1 - orbit.e) ** 2.5
    assert_vectors(end[0], start[0], within=within)
    assert_vectors(end[1], start[1], within=within)


@given(orbits(), shares)
def test_anomaly_and_time_agree(orbit: Orbit, share):
    """Away from a parabola the state after a time is the one that Kepler's equation gives.

    Within 0.1 of e = 1 Kepler's equation in this form loses digits that propagate keeps.
    """
    assume(abs(orbit.e - 1.0) > 0.1)
    duration = share * orbit.time_scale
    motion = np.sqrt(orbit.gm / abs(orbit.a) ** 3)
    mean = mean_from_true(orbit.nu, orbit.e) + motion * duration
    expected = orbit._replace(nu=float(true_from_mean(mean, orbit.e))).state
    position, velocity = propagate(*orbit.state, duration, orbit.gm)
    assert_vectors(position, expected[0], within=PROPAGATED)
    assert_vectors(velocity, expected[1], within=PROPAGATED)


@given(orbits(), shares, angles())
def test_turning_the_axes_turns_the_result(orbit: Orbit, share, angle):
    """Turned about the pole and flown, or flown and turned: the same."""
    turn = rotation(2, angle)
    position, velocity = orbit.state
    duration = share * orbit.time_scale
    end = propagate(position, velocity, duration, orbit.gm)
    turned = propagate(turn @ position, turn @ velocity, duration, orbit.gm)
    assert_vectors(turned[0], turn @ end[0], within=PROPAGATED)
    assert_vectors(turned[1], turn @ end[1], within=PROPAGATED)


@given(orbits(), shares, st.floats(0.05, 30.0), st.floats(0.05, 30.0))
def test_scaling_length_and_time_scales_the_result(orbit: Orbit, share, length, time):
    """In other units of length and time the same orbit comes out in those units."""
    position, velocity = orbit.state
    duration = share * orbit.time_scale
    end = propagate(position, velocity, duration, orbit.gm)
    scaled = propagate(
        position * length,
        velocity * length / time,
        duration * time,
        orbit.gm * length**3 / time**2,
    )
    assert_vectors(scaled[0], end[0] * length, within=PROPAGATED)
    assert_vectors(scaled[1], end[1] * length / time, within=PROPAGATED)


@given(st.lists(st.tuples(orbits(), shares), min_size=2, max_size=12))
def test_a_batch_is_its_rows(cases):
    """A state in a batch of any orbits ends in the same bits as alone."""
    gm = 4.0e14
    states = [orbit._replace(gm=gm).state for orbit, _ in cases]
    durations = np.array([share * orbit.time_scale for orbit, share in cases])
    position, velocity = (np.array(x) for x in zip(*states, strict=True))
    ends = propagate(position, velocity, durations, gm)
    for row, duration in enumerate(durations):
        alone = propagate(position[row], velocity[row], duration, gm)
        assert np.array_equal(ends[0][row], alone[0])
        assert np.array_equal(ends[1][row], alone[1])


def test_anomalies_in_a_batch_are_those_alone():
    """An anomaly solved in a batch has the bits it has alone, and is NaN at e = 1 alone."""
    rng = np.random.default_rng(11)
    mean = rng.uniform(-20, 20, 300)
    e = np.concatenate([rng.uniform(0, 0.97, 200), np.full(50, 2.0), np.full(50, 1.0)])
    together = true_from_mean(mean, e)
    alone = np.array([true_from_mean(m, x) for m, x in zip(mean, e, strict=True)])
    assert np.array_equal(together, alone, equal_nan=True)
    assert np.isnan(together[250:]).all()
    assert np.isnan(mean_from_true(0.5, 1.0))


def test_leading_axes_broadcast():
    """Two states and three durations make a table of six."""
    states = np.array([[7e6, 0.0, 0.0], [0.0, 8e6, 0.0]]), np.array([[0, 7.6e3, 0], [0, 0, 7e3]])
    position, velocity = propagate(
        states[0][:, None], states[1][:, None], np.array([0.0, 60.0, 9e5]), 4e14
    )
    assert position.shape == velocity.shape == (2, 3, 3)
    alone = propagate(states[0][1], states[1][1], 9e5, 4e14)
    assert np.array_equal(position[1, 2], alone[0])
    assert np.array_equal(position[:, 0], states[0])


@pytest.mark.parametrize("bad", [np.nan, np.inf, -np.inf])
def test_only_the_bad_row_is_nan(bad):
    """A non-finite input makes its own row NaN, without a warning, and no other."""
    position = np.array([[7e6, 0.0, 0.0]] * 4)
    velocity = np.array([[0.0, 7.6e3, 0.0]] * 4)
    duration = np.array([60.0] * 4)
    position[1, 2], velocity[2, 0], duration[3] = bad, bad, bad
    for column in propagate(position, velocity, duration, 4e14):
        assert np.isfinite(column[0]).all()
        assert np.isnan(column[1:]).all()


@pytest.mark.parametrize("excess", [1e-8, 1e-6, 5e-4, 2e-3, 5e-3])
@pytest.mark.parametrize("mean", [-0.4, -1e-2, 1e-4, 1e-2, 0.4])
def test_near_parabolas_are_followed_far_out(excess, mean):
    """A hyperbola close to a parabola reaches the radius that Kepler's equation gives.

    A first guess of constant radius would put the universal anomaly at hundreds: such rows were
    NaN once. 1/a is a difference of numbers that agree to `excess`, hence the tolerance.
    """
    gm, periapsis, e = 4e14, 7e6, 1.0 + excess
    a = periapsis / excess
    start = state_from_classical(periapsis * (1 + e), e, 0.3, 0.0, 0.0, 0.0, gm)
    position, _ = propagate(*start, mean * np.sqrt(a**3 / gm), gm)
    anomaly = brentq(lambda f: e * np.sinh(f) - f - mean, -10.0, 10.0, xtol=1e-15, rtol=1e-15)
    assert_relative(norm(position), a * (e * np.cosh(anomaly) - 1), within=1e-14 / excess + 1e-11)
