"""Elements and two-body propagation against boinor."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from simcheck.kernels.elements import classical_from_state, state_from_classical
from simcheck.kernels.kepler import propagate
from tests.helpers import assert_radians, assert_relative, assert_vectors
from tests.reference import boinor_core, boinor_costs, poliastro_tests, vallado
from tests.strategies import Orbit, closed_eccentricities, orbits

pytestmark = pytest.mark.reference(boinor_core.SOURCE)

# Interpreted, boinor takes some milliseconds a call.
few = settings(max_examples=60)

# boinor's angles of an orbit within 1e-8 of a circle or of the equator follow another convention.
plain = orbits(
    e=st.one_of(st.floats(1e-3, 0.95), st.floats(1.05, 4.0)), i=st.floats(1e-3, np.pi - 1e-3)
)


@given(orbits())
def test_state_of_elements(orbit: Orbit):
    """Elements of any orbit give boinor's state."""
    position, velocity = state_from_classical(*orbit)
    expected = boinor_core.coe2rv(orbit.gm, *orbit[:6])
    assert_vectors(position, expected[0], within=2e-15)
    assert_vectors(velocity, expected[1], within=2e-14)


@given(plain)
def test_elements_of_a_state(orbit: Orbit):
    """A state gives boinor's elements; angles to what e and the inclination define."""
    position, velocity = orbit.state
    found = classical_from_state(position, velocity, orbit.gm)
    p, e, i, *turns = boinor_core.rv2coe(orbit.gm, position, velocity)
    assert_relative(found.p, p, within=1e-13)
    assert_relative(found.e, e, within=1e-11)
    assert_radians(found.i, i, within=1e-11)
    for angle, expected in zip(found[3:], turns, strict=True):
        assert_radians(angle, expected, within=1e-9)


@few
@given(plain, st.floats(-9.0, 9.0, allow_subnormal=False))
def test_propagation_by_anomalies(orbit: Orbit, share):
    """States after a time are those of boinor's default method (classical anomalies)."""
    state, duration = orbit.state, share * orbit.time_scale
    found = propagate(*state, duration, orbit.gm)
    expected = boinor_core.farnocchia(orbit.gm, *state, duration)
    # Its elements carry the state's roundings over e, its anomalies those over 1 - e.
    assert_vectors(found[0], expected[0], within=1e-10)
    assert_vectors(found[1], expected[1], within=1e-10)


@few
@given(orbits(e=closed_eccentricities(0.9)), st.floats(0.01, 0.9))
def test_propagation_by_universal_variables(orbit: Orbit, share):
    """Within a revolution, states are those of boinor's universal-variable method."""
    state, duration = orbit.state, share * orbit.period
    found = propagate(*state, duration, orbit.gm)
    f, g, f_dot, g_dot = boinor_core.vallado(orbit.gm, *state, duration, 100)
    assert_vectors(found[0], f * state[0] + g * state[1], within=1e-10)
    assert_vectors(found[1], f_dot * state[0] + g_dot * state[1], within=1e-10)


@pytest.mark.reference(poliastro_tests.SOURCE + ", test_hohmann_maneuver (Vallado, ex. 6-1)")
def test_hohmann_cost():
    """boinor's Hohmann transfer costs what its ancestor's test prints (2e-6 km/s, 1e-6 h)."""
    case = poliastro_tests.HOHMANN
    radii = [(poliastro_tests.RADIUS + case[k]) * 1e3 for k in ("altitude_1", "altitude_2")]
    cost = boinor_costs.hohmann(poliastro_tests.GM * 1e9, *radii)
    assert cost.total / 1e3 == pytest.approx(case["dv"], abs=2e-6)
    assert cost.duration / 3600 == pytest.approx(case["hours"], abs=1e-6)


@pytest.mark.reference(vallado.SOURCE + ", ex. 6-1")
def test_hohmann_impulses():
    """With the altitudes of the book's code, its two impulses and its time (1e-12 relative)."""
    case = vallado.EX_6_1
    radii = [(vallado.RADIUS + case[k]) * 1e3 for k in ("altitude_1", "altitude_2")]
    cost = boinor_costs.hohmann(vallado.GM * 1e9, *radii)
    assert_relative(np.array(cost.dv) / 1e3, case["dv"], within=1e-12)
    assert_relative(cost.duration / 60, case["minutes"], within=1e-12)


def test_bielliptic_through_the_target_is_hohmann():
    """A bi-elliptic transfer whose far point is the target circle costs a Hohmann transfer."""
    gm, start, end = 4e14, 7e6, 42e6
    two, three = boinor_costs.hohmann(gm, start, end), boinor_costs.bielliptic(gm, start, end, end)
    assert_relative(three.total, two.total, within=1e-14)


def test_lambert_arc_arrives():
    """boinor's Lambert arc, flown by our propagation, arrives at the far end."""
    gm = 4e14
    start, end = np.array([8e6, 1e6, -2e6]), np.array([-3e6, 9e6, 4e6])
    velocities = boinor_costs.lambert(gm, start, end, 4000.0)
    arrived = propagate(start, velocities[0], 4000.0, gm)
    assert_vectors(arrived[0], end, within=1e-11)
    assert_vectors(arrived[1], velocities[1], within=1e-11)
