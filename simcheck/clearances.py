"""How near a flight comes to what it must keep clear of: the ground, the outer limit, the members.

Apsides are found as events, so the lowest altitude is exact between burns; closest approaches are
taken on samples and refined on cubics between them, whose error is 1e-9 of the radius: (2 pi/240)^4
over 384. Close approaches are the minima of the distance on those cubics, looked for at eight
places of each, then refined on the motion itself: a cubic about a periapsis leaves metres.
"""

from __future__ import annotations

from typing import Literal, NamedTuple, TypeAlias

import numpy as np
from numpy.typing import NDArray

from simcheck.arrays import Array
from simcheck.engines.base import Propagator, Thrust
from simcheck.kernels.transfers import period_of
from simcheck.kernels.vectors import dot, norm, rsw_frame

Kind: TypeAlias = Literal["minimum", "start", "end"]

SAMPLES_A_REVOLUTION = 240

_STILL = 1e-12  # m2: a relative motion between samples below it is none
_NEWTON = 4
_PARTS = 8  # of an interval between samples: where two minima are nearer they may be taken for one
_HALVINGS = 60  # of such a part: to the last bit of a time
_STEPS = 3  # on the motion itself


class Stretch(NamedTuple):
    """An arc to look at: a coast if thrust is None. state is (7,) at start_s."""

    start_s: float
    end_s: float
    state: Array
    thrust: Thrust | None


class Passing(NamedTuple):
    """A minimum of the distance to a member, by its index, and the stretch that it is in.

    kind is "start" or "end" where the look begins with a distance that grows, or ends with one that
    falls. relative_rsw_m (3,) is the craft's place seen from the member, in the member's RSW.
    """

    member: int
    kind: Kind
    stretch: int
    time_s: float
    distance_m: float
    relative_speed_m_s: float
    relative_rsw_m: Array


class Clearances(NamedTuple):
    """Smallest and largest radius in m, and the closest approach with its member's index.

    passings are in order of members, then of time; none unless they were asked for.
    """

    lowest_radius_m: float
    largest_radius_m: float
    closest_m: float | None
    closest_member: int | None
    passings: tuple[Passing, ...] = ()


def clearances(
    propagator: Propagator,
    stretches: list[Stretch],
    members: list[Array],
    watch_m: float | None = None,
    *,
    samples: int = SAMPLES_A_REVOLUTION,
) -> Clearances:
    """Extremes over the stretches; members are their states (7,) at the first stretch's start.

    watch_m also asks for the passings of each member that are nearer, and for its closest one.
    """
    low, high = np.inf, 0.0
    normal = np.array([0.0, 0.0, 1.0])
    for stretch in stretches:
        radii = [norm(stretch.state[:3])]
        if stretch.end_s > stretch.start_s:
            if stretch.thrust is None:
                events = propagator.passages(stretch.start_s, stretch.state, stretch.end_s, normal)
                radii += [norm(e.state[:3]) for e in events if e.kind != "node"]
            radii.append(norm(_states(propagator, stretch, np.array([stretch.end_s]))[0, :3]))
        low, high = min(low, *map(float, radii)), max(high, *map(float, radii))
    if not members or not stretches:
        return Clearances(low, high, None, None)
    tracks = _tracks(propagator, stretches, members, samples)
    if watch_m is None:
        distances = [nearest(track.relative, track.times)[0] for track in tracks]
        passings: list[Passing] = []
    else:
        found = [_passings(track, k, watch_m) for k, track in enumerate(tracks)]
        distances = [min(p.distance_m for p in some) for some in found]
        passings = [p for some in found for p in some]
    who = int(np.argmin(distances))
    return Clearances(low, high, float(distances[who]), who, tuple(passings))


class _Track(NamedTuple):
    """A craft beside a member at times (n,) that do not fall: relative and member states (n, 7).

    of (n,) is each time's stretch.
    """

    propagator: Propagator
    stretches: list[Stretch]

    times: Array
    relative: Array
    member: Array
    of: NDArray[np.intp]


def _tracks(
    propagator: Propagator, stretches: list[Stretch], members: list[Array], samples: int
) -> list[_Track]:
    grids = [_grid(stretch, propagator.gravity.gm, samples) for stretch in stretches]
    craft = np.concatenate(
        [_states(propagator, s, g) for s, g in zip(stretches, grids, strict=True)]
    )
    times = np.concatenate(grids)
    of = np.repeat(np.arange(len(grids)), [len(grid) for grid in grids])
    once, back = np.unique(times, return_inverse=True)
    tracks = []
    for member in members:
        there = propagator.sample(stretches[0].start_s, member, once)[back]
        tracks.append(_Track(propagator, stretches, times, craft - there, there, of))
    return tracks


def _grid(stretch: Stretch, gm: float, samples: int) -> Array:
    period = float(period_of(stretch.state[:3], stretch.state[3:6], gm))
    span = stretch.end_s - stretch.start_s
    if span <= 0.0:
        return np.array([stretch.start_s])
    turns = span / period if np.isfinite(period) else 1.0
    return np.linspace(stretch.start_s, stretch.end_s, 3 + int(turns * samples))


def _states(propagator: Propagator, stretch: Stretch, times: Array) -> Array:
    if stretch.thrust is None:
        return propagator.sample(stretch.start_s, stretch.state, times)
    rows, time, state = [], stretch.start_s, stretch.state
    for until in times:
        time, state, _ = propagator.advance(time, state, float(until), stretch.thrust)
        rows.append(state)
    return np.array(rows)


def nearest(relative: Array, times: Array) -> tuple[float, float]:
    """Smallest distance in m of relative states (n, 6 or more) at times that do not fall, and when.

    Between samples the cubic with their positions and velocities is followed to its nearest point
    by Newton's method, from where straight motion from either end would have it.
    """
    r, v = relative[:, :3], relative[:, 3:6]
    first = int(np.argmin(norm(r)))
    best, when = float(norm(r[first])), float(times[first])
    h = np.diff(times)[:, None]
    c0, c1, c2, c3 = _cubics(r, v, h)
    for end, place, slope in ((0.0, c0, c1), (1.0, r[1:], v[1:] * h)):
        share = end - dot(place, slope) / np.maximum(dot(slope, slope), _STILL)
        for _ in range(_NEWTON):
            s = np.clip(share, 0.0, 1.0)[:, None]
            p = c0 + s * (c1 + s * (c2 + s * c3))
            d = c1 + s * (2 * c2 + 3 * s * c3)
            curve = dot(d, d) + dot(p, 2 * c2 + 6 * s * c3)
            share = s[:, 0] - dot(p, d) / np.where(curve > _STILL, curve, np.inf)
        distances = norm(p)
        if len(distances) and float(np.min(distances)) < best:
            at = int(np.argmin(distances))
            best, when = float(distances[at]), float(times[at] + s[at, 0] * h[at, 0])
    return best, when


def _passings(track: _Track, member: int, watch_m: float) -> list[Passing]:
    """Minima of the distance to a member, the look's ends among them, in order of time.

    Those nearer than watch_m, and the nearest of all however far.
    """
    rate = dot(track.relative[:, :3], track.relative[:, 3:6])  # of the distance, times itself
    found = [_passing(track, member, k, share, "minimum") for k, share in _minima(track)]
    if rate[0] >= 0.0:
        found.insert(0, _passing(track, member, 0, 0.0, "start"))
    if rate[-1] < 0.0:
        found.append(_passing(track, member, len(track.times) - 1, 0.0, "end"))
    least = min((p.distance_m for p in found), default=np.inf)
    return [p for p in found if p.distance_m < watch_m or p.distance_m == least]


def _minima(track: _Track) -> list[tuple[int, float]]:
    """Sample before each minimum, in order, and the share of the interval after it."""
    r, v = track.relative[:, :3], track.relative[:, 3:6]
    h = np.diff(track.times)[:, None]
    cubics = _cubics(r, v, h)
    ends = np.arange(_PARTS + 1) / _PARTS
    rates = np.stack([_rate(cubics, s) for s in ends])
    # At an interval's ends the rates are those of the samples, or a minimum there is lost. Where
    # two stretches meet there are two samples at one time, and nothing between them.
    rate = dot(r, v)
    rates = np.where(h[:, 0] > 0.0, rates, rate[:-1])
    rates[0], rates[-1] = rate[:-1], rate[1:]
    at, part = np.nonzero(((rates[:-1] < 0.0) & (rates[1:] >= 0.0)).T)
    some = tuple(c[at] for c in cubics)
    low, high = ends[part], np.where(h[at, 0] > 0.0, ends[part + 1], 0.0)
    for _ in range(_HALVINGS):
        middle = (low + high) / 2
        falling = _rate(some, middle[:, None]) < 0.0
        low, high = np.where(falling, middle, low), np.where(falling, high, middle)
    return list(zip(at.tolist(), high.tolist(), strict=True))


def _cubics(r: Array, v: Array, h: Array) -> tuple[Array, ...]:
    """Coefficients (n - 1, 3) of the cubics between samples r and v (n, 3), over shares of h."""
    gap, m0, m1 = r[1:] - r[:-1], v[:-1] * h, v[1:] * h
    return r[:-1], m0, 3 * gap - 2 * m0 - m1, m0 + m1 - 2 * gap


def _rate(cubics: tuple[Array, ...], s: Array) -> Array:
    """Half the rate of the squared distance at shares s of the intervals."""
    c0, c1, c2, c3 = cubics
    return dot(c0 + s * (c1 + s * (c2 + s * c3)), c1 + s * (2 * c2 + 3 * s * c3))


def _passing(track: _Track, member: int, at: int, share: float, kind: Kind) -> Passing:
    """What there is to say of the place a share of the interval after sample `at`."""
    time, beside, there = float(track.times[at]), track.relative[at], track.member[at]
    if share > 0.0:
        time, beside, there = _followed(track, at, share)
    return Passing(
        member,
        kind,
        int(track.of[at]),
        time,
        float(norm(beside[:3])),
        float(norm(beside[3:6])),
        rsw_frame(there[:3], there[3:6]) @ beside[:3],
    )


def _followed(track: _Track, at: int, share: float) -> tuple[float, Array, Array]:
    """Time, relative and member state (7,) of a minimum in the interval after a sample.

    From where the cubic has it, by Newton's method with the cubic's curvature.
    """
    start, end = float(track.times[at]), float(track.times[at + 1])
    h = end - start
    two = track.relative[at : at + 2]
    c0, c1, c2, c3 = (c[0] for c in _cubics(two[:, :3], two[:, 3:6], np.array([[h]])))
    place, slope = (
        c0 + share * (c1 + share * (c2 + share * c3)),
        c1 + share * (2 * c2 + 3 * share * c3),
    )
    rise = float(dot(slope, slope) + dot(place, 2 * c2 + 6 * share * c3)) / (h * h)
    thrust = track.stretches[int(track.of[at])].thrust
    member, craft = track.member[at], track.relative[at] + track.member[at]
    time = start + share * h
    for left in range(_STEPS, -1, -1):
        there = track.propagator.advance(start, member, time).state
        beside = track.propagator.advance(start, craft, time, thrust).state - there
        if left and rise > 0.0:
            step = float(dot(beside[:3], beside[3:6])) / rise
            time = min(max(time - step, start), end)
    return time, beside, there
