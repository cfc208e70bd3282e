"""Finite burns: published ones, the rocket equation, steering, the loss by a burn's length."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from simcheck.engines.base import G0, Thrust
from simcheck.engines.gravity import Gravity
from simcheck.kernels.elements import classical_from_state, state_from_classical
from simcheck.kernels.vectors import rsw_frame
from tests.engines.bench import ENGINES, MARS, NAMES, gravity, period, state
from tests.helpers import assert_degrees, assert_metres, assert_relative, assert_vectors
from tests.strategies import TAU

both = pytest.mark.parametrize("engine", ENGINES, ids=NAMES)
DEG = np.pi / 180
NOWHERE = Gravity(1e-6, 1.0)
"""Gravity too weak to be felt a megametre away: 1e-18 m/s2. Starts move a little: without any
angular momentum there is no RSW frame, which the fast engine sets up for every burn."""


def push(newton, isp, direction, steering="inertial") -> Thrust:
    return Thrust(thrust_n=newton, isp_s=isp, steering=steering, direction=np.array(direction))


@both
@pytest.mark.reference("Orekit ConstantThrustManeuverTest::testRoughBehaviour")
def test_published_long_apogee_burn(engine):
    """A burn of an hour at apogee in a fixed direction: final mass, inclination and axis.

    Published to all digits of the mass, 1e-4 deg and 1 km.
    """
    gm, a, e = 3.9860047e14, 24396159.0, 0.72831215
    r, v = state_from_classical(a * (1 - e**2), e, 7 * DEG, 261 * DEG, 180 * DEG, 0.0, gm)
    ra, dec = 351 * DEG, -7.4978 * DEG
    direction = [np.cos(ra) * np.cos(dec), np.sin(ra) * np.cos(dec), np.sin(dec)]
    p = engine(Gravity(gm, 6378137.0))
    lit = p.advance(0.0, np.array([*r, *v, 2500.0]), 17134.08)
    end = p.advance(lit.time, lit.state, lit.time + 3653.99, push(420.0, 318.0, direction)).state
    assert end[6] == pytest.approx(2007.8824544261233, abs=1e-9)
    orbit = classical_from_state(end[:3], end[3:6], gm)
    assert_degrees(np.degrees(orbit.i), 2.6872, 1e-4)
    assert_metres([float(orbit.a)], [28970e3], 1e3)
    # Recomputed independently: e 0.455438.
    assert float(orbit.e) == pytest.approx(0.455438, abs=1e-6)


@both
@pytest.mark.reference("Curtis ex. 6.1 with the burn time of the rocket equation (derived)")
def test_burn_time_of_a_dv(engine):
    """1722.524 m/s with 2 t and 300 s of Isp at 10 kN take 260.7632 s."""
    flown = engine(NOWHERE)
    y = np.array([1e6, 0.0, 0.0, 0.0, 0.0, 1.0, 2000.0])
    # g0 of the source is 9.807.
    isp = 300.0 * 9.807 / G0
    end = flown.advance(0.0, y, 260.7632, push(10e3, isp, [0.0, 0.0, 1.0])).state
    assert end[5] - 1.0 == pytest.approx(1722.524, abs=2e-3)


@both
@pytest.mark.reference("textbook P9.52 f, worked solution (distances in km, three digits)")
def test_published_distance_without_gravity(engine):
    """A rocket of exhaust speed 1.5 km/s that burns up in 144 s covers the published distances."""
    times = [20.0, 40.0, 60.0, 80.0, 100.0, 120.0, 132.0]
    printed = [2.19, 9.23, 22.1, 42.2, 71.7, 115.0, 153.0]
    flow = 1000.0 / 144.0
    thrust = push(flow * 1500.0, 1500.0 / G0, [0.0, 1.0, 0.0])
    y = np.array([1e6, 0.0, 0.0, 0.0, 1.0, 0.0, 1000.0])
    for time, km in zip(times, printed, strict=True):
        way = (engine(NOWHERE).advance(0.0, y, time, thrust).state[1] - time) / 1e3
        assert_relative(way, km, 6e-3)  # printed digits: 115 for 115.497
        exact = 1.5 * (time + (144 - time) * np.log1p(-time / 144))
        assert_relative(way, exact, 1e-11)


@both
@settings(max_examples=15)
@given(
    newton=st.floats(0.1, 1e5),
    isp=st.floats(50.0, 5000.0),
    share=st.floats(1e-4, 0.95),
    mass=st.floats(1.0, 1e4),
)
def test_rocket_equation(engine, newton, isp, share, mass):
    """Without gravity any burn gives exhaust speed times the logarithm of the mass ratio."""
    duration = share * mass * isp * G0 / newton
    start = np.array([0.0, 3.0, 4.0])
    y = np.array([1e9, 0.0, 0.0, *start, mass])
    end = engine(NOWHERE).advance(0.0, y, duration, push(newton, isp, [0.0, 0.6, 0.8])).state
    dv = isp * G0 * np.log(mass / end[6])
    assert_vectors(end[3:6] - start, dv * np.array([0.0, 0.6, 0.8]), 1e-9)
    assert_relative(end[6], mass * (1 - share), 1e-11)


@both
def test_inertial_and_turning_steering_start_alike_and_part(engine):
    """A short burn is the same in both axes; a long one differs by the turn of the axes."""
    y = state()
    local = np.array([0.2, 0.9, np.sqrt(1 - 0.85)])
    fixed = rsw_frame(y[:3], y[3:6]).T @ local
    p = engine(gravity())
    for seconds, least, most in ((0.1, 0.0, 1e-5), (600.0, 1e3, 1e6)):
        ends = [
            p.advance(0.0, y, seconds, push(400.0, 318.0, d, s)).state
            for d, s in ((local, "rsw"), (fixed, "inertial"))
        ]
        assert least <= np.linalg.norm((ends[0] - ends[1])[:3]) < most
        assert ends[0][6] == pytest.approx(ends[1][6], abs=1e-10)


@both
def test_each_axis_of_rsw_does_its_part(engine):
    """Along R the momentum stays, along S it grows by r dv, along W the plane turns about r."""
    y, dv = state(e=0.0, nu=0.0), 1e-3
    p = engine(gravity(zonal=False))
    r = np.linalg.norm(y[:3])
    h0 = np.cross(y[:3], y[3:6])
    size = np.linalg.norm(h0)
    frame = rsw_frame(y[:3], y[3:6])
    for axis, expected in ((0, 0.0 * frame[0]), (1, r * dv * frame[2]), (2, -r * dv * frame[1])):
        # 1 mm/s in a tenth of a second: the axes turn by 2e-5 meanwhile.
        burn = push(10.0, 1e6, np.eye(3)[axis], "rsw")
        end = p.advance(0.0, y, 0.1, burn).state
        change = np.cross(end[:3], end[3:6]) - h0
        assert np.linalg.norm(change - expected) < 1e-4 * r * dv
        assert np.linalg.norm(change) < 2e-6 * size


def test_the_engines_agree_on_burns():
    """A hard burn of ten minutes ends within a millimetre in both engines, in either steering."""
    y = state()
    for steering in ("inertial", "rsw"):
        burn = push(600.0, 250.0, [0.36, 0.48, 0.8], steering)
        ends = [e(gravity()).advance(0.0, y, 600.0, burn).state for e in ENGINES]
        assert_metres(ends[0][:3], ends[1][:3], 1e-3)
        assert ends[0][6] == pytest.approx(ends[1][6], abs=1e-10)


def loss(sweep: float, steering: str, engine=ENGINES[0]) -> float:
    """Share of the energy that a burn centred on a point of a circle loses by its sweep in rad.

    Its acceleration is so small that the circle stays one, its exhaust so fast that the mass does.
    """
    p = engine(gravity(zonal=False))
    middle = state(e=0.0, mass=1.0)
    length = sweep / TAU * period(middle, MARS.gm)
    before = p.sample(0.0, middle * [1, 1, 1, -1, -1, -1, 1], np.array([length / 2]))[0]
    before[3:6] *= -1  # flown backwards from the middle
    speed = np.linalg.norm(middle[3:6])
    direction = middle[3:6] / speed if steering == "inertial" else np.array([0.0, 1.0, 0.0])
    small = 1e-6
    end = p.advance(0.0, before, length, push(small, 1e9, direction, steering)).state
    coast = p.advance(0.0, before, length).state
    kinetic = [s[3:6] @ s[3:6] / 2 - MARS.gm / np.linalg.norm(s[:3]) for s in (end, coast)]
    return 1.0 - (kinetic[0] - kinetic[1]) / (speed * small * length)


def test_loss_of_a_fixed_direction_grows_as_the_sweep_squared():
    """A centred burn in a fixed direction loses sweep^2/24 of its effect, to fourth order.

    Derived: energy grows by the integral of thrust times speed along it, v cos(angle from the
    middle), so the share kept is sin(s/2)/(s/2) = 1 - s^2/24 + s^4/1920 - ...
    """
    sweeps = np.array([0.2, 0.4, 0.8])
    losses = np.array([loss(s, "inertial") for s in sweeps])
    assert_relative(losses, 1 - np.sinc(sweeps / TAU), 2e-3)  # rounding of the energies at 0.2
    order = np.polyfit(np.log(sweeps), np.log(losses), 1)[0]
    assert order == pytest.approx(2.0, abs=0.02)
    remainder = sweeps[1:] ** 2 / 24 - losses[1:]
    assert np.log2(remainder[1] / remainder[0]) == pytest.approx(4.0, abs=0.3)


def test_turning_steering_loses_nothing():
    """Steered along the track, the same burns lose nothing: the thrust stays along the speed."""
    for sweep in (0.4, 0.8):
        assert abs(loss(sweep, "rsw")) < 2e-5
