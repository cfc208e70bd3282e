"""Courses: burn times and vectors that meet the slot, with their cost, misses, limits and slopes.

A point holds n times, then the components of all burns but the last, which the slot's velocity
closes; units are the ring's radius and mean motion. Limits are walls on their excess, plus a shift
that an outer loop adjusts until they hold exactly. Slopes are exact (two-body transition matrices);
those of the closed-form walls are differences. Reference: Lawden (1963), Optimal Trajectories for
Space Navigation; Nocedal and Wright (2006), section 17.3, for the shifted walls. Over 400 lines:
the misses and their slopes share every intermediate.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import cache
from typing import NamedTuple, TypeAlias

import numpy as np
from numpy.typing import NDArray

from simcheck.arrays import Array
from simcheck.engines.base import G0
from simcheck.kernels.kepler import propagate
from simcheck.kernels.transfers import apsis_radii
from simcheck.kernels.transition import transition
from simcheck.kernels.vectors import TAU, cross, dot, norm
from simcheck.planning.candidates import Candidate
from simcheck.planning.problem import Problem

SMOOTH = 1e-7
"""Rounds the corner of a burn's size at zero, in units of the ring's speed."""

_MARGIN = 2e-5  # rad of ring motion, and share of the ring's radius, that limits are drawn in by
_SHIFT = 1e-6
_ROOM = 1e-3  # rad of ring motion kept between two burns, beyond their lengths
_LOOSE = 1e-2  # share by which a burn may pass its longest, which is a rule of thumb
_FAR = 1e9

Whose: TypeAlias = NDArray[np.intp]
Wall: TypeAlias = "Callable[[Field, Array, Array, Array], Array]"


class Field(NamedTuple):
    """The problem in units of the ring's radius and mean motion.

    half is half the length of a burn by its Δv; exhaust and burnt give the longest burn: the
    exhaust speed, and the share of the mass that one unit of time burns; longest and arc bound it.
    """

    position: Array
    velocity: Array
    first: Array
    second: Array
    phase: float
    span: float
    half: float
    exhaust: float
    burnt: float
    longest: float
    arc: float
    low: float
    high: float


class Bounds(NamedTuple):
    """What courses of one batch may differ in: latest arrivals (m,), shifts (m, edges), burns (m,).

    weight is that of the squared excess over a limit in the cost.

    Courses of fewer burns than the batch's points have room for begin with idle ones: no Δv, at the
    start, and kept so.
    """

    latest: Array
    shifts: Array
    burns: Whose
    weight: float = 1.0

    def of(self, rows: Whose) -> Bounds:
        """Those of some courses."""
        return Bounds(self.latest[rows], self.shifts[rows], self.burns[rows], self.weight)


def bounds_of(burns: int, latest: float, count: int = 1) -> Bounds:
    """Bounds of `count` courses of so many burns and one latest arrival, no shifts."""
    return Bounds(
        np.full(count, latest),
        np.zeros((count, edge_count(burns))),
        np.full(count, burns, dtype=np.intp),
    )


def padded(point: Array, burns: int) -> Array:
    """A course with idle burns put before it, up to so many."""
    own = burn_count(point)
    idle = burns - own
    return np.concatenate([np.zeros(idle), point[:own], np.zeros(3 * idle), point[own:]])


def stripped(point: Array, burns: int) -> Array:
    """A course without its idle burns: only the last `burns` are its own."""
    count = burn_count(point)
    idle = count - burns
    return np.concatenate([point[idle:count], point[count + 3 * idle :]])


def edges_in(count: int, burns: int) -> NDArray[np.bool_]:
    """Which limits (edges,) of points with room for `count` burns are those of a course's own."""
    idle = count - burns
    index = np.arange(count)
    parts = [np.arange(count + 1) >= idle, index >= idle]
    parts.append(np.repeat(index[:-1] >= idle, 2))
    parts.append(np.repeat(index[1:-1] > idle, 2))
    return np.concatenate(parts)


def field_of(problem: Problem) -> Field:
    """Pose a problem in the ring's units."""
    length, rate = problem.radius_m, problem.motion.rate
    frame = problem.motion.frame(0.0)
    engine, mass, exhaust = problem.engine, problem.mass_kg, G0 * problem.engine.isp_s
    return Field(
        problem.position_m / length,
        problem.velocity_m_s / (length * rate),
        frame[0],
        frame[1],
        float(problem.motion.longitude(problem.slot, problem.start_s)),
        (problem.end_s - problem.start_s) * rate - _MARGIN,
        0.5 * mass / engine.thrust_n * length * rate**2,
        exhaust / (length * rate),
        engine.thrust_n / exhaust / mass / rate,
        problem.burn_share * engine.max_burn_s * rate,
        problem.arc_rad,
        problem.min_radius_m / length + _MARGIN,
        min(problem.max_radius_m / length, _FAR) - _MARGIN,
    )


def edge_count(burns: int) -> int:
    """Limits that a course has: times, lengths, radii of orbits, radii of burns between."""
    return (burns + 1) + burns + 2 * (burns - 1) + 2 * max(burns - 2, 0)


def burn_count(points: Array) -> int:
    """Burns of a point: n times and 3 (n - 1) components."""
    return int((points.shape[-1] + 3) // 4)


def slot_at(field: Field, time: Array) -> tuple[Array, Array]:
    """Position and velocity (..., 3) of the slot."""
    angle = (field.phase + time)[..., None]
    c, s = np.cos(angle), np.sin(angle)
    return c * field.first + s * field.second, c * field.second - s * field.first


def point_of(problem: Problem, candidate: Candidate) -> Array:
    """The point of a candidate."""
    rate = problem.motion.rate
    times = [(x.time - problem.start_s) * rate for x in candidate.impulses]
    burns = [x.dv / (problem.radius_m * rate) for x in candidate.impulses[:-1]]
    return np.concatenate([times, *burns])


class Legs(NamedTuple):
    """Every burn of m courses: where, with which velocity before, and the burn, (m, n, 3) each."""

    positions: Array
    before: Array
    burns: Array

    def of(self, rows: Whose) -> Legs:
        """Those of some courses."""
        return Legs(self.positions[rows], self.before[rows], self.burns[rows])


def keeps(field: Field, point: Array) -> bool:
    """Whether a course keeps every limit once the margins are spent."""
    count = burn_count(point)
    over = edges_of(field, point[None], bounds_of(count, field.span))[0]
    slack = np.full(edge_count(count), _MARGIN)
    slack[1:count], slack[count + 1 : 2 * count + 1] = _ROOM, _LOOSE
    return bool(np.all(over <= slack))


def legs_of(field: Field, points: Array) -> Legs:
    """Fly courses (m, n) to every burn; the last one's takes the slot's velocity."""
    count = burn_count(points)
    times = points[:, :count]
    burns = np.empty((len(points), count, 3))
    burns[:, :-1] = points[:, count:].reshape(len(points), count - 1, 3)
    positions, before = np.empty_like(burns), np.empty_like(burns)
    r, v = propagate(field.position, field.velocity, times[:, 0], 1.0)
    positions[:, 0], before[:, 0] = r, v
    for k in range(count - 1):
        r, v = propagate(r, v + burns[:, k], times[:, k + 1] - times[:, k], 1.0)
        positions[:, k + 1], before[:, k + 1] = r, v
    burns[:, -1] = slot_at(field, times[:, -1])[1] - v
    return Legs(positions, before, burns)


def cost_of(field: Field, points: Array, bounds: Bounds) -> tuple[Array, Array]:
    """Cost with walls (m,) and misses (m, 3) of courses."""
    legs = legs_of(field, points)
    over = np.maximum(_edges(field, points, legs, bounds) + bounds.shifts, 0.0)
    cost = np.sum(_size(legs.burns), axis=1) + bounds.weight * np.einsum("me,me->m", over, over)
    there, _ = slot_at(field, points[:, burn_count(points) - 1])
    return cost, legs.positions[:, -1] - there


def edges_of(field: Field, points: Array, bounds: Bounds) -> Array:
    """By how much each limit is passed (m, edges), negative inside."""
    return _edges(field, points, legs_of(field, points), bounds)


def excess_of(field: Field, points: Array, bounds: Bounds) -> tuple[Array, Array]:
    """Cost without walls (m,), and misses and excesses over the limits (m, 3 + edges)."""
    legs = legs_of(field, points)
    over = np.maximum(_edges(field, points, legs, bounds), 0.0)
    there, _ = slot_at(field, points[:, burn_count(points) - 1])
    rest = np.concatenate([legs.positions[:, -1] - there, over], axis=1)
    return np.sum(_size(legs.burns), axis=1), rest


def burn_excess(field: Field, point: Array) -> Array:
    """Share (n,) by which each burn of a course passes its longest, negative below."""
    return np.asarray(_long(field, *legs_of(field, point[None]))[0])


def look_at(field: Field, points: Array, bounds: Bounds) -> tuple[Array, Array, Array, Array]:
    """Cost (m,), its slopes (m, n), misses (m, 3) and their slopes (m, 3, n)."""
    rows, size = points.shape
    count = burn_count(points)
    legs, spreads = _spread(field, points)
    grows = np.zeros((rows, count, 3, size))  # of each burn by the point
    for k in range(count - 1):
        grows[:, k, :, count + 3 * k : count + 3 * k + 3] = np.eye(3)
    there, along = slot_at(field, points[:, count - 1])
    grows[:, -1] = -spreads[:, -1, 3:]
    grows[:, -1, :, count - 1] -= there
    sizes = _size(legs.burns)
    cost = sizes.sum(axis=1)
    leans = np.einsum("mkc,mkcn->mkn", legs.burns / sizes[..., None], grows)
    slope = leans.sum(axis=1)
    bend = spreads[:, -1, :3].copy()
    bend[:, :, count - 1] -= along
    _add_walls(field, points, legs, spreads, grows, leans, bounds, cost, slope)
    idle = _idle(count, bounds.burns)
    slope[idle] = 0.0
    np.moveaxis(bend, 1, 2)[idle] = 0.0
    return cost, slope, legs.positions[:, -1] - there, bend


def _spread(field: Field, points: Array) -> tuple[Legs, Array]:
    """Legs, and how position and velocity before each burn follow the point, (m, n, 6, size)."""
    rows, size = points.shape
    count = burn_count(points)
    times = points[:, :count]
    burns = np.empty((rows, count, 3))
    burns[:, :-1] = points[:, count:].reshape(rows, count - 1, 3)
    positions, before = np.empty_like(burns), np.empty_like(burns)
    spreads = np.zeros((rows, count, 6, size))
    r, v = propagate(field.position, field.velocity, times[:, 0], 1.0)
    positions[:, 0], before[:, 0] = r, v
    spreads[:, 0, :, 0] = _drift(r, v)
    for k in range(count - 1):
        spread = spreads[:, k].copy()
        spread[:, 3:, count + 3 * k : count + 3 * k + 3] += np.eye(3)
        gap = times[:, k + 1] - times[:, k]
        r, v, matrix = transition(r, v + burns[:, k], gap, 1.0)
        positions[:, k + 1], before[:, k + 1] = r, v
        drift = _drift(r, v)
        spreads[:, k + 1] = matrix @ spread
        spreads[:, k + 1, :, k + 1] += drift
        spreads[:, k + 1, :, k] -= drift
    burns[:, -1] = slot_at(field, times[:, -1])[1] - v
    return Legs(positions, before, burns), spreads


def _idle(count: int, burns: Whose) -> NDArray[np.bool_]:
    """Which variables (m, n) belong to idle burns."""
    idle = np.arange(count) < (count - burns)[:, None]
    return np.concatenate([idle, np.repeat(idle[:, :-1], 3, axis=1)], axis=1)


def _size(burn: Array) -> Array:
    return np.sqrt(dot(burn, burn) + SMOOTH**2)


def _drift(r: Array, v: Array) -> Array:
    return np.concatenate([v, -r / norm(r)[:, None] ** 3], axis=1)


def _edges(field: Field, points: Array, legs: Legs, bounds: Bounds) -> Array:
    """Excess over each limit (m, edges), in the order of `edge_count`."""
    count = points.shape[1] // 4 + 1
    times, halves = points[:, :count], field.half * _size(legs.burns)
    over = np.empty((len(points), edge_count(count)))
    over[:, 0] = halves[:, 0] - times[:, 0] + _MARGIN
    own = np.arange(count - 1) >= (count - bounds.burns)[:, None]
    room = np.where(own, _ROOM, _MARGIN)  # none is needed after an idle burn
    over[:, 1:count] = halves[:, :-1] + halves[:, 1:] - np.diff(times) + room
    over[:, count] = times[:, -1] + halves[:, -1] - bounds.latest
    over[:, count + 1 : 2 * count + 1] = _long(field, *legs)
    at, arcs = 2 * count + 1, 2 * (count - 1)
    start, after = legs.positions[:, :-1], legs.before[:, :-1] + legs.burns[:, :-1]
    inner, outer = _passes(start, after, np.diff(times))
    low, high = _apsides(field, start, after)
    over[:, at : at + arcs : 2] = np.where(inner, low, -1.0)
    over[:, at + 1 : at + arcs : 2] = np.where(outer, high, -1.0)
    radii = norm(legs.positions[:, 1:-1])
    over[:, at + arcs :: 2] = field.low - radii
    over[:, at + arcs + 1 :: 2] = 1 - field.high / radii
    return np.where(_own_edges(count)[bounds.burns], over, -1.0)


@cache
def _own_edges(count: int) -> NDArray[np.bool_]:
    """`edges_in` for every number of burns up to `count`, (count + 1, edges)."""
    return np.array([edges_in(count, burns) for burns in range(count + 1)])


def _long(field: Field, position: Array, before: Array, burn: Array) -> Array:
    """Excess of burns over the longest that max_burn and the angle swept allow, as a share."""
    rate = norm(cross(position, before)) / dot(position, position)
    seconds = np.minimum(field.longest, field.arc / np.maximum(rate, 1e-12))
    most = -field.exhaust * np.log1p(-np.minimum(field.burnt * seconds, 0.999))
    return np.asarray(_size(burn) / most - 1)


def _apsides(field: Field, position: Array, velocity: Array) -> tuple[Array, Array]:
    """Excess of the apsides over the radius limits."""
    low, high = apsis_radii(position, velocity, 1.0)
    return field.low - low, 1 - field.high / np.minimum(high, _FAR)


def _passes(position: Array, velocity: Array, gap: Array) -> tuple[NDArray[np.bool_], ...]:
    """Whether a coast of this length passes its periapsis, and its apoapsis."""
    with np.errstate(all="ignore"):
        radius = norm(position)
        alpha = 2 / radius - dot(velocity, velocity)
        sine = dot(position, velocity) * np.sqrt(np.abs(alpha))
        anomaly = (np.arctan2(sine, 1 - alpha * radius) - sine) / TAU
        then = anomaly + alpha * np.sqrt(np.abs(alpha)) * gap / TAU
        inner = np.floor(then) > np.floor(anomaly)
        outer = np.floor(then + 0.5) > np.floor(anomaly + 0.5)
    open_orbit = alpha <= 0
    return np.where(open_orbit, sine < 0, inner), np.where(open_orbit, False, outer)


def _add_walls(
    field: Field,
    points: Array,
    legs: Legs,
    spreads: Array,
    grows: Array,
    leans: Array,
    bounds: Bounds,
    cost: Array,
    slope: Array,
) -> None:
    """Add the walls and their slopes where a limit is passed."""
    beyond = np.maximum(_edges(field, points, legs, bounds) + bounds.shifts, 0.0)
    rows = np.flatnonzero(beyond.any(axis=1))
    if not len(rows):
        return
    beyond = beyond[rows]
    cost[rows] += bounds.weight * np.einsum("me,me->m", beyond, beyond)
    force = 2 * bounds.weight * beyond
    count = points.shape[1] // 4 + 1
    pull = _push_times(field, leans[rows], force[:, : count + 1])
    near, at, arcs = legs.of(rows), 2 * count + 1, 2 * (count - 1)
    follows = np.concatenate([spreads[rows], grows[rows]], axis=2)
    walls = [(_long, force[:, count + 1 : at], near, follows)]
    coasts = Legs(*(part[:, :-1] for part in near))
    for side, wall in enumerate((_low_wall, _high_wall)):
        walls.append((wall, force[:, at + side : at + arcs : 2], coasts, follows[:, :-1]))
    for wall, push, own, follow in walls:
        pull += _push_form(field, wall, push, own, follow)
    middle = near.positions[:, 1:-1]
    radii = norm(middle)
    push = -force[:, at + arcs :: 2] + force[:, at + arcs + 1 :: 2] * field.high / radii**2
    weights = (push / radii)[..., None] * middle
    slope[rows] += pull + np.einsum("mkc,mkcn->mn", weights, spreads[rows][:, 1:-1, :3])


def _push_times(field: Field, leans: Array, force: Array) -> Array:
    """Slopes of the walls of the first ignition, between burns, and of the last cutoff."""
    count = leans.shape[1]
    pull = field.half * np.einsum("mk,mkn->mn", force[:, :-1] + force[:, 1:], leans)
    pull[:, :count] += force[:, 1:] - force[:, :-1]
    return np.asarray(pull)


def _low_wall(field: Field, position: Array, before: Array, burn: Array) -> Array:
    return _apsides(field, position, before + burn)[0]


def _high_wall(field: Field, position: Array, before: Array, burn: Array) -> Array:
    return _apsides(field, position, before + burn)[1]


def _push_form(field: Field, wall: Wall, force: Array, legs: Legs, follows: Array) -> Array:
    """Slopes (m, size) of a closed-form wall, by central differences of its nine arguments."""
    total = np.zeros((len(force), follows.shape[3]))
    m, k = np.nonzero(force > 0)
    if not len(m):
        return total
    here = np.concatenate([part[m, k] for part in legs], axis=1)
    shift = _SHIFT * np.eye(9)
    both = np.concatenate([here[:, None] + shift, here[:, None] - shift], axis=1)
    value = wall(field, both[..., :3], both[..., 3:6], both[..., 6:])
    lean = (value[:, :9] - value[:, 9:]) / (2 * _SHIFT)
    np.add.at(total, m, force[m, k, None] * np.einsum("mi,min->mn", lean, follows[m, k]))
    return total
