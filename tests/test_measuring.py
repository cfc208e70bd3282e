"""Averaged elements in the ring frame: what a slot is, and what a craft's errors are."""

import dataclasses
import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from simcheck.bodies import built_in
from simcheck.engines.gravity import Gravity
from simcheck.engines.reference import ReferencePropagator
from simcheck.engines.taylor import TaylorPropagator
from simcheck.errors import FlightError
from simcheck.kernels.elements import classical_from_state
from simcheck.kernels.kepler import axis_of_period, propagate
from simcheck.kernels.perturbations import secular_rates
from simcheck.kernels.vectors import cross, rotation, unit, wrap
from simcheck.measuring import average, offsets, relay_state, resolve_ring
from simcheck.records.case import Ring
from tests.engines.bench import MARS, gravity, state
from tests.helpers import assert_degrees, assert_metres, assert_relative, assert_seconds
from tests.strategies import TAU, angles, closed_eccentricities, inclinations

DEG = np.pi / 180
INCLINATIONS = [0.0, 35.0, 63.4349, 90.0, 140.0, 180.0]


def body(name: str, terms: str) -> Gravity:
    b = built_in(name)
    j2, j3, j4 = (j if n in terms else 0.0 for n, j in zip("234", (b.j2, b.j3, b.j4), strict=True))
    return Gravity(b.gm_m3_s2, b.radius_m, j2, j3, j4)


def ring(g: Gravity, i: float, *, size="period", radii=2.0, slots=4, start=0.2, raan=1.0) -> Ring:
    """A ring of two radii of the body, or of the two-body period there; i in deg."""
    r = radii * g.radius
    value = r if size == "radius" else TAU * math.sqrt(r**3 / g.gm)
    return Ring(
        size=size,
        size_value=value,
        inclination_rad=i * DEG,
        raan_rad=raan,
        slots=slots,
        argument_of_latitude_rad=start,
    )


def member(motion, p, slot=1, time=0.0) -> np.ndarray:
    return np.append(relay_state(motion, p, slot, time), 1.0)


# A member reads zero


@pytest.mark.parametrize("size", ["period", "radius"])
@pytest.mark.parametrize("i", INCLINATIONS)
@pytest.mark.parametrize("terms", ["2", "234"])
@pytest.mark.parametrize("name", ["Mars", "Vesta"])
def test_a_member_reads_zero(name, terms, i, size):
    """A relay on its slot reads no error, in any ring, by period and by radius.

    Also about Vesta, where J2 (R/a)^2 is 0.02. The settling asks for 1e-12 rad or share, and
    phase is the least of it: 6e-11 deg.
    """
    g = body(name, terms)
    p = TaylorPropagator(g)
    motion = resolve_ring(ring(g, i, size=size), p)
    off = offsets(average(p, 0.0, member(motion, p), motion), motion, 1)
    assert_degrees(off.phase / DEG, 0.0, 1e-9)
    assert abs(off.period) < 1e-11 * motion.period_s
    assert off.eccentricity < 1e-11
    assert off.plane / DEG < 1e-9


@pytest.mark.parametrize(
    ("name", "terms", "phase", "eccentricity", "plane"),
    [
        ("Mars", "2", 1e-4, 1e-11, 1e-8),  # measured 2.6e-5 deg, 2e-13, 1.5e-9 deg
        ("Mars", "24", 1e-3, 1e-11, 3e-8),  # 2.4e-4 deg, 1.4e-12, 1.4e-8 deg
        ("Earth", "24", 1e-4, 1e-11, 1e-8),  # 2.0e-5 deg, 4e-14, 6e-10 deg
        ("Vesta", "2", 0.1, 1e-6, 1e-4),  # 3.6e-2 deg, 1.1e-7, 5.9e-5 deg
    ],
)
def test_under_even_zonals_it_does_so_for_fifty_revolutions(
    name, terms, phase, eccentricity, plane
):
    """Fifty revolutions later a member of any inclined ring still reads nothing that matters.

    What it reads is of second order: the averages are those of two revolutions. Within a period of
    1e-8 of the ring's; 1e-12 but for the most oblate body.
    """
    g = body(name, terms)
    p = TaylorPropagator(g)
    for i in (35.0, 90.0, 140.0):
        motion = resolve_ring(ring(g, i), p)
        later = 50 * motion.period_s
        y = p.advance(0.0, member(motion, p), later).state
        off = offsets(average(p, later, y, motion), motion, 1)
        assert_degrees(off.phase / DEG, 0.0, phase)
        assert off.eccentricity < eccentricity
        assert off.plane / DEG < plane
        assert abs(off.period) < (1e-8 if name == "Vesta" else 1e-12) * motion.period_s


@pytest.mark.parametrize("i", [0.0, 180.0])
@pytest.mark.parametrize("name", ["Mars", "Vesta"])
def test_an_equatorial_member_keeps_its_slot_for_ever(name, i):
    """In an equatorial ring only roundings remain after fifty revolutions. Measured: 3e-10 deg."""
    g = body(name, "234")
    p = TaylorPropagator(g)
    motion = resolve_ring(ring(g, i), p)
    later = 50 * motion.period_s
    y = p.advance(0.0, member(motion, p), later).state
    off = offsets(average(p, later, y, motion), motion, 1)
    assert_degrees(off.phase / DEG, 0.0, 1e-8)
    assert off.eccentricity < 1e-12


@pytest.mark.parametrize("i", [35.0, 90.0])
def test_under_j3_the_eccentricity_wanders_about_the_frozen_one(i):
    """Under J3 a member's eccentricity reaches twice the frozen value, and no more.

    First order (frozen orbits): e = J3/(2 J2) R/a sin i, about which the vector turns with the
    apsides; from zero it reaches at most twice that.
    """
    g = body("Mars", "234")
    p = TaylorPropagator(g)
    motion = resolve_ring(ring(g, i), p)
    frozen = abs(g.j3 / (2 * g.j2)) * g.radius / motion.radius_m * math.sin(i * DEG)
    rate = abs(secular_rates(motion.radius_m, 0.0, i * DEG, g.gm, g.radius, g.j2)[1])
    turn = TAU / float(rate)
    seen = []
    y = member(motion, p)
    for share in (0.0, 0.25, 0.5, 0.75, 1.0):
        there = p.advance(0.0, y, share * turn).state
        seen.append(offsets(average(p, share * turn, there, motion), motion, 1).eccentricity)
    assert seen[0] < 1e-11
    assert max(seen) < 2.1 * frozen
    assert seen[2] == pytest.approx(2 * frozen, rel=0.1)
    assert seen[4] < 0.2 * frozen


def test_the_reference_engine_reads_the_same():
    """A member placed by the fast engine reads zero in the reference one too."""
    g = body("Mars", "234")
    p = TaylorPropagator(g)
    motion = resolve_ring(ring(g, 35.0), p)
    off = offsets(average(ReferencePropagator(g), 0.0, member(motion, p), motion), motion, 1)
    assert_degrees(off.phase / DEG, 0.0, 1e-8)
    assert abs(off.period) < 1e-10 * motion.period_s
    assert off.eccentricity < 1e-10


def test_a_ring_that_does_not_settle_is_an_error():
    """A ring inside an oblate body raises instead of giving an unsettled motion."""
    g = Gravity(MARS.gm, MARS.radius, 0.1)
    p = TaylorPropagator(g)
    with pytest.raises(FlightError):
        resolve_ring(ring(g, 60.0, radii=0.6), p)


def test_an_unsettled_ring_is_an_error(monkeypatch):
    """What three steps of the iteration leave about an oblate body is not passed for a ring."""
    monkeypatch.setattr("simcheck.measuring._ITERATIONS", 3)
    g = body("Vesta", "2")
    with pytest.raises(FlightError, match="does not settle"):
        resolve_ring(ring(g, 90.0), TaylorPropagator(g))


# First-order theory


@pytest.mark.reference("Vallado (2022), section 9.6: secular J2 node rate")
@pytest.mark.parametrize("i", [20.0, 35.0, 75.0, 140.0])
def test_node_precesses_as_first_order_theory_says(i):
    """The ring's node moves at the first-order rate, to J2 (R/a)^2 times a few."""
    for radii in (1.5, 3.0):
        g = body("Mars", "2")
        motion = resolve_ring(ring(g, i, radii=radii), TaylorPropagator(g))
        node, _, _ = secular_rates(radii * g.radius, 0.0, i * DEG, g.gm, g.radius, g.j2)
        assert_relative(motion.node_rate, node, 8 * g.j2 / radii**2)
    assert (motion.node_rate > 0) == (i > 90)


@pytest.mark.parametrize("i", [0.0, 30.0, 63.4, 90.0, 130.0, 180.0])
def test_period_and_radius_are_those_of_first_order_theory(i):
    """Period and mean radius of a ring under J2 go together as first-order theory says.

    Derived: at the mean radius the mean radial pull is gm/r^2 (1 + k (1 - 3/2 sin^2 i)), with
    k = 3/2 J2 (R/r)^2, so the plane is swept at n (1 + k/2 (1 - 3/2 sin^2 i)); less the node's
    share, -k n cos i times cos i, the nodal rate is n (1 + k (3/2 - 7/4 sin^2 i)). Round an
    equatorial ring the inertial rate n (1 + k/2) counts.
    """
    left = []
    for radii in (1.5, 3.0):
        g = body("Mars", "2")
        motion = resolve_ring(ring(g, i, size="radius", radii=radii), TaylorPropagator(g))
        n = math.sqrt(g.gm / motion.radius_m**3)
        k = 1.5 * g.j2 / radii**2
        share = 0.5 if i in (0.0, 180.0) else 1.5 - 1.75 * math.sin(i * DEG) ** 2
        left.append(abs(motion.rate / n - 1 - k * share))
        assert left[-1] < 3 * k**2
        same = dataclasses.replace(motion.ring, size="period", size_value=motion.period_s)
        again = resolve_ring(same, TaylorPropagator(g))
        assert_metres([again.radius_m], [motion.radius_m], 1e-3)


# Two-body motion


@settings(max_examples=40)
@given(
    e=closed_eccentricities(0.9),
    i=inclinations(),
    argp=angles(),
    nu=st.floats(-np.pi, np.pi),
    ring_i=st.sampled_from([0.0, 1.0, 35.0, 90.0, 179.0, 180.0]),
)
def test_in_two_body_motion_errors_are_osculating(e, i, argp, nu, ring_i):
    """Without perturbations, period and eccentricity are those of the state, at any e and plane.

    So are the plane error, and the phase where the plane is the ring's.
    """
    g = gravity(zonal=False)
    p = TaylorPropagator(g)
    motion = resolve_ring(ring(g, ring_i, radii=3.0), p)
    y = state(1.5, e, i, argp=argp, nu=nu)
    h = unit(cross(y[:3], y[3:6]))
    tilt = float(
        np.arctan2(np.linalg.norm(np.cross(motion.frame(0.0)[2], h)), motion.frame(0.0)[2] @ h)
    )
    if tilt > 3.0:
        return  # near the opposite plane the ring frame's elements are singular, and so said
    found = average(p, 0.0, y, motion)
    off = offsets(found, motion, 0)
    c = classical_from_state(y[:3], y[3:6], g.gm)
    period = float(TAU * np.sqrt(c.a**3 / g.gm))
    assert_relative(found.period, period, 1e-9)
    assert_seconds(off.period, period - motion.period_s, 1e-9 * period)
    assert abs(off.eccentricity - e) < 1e-9
    assert abs(off.plane - tilt) < 1e-8


@settings(max_examples=20)
@given(e=closed_eccentricities(0.9), argp=angles(), mean=st.floats(-3.0, 3.0))
def test_phase_is_mean_longitude(e, argp, mean):
    """In the ring's plane the longitude measured is argument of periapsis plus mean anomaly."""
    g = gravity(zonal=False)
    p = TaylorPropagator(g)
    motion = resolve_ring(ring(g, 35.0, raan=1.0), p)
    y = state(1.5, e, 35.0 * DEG, raan=1.0, argp=argp, nu=0.0)
    turn = TAU * math.sqrt((1.5 * MARS.radius / (1 - e)) ** 3 / g.gm)
    place, speed = propagate(y[:3], y[3:6], mean / TAU * turn, g.gm)
    found = average(p, 0.0, np.array([*place, *speed, 1.0]), motion)
    # Two whole revolutions later the longitude is the same.
    assert_degrees(found.longitude / DEG, (argp + mean) / DEG, 1e-6)


def test_an_open_orbit_is_an_error():
    """A hyperbola has no averages."""
    p = TaylorPropagator(gravity())
    motion = resolve_ring(ring(gravity(), 35.0), p)
    with pytest.raises(FlightError, match="not closed"):
        average(p, 0.0, state(e=1.2), motion)


# Signs, slots, frames


@pytest.mark.parametrize("i", INCLINATIONS)
@pytest.mark.parametrize("terms", ["", "234"])
def test_phase_is_positive_ahead(terms, i):
    """A craft a degree further along its motion reads +1 deg, in prograde and retrograde rings."""
    g = body("Mars", terms)
    p = TaylorPropagator(g)
    motion = resolve_ring(ring(g, i), p)
    y = member(motion, p)
    early = p.advance(0.0, y, motion.period_s / 360).state  # where it should be only later
    off = offsets(average(p, 0.0, early, motion), motion, 1)
    assert_degrees(off.phase / DEG, 1.0, 1e-3)  # the node moves by 5e-4 meanwhile


@pytest.mark.parametrize("i", INCLINATIONS)
def test_slots_are_spaced_evenly_ahead(i):
    """Slot k is 360 deg k/n ahead of slot 0 in the direction of motion, as flown and as placed."""
    g = body("Mars", "2")
    p = TaylorPropagator(g)
    motion = resolve_ring(ring(g, i, slots=5), p)
    first = relay_state(motion, p, 0)
    normal = np.cross(first[:3], first[3:6])
    normal /= np.linalg.norm(normal)
    for slot in range(5):
        y = relay_state(motion, p, slot)
        ahead = math.atan2(normal @ np.cross(first[:3], y[:3]), first[:3] @ y[:3])
        # Osculating places differ from the mean ones by J2 (R/r)^2: 0.03 deg.
        assert_degrees(math.degrees(ahead), 72.0 * slot, 0.1)
        # And the mean place is the slot's direction.
        where = motion.direction(slot, 0.0)
        assert math.degrees(math.acos(min(1.0, unit(y[:3]) @ where))) < 0.1
        off = offsets(average(p, 0.0, np.append(y, 1.0), motion), motion, 0)
        assert_degrees(off.phase / DEG, 72.0 * slot, 1e-8)
    assert_degrees(
        float(wrap(motion.longitude(5, 0.0) - motion.longitude(0, 0.0))) / DEG, 0.0, 1e-9
    )


@pytest.mark.parametrize("i", INCLINATIONS)
def test_relays_go_round_the_rings_normal(i):
    """The ring frame's z is the relays' angular momentum, also where the ring is retrograde."""
    g = body("Mars", "2")
    p = TaylorPropagator(g)
    motion = resolve_ring(ring(g, i), p)
    y = relay_state(motion, p, 2)
    frame = motion.frame(0.0)
    assert unit(np.cross(y[:3], y[3:6])) @ frame[2] > 1 - 1e-6
    expected = [
        math.sin(i * DEG) * math.sin(1.0),
        -math.sin(i * DEG) * math.cos(1.0),
        math.cos(i * DEG),
    ]
    assert np.allclose(frame[2], expected, atol=1e-15)
    node = [1.0, 0.0, 0.0] if i in (0.0, 180.0) else [math.cos(1.0), math.sin(1.0), 0.0]
    assert np.allclose(frame[0], node, atol=1e-15)
    assert np.allclose(frame @ frame.T, np.eye(3), atol=1e-15)


@pytest.mark.parametrize("i", [0.0, 180.0])
def test_an_equatorial_rings_node_still_counts(i):
    """In an equatorial ring slot 0 starts where a barely inclined one with that node does."""
    g = gravity(zonal=False)
    p = TaylorPropagator(g)
    beside = abs(i - 1e-4)
    flat, tilted = (relay_state(resolve_ring(ring(g, x), p), p, 0) for x in (i, beside))
    assert_metres(flat[:3], tilted[:3], 4 * MARS.radius * 1e-4 * DEG)


def test_the_frame_follows_the_node():
    """The ring frame turns with the precessing node; a member flown stays in its plane."""
    g = body("Mars", "2")
    p = TaylorPropagator(g)
    motion = resolve_ring(ring(g, 35.0), p)
    later = 40 * motion.period_s
    y = p.advance(0.0, member(motion, p), later).state
    turned = rotation(2, motion.node_rate * later) @ motion.frame(0.0)[2]
    assert np.allclose(motion.frame(later)[2], turned, atol=1e-14)
    assert abs(math.degrees(motion.node_rate * later)) > 1.0
    h = unit(np.cross(y[:3], y[3:6]))
    assert math.degrees(math.acos(h @ motion.frame(later)[2])) < 0.05


def test_period_and_slot_of_a_shifted_craft():
    """A member pushed along its track reads the period of its new axis and falls behind."""
    g = body("Mars", "2")
    p = TaylorPropagator(g)
    motion = resolve_ring(ring(g, 35.0), p)
    y = member(motion, p)
    y[3:6] *= 1 + 1e-4
    off = offsets(average(p, 0.0, y, motion), motion, 1)
    # dT/T = 3 dv/v, to J2 (R/a)^2.
    assert off.period == pytest.approx(3e-4 * motion.period_s, rel=5e-3)
    assert off.eccentricity == pytest.approx(2e-4, rel=5e-3)
    assert off.phase < 0
    assert float(axis_of_period(motion.period_s, g.gm)) == pytest.approx(motion.radius_m, rel=1e-2)
