"""The time-open, phase-free optimum from orbit to ring: the floor that no plan goes below.

Two and three impulses at free points with the plane change split freely. Arcs are measured by the
angle flown, so no time enters; the ring is met by two equations (radius, plane), its velocity there
closes the last burn. Many starts: a grid over all two-impulse conics, and the handbook routes, each
refined by sequential quadratic programming. A search, not a proof: the floor is the least found.
Reference: Lawden (1963), Optimal Trajectories for Space Navigation; Vallado (2022), section 6.5.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from simcheck.arrays import Array
from simcheck.kernels.optimising import Rows, minimise
from simcheck.kernels.transfers import (
    apsis_radii,
    coast_to_direction,
    period_of,
)
from simcheck.kernels.vectors import TAU, cross, dot, norm, unit
from simcheck.planning.problem import Problem
from simcheck.planning.routes import Leg, Route

_SMOOTH = 1e-7  # rounds the corner of |x| at zero, in units of the ring's speed
_NOTHING = 1e-5  # a burn below this share of the ring's speed is dropped
_ON_RING = 1e-7  # how far off the ring a route may end, in ring radii
_SAME = 1e-4  # two optima within this share are one
_WALL = 1e3  # weight of a broken radius limit
_GRID = 48
_HOPELESS = 1.3  # a start this much dearer than the best, once on the ring, is given up
_SEEDS_TWO, _SEEDS_THREE = 8, 8
_SCATTERED = 64
_LOOKED_AT = 24
_KEPT = 6


class _Scaled(NamedTuple):
    """The problem in units of the ring's radius and speed, ring normal along z."""

    position: Array
    velocity: Array
    normal: Array
    low: float
    high: float


def optimal_routes(problem: Problem, seeds: list[Route], *, quick: bool = False) -> list[Route]:
    """The best distinct routes of two and three burns, cheapest first.

    quick leaves out the scattered starts: three burns then come from the best of two only.
    """
    scaled = _scale(problem)
    ring_speed = float(np.sqrt(problem.gm / problem.radius_m))
    if any(route.dv < _NOTHING * ring_speed for route in seeds):
        return []
    given = _route_starts(problem, scaled, seeds)
    pairs = [*_grid_starts(scaled), *(x for x in given if len(x) == 5)]
    two = _refine(scaled, pairs)
    triples = [*(x for x in given if len(x) == 9), *_with_third(scaled, two)]
    triples += [] if quick else _scattered()
    found = sorted([*two, *_refine(scaled, triples)], key=lambda f: f[0])
    routes: list[Route] = []
    for _, point in found[:_LOOKED_AT]:
        route = _as_route(problem, scaled, point)
        if route is not None and all(abs(route.dv - r.dv) > _SAME * r.dv for r in routes):
            routes.append(route)
    return routes[:_KEPT]


def _scale(problem: Problem) -> _Scaled:
    length = problem.radius_m
    speed = float(np.sqrt(problem.gm / length))
    return _Scaled(
        problem.position_m / length,
        problem.velocity_m_s / speed,
        problem.normal,
        problem.min_radius_m / length,
        problem.max_radius_m / length,
    )


def _turn(position: Array, velocity: Array, angle: Array) -> tuple[Array, Array]:
    """States (..., 3) after an angle (...) flown along their conics, gm = 1 (f and g series)."""
    r0 = norm(position)
    h2 = dot(velocity, velocity) * r0**2 - dot(position, velocity) ** 2
    vr0 = dot(position, velocity) / r0
    c, s = np.cos(angle), np.sin(angle)
    h = np.sqrt(h2)
    r = h2 / (1 + (h2 / r0 - 1) * c - h * vr0 * s)
    f, g = 1 - r / h2 * (1 - c), r * r0 / h * s
    half = np.tan(angle / 2)
    gdot = 1 - r0 / h2 * (1 - c)
    ahead = f[..., None] * position + g[..., None] * velocity
    fdot = half * ((1 - c) / h2 - 1 / r0 - 1 / r) / h
    return ahead, fdot[..., None] * position + gdot[..., None] * velocity


class _Flown(NamedTuple):
    cost: Array
    rest: Array
    legs: list[tuple[Array, Array, Array]]


def _fly(scaled: _Scaled, points: Array) -> _Flown:
    """Fly points (m, n): first angle, then burn (3) and angle in turn. Costs and misses (m, 2)."""
    r, v = _turn(scaled.position, scaled.velocity, points[:, 0])
    cost, wall = np.zeros(len(points)), np.zeros(len(points))
    legs = []
    for k in range((points.shape[1] - 1) // 4):
        burn, angle = points[:, 4 * k + 1 : 4 * k + 4], points[:, 4 * k + 4]
        after = v + burn
        legs.append((r, v, after))
        cost = cost + np.sqrt(dot(burn, burn) + _SMOOTH**2)
        low, high = apsis_radii(r, after, 1.0)
        wall = wall + np.maximum(scaled.low - low, 0) ** 2
        wall = wall + np.maximum(1 - scaled.high / np.minimum(high, 1e9), 0) ** 2
        r, v = _turn(r, after, angle)
    out = dot(r, scaled.normal)
    flat = r - out[:, None] * scaled.normal
    ring = cross(np.broadcast_to(scaled.normal, flat.shape), unit(flat))
    last = ring - v
    legs.append((r, v, ring))
    cost = cost + np.sqrt(dot(last, last) + _SMOOTH**2) + _WALL * wall
    return _Flown(cost, np.stack([norm(flat) - 1, out], axis=-1), legs)


def _refine(scaled: _Scaled, starts: list[Array]) -> list[tuple[float, Array]]:
    """Minima (cost, point) from starts of equal length that end on the ring, cheapest first."""
    if not starts:
        return []

    def function(points: Array, rows: Rows) -> tuple[Array, Array]:
        flown = _fly(scaled, points)
        return flown.cost, flown.rest

    minima = minimise(function, np.array(starts), settled=1e-9, hopeless=_HOPELESS)
    good = (minima.residuals < 1e-8) & np.isfinite(minima.costs)
    order = np.argsort(np.where(good, minima.costs, np.inf), kind="stable")
    return [(float(minima.costs[i]), minima.points[i]) for i in order if good[i]]


def _grid_starts(scaled: _Scaled) -> list[Array]:
    """The best cells of a grid over all two-impulse conics: leave, arrive, semi-latus rectum."""
    leave = np.linspace(0, TAU, _GRID, endpoint=False)
    x = _perpendicular(scaled.normal)
    y = cross(scaled.normal, x)
    r1, v1 = _turn(scaled.position, scaled.velocity, leave)
    arrive = np.linspace(0, TAU, _GRID, endpoint=False) + 0.01
    r2 = np.cos(arrive)[:, None] * x + np.sin(arrive)[:, None] * y
    ring = np.cos(arrive)[:, None] * y - np.sin(arrive)[:, None] * x
    one, other = r1[:, None, None, :], r2[None, :, None, :]
    n1, n2 = norm(one), norm(other)
    c = np.clip(dot(one, other) / (n1 * n2), -1, 1)
    s = np.sqrt(1 - c**2)
    around = dot(cross(one + 0 * other, other + 0 * one), cross(one, v1[:, None, None, :]))
    s = np.where(around < 0, -s, s)
    scale = 2 / (1 / n1 + 1 / n2)
    p = scale * np.geomspace(0.4, 1.6, 13)
    with np.errstate(all="ignore"):
        f, g = 1 - n2 / p * (1 - c), n1 * n2 * s / np.sqrt(p)
        gdot = 1 - n1 / p * (1 - c)
        go = (other - f[..., None] * one) / g[..., None]
        come = (gdot[..., None] * other - one) / g[..., None]
        low, high = apsis_radii(one + 0 * go, go, 1.0)
        cost = norm(go - v1[:, None, None, :]) + norm(ring[None, :, None, :] - come)
        good = np.isfinite(cost) & (low >= scaled.low) & (high <= scaled.high)
    cost = np.where(good, cost, np.inf)
    best = np.min(cost, axis=2)
    starts = []
    for i, j in _valleys(best)[:_SEEDS_TWO]:
        k = int(np.argmin(cost[i, j]))
        angle = float(np.mod(np.arctan2(s[i, j, 0], c[i, j, 0]), TAU))
        starts.append(np.concatenate([[leave[i]], go[i, j, k] - v1[i], [angle]]))
    return starts


def _valleys(values: Array) -> list[tuple[int, int]]:
    """Cells of a doubly periodic grid below their eight neighbours, lowest first."""
    around = [
        np.roll(values, (i, j), axis=(0, 1)) for i in (-1, 0, 1) for j in (-1, 0, 1) if i or j
    ]
    low = np.isfinite(values) & np.all([values <= other for other in around], axis=0)
    cells = [(int(i), int(j)) for i, j in np.argwhere(low)]
    return sorted(cells, key=lambda cell: values[cell])


def _perpendicular(normal: Array) -> Array:
    return unit(cross(normal, np.eye(3)[int(np.argmin(np.abs(normal)))]))


def _route_starts(problem: Problem, scaled: _Scaled, routes: list[Route]) -> list[Array]:
    """Handbook routes of two or three legs as starts, the cheapest of each name."""
    speed = float(np.sqrt(problem.gm / problem.radius_m))
    starts = []
    for route in sorted(routes, key=lambda r: r.dv)[:_SEEDS_THREE]:
        if len(route.legs) not in (2, 3):
            continue
        here, going = scaled.position, scaled.velocity
        parts = []
        for leg in route.legs:
            angle = _angle_to(here, going, leg.position)
            parts.append([angle])
            burn = (leg.after - leg.before) / speed
            parts.append(list(burn))
            here, going = leg.position / problem.radius_m, leg.after / speed
        starts.append(np.concatenate(parts[:-1]))
    return starts


def _angle_to(position: Array, velocity: Array, direction: Array) -> float:
    w = unit(cross(position, velocity))
    x = unit(position)
    y = cross(w, x)
    return float(np.mod(np.arctan2(dot(direction, y), dot(direction, x)), TAU))


def _with_third(scaled: _Scaled, found: list[tuple[float, Array]]) -> list[Array]:
    """Starts of three burns: a small one put halfway or at the far apsis of each best pair."""
    starts = []
    for _, point in found[:_KEPT]:
        total, push = point[4], 1e-3 * scaled.normal
        starts += [
            np.concatenate([point[:4], [share * total], push, [(1 - share) * total]])
            for share in (0.2, 0.5, 0.8)
        ]
        # A whole turn more, with a burn at the far side of the transfer orbit.
        r, v = _turn(scaled.position, scaled.velocity, point[:1])
        ahead = _to_apoapsis(r[0], v[0] + point[1:4])
        rest = float(np.mod(point[4] - ahead, TAU))
        starts.append(np.concatenate([point[:4], [ahead], 1e-3 * scaled.normal, [rest]]))
    return starts


def _scattered() -> list[Array]:
    """Random starts of three burns, the same every time."""
    stream = np.random.default_rng(20310412)
    angles = stream.uniform(0, TAU, (_SCATTERED, 3))
    burns = 0.25 * stream.standard_normal((_SCATTERED, 2, 3))
    return [
        np.concatenate([a[:1], b[0], a[1:2], b[1], a[2:]])
        for a, b in zip(angles, burns, strict=True)
    ]


def _to_apoapsis(position: Array, velocity: Array) -> float:
    h = cross(position, velocity)
    e = cross(velocity, h) - unit(position)
    return _angle_to(position, velocity, -e)


def _as_route(problem: Problem, scaled: _Scaled, point: Array) -> Route | None:
    """Legs and times of a refined point; burns of next to nothing are dropped."""
    flown = _fly(scaled, point[None, :])
    speed = float(np.sqrt(problem.gm / problem.radius_m))
    legs, coasts = [], []
    here, going, waited = problem.position_m, problem.velocity_m_s, 0.0
    for index, (r, v, after) in enumerate(flown.legs):
        if not np.isfinite(period_of(here, going, problem.gm)):
            return None
        tof, position, velocity = coast_to_direction(here, going, unit(r[0]), problem.gm)
        waited += tof  # whole turns in an angle are waiting, which phasing adds where it pays
        target = (
            problem.ring_velocity(position)
            if index == len(flown.legs) - 1
            else (velocity + (after[0] - v[0]) * speed)
        )
        if norm(target - velocity) < _NOTHING * speed:
            here, going = position, velocity
            continue
        legs.append(Leg("transfer", position, velocity, target))
        coasts.append(waited)
        here, going, waited = position, target, 0.0
    if not legs or not np.all(np.isfinite(coasts)):
        return None
    end = legs[-1].position / problem.radius_m
    if max(abs(float(norm(end)) - 1), abs(float(dot(end, problem.normal)))) > _ON_RING:
        return None  # a dropped burn mattered; the pair without it is found on its own
    name = f"least-Δv transfer of {len(legs)} burns"
    return Route(name, tuple(legs), tuple(coasts))
