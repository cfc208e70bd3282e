"""Meeting the slot by a given time: burn times and vectors optimised together.

Where the time allowed is too short for the least Δv of all, the phase binds and no route with time
left open fits. The candidates found so far, and multi-revolution Lambert arcs over a grid of
departures and arrivals, are refined over all times and vectors, limits kept by steep walls.
Gradients are exact (two-body transition matrices). Reference: Lawden (1963); Izzo (2015).
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from simcheck.arrays import Array
from simcheck.kernels.kepler import propagate
from simcheck.kernels.lambert import lambert
from simcheck.kernels.optimising import minimise
from simcheck.kernels.transfers import apsis_radii
from simcheck.kernels.transition import transition
from simcheck.kernels.vectors import cross, dot, norm, unit
from simcheck.planning.candidates import Candidate, Impulse
from simcheck.planning.problem import Problem

_SMOOTH = 1e-7
_WALL = 300.0
_MARGIN = 1e-3  # of a radian of ring motion, or of the radius: walls are met from inside
_SHIFT = 1e-6
_GRID = 40
_REVOLUTIONS = 6
_LAMBERT_SEEDS, _THIRD_SEEDS = 16, 12
_GIVEN_SEEDS = 12
_MOST_BURNS = 5
_NOTHING = 1e-5
_MET = 1e-8


class _Scaled(NamedTuple):
    """The problem in units of the ring's radius and mean motion."""

    position: Array
    velocity: Array
    first: Array
    second: Array
    phase: float
    span: float
    lead: float
    low: float
    high: float


def timed_candidates(problem: Problem, given: list[Candidate]) -> list[Candidate]:
    """Locally optimal dated candidates within the time limit, cheapest first."""
    scaled = _scale(problem)
    groups: dict[int, list[Array]] = {}
    for candidate in _distinct(given)[:_GIVEN_SEEDS]:
        count = len(candidate.impulses)
        if 2 <= count <= _MOST_BURNS:
            groups.setdefault(count, []).append(_point(problem, candidate))
    pairs = _lambert_starts(scaled)
    groups.setdefault(2, []).extend(pairs)
    groups.setdefault(3, []).extend(_with_third(scaled, pairs[:_THIRD_SEEDS]))
    found = []
    for starts in filter(None, groups.values()):
        minima = minimise(
            lambda x: _cost(scaled, x),
            np.array(starts),
            slopes=lambda x: _look(scaled, x),
            iterations=80,
        )
        for point, cost, gap in zip(*minima, strict=True):
            if np.isfinite(cost) and gap < _MET:
                found.append((float(cost), point))
    found.sort(key=lambda f: f[0])
    made = [_candidate(problem, point) for _, point in found]
    return [candidate for candidate in made if candidate is not None]


def _distinct(given: list[Candidate]) -> list[Candidate]:
    """Candidates that differ in cost or arrival from all before them."""
    seen: set[tuple[float, float]] = set()
    distinct = []
    for candidate in given:
        key = (float(f"{candidate.dv:.4g}"), float(f"{candidate.arrival:.4g}"))
        if key not in seen:
            seen.add(key)
            distinct.append(candidate)
    return distinct


def _scale(problem: Problem) -> _Scaled:
    length, rate = problem.radius_m, problem.motion.rate
    frame = problem.motion.frame(0.0)
    lead = 0.5 * problem.dv_lead_s
    return _Scaled(
        problem.position_m / length,
        problem.velocity_m_s / (length * rate),
        frame[0],
        frame[1],
        float(problem.motion.longitude(problem.slot, problem.start_s)),
        (problem.end_s - problem.start_s - lead) * rate - _MARGIN,
        lead * rate + _MARGIN,
        problem.min_radius_m / length + _MARGIN,
        problem.max_radius_m / length - _MARGIN,
    )


def _slot(scaled: _Scaled, time: Array) -> tuple[Array, Array]:
    """Position and velocity (..., 3) of the slot."""
    angle = (scaled.phase + time)[..., None]
    c, s = np.cos(angle), np.sin(angle)
    return c * scaled.first + s * scaled.second, c * scaled.second - s * scaled.first


def _count(points: Array) -> int:
    """Burns of a point: n times and 3 (n - 1) components."""
    return int((points.shape[-1] + 3) // 4)


def _look(scaled: _Scaled, points: Array) -> tuple[Array, Array, Array, Array]:
    """Cost (m,), its slopes (m, n), misses (m, 3) and their slopes (m, 3, n)."""
    rows, size = points.shape
    count = _count(points)
    times = points[:, :count]
    cost, slope = np.zeros(rows), np.zeros((rows, size))
    spread = np.zeros((rows, 6, size))
    r, v = propagate(scaled.position, scaled.velocity, times[:, 0], 1.0)
    spread[:, :, 0] = _rates(r, v)
    for k in range(count - 1):
        part = slice(count + 3 * k, count + 3 * k + 3)
        burn = points[:, part]
        size_k = np.sqrt(dot(burn, burn) + _SMOOTH**2)
        cost += size_k
        slope[:, part] += burn / size_k[:, None]
        v = v + burn
        spread[:, 3:, part] += np.eye(3)
        _add_walls(scaled, r, v, spread, cost, slope)
        gap = times[:, k + 1] - times[:, k]
        r, v, matrix = transition(r, v, gap, 1.0)
        spread = matrix @ spread
        rates = _rates(r, v)
        spread[:, :, k + 1] += rates
        spread[:, :, k] -= rates
    _add_time_walls(scaled, times, cost, slope)
    there, along = _slot(scaled, times[:, -1])
    last = along - v
    size_k = np.sqrt(dot(last, last) + _SMOOTH**2)
    cost += size_k
    lean = last / size_k[:, None]
    slope -= np.einsum("mi,min->mn", lean, spread[:, 3:])
    slope[:, count - 1] -= dot(lean, there)
    bend = spread[:, :3].copy()
    bend[:, :, count - 1] -= along
    return cost, slope, r - there, bend


def _cost(scaled: _Scaled, points: Array) -> tuple[Array, Array]:
    """Cost (m,) and misses (m, 3) alone, as in `_look`."""
    count = _count(points)
    times = points[:, :count]
    cost = np.zeros(len(points))
    r, v = propagate(scaled.position, scaled.velocity, times[:, 0], 1.0)
    for k in range(count - 1):
        burn = points[:, count + 3 * k : count + 3 * k + 3]
        v = v + burn
        cost += np.sqrt(dot(burn, burn) + _SMOOTH**2) + _wall(scaled, r, v)
        r, v = propagate(r, v, times[:, k + 1] - times[:, k], 1.0)
    for over, _ in _time_edges(scaled, times):
        cost += _WALL * np.maximum(over, 0.0) ** 2
    there, along = _slot(scaled, times[:, -1])
    return cost + np.sqrt(dot(along - v, along - v) + _SMOOTH**2), r - there


def _rates(r: Array, v: Array) -> Array:
    return np.concatenate([v, -r / norm(r)[:, None] ** 3], axis=1)


def _wall(scaled: _Scaled, position: Array, velocity: Array) -> Array:
    """Steep walls at the radius limits, (m,)."""
    low, high = apsis_radii(position, velocity, 1.0)
    over = 1 - scaled.high / np.minimum(high, 1e9)
    return np.asarray(_WALL * (np.maximum(scaled.low - low, 0) ** 2 + np.maximum(over, 0) ** 2))


def _add_walls(
    scaled: _Scaled, r: Array, v: Array, spread: Array, cost: Array, slope: Array
) -> None:
    """Add the walls and their slopes, by differences of the closed form."""
    here = _wall(scaled, r, v)
    if not np.any(here > 0):
        return
    cost += here
    state = np.concatenate([r, v], axis=1)
    for j in range(6):
        shift = _SHIFT * np.eye(6)[j]
        ahead, behind = state + shift, state - shift
        lean = _wall(scaled, ahead[:, :3], ahead[:, 3:])
        lean = lean - _wall(scaled, behind[:, :3], behind[:, 3:])
        slope += (lean / (2 * _SHIFT))[:, None] * spread[:, j]


def _time_edges(scaled: _Scaled, times: Array) -> list[tuple[Array, list[tuple[int, float]]]]:
    """By how much each time limit is passed, (m,), and its slopes by the times."""
    edges = [(scaled.lead - times[:, 0], [(0, -1.0)])]
    edges += [
        (scaled.lead + times[:, k] - times[:, k + 1], [(k, 1.0), (k + 1, -1.0)])
        for k in range(times.shape[1] - 1)
    ]
    edges.append((times[:, -1] - scaled.span, [(times.shape[1] - 1, 1.0)]))
    return edges


def _add_time_walls(scaled: _Scaled, times: Array, cost: Array, slope: Array) -> None:
    """Walls at the earliest ignition, between burns and at the latest arrival."""
    for over, leans in _time_edges(scaled, times):
        beyond = np.maximum(over, 0.0)
        cost += _WALL * beyond**2
        for k, sign in leans:
            slope[:, k] += 2 * _WALL * beyond * sign


def _lambert_starts(scaled: _Scaled) -> list[Array]:
    """Two-burn points from Lambert arcs over a grid of departures and arrivals."""
    leave = np.linspace(scaled.lead, scaled.span, _GRID)
    arrive = np.linspace(scaled.lead, scaled.span, _GRID + 7)
    r1, v1 = propagate(scaled.position, scaled.velocity, leave, 1.0)
    r2, v2 = _slot(scaled, arrive)
    gap = arrive[None, :] - leave[:, None]
    gap = np.where(gap > 0.05, gap, np.nan)
    normal = unit(cross(scaled.position, scaled.velocity))
    seeds: list[tuple[float, Array]] = []
    most = int(min(_REVOLUTIONS, scaled.span / 4))
    for turns in range(most + 1):
        for long_period in (True, False) if turns else (True,):
            with np.errstate(all="ignore"):
                go, come = lambert(
                    r1[:, None],
                    r2[None],
                    gap,
                    normal,
                    1.0,
                    revolutions=turns,
                    long_period=long_period,
                )
                cost = norm(go - v1[:, None]) + norm(v2[None] - come)
                low, high = apsis_radii(np.broadcast_to(r1[:, None], go.shape), go, 1.0)
                good = np.isfinite(cost) & (low >= scaled.low) & (high <= scaled.high)
            cost = np.where(good, cost, np.inf)
            for i, j in _valleys(cost)[:4]:
                point = np.concatenate([[leave[i], arrive[j]], go[i, j] - v1[i]])
                seeds.append((float(cost[i, j]), point))
    seeds.sort(key=lambda s: s[0])
    return [point for _, point in seeds[:_LAMBERT_SEEDS]]


def _valleys(values: Array) -> list[tuple[int, int]]:
    padded = np.pad(values, 1, constant_values=np.inf)
    rows, columns = values.shape
    low = np.isfinite(values)
    for i in range(3):
        for j in range(3):
            low &= values <= padded[i : i + rows, j : j + columns]
    cells = [(int(i), int(j)) for i, j in np.argwhere(low)]
    return sorted(cells, key=lambda cell: values[cell])


def _with_third(scaled: _Scaled, pairs: list[Array]) -> list[Array]:
    """Three-burn points: a small push put into each two-burn one, at three places."""
    push = 1e-3 * cross(scaled.first, scaled.second)
    points = []
    for pair in pairs:
        t1, t2, burn = pair[0], pair[1], pair[2:]
        points += [
            np.concatenate([[t1, t1 + share * (t2 - t1), t2], burn, push])
            for share in (0.25, 0.5, 0.75)
        ]
        if t1 > 4 * scaled.lead:
            points.append(np.concatenate([[t1 / 2, t1, t2], push, burn]))
    return points


def _point(problem: Problem, candidate: Candidate) -> Array:
    rate = problem.motion.rate
    times = [(x.time - problem.start_s) * rate for x in candidate.impulses]
    burns = [x.dv / (problem.radius_m * rate) for x in candidate.impulses[:-1]]
    return np.concatenate([times, *burns])


def _candidate(problem: Problem, point: Array) -> Candidate | None:
    """A dated candidate in SI; burns of next to nothing dropped, None where one is too long."""
    count, rate = _count(point), problem.motion.rate
    speed = problem.radius_m * rate
    r, v, time = problem.position_m, problem.velocity_m_s, problem.start_s
    impulses = []
    for k in range(count):
        then = problem.start_s + float(point[k]) / rate
        r, v = propagate(r, v, then - time, problem.gm)
        time = then
        if k < count - 1:
            after = v + point[count + 3 * k : count + 3 * k + 3] * speed
            if norm(after - v) < _NOTHING * speed:
                continue
        else:
            after = (
                problem.radius_m
                * problem.motion.rate
                * unit(cross(problem.motion.frame(0.0)[2], r))
            )
        longest = problem.longest_dv(float(norm(r)), float(norm(cross(r, v)) / norm(r)))
        in_time = problem.start_s <= time <= problem.end_s
        if norm(after - v) > longest or not in_time:
            return None
        impulses.append(Impulse("transfer", r, v, after, time))
        v = after
    name = f"timed transfer of {len(impulses)} burns"
    return Candidate(name, tuple(impulses), (0,) * len(impulses), None)
