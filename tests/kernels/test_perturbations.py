"""Zonal accelerations and secular rates."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from simcheck.kernels.kepler import axis_of_period
from simcheck.kernels.perturbations import secular_rates, zonal_acceleration
from simcheck.kernels.vectors import TAU, rotation
from tests.helpers import assert_degrees, assert_relative, assert_vectors
from tests.reference import curtis, poliastro_tests, smad, vallado
from tests.strategies import BODIES, Body, angles, bodies, closed_eccentricities

DAY, HOUR = 86400.0, 3600.0
YEAR = 365.2421897 * DAY


def zonal_potential(position, body: Body, degrees=(2, 3, 4)):
    """Disturbing part of U = gm/r (1 - sum J_n (R/r)^n P_n(sin latitude)), Vallado section 8.6.

    Legendre's polynomials are numpy's; complex positions pass through.
    """
    r = np.sqrt((position * position).sum(axis=-1))
    sine = position[..., 2] / r
    total = 0.0
    for n, j in zip((2, 3, 4), body[2:], strict=True):
        if n in degrees:
            series = np.zeros(n + 1)
            series[n] = 1.0
            total = total + j * (body.radius / r) ** n * np.polynomial.legendre.legval(sine, series)
    return -body.gm / r * total


def gradient(position, body: Body, degrees=(2, 3, 4)):
    """Gradient of the potential by complex steps: a derivative without cancellation."""
    step = 1e-20 * body.radius
    steps = position + 1j * step * np.eye(3)
    return zonal_potential(steps, body, degrees).imag / step


@st.composite
def points(draw, body: Body):
    """Points from 1.02 to 30 radii away, the poles and the equator among them."""
    sine = draw(st.one_of(st.sampled_from([-1.0, 0.0, 1.0]), st.floats(-1.0, 1.0)))
    longitude, r = draw(angles()), body.radius * draw(st.floats(1.02, 30.0))
    cosine = np.sqrt(1 - sine**2)
    return r * np.array([cosine * np.cos(longitude), cosine * np.sin(longitude), sine])


@pytest.mark.parametrize("degrees", [(2,), (3,), (4,), (2, 3, 4)])
@given(data=st.data(), body=bodies())
def test_acceleration_is_the_gradient(degrees, data, body: Body):
    """The acceleration of each degree alone and of all is the gradient of the potential.

    Scaled by the degree's largest size at that distance: at a zero of it only roundings remain.
    """
    position = data.draw(points(body))
    r = np.linalg.norm(position)
    js = {f"j{n}": body[n] for n in degrees}
    found = zonal_acceleration(position, body.gm, body.radius, **{"j2": 0.0, **js})
    scale = sum(abs(body[n]) * (body.radius / r) ** n * (n + 1) ** 2 for n in degrees)
    error = np.linalg.norm(found - gradient(position, body, degrees))
    assert error <= 2e-15 * scale * body.gm / r**2


@given(data=st.data(), body=bodies(), angle=angles())
def test_turning_about_the_pole_turns_the_acceleration(data, body: Body, angle):
    """Zonal fields are symmetric about the pole."""
    position, turn = data.draw(points(body)), rotation(2, angle)
    js = body[2:]
    here = zonal_acceleration(position, body.gm, body.radius, *js)
    there = zonal_acceleration(turn @ position, body.gm, body.radius, *js)
    assert_vectors(there, turn @ here, within=1e-13)


def test_acceleration_takes_many_points():
    """Leading axes are free, and each point has the acceleration it has alone."""
    earth = BODIES["Earth"]
    many = np.random.default_rng(8).normal(size=(2, 5, 3)) * 3 * earth.radius
    found = zonal_acceleration(many, earth.gm, earth.radius, *earth[2:])
    assert found.shape == (2, 5, 3)
    alone = zonal_acceleration(many[1, 4], earth.gm, earth.radius, *earth[2:])
    assert_vectors(found[1, 4], alone, within=1e-15)


def test_acceleration_leaves_its_input_alone():
    """The positions handed in are not written to."""
    position = np.array([7e6, 1e6, 2e6])
    zonal_acceleration(position, 4e14, 6.4e6, 1e-3)
    assert position.tolist() == [7e6, 1e6, 2e6]


def averaged_potential(a, e, i, argp, body: Body):
    """Mean over a revolution of the J2 potential, by quadrature over the true anomaly."""
    nu = np.linspace(0.0, TAU, 64, endpoint=False)
    r = a * (1 - e**2) / (1 + e * np.cos(nu))
    sine = np.sin(i) * np.sin(argp + nu)
    position = r[:, None] * np.stack([np.sqrt(1 - sine**2), 0 * nu, sine], axis=-1)
    weight = r**2 / (a**2 * np.sqrt(1 - e**2))  # d(mean anomaly) / d(true anomaly)
    return (zonal_potential(position, body, (2,)) * weight).mean()


@given(
    body=bodies(),
    radii=st.floats(2.0, 20.0),
    e=st.floats(0.02, 0.7),
    i=st.floats(0.05, 3.09),
    argp=angles(),
)
def test_secular_rates_are_lagranges(body: Body, radii, e, i, argp):
    """The rates are those of Lagrange's planetary equations (Vallado, section 9.3) with the
    averaged potential, both by numerical quadrature and differentiation (good to 1e-8)."""
    a = radii * body.radius / (1 - e)

    def slope(axis, step):
        ends = []
        for sign in (-2, -1, 1, 2):
            x = [a, e, i]
            x[axis] += sign * step
            ends.append(averaged_potential(*x, argp, body))
        return (ends[0] - 8 * ends[1] + 8 * ends[2] - ends[3]) / (12 * step)

    by_a, by_e, by_i = slope(0, 1e-3 * a), slope(1, 1e-3), slope(2, 1e-3)
    n, root = np.sqrt(body.gm / a**3), np.sqrt(1 - e**2)
    raan = by_i / (n * a**2 * root * np.sin(i))
    argp_rate = root * by_e / (n * a**2 * e) - np.cos(i) * raan
    anomaly = -2 * by_a / (n * a) - root**2 * by_e / (n * a**2 * e)
    found = secular_rates(a, e, i, body.gm, body.radius, body.j2)
    scale = n * body.j2 * (body.radius / (a * root**2)) ** 2
    assert np.allclose(found, [raan, argp_rate, anomaly], rtol=0, atol=1e-8 * scale)


def sun_synchronous_inclination(axis_km, rate, constants):
    """Inclination in deg of a circular orbit whose node turns at `rate`, rad/s."""
    gm, radius, j2 = constants
    equatorial, *_ = secular_rates(axis_km * 1e3, 0.0, 0.0, gm * 1e9, radius * 1e3, j2)
    return np.degrees(np.arccos(rate / equatorial))


@pytest.mark.reference(poliastro_tests.SOURCE + " and " + vallado.SOURCE + ", ex. 11-2a")
def test_sun_synchronous_inclination():
    """98.6 deg to the relative 1e-4 of poliastro's test with the year in solar days. The book's
    code mixes solar and sidereal days; its 98.627 deg comes back with that mistaken rate."""
    constants = (vallado.GM, vallado.RADIUS, vallado.J2_CHAPTER_11)
    right = sun_synchronous_inclination(vallado.EX_11_2_A, TAU / YEAR, constants)
    assert_degrees(right, poliastro_tests.SUN_SYNCHRONOUS_I, within=0.00986)
    rate = np.radians(vallado.EX_11_2_MISTAKEN_RATE)
    mistaken = sun_synchronous_inclination(vallado.EX_11_2_A, rate, constants)
    assert_degrees(mistaken, vallado.EX_11_2_MISTAKEN_I, within=1e-5)
    assert mistaken - right > 0.02


@pytest.mark.reference(curtis.SOURCE + ", ex. 10.2 and 10.6, in poliastro's tests")
def test_curtis_drift():
    """Drift of node and perigee is the book's, to its last digit, 0.001 deg/h."""
    case = curtis.DRIFT
    apsides = [(curtis.RADIUS + case[k]) * 1e3 for k in ("perigee_altitude", "apogee_altitude")]
    a, e = sum(apsides) / 2, (apsides[1] - apsides[0]) / sum(apsides)
    raan, argp, _ = secular_rates(
        a, e, np.radians(case["i"]), curtis.GM * 1e9, curtis.RADIUS * 1e3, curtis.J2
    )
    assert np.degrees(raan) * HOUR == pytest.approx(case["raan_deg_h"], abs=0.0005)
    assert np.degrees(argp) * HOUR == pytest.approx(case["argp_deg_h"], abs=0.0005)


@pytest.mark.reference(poliastro_tests.SOURCE + ", test_orbit")
@pytest.mark.parametrize("critical", poliastro_tests.CRITICAL_INCLINATIONS)
def test_critical_inclination(critical):
    """The perigee stands still at the critical inclinations, to their last digit."""
    earth = BODIES["Earth"]
    around = np.radians(critical + np.array([-5e-5, 5e-5]))
    _, argp, _ = secular_rates(2.6562e7, 0.74, around, earth.gm, earth.radius, earth.j2)
    assert argp[0] * argp[1] < 0


def test_molniya_node():
    """A Molniya orbit's node drifts by -0.147713 deg/day; derived, printed nowhere seen."""
    i = np.arccos(np.sqrt(0.2))
    raan, argp, _ = secular_rates(2.6562e7, 0.74, i, 3.986004418e14, 6378137.0, 1.08262668e-3)
    assert np.degrees(raan) * DAY == pytest.approx(-0.147713, abs=5e-7)
    assert abs(argp) < 1e-14 * abs(raan)


@pytest.mark.reference(smad.SOURCE)
@given(a=st.floats(6600.0, 5e4), e=closed_eccentricities(0.8), i=st.floats(0.0, np.pi))
def test_smad_coefficients(a, e, i):
    """Rates follow the coefficients that are quoted from memory, to their six digits."""
    raan, argp, _ = secular_rates(a * 1e3, e, i, smad.GM * 1e9, smad.RADIUS * 1e3, smad.J2)
    shape = a**-3.5 * (1 - e**2) ** -2
    for rate, coefficient, turn in (
        (raan, smad.RAAN, np.cos(i)),
        (argp, smad.ARGP, 4 - 5 * np.sin(i) ** 2),
    ):
        error = np.degrees(rate) * DAY - coefficient * shape * turn
        assert abs(error) <= 4e-6 * abs(coefficient * shape * turn) + 1e-12


@pytest.mark.reference(curtis.FROM_MEMORY + ", sun-synchronous orbit of 100 minutes")
def test_curtis_sun_synchronous():
    """Inclination of the 100-minute sun-synchronous orbit, from memory, to 0.01 deg."""
    case = curtis.SUN_SYNCHRONOUS
    axis = axis_of_period(case["minutes"] * 60.0, curtis.GM * 1e9) / 1e3
    found = sun_synchronous_inclination(axis, case["rate"], (curtis.GM, curtis.RADIUS, curtis.J2))
    assert_degrees(found, case["i"], within=0.005)


def test_rates_of_a_circle_by_hand():
    """Over the poles of a circle the node stands still and perigee and mean anomaly each lose
    k/2, k = 3/2 n J2 (R/a)^2; on the equator they gain 2k and k."""
    gm, radius, j2, a = 4e14, 6.4e6, 1e-3, 8e6
    k = 1.5 * np.sqrt(gm / a**3) * j2 * (radius / a) ** 2
    raan, argp, anomaly = secular_rates(a, 0.0, np.array([0.0, np.pi / 2]), gm, radius, j2)
    assert raan[1] == pytest.approx(0.0, abs=1e-15 * k)
    assert_relative(raan[0], -k, within=1e-14)
    assert_relative(argp, [2 * k, -k / 2], within=1e-14)
    assert_relative(anomaly, [k, -k / 2], within=1e-14)
