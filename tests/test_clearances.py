"""The lowest and largest radius and the closest approach of a flight."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from simcheck.clearances import SAMPLES_A_REVOLUTION, Stretch, clearances
from simcheck.engines.base import Thrust
from simcheck.engines.taylor import TaylorPropagator
from tests.engines.bench import MARS, gravity, period, state
from tests.helpers import assert_metres
from tests.strategies import TAU

FLAT, ZONAL = TaylorPropagator(gravity(zonal=False)), TaylorPropagator(gravity())


def coast(y, start, end) -> Stretch:
    return Stretch(start, end, y, None)


@settings(max_examples=30)
@given(e=st.floats(1e-6, 0.9), nu=st.floats(-np.pi, np.pi))
def test_apsides_of_a_revolution_are_exact(e, nu):
    """A little more than a revolution in two-body motion meets exactly the orbit's apsides."""
    y = state(1.2, e, nu=nu)
    seen = clearances(FLAT, [coast(y, 0.0, 1.01 * period(y, MARS.gm))], [])
    low = 1.2 * MARS.radius
    assert_metres([seen.lowest_radius_m], [low], 1e-3)
    assert_metres([seen.largest_radius_m], [low * (1 + e) / (1 - e)], 1e-3 / (1 - e))
    assert seen.closest_m is None
    assert seen.closest_member is None


@pytest.mark.parametrize(("nu", "span"), [(0.5, 0.1), (-2.0, 0.05), (2.5, 0.02)])
def test_an_arc_between_apsides_ends_at_its_ends(nu, span):
    """Where the arc meets no apsis, its ends are the extremes."""
    y = state(1.2, 0.4, nu=nu)
    end = FLAT.advance(0.0, y, span * period(y, MARS.gm))
    ends = sorted(np.linalg.norm(s[:3]) for s in (y, end.state))
    seen = clearances(FLAT, [coast(y, 0.0, end.time)], [])
    assert [seen.lowest_radius_m, seen.largest_radius_m] == pytest.approx(ends, abs=1e-6)


@pytest.mark.parametrize("e", [1e-4, 0.02, 0.5])
def test_under_zonals_no_sample_lies_outside(e):
    """No place of a dense sampling under J2, J3 and J4 is lower or higher; some nearly reach."""
    y = state(1.2, e, 1.1)
    span = 3 * period(y, MARS.gm)
    seen = clearances(ZONAL, [coast(y, 0.0, span)], [])
    radii = np.linalg.norm(ZONAL.sample(0.0, y, np.linspace(0.0, span, 6001))[:, :3], axis=1)
    assert seen.lowest_radius_m <= radii.min() + 1e-6
    assert seen.largest_radius_m >= radii.max() - 1e-6
    # A sample is within 1/4000 of a revolution of each apsis: (1.6e-3)^2/2 of e r at most.
    room = 20 * max(e, 1e-3) * MARS.radius * 1.3e-6 / (1 - e) ** 3
    assert_metres([seen.lowest_radius_m], [radii.min()], room)
    assert_metres([seen.largest_radius_m], [radii.max()], room)


def test_the_extremes_are_those_of_all_stretches():
    """Over a coast, a burn and a coast, the extremes are the least and the greatest of each."""
    y = state(1.3, 0.2, nu=2.0)
    burn = Thrust(thrust_n=2e3, isp_s=300.0, steering="rsw", direction=np.array([0, -1.0, 0]))
    lit = ZONAL.advance(0.0, y, 3000.0)
    cut = ZONAL.advance(3000.0, lit.state, 3120.0, burn)
    stretches = [
        coast(y, 0.0, 3000.0),
        Stretch(3000.0, 3120.0, lit.state, burn),
        coast(cut.state, 3120.0, 20000.0),
    ]
    every = clearances(ZONAL, stretches, [])
    alone = [clearances(ZONAL, [s], []) for s in stretches]
    assert every.lowest_radius_m == min(a.lowest_radius_m for a in alone)
    assert every.largest_radius_m == max(a.largest_radius_m for a in alone)
    assert every.lowest_radius_m == alone[2].lowest_radius_m


def relay(radius, angle) -> np.ndarray:
    speed = np.sqrt(MARS.gm / radius)
    c, s = np.cos(angle), np.sin(angle)
    return np.array([radius * c, radius * s, 0.0, -speed * s, speed * c, 0.0, 1.0])


@pytest.mark.parametrize("gap", [1e3, 2e4, 5e5])
def test_coplanar_circles_pass_at_the_difference_of_their_radii(gap):
    """A craft on a lower circle overtakes a member at exactly the difference of the radii.

    Between samples the error is 1e-9 of the radius.
    """
    r = 3 * MARS.radius
    craft, member = relay(r, 0.0), relay(r + gap, 0.013)
    synodic = TAU / abs(np.sqrt(MARS.gm / r**3) - np.sqrt(MARS.gm / (r + gap) ** 3))
    span = min(0.013 / TAU * synodic * 1.7, 60 * period(craft, MARS.gm))
    if 0.013 / TAU * synodic > span:
        member = relay(r + gap, 0.5 * span / synodic * TAU)
    seen = clearances(FLAT, [coast(craft, 0.0, span)], [relay(r, np.pi), member])
    assert seen.closest_m == pytest.approx(gap, abs=0.03)
    assert seen.closest_member == 1


@settings(max_examples=15)
@given(nu=st.floats(-3.0, 3.0), i=st.floats(0.3, 1.2), argp=st.floats(0.0, TAU))
def test_closest_approach_is_that_of_a_dense_sampling(nu, i, argp):
    """For crossing orbits the closest approach is that of looks sixty times as dense."""
    y, member = state(1.5, 0.2, i, argp=argp, nu=nu), state(1.7, 0.0, 0.2, nu=nu + 0.5)
    span = 2.0 * period(y, MARS.gm)
    seen = clearances(ZONAL, [coast(y, 0.0, span)], [member])
    times = np.linspace(0.0, span, 60 * 2 * SAMPLES_A_REVOLUTION)
    rows = [ZONAL.sample(0.0, x, times)[:, :3] for x in (y, member)]
    dense = np.linalg.norm(rows[0] - rows[1], axis=1).min()
    # The dense looks are 1.3 s, 2 km apart at most: (1 km)^2 over twice the distance.
    assert dense - 1e6 / dense / 2 - 0.1 < seen.closest_m < dense + 0.1


def test_a_near_pass_is_met_to_metres():
    """Two relays that pass at a few kilometres: the closest approach is right to metres.

    The member is flown back from a place 2 km beside the craft, across another plane.
    """
    r = 2 * MARS.radius
    craft = relay(r, 0.0)
    later = 0.37 * period(craft, MARS.gm)
    there = FLAT.advance(0.0, craft, later).state
    side = np.array([0.0, 0.0, 2e3])
    radial = there[:3] / np.linalg.norm(there[:3])
    speed = np.cross(
        np.array([np.sin(0.5) * radial[1], -np.sin(0.5) * radial[0], np.cos(0.5)]), radial
    )
    beside = np.concatenate([there[:3] + side, -speed * np.sqrt(MARS.gm / r), [1.0]])
    member = FLAT.advance(0.0, beside, later).state * [1, 1, 1, -1, -1, -1, 1]
    seen = clearances(FLAT, [coast(craft, 0.0, 2 * later)], [member])
    times = np.linspace(later - 20, later + 20, 4001)
    rows = [FLAT.sample(0.0, x, times)[:, :3] for x in (craft, member)]
    exact = np.linalg.norm(rows[0] - rows[1], axis=1).min()
    assert exact < 2001.0
    assert seen.closest_m == pytest.approx(exact, abs=0.1)


def test_members_are_flown_from_the_first_start():
    """A later stretch meets the members where they are by then."""
    r = 2 * MARS.radius
    craft = relay(r, 0.0)
    half = 0.5 * period(craft, MARS.gm)
    there = FLAT.advance(0.0, craft, half).state
    whole = clearances(FLAT, [coast(craft, 0.0, 2 * half)], [relay(r, 1.0)])
    parts = clearances(
        FLAT, [coast(craft, 0.0, half), coast(there, half, 2 * half)], [relay(r, 1.0)]
    )
    chord = 2 * r * np.sin(0.5)
    assert whole.closest_m == pytest.approx(chord, abs=0.01)
    assert parts.closest_m == pytest.approx(chord, abs=0.01)


def test_a_burn_is_looked_at_too():
    """The closest approach may fall into a burn."""
    r = 2 * MARS.radius
    craft = relay(r, 0.0)
    craft[6] = 1000.0
    member = FLAT.sample(0.0, relay(r + 5e3, 0.0), np.array([0.0]))[0]
    burn = Thrust(thrust_n=1e3, isp_s=300.0, steering="rsw", direction=np.array([-1.0, 0.0, 0.0]))
    seen = clearances(FLAT, [Stretch(0.0, 100.0, craft, burn)], [member])
    out = Thrust(thrust_n=1e3, isp_s=300.0, steering="rsw", direction=np.array([1.0, 0.0, 0.0]))
    nearer = clearances(FLAT, [Stretch(0.0, 100.0, craft, out)], [member])
    assert seen.closest_m == pytest.approx(5e3, abs=1e-3)
    assert nearer.closest_m < 2e3


def test_arcs_without_length_are_looked_at():
    """A stretch that ends where it begins gives its one place."""
    y = state()
    seen = clearances(FLAT, [coast(y, 5.0, 5.0)], [state(nu=1.0)])
    assert seen.lowest_radius_m == seen.largest_radius_m == pytest.approx(np.linalg.norm(y[:3]))
    assert seen.closest_m == pytest.approx(np.linalg.norm(y[:3] - state(nu=1.0)[:3]))


def passings(y, member, span, *, p=FLAT, samples=SAMPLES_A_REVOLUTION, watch=np.inf):
    return clearances(p, [coast(y, 0.0, span)], [member], watch, samples=samples).passings


def test_coplanar_circles_pass_once_a_synodic_period():
    """Every conjunction is found: when, how near, how fast and on which side, in closed form."""
    low, high, ahead = 3.0 * MARS.radius, 3.3 * MARS.radius, 0.8
    n = [np.sqrt(MARS.gm / r**3) for r in (low, high)]
    times = (ahead + TAU * np.arange(4)) / (n[0] - n[1])
    found = passings(relay(low, 0.0), relay(high, ahead), times[-1] * 1.01)
    assert [p.kind for p in found] == ["minimum"] * 4
    assert [p.time_s for p in found] == pytest.approx(times, abs=1e-3)
    speed = low * n[0] - high * n[1]
    for p in found:
        assert p.distance_m == pytest.approx(high - low, abs=0.05)
        assert p.relative_speed_m_s == pytest.approx(speed, rel=1e-6)
        assert_metres(p.relative_rsw_m, [low - high, 0.0, 0.0], 1.0)


@settings(max_examples=20)
@given(tilt=st.floats(0.05, 1.5), ahead=st.floats(0.02, 0.9))
def test_tilted_circles_of_one_radius_pass_twice_a_revolution(tilt, ahead):
    """Two circles of one radius: the cosine of the angle between is that of a double frequency.

    With arguments of latitude u and u + d: cos = ((1 + cos i) cos d + (1 - cos i) cos(2u + d)) / 2.
    """
    r = 2.5 * MARS.radius
    craft, member = relay(r, 0.0), relay(r, ahead)
    c, s = np.cos(tilt), np.sin(tilt)
    for part in (slice(0, 3), slice(3, 6)):
        x, y, z = member[part]
        member[part] = x, c * y - s * z, s * y + c * z
    turn = period(craft, MARS.gm)
    found = passings(craft, member, 2.2 * turn)
    cosine = ((1 + c) * np.cos(ahead) + 1 - c) / 2
    least = r * np.sqrt(2 * (1 - cosine))
    inner = [p for p in found if p.kind == "minimum"]
    times = [(k * np.pi - ahead / 2) / TAU * turn for k in range(1, 5)]
    assert [p.time_s for p in inner[:4]] == pytest.approx(times, abs=2e-4 * turn * 1e-3 / tilt**2)
    # Cubics leave 1e-9 of the radius on either, which counts whole where they are near each other.
    assert [p.distance_m for p in inner] == pytest.approx([least] * len(inner), abs=0.1)


@pytest.mark.reference("Clohessy and Wiltshire (1960), from memory")
def test_a_centred_relative_ellipse_is_nearest_at_its_radial_ends():
    """A craft of equal period and little eccentricity goes round a member on a 2 by 1 ellipse.

    Nearest is a e above and below, twice a revolution; Hill's equations leave out a e^2.
    """
    a, size = 3.0 * MARS.radius, 1000.0
    e = size / a
    member = relay(a, 0.0)
    craft = member.copy()
    craft[0] *= 1 - e
    craft[4] *= np.sqrt((1 + e) / (1 - e))
    turn = period(member, MARS.gm)
    found = passings(craft, member, 3.1 * turn)
    assert found[0].kind == "start"
    assert [p.time_s / turn for p in found] == pytest.approx([0.5 * k for k in range(7)], abs=1e-3)
    for k, p in enumerate(found):
        assert p.distance_m == pytest.approx(size, abs=3 * size * e)
        assert p.relative_rsw_m[0] == pytest.approx((-1) ** (k + 1) * size, abs=3 * size * e)
        n = TAU / turn
        # 2 n a e against the turning axes, of which their own turning takes n a e.
        assert p.relative_speed_m_s == pytest.approx(n * size, rel=0.01)


def crossing(seed):
    """Two random orbits about as large as each other, and a span of some revolutions."""
    rng = np.random.default_rng(seed)
    y, member = (
        state(
            rng.uniform(1.2, 2.0),
            rng.uniform(0.0, 0.6),
            rng.uniform(0.0, 1.2),
            argp=rng.uniform(0.0, TAU),
            nu=rng.uniform(-3.0, 3.0),
        )
        for _ in range(2)
    )
    return y, member, rng.uniform(1.0, 5.0) * period(y, MARS.gm)


@pytest.mark.parametrize("seed", range(25))
def test_every_minimum_of_a_dense_sampling_is_found_whatever_the_grid(seed):
    """As many as looks every 1/7200 revolution see, when and how near, of any grid."""
    y, member, span = crossing(seed)
    times = np.linspace(0.0, span, int(7200 * span / period(y, MARS.gm)))
    rows = [ZONAL.sample(0.0, x, times)[:, :3] for x in (y, member)]
    d = np.linalg.norm(rows[0] - rows[1], axis=1)
    at = 1 + np.flatnonzero((d[1:-1] < d[:-2]) & (d[1:-1] <= d[2:]))
    step = times[1]
    for samples in (120, 240, 480):
        found = [
            p for p in passings(y, member, span, p=ZONAL, samples=samples) if p.kind == "minimum"
        ]
        assert len(found) == len(at)
        assert [p.time_s for p in found] == pytest.approx(times[at], abs=1.01 * step)
        # The looks pass a minimum by half a step t at most: v^2 t^2 / 2 d, and as much again by
        # what the two fall apart.
        for p, seen in zip(found, d[at], strict=True):
            room = (p.relative_speed_m_s * step) ** 2 / p.distance_m
            assert -1e-3 < seen - p.distance_m < room + 1e-3


def test_only_near_ones_are_listed_and_the_closest():
    """Within the watched distance all, further away only each member's closest."""
    y, member, span = crossing(3)
    every = passings(y, member, span)
    distances = sorted(p.distance_m for p in every)
    assert len(distances) > 3
    some = passings(y, member, span, watch=distances[2])
    assert sorted(p.distance_m for p in some) == distances[:2]
    (one,) = passings(y, member, span, watch=0.0)
    assert one.distance_m == distances[0]
    seen = clearances(FLAT, [coast(y, 0.0, span)], [member, y], 0.0)
    assert [p.member for p in seen.passings] == [0, 1]
    assert seen.closest_m == 0.0
    assert seen.closest_member == 1
    assert clearances(FLAT, [coast(y, 0.0, span)], [member]).passings == ()


def test_passings_in_burns_between_and_after_are_found():
    """Over a coast, two burns and a coast: the minima of dense looks, each with its stretch.

    One is put into the second burn; where stretches meet none is lost or found twice.
    """
    y = state(1.5, 0.3, 0.4, nu=2.0)
    burn = Thrust(thrust_n=0.05, isp_s=300.0, steering="rsw", direction=np.array([0, 1.0, 0]))
    stretches, time = [], 0.0
    for length, thrust in ((9000.0, None), (700.0, burn), (0.0, None), (900.0, burn), (3e4, None)):
        stretches.append(Stretch(time, time + length, y, thrust))
        y = ZONAL.advance(time, y, time + length, thrust).state
        time += length
    lit = stretches[3]
    there = ZONAL.advance(lit.start_s, lit.state, lit.start_s + 400.0, burn).state
    there[:3] += np.array([300.0, -200.0, 5e3])
    there[3:6] += np.array([20.0, 900.0, 30.0])
    member = ZONAL.advance(lit.start_s + 400.0, there, 0.0).state
    found = clearances(ZONAL, stretches, [member], np.inf).passings
    times, rows = [], []
    for s in stretches:
        grid = np.linspace(s.start_s, s.end_s, max(int(s.end_s - s.start_s), 1) + 1)
        if s.end_s > s.start_s:
            times.append(grid[:-1])
            rows.append(_flown(s, grid)[:-1])
    grid = np.concatenate(times)
    d = np.linalg.norm(np.concatenate(rows) - ZONAL.sample(0.0, member, grid)[:, :3], axis=1)
    at = 1 + np.flatnonzero((d[1:-1] < d[:-2]) & (d[1:-1] <= d[2:]))
    inner = [p for p in found if p.kind == "minimum"]
    assert [p.time_s for p in inner] == pytest.approx(grid[at], abs=1.01)
    assert [stretches[p.stretch].start_s <= p.time_s <= stretches[p.stretch].end_s for p in inner]
    assert {p.stretch for p in inner} >= {3, 4}
    close = min(inner, key=lambda p: p.distance_m)
    assert close.stretch == 3
    assert close.time_s == pytest.approx(lit.start_s + 400.0, abs=10.0)


def _flown(s, grid):
    if s.thrust is None:
        return ZONAL.sample(s.start_s, s.state, grid)[:, :3]
    return np.array([ZONAL.advance(s.start_s, s.state, t, s.thrust).state[:3] for t in grid])


def test_a_flight_that_opens_or_closes_begins_or_ends_with_its_nearest():
    """Falling distance at the end, growing at the start: the ends count as approaches."""
    y, member = relay(3e7, 0.0), relay(3.1e7, 0.5)
    (one,) = passings(y, member, 1000.0)
    assert (one.kind, one.time_s) == ("end", 1000.0)
    (one,) = passings(relay(3e7, 0.6), member, 1000.0)
    assert (one.kind, one.time_s) == ("start", 0.0)


def test_nothing_flown_nothing_met():
    """No stretch and no member: no closest approach."""
    assert clearances(FLAT, [], [state()]).closest_m is None
