"""Two-body transfer geometry."""

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from simcheck.kernels.elements import state_from_classical
from simcheck.kernels.kepler import propagate
from simcheck.kernels.transfers import (
    apsis_direction,
    apsis_radii,
    coast_time,
    coast_times,
    coast_to_direction,
    inverse_axis,
    node_direction,
    period_of,
    speed_for_apsis,
    speed_for_period,
    turn_to_plane,
)
from simcheck.kernels.vectors import angle_between, cross, norm, unit
from tests.helpers import assert_metres, assert_relative, assert_seconds, assert_vectors
from tests.reference import curtis, vallado
from tests.strategies import TAU, Orbit, angles, closed_eccentricities, orbits

ellipses = orbits(e=closed_eccentricities(0.95))


@given(orbit=ellipses)
def test_size_and_period_are_the_elements(orbit: Orbit):
    """1/a, period and apsis radii of a state are those of the elements it was made from."""
    r, v = orbit.state
    # Near a high apoapsis 1/a is the difference of two numbers 1/(1-e) its size.
    room = 1e-13 / (1 - orbit.e) ** 2
    assert_relative(inverse_axis(r, v, orbit.gm), 1 / orbit.a, room)
    assert_relative(period_of(r, v, orbit.gm), orbit.period, 2 * room)
    low, high = apsis_radii(r, v, orbit.gm)
    assert_relative(low, orbit.p / (1 + orbit.e), 1e-13)
    assert_relative(high, orbit.p / (1 - orbit.e), room)


@given(orbit=orbits(e=st.floats(1.001, 5.0)))
def test_open_orbits_have_neither_period_nor_apoapsis(orbit: Orbit):
    """A hyperbola has a negative 1/a, an infinite period, an infinite apoapsis."""
    r, v = orbit.state
    assert inverse_axis(r, v, orbit.gm) < 0
    assert period_of(r, v, orbit.gm) == np.inf
    low, high = apsis_radii(r, v, orbit.gm)
    assert_relative(low, orbit.p / (1 + orbit.e), 1e-12)
    assert high == np.inf


def test_batches_are_rows():
    """Leading axes are free: rows come out as each alone."""
    rows = [state_from_classical(8e6, e, 0.4, 0.1, 0.2, 1.0, 4e14) for e in (0.0, 0.3, 1.4)]
    r, v = (np.stack(x) for x in zip(*rows, strict=True))
    for f in (inverse_axis, period_of):
        assert f(r, v, 4e14).tolist() == [float(f(*row, 4e14)) for row in rows]
    assert apsis_radii(r, v, 4e14)[1].shape == (3,)


@given(orbit=ellipses, ahead=angles())
def test_coasting_to_a_direction_arrives_there(orbit: Orbit, ahead: float):
    """After the time of flight, Kepler's motion is where and as fast as said, in the direction.

    The time is in [0, period): it is never a time in the past, from any start anomaly.
    """
    r, v = orbit.state
    w, side = unit(cross(r, v)), unit(cross(cross(r, v), r))
    direction = np.cos(ahead) * unit(r) + np.sin(ahead) * side
    time, place, speed = coast_to_direction(r, v, direction + 0.3 * w, orbit.gm)
    assert 0.0 <= time < orbit.period * (1 + 1e-12)
    assert float(angle_between(place, direction)) < 1e-8
    there, fast = propagate(r, v, time, orbit.gm)
    # A direction near the periapsis of e = 0.95 magnifies roundings of the apoapsis's anomaly;
    # below e = 1e-9 the orbit is taken for a circle, which is off by 2e of its radius.
    room = 1e-11 * orbit.p / (1 - orbit.e) ** 2 + 4e-9 * orbit.p
    assert_metres(place, there, room)
    assert np.linalg.norm(speed - fast) < room * np.sqrt(orbit.gm / orbit.p**3) * (1 + orbit.e) ** 3


@pytest.mark.parametrize("nu", np.arange(0.0, 360.0, 15.0))
def test_to_the_periapsis_from_any_anomaly(nu):
    """From every start anomaly the next periapsis is (360 deg - M) / n away, never behind."""
    e, gm = 0.4, 4e14
    r, v = state_from_classical(1e7, e, 0.5, 0.3, 0.9, np.radians(nu), gm)
    time, place, _ = coast_to_direction(r, v, apsis_direction(r, v, gm), gm)
    anomaly = 2 * np.arctan(np.sqrt((1 - e) / (1 + e)) * np.tan(np.radians(nu) / 2))
    mean = np.mod(anomaly - e * np.sin(anomaly), TAU)
    period = float(period_of(r, v, gm))
    assert_seconds(time, np.mod(TAU - mean, TAU) / TAU * period, 1e-6)
    assert_relative(norm(place), 1e7 / 1.4, 1e-12)


@pytest.mark.reference(curtis.FROM_MEMORY + " ex. 6.4: 90 deg of true anomaly in 1495.7 s")
def test_published_time_to_a_direction():
    """On the ellipse of 6800 by 13600 km, periapsis to 90 deg takes 1495.7 s of 10 252 s.

    T and the time, from memory, carry five digits: 0.05 s, and 0.5 s of the period.
    """
    gm, low, high = curtis.GM * 1e9, 6800e3, 13600e3
    r = np.array([low, 0.0, 0.0])
    v = np.array([0.0, float(speed_for_apsis(low, high, gm)), 0.0])
    time, _, _ = coast_to_direction(r, v, np.array([0.0, 1.0, 0.0]), gm)
    assert_seconds(time, 1495.7, 0.06)
    assert_seconds(period_of(r, v, gm), 10252.0, 0.5)


@given(orbit=ellipses)
def test_where_it_is_takes_no_time(orbit: Orbit):
    """The direction of the craft itself, to a rounding, is reached at once."""
    r, v = orbit.state
    time, place, _ = coast_to_direction(r, v, r * (1 + 1e-15), orbit.gm)
    assert time == 0.0
    assert place is r


@pytest.mark.reference(vallado.SOURCE + " ex. 6-1: Hohmann transfer, 2.457038 and 1.478187 km/s")
def test_published_hohmann_speeds():
    """The speeds at the apsides of a Hohmann transfer give the published burns, to 2e-6 km/s."""
    gm = vallado.GM * 1e9
    low, high = (vallado.RADIUS + x for x in (191.3411, 35781.34857))
    low, high = low * 1e3, high * 1e3
    first = speed_for_apsis(low, high, gm) - np.sqrt(gm / low)
    second = np.sqrt(gm / high) - speed_for_apsis(high, low, gm)
    assert float(first) == pytest.approx(2457.038635627854, abs=2e-3)
    assert float(second) == pytest.approx(1478.187015430896, abs=2e-3)


@given(orbit=ellipses)
def test_speeds_for_an_orbit_give_that_orbit(orbit: Orbit):
    """The speed for a period or for the other apsis gives an orbit with it."""
    low, high = orbit.p / (1 + orbit.e), orbit.p / (1 - orbit.e)
    r = np.array([low, 0.0, 0.0])
    v = np.array([0.0, float(speed_for_apsis(low, high, orbit.gm)), 0.0])
    assert_relative(apsis_radii(r, v, orbit.gm)[1], high, 1e-12 / (1 - orbit.e))
    fast = float(speed_for_period(low, orbit.period, orbit.gm))
    assert_relative(fast, v[1], 1e-13 / (1 - orbit.e))


def test_a_period_too_short_for_the_radius_has_no_speed():
    """At a radius beyond twice the axis no speed gives the period: NaN, without a warning."""
    gm, r = 4e14, 1e7
    axis = np.array([0.49, 0.51]) * r
    speeds = speed_for_period(r, TAU * np.sqrt(axis**3 / gm), gm)
    assert np.isnan(speeds[0])
    assert speeds[1] > 0


@given(orbit=ellipses, tilt=st.floats(-1.5, 1.5))
def test_turning_into_a_plane_changes_only_the_direction(orbit: Orbit, tilt: float):
    """The turned velocity lies in the plane, as fast, as steep, going round the same way."""
    r, v = orbit.state
    w = unit(cross(r, v))
    normal = np.cos(tilt) * w + np.sin(tilt) * unit(cross(w, r))
    new = turn_to_plane(r, v, normal)
    assert_relative(norm(new), norm(v), 1e-13)
    # Steepness: r.v to the rounding of its factors.
    assert abs(float(r @ new - r @ v)) < 1e-12 * float(norm(r) * norm(v))
    assert_vectors(unit(cross(r, new)), normal, 1e-12)


@given(a=angles(), b=angles(), tilt=st.floats(0.001, 3.1))
def test_the_line_of_nodes_lies_in_both_planes(a, b, tilt):
    """The node's direction is across both normals."""
    one = np.array([np.sin(tilt) * np.sin(a), -np.sin(tilt) * np.cos(a), np.cos(tilt)])
    other = np.array([np.sin(1.0) * np.sin(b), -np.sin(1.0) * np.cos(b), np.cos(1.0)])
    assume(float(norm(cross(one, other))) > 1e-6)
    line = node_direction(one, other, np.array([1.0, 0.0, 0.0]))
    assert abs(line @ one) < 1e-9
    assert abs(line @ other) < 1e-9
    assert_relative(norm(line), 1.0, 1e-14)


def test_parallel_planes_fall_back():
    """Planes that coincide share no line: the fallback's direction serves."""
    pole = np.array([0.0, 0.0, 1.0])
    line = node_direction(pole, pole, np.array([0.0, 3.0, 0.0]))
    assert line.tolist() == [0.0, 1.0, 0.0]


@pytest.mark.parametrize("nu", [0.0, 1.0, 4.0])
def test_the_apsis_of_a_circle_is_where_the_craft_is(nu):
    """On a circle the periapsis is taken where the craft is."""
    r, v = state_from_classical(1e7, 0.0, 0.5, 0.3, 0.0, nu, 4e14)
    assert_vectors(apsis_direction(r, v, 4e14), unit(r), 1e-15)


@given(orbit=orbits(e=st.floats(0.0, 3.0)), dt=st.floats(-0.4, 3.0))
def test_coast_time_inverts_propagation(orbit: Orbit, dt: float):
    """Flown for some time, forward or back, the angle swept takes just that time; any conic."""
    r, v = orbit.state
    scale = TAU * np.sqrt(norm(r) ** 3 / orbit.gm)
    seconds = dt * scale * (1.0 if orbit.e < 1 else 0.2)
    then, _ = propagate(r, v, seconds, orbit.gm)
    assume(abs(orbit.e - 1) > 1e-6)
    h = cross(r, v)
    angle = float(np.arctan2(np.dot(cross(h, r), then) / norm(h), np.dot(r, then)))
    found = coast_time(r, v, angle, orbit.gm)
    if orbit.e < 1:
        period = float(period_of(r, v, orbit.gm))
        turns = round((seconds - found) / period)
        found = coast_time(r, v, angle + TAU * turns, orbit.gm)
    elif abs(angle) > 1 and angle * seconds < 0:
        found = coast_time(r, v, angle + TAU * np.sign(seconds), orbit.gm)
    # What rounding of the angle alone costs in time there: r^2/h.
    room = 1e-12 * float(norm(then) ** 2 / norm(h)) + 1e-11 * scale / abs(1 - orbit.e) ** 1.5
    assert_seconds(found, seconds, room)


def test_a_hyperbola_never_sweeps_past_its_asymptote():
    """NaN beyond acos(-1/e), a time before it."""
    r, v = state_from_classical(8e6, 2.0, 0.4, 0.1, 0.2, 0.0, 4e14)
    assert np.isfinite(coast_time(r, v, np.radians(119.0), 4e14))
    assert np.isnan(coast_time(r, v, np.radians(121.0), 4e14))


def test_coast_time_passes_the_parabola_smoothly():
    """Just below and above e = 1 the times agree with Barker's equation at e = 1."""
    times = []
    for e in (1 - 1e-7, 1.0, 1 + 1e-7):
        r, v = state_from_classical(8e6, e, 0.4, 0.1, 0.2, 0.3, 4e14)
        times.append(coast_time(r, v, 1.0, 4e14))
    assert_relative(times[0], times[1], 1e-6)
    assert_relative(times[2], times[1], 1e-6)


def test_coast_times_are_the_coast_times_of_each():
    """Row by row those of `coast_time`, ahead and behind, whole revolutions and round orbits too.

    Both are sums of the same few numbers; on a long ellipse, near its periapsis, the anomalies lose
    what they say there to the period: 1e-14 of it over (1 - e).
    """
    rng, gm, n = np.random.default_rng(8), 4e14, 300
    e = np.where(np.arange(n) % 10 == 0, 0.0, rng.uniform(0.0, 0.95, n))
    p, angle = rng.uniform(7e6, 4e7, n), rng.uniform(-20.0, 20.0, n)
    angle[::7], angle[3::7] = 0.0, TAU * rng.integers(-3, 4, len(angle[3::7]))
    states = [
        state_from_classical(p[k], e[k], *rng.uniform(0.0, 3.1, 2), *rng.uniform(0.0, 6.2, 2), gm)
        for k in range(n)
    ]
    r, v = (np.stack(x) for x in zip(*states, strict=True))
    found, period = coast_times(r, v, angle, gm), period_of(r, v, gm)
    for k in range(n):
        expected = coast_time(r[k], v[k], float(angle[k]), gm)
        assert_seconds(found[k], expected, 1e-13 * period[k] / (1 - e[k]))
    assert (found[::7] == 0.0).all()
    assert (np.sign(found) == np.sign(np.round(angle, 12))).all()


def test_coast_times_of_open_orbits_are_nan_alone():
    """A hyperbola has no answer, without a warning; the rows beside it keep theirs to the bit."""
    rows = [state_from_classical(8e6, e, 0.4, 0.1, 0.2, 1.0, 4e14) for e in (0.0, 1.4, 0.3)]
    r, v = (np.stack(x) for x in zip(*rows, strict=True))
    found = coast_times(r, v, np.full(3, 2.0), 4e14)
    assert np.isnan(found).tolist() == [False, True, False]
    alone = coast_times(r[2:], v[2:], np.array([2.0]), 4e14)
    assert alone.tobytes() == found[2:].tobytes()
