"""Classical and equinoctial elements, and the ring frame."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from simcheck.kernels.elements import (
    Classical,
    Equinoctial,
    classical_from_state,
    eccentricity_vector,
    equinoctial_from_state,
    ring_frame,
    state_from_classical,
    state_from_equinoctial,
)
from simcheck.kernels.kepler import mean_from_true, propagate
from simcheck.kernels.vectors import TAU, angle_between, norm, rotation
from tests.helpers import (
    assert_degrees,
    assert_metres,
    assert_metres_per_second,
    assert_radians,
    assert_relative,
    assert_vectors,
)
from tests.reference import curtis, vallado
from tests.strategies import (
    BODIES,
    Orbit,
    angles,
    closed_eccentricities,
    inclinations,
    orbits,
)

# Relative, of a state turned into elements and back. Below 1e-11 an eccentricity or sine of the
# inclination is dropped as noise, which moves the state by twice that at most.
ROUND_TRIP = 5e-11

MARS = BODIES["Mars"]


@pytest.mark.reference(vallado.SOURCE + ", ex. 2-5")
def test_vallado_2_5():
    """Elements of the book's state: sizes to 1 mm, angles to their last printed digit."""
    case = vallado.EX_2_5
    gm = vallado.GM * 1e9
    found = classical_from_state(
        np.array(case["position"]) * 1e3, np.array(case["velocity"]) * 1e3, gm
    )
    assert float(found.p) == pytest.approx(case["p"] * 1e3, abs=1e-3)
    assert float(found.a) == pytest.approx(case["a"] * 1e3, abs=1e-3)
    assert float(found.e) == pytest.approx(case["e"], abs=1e-12)
    for name in ("i", "raan", "argp", "nu"):
        assert_degrees(np.degrees(getattr(found, name)), case[name], within=1e-6)
    assert_degrees(np.degrees(found.argp + found.nu), case["latitude"], within=0.0051)
    mean = mean_from_true(found.nu, found.e)
    assert_degrees(np.degrees(mean), case["mean_anomaly"], within=0.0051)


@pytest.mark.reference(curtis.FROM_MEMORY + ", ex. 4.7")
def test_curtis_4_7():
    """State of the book's hyperbola, from memory, to its last printed digit (1 km, 10 m/s)."""
    case = curtis.EX_4_7
    gm = curtis.GM * 1e9
    angles_rad = np.radians([case[name] for name in ("i", "raan", "argp", "nu")])
    position, velocity = state_from_classical(
        (case["h"] * 1e6) ** 2 / gm, case["e"], *angles_rad, gm
    )
    assert np.all(np.abs(position / 1e3 - case["position"]) < 0.5)
    assert np.all(np.abs(velocity / 1e3 - case["velocity"]) < [0.005, 0.0005, 0.0005])


@given(orbits())
def test_classical_round_trip_of_the_state(orbit: Orbit):
    """A state comes back from its classical elements: any inclination, any eccentricity."""
    position, velocity = orbit.state
    found = classical_from_state(position, velocity, orbit.gm)
    again = state_from_classical(*found, orbit.gm)
    assert_vectors(again[0], position, within=ROUND_TRIP)
    assert_vectors(again[1], velocity, within=ROUND_TRIP)


@given(orbits())
def test_classical_elements_come_back(orbit: Orbit):
    """Elements come back from their state, each angle as sharply as the orbit defines it."""
    found = classical_from_state(*orbit.state, orbit.gm)
    assert_relative(found.p, orbit.p, within=1e-12)
    assert abs(found.e - orbit.e) <= 2e-11
    assert abs(found.i - orbit.i) <= 2e-15
    e, sine = max(orbit.e, 1e-11), max(np.sin(orbit.i), 1e-11)
    if orbit.e > 1e-9 and sine > 1e-9:
        assert_radians(found.raan, orbit.raan, within=1e-14 + 1e-15 / sine)
        assert_radians(found.argp, orbit.argp, within=1e-13 / e + 1e-15 / sine)
        assert_radians(found.nu, orbit.nu, within=1e-13 / e)
    for angle in (found.raan, found.argp, found.nu):
        assert 0.0 <= angle <= TAU


@given(orbits(e=closed_eccentricities(), i=st.sampled_from([0.0, np.pi])))
def test_equatorial_orbits_count_from_the_x_axis(orbit: Orbit):
    """On the equator the raan is 0 and argp + nu is the angle from the x axis along the motion."""
    position, velocity = orbit.state
    found = classical_from_state(position, velocity, orbit.gm)
    assert found.raan == 0.0
    sense = 1.0 if orbit.i == 0.0 else -1.0
    along = np.arctan2(sense * position[1], position[0])
    assert_radians(found.argp + found.nu, along, within=1e-14)


@given(orbits(e=st.just(0.0)))
def test_circles_count_from_the_node(orbit: Orbit):
    """On a circle e and argp are 0 and the true anomaly is the argument of latitude."""
    found = classical_from_state(*orbit.state, orbit.gm)
    assert found.e == 0.0
    assert found.argp == 0.0
    sine = np.sin(orbit.i)
    if sine > 1e-9:
        assert_radians(found.nu, orbit.argp + orbit.nu, within=1e-14 + 1e-15 / sine)


@given(orbits())
def test_eccentricity_vector_points_at_the_periapsis(orbit: Orbit):
    """The eccentricity vector is e times the direction of the state at true anomaly 0."""
    periapsis = orbit._replace(nu=0.0).state[0]
    vector = eccentricity_vector(*orbit.state, orbit.gm)
    expected = orbit.e * periapsis / norm(periapsis)
    assert norm(vector - expected) <= 2e-14 * (1 + orbit.e)


@given(orbits(e=closed_eccentricities(), i=st.floats(0.0, np.radians(179.0))))
def test_equinoctial_round_trip_of_the_state(orbit: Orbit):
    """A state comes back from its equinoctial elements; the circle and the equator are no edge.

    p and q grow as tan(i/2), up to 115 here; the periapsis passes 1/(1 - e)^1.5 faster.
    """
    position, velocity = orbit.state
    found = equinoctial_from_state(position, velocity, orbit.gm)
    again = state_from_equinoctial(found, orbit.gm)
    within = 5e-14 / (1 - orbit.e) ** 1.5
    assert_vectors(again[0], position, within=within)
    assert_vectors(again[1], velocity, within=within)
    assert -np.pi < found.longitude <= np.pi


@given(orbits(e=closed_eccentricities(), i=st.floats(0.0, np.radians(170.0))))
def test_equinoctial_elements_mean_what_they_say(orbit: Orbit):
    """a, (h, k), (p, q) and the mean longitude are those of the classical elements."""
    found = equinoctial_from_state(*orbit.state, orbit.gm)
    apsis = orbit.raan + orbit.argp
    tangent = np.tan(orbit.i / 2)
    mean = mean_from_true(orbit.nu, orbit.e)
    # 1/a = 2/r - v^2/gm loses (1 + e)/(1 - e) at the periapsis.
    assert_relative(found.a, orbit.a, within=1e-14 / (1 - orbit.e))
    eccentricity = orbit.e * np.array([np.sin(apsis), np.cos(apsis)])
    assert np.allclose([found.h, found.k], eccentricity, rtol=0, atol=3e-14 * (1 + tangent))
    node = tangent * np.array([np.sin(orbit.raan), np.cos(orbit.raan)])
    assert np.allclose([found.p, found.q], node, rtol=0, atol=1e-14 * (1 + tangent**2))
    assert_radians(found.longitude, apsis + mean, within=1e-12 * (1 + tangent))


@given(orbits(e=closed_eccentricities(0.9), i=st.floats(0.0, 3.0)), st.floats(-5.0, 5.0))
def test_only_the_mean_longitude_moves(orbit: Orbit, revolutions):
    """In two-body motion five equinoctial elements stay and the mean longitude runs evenly."""
    start = orbit.state
    end = propagate(*start, revolutions * orbit.period, orbit.gm)
    before, after = (equinoctial_from_state(r, v, orbit.gm) for r, v in (start, end))
    assert_relative(after.a, before.a, within=1e-12)
    assert np.allclose(after[1:5], before[1:5], rtol=0, atol=1e-11)
    turned = before.longitude + TAU * revolutions
    assert_radians(after.longitude, turned, within=1e-10)


@given(orbits(e=closed_eccentricities(0.9), i=st.floats(0.0, 2.5)), angles())
def test_turning_about_the_pole_turns_the_elements(orbit: Orbit, angle):
    """A turn about the pole adds to raan and mean longitude and leaves the rest."""
    turn = rotation(2, angle)
    position, velocity = orbit.state
    before = equinoctial_from_state(position, velocity, orbit.gm)
    after = equinoctial_from_state(turn @ position, turn @ velocity, orbit.gm)
    assert_radians(after.longitude, before.longitude + angle, within=1e-12)
    assert_relative(after.a, before.a, within=1e-13)
    for sine, cosine in (("h", "k"), ("p", "q")):
        old = getattr(before, cosine) + 1j * getattr(before, sine)
        new = getattr(after, cosine) + 1j * getattr(after, sine)
        assert abs(new - old * np.exp(1j * angle)) <= 1e-13 * (1 + abs(old))


@given(orbits(e=closed_eccentricities(0.9)), st.floats(0.05, 30.0), st.floats(0.05, 30.0))
def test_scaling_scales_sizes_alone(orbit: Orbit, length, time):
    """In other units of length and time only p changes; e and i do not."""
    position, velocity = orbit.state
    before = classical_from_state(position, velocity, orbit.gm)
    after = classical_from_state(
        position * length, velocity * length / time, orbit.gm * length**3 / time**2
    )
    assert_relative(after.p, before.p * length, within=1e-14)
    assert abs(after.e - before.e) <= 2e-11
    assert abs(after.i - before.i) <= 2e-15


def test_open_orbits_have_no_mean_longitude():
    """A hyperbola's row has NaN as its longitude, the ellipse beside it keeps its own."""
    position = np.array([[7e6, 0.0, 0.0]] * 2)
    velocity = np.array([[0.0, 7e3, 1e3], [0.0, 12e3, 1e3]])
    longitude = equinoctial_from_state(position, velocity, 4e14).longitude
    assert np.isfinite(longitude[0])
    assert np.isnan(longitude[1])


@given(st.lists(orbits(e=closed_eccentricities(), i=st.floats(0.0, 3.0)), min_size=2, max_size=8))
def test_a_batch_is_its_rows(cases):
    """Elements and states in a batch are those of each row alone, to a rounding (squares of
    scalars and of arrays are rounded differently)."""
    gm = 4.0e14
    rows = [orbit._replace(gm=gm) for orbit in cases]
    columns = [np.array(x) for x in list(zip(*rows, strict=True))[:6]]
    position, velocity = state_from_classical(*columns, gm)
    batch = {
        "state": (position, velocity),
        "classical": classical_from_state(position, velocity, gm),
        "equinoctial": equinoctial_from_state(position, velocity, gm),
    }
    for row, orbit in enumerate(rows):
        alone = {
            "state": orbit.state,
            "classical": classical_from_state(position[row], velocity[row], gm),
            "equinoctial": equinoctial_from_state(position[row], velocity[row], gm),
        }
        for name, values in alone.items():
            for many, one in zip(batch[name], values, strict=True):
                assert np.allclose(many[row], one, rtol=1e-14, atol=1e-14), name


def test_leading_axes_are_free():
    """Elements of shape (2, 3) give states of shape (2, 3, 3) and come back as (2, 3)."""
    nu = np.linspace(0.1, 6.0, 6).reshape(2, 3)
    position, velocity = state_from_classical(8e6, 0.1, 0.5, 1.0, 2.0, nu, 4e14)
    assert position.shape == velocity.shape == (2, 3, 3)
    found = classical_from_state(position, velocity, 4e14)
    assert np.allclose(found.nu, nu, rtol=0, atol=1e-13)
    assert equinoctial_from_state(position, velocity, 4e14).longitude.shape == (2, 3)


@given(inclinations(), angles())
def test_ring_frame_axes(inclination, raan):
    """x is the direction of the node, z the ring's normal, and the set is right-handed."""
    frame = ring_frame(inclination, raan, equatorial=False)
    node = np.array([np.cos(raan), np.sin(raan), 0.0])
    normal = np.cross(node, [0.0, 0.0, 1.0]) * np.sin(inclination)
    normal[2] = np.cos(inclination)
    assert np.allclose(frame[0], node, rtol=0, atol=1e-15)
    assert np.allclose(frame[2], normal, rtol=0, atol=1e-15)
    assert np.allclose(frame @ frame.T, np.eye(3), rtol=0, atol=1e-15)
    assert np.linalg.det(frame) == pytest.approx(1.0, abs=1e-15)


@given(st.sampled_from([0.0, np.pi]), angles())
def test_an_equatorial_rings_frame_starts_at_the_x_axis(inclination, raan):
    """Where the ring is equatorial the inertial x axis replaces the node."""
    frame = ring_frame(inclination, raan, equatorial=True)
    assert frame[0].tolist() == [1.0, 0.0, 0.0]
    assert np.allclose(frame[2], [0.0, 0.0, np.cos(inclination)], rtol=0, atol=1e-15)


@given(
    orbit=orbits(e=closed_eccentricities(0.3)),
    inclination=st.sampled_from(np.radians([0.0, 35.0, 90.0, 150.0, 180.0]).tolist()),
    raan=angles(),
    latitude=angles(),
)
def test_on_the_ring_the_longitude_is_the_argument_of_latitude(orbit, inclination, raan, latitude):
    """In its ring's frame a relay has p = q = h = k = 0 and its longitude counts from the node
    in the direction of motion, whether the ring is prograde, polar or retrograde."""
    relay = Orbit(orbit.p, 0.0, inclination, raan, 0.0, latitude, orbit.gm)
    frame = ring_frame(inclination, raan, equatorial=False)
    position, velocity = relay.state
    found = equinoctial_from_state(frame @ position, frame @ velocity, orbit.gm)
    assert np.allclose(found[1:5], 0.0, rtol=0, atol=2e-15)
    assert_radians(found.longitude, latitude, within=5e-15)
    later = propagate(position, velocity, relay.period / 8, orbit.gm)
    ahead = equinoctial_from_state(frame @ later[0], frame @ later[1], orbit.gm)
    assert_radians(ahead.longitude, latitude + TAU / 8, within=1e-14)


@given(
    ring=st.sampled_from(np.radians([0.0, 60.0, 150.0, 180.0]).tolist()),
    raan=angles(),
    tilt=st.floats(0.0, 0.5),
    orbit=orbits(e=closed_eccentricities(0.5)),
)
def test_a_tilted_orbit_in_the_ring_frame(ring, raan, tilt, orbit: Orbit):
    """Near any ring, retrograde ones too, (p, q) has the length tan(tilt / 2) of the orbit's
    tilt against the ring, and the state comes back."""
    frame = ring_frame(ring, raan, equatorial=False)
    position, velocity = orbit._replace(i=tilt).state
    inertial = position @ frame, velocity @ frame
    normals = frame[2], np.cross(*inertial)
    found = equinoctial_from_state(frame @ inertial[0], frame @ inertial[1], orbit.gm)
    assert np.hypot(found.p, found.q) == pytest.approx(np.tan(tilt / 2), abs=1e-14)
    assert angle_between(*normals) == pytest.approx(tilt, abs=1e-14)
    again = state_from_equinoctial(found, orbit.gm)
    assert_vectors(again[0] @ frame, inertial[0], within=1e-13)
    assert_vectors(again[1] @ frame, inertial[1], within=1e-13)


def test_a_relay_of_mars_by_hand():
    """An equatorial relay with its periapsis on the y axis, a quarter turn before the x axis."""
    a, e = 2.0e7, 0.1
    elements = Equinoctial(*(np.array(x) for x in (a, e, 0.0, 0.0, 0.0, np.pi / 2)))
    position, velocity = state_from_equinoctial(elements, MARS.gm)
    assert_metres(position, [0.0, a * (1 - e), 0.0], within=1e-6)
    fastest = np.sqrt(MARS.gm / a * (1 + e) / (1 - e))
    assert_metres_per_second(velocity, [-fastest, 0.0, 0.0], within=1e-9)
    found = classical_from_state(position, velocity, MARS.gm)
    assert isinstance(found, Classical)
    assert_degrees(np.degrees(found.argp), 90.0, within=1e-10)
    assert_degrees(np.degrees(found.nu), 0.0, within=1e-10)
