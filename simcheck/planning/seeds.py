"""Where the timed search starts: courses already known, Lambert arcs, and random courses.

Lambert arcs of several revolutions join the craft's orbit to the slot over a grid of departures and
arrivals; the valleys of their cost are kept, and some get a small third burn.
Reference: Izzo (2015), Revisiting Lambert's problem.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import NamedTuple

import numpy as np

from simcheck.arrays import Array
from simcheck.kernels.kepler import propagate
from simcheck.kernels.lambert import lambert
from simcheck.kernels.transfers import apsis_radii
from simcheck.kernels.vectors import cross, norm, unit
from simcheck.planning.candidates import Candidate
from simcheck.planning.courses import Field, burn_count, field_of, point_of, slot_at
from simcheck.planning.problem import Problem
from simcheck.planning.refining import MOST_BURNS
from simcheck.records.wish import Wish

_GIVEN = 10
_GRID = 40  # departures; seven arrivals more, so that the two do not fall together
_REVOLUTIONS = 6
_SHORTEST = 0.05  # rad of ring motion: shorter arcs are not tried
_VALLEYS = 6  # kept of each kind of arc
_CHEAPEST = 14  # arcs kept whenever they arrive
_BINS, _EACH = 6, 2  # parts of the time allowed, and arcs kept in each beside those
_PAIRS = 8  # arcs that get a third burn
_PUSH = 1e-3  # of the ring's speed: that burn
_SCATTERED = 40
_WILD = 0.25  # of the ring's speed: spread of a random burn's components


def seeds(problem: Problem, given: list[Candidate], wish: Wish) -> list[Array]:
    """Points to start from, of two to five burns, in the ring's units; given ones come first."""
    field = field_of(problem)
    known = [point_of(problem, x) for x in _distinct(given)[:_GIVEN]]
    known = [x for x in known if 2 <= burn_count(x) <= MOST_BURNS]
    pairs = lambert_pairs(field)
    return [*known, *pairs, *_with_third(field, pairs[:_PAIRS]), *_scattered(field, wish)]


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


class _Arc(NamedTuple):
    """A two-burn point with its cost and arrival."""

    cost: float
    arrival: float
    point: Array


class _Ends(NamedTuple):
    """States of the craft at each departure and of the slot at each arrival, and times between."""

    leave: Array
    arrive: Array
    craft: tuple[Array, Array]
    slot: tuple[Array, Array]
    gap: Array
    normal: Array


def lambert_pairs(field: Field, grid: int = _GRID) -> list[Array]:
    """Two-burn points from Lambert arcs over `grid` departures and a few arrivals more.

    The cheapest of all come first, then the cheapest of those that arrive in each part of the time
    allowed.
    """
    ends = _ends(field, grid)
    most = int(min(_REVOLUTIONS, field.span / 4))
    arcs = [
        arc
        for turns in range(most + 1)
        for long_period in ((True, False) if turns else (True,))
        for arc in _arcs(field, ends, turns, long_period)
    ]
    arcs.sort(key=lambda x: x.cost)
    kept = arcs[:_CHEAPEST]
    for k in range(_BINS):
        early, late = k * field.span / _BINS, (k + 1) * field.span / _BINS
        own = [x for x in arcs if early < x.arrival <= late]
        kept += [x for x in own[:_EACH] if not any(x is y for y in kept)]
    return [x.point for x in kept]


def _ends(field: Field, grid: int) -> _Ends:
    leave = np.linspace(0.0, field.span, grid)
    arrive = np.linspace(0.0, field.span, grid + 7)
    gap = arrive[None, :] - leave[:, None]
    return _Ends(
        leave,
        arrive,
        propagate(field.position, field.velocity, leave, 1.0),
        slot_at(field, arrive),
        np.where(gap > _SHORTEST, gap, np.nan),
        unit(unit(cross(field.position, field.velocity)) + cross(field.first, field.second)),
    )


def _arcs(field: Field, ends: _Ends, turns: int, long_period: bool) -> Iterator[_Arc]:
    """The cheapest arcs of one kind, each cheaper than those that leave or arrive near it."""
    (r1, v1), (r2, v2) = ends.craft, ends.slot
    with np.errstate(all="ignore"):
        go, come = lambert(
            r1[:, None],
            r2[None],
            ends.gap,
            ends.normal,
            1.0,
            revolutions=turns,
            long_period=long_period,
        )
        cost = norm(go - v1[:, None]) + norm(v2[None] - come)
        low, high = apsis_radii(np.broadcast_to(r1[:, None], go.shape), go, 1.0)
        good = np.isfinite(cost) & (low >= 0.5 * field.low) & (high <= 2 * field.high)
    cost = np.where(good, cost, np.inf)
    for i, j in _valleys(cost)[:_VALLEYS]:
        point = np.concatenate([[ends.leave[i], ends.arrive[j]], go[i, j] - v1[i]])
        yield _Arc(float(cost[i, j]), float(ends.arrive[j]), point)


def _valleys(values: Array) -> list[tuple[int, int]]:
    """Cells of a grid below their neighbours, lowest first."""
    padded = np.pad(values, 1, constant_values=np.inf)
    rows, columns = values.shape
    low = np.isfinite(values)
    for i in range(3):
        for j in range(3):
            low &= values <= padded[i : i + rows, j : j + columns]
    cells = [(int(i), int(j)) for i, j in np.argwhere(low)]
    return sorted(cells, key=lambda cell: values[cell])


def _with_third(field: Field, pairs: list[Array]) -> list[Array]:
    """Three-burn points: a small push put into each two-burn one, at three places."""
    push = _PUSH * cross(field.first, field.second)
    points = []
    for pair in pairs:
        t1, t2, burn = pair[0], pair[1], pair[2:]
        points += [
            np.concatenate([[t1, t1 + share * (t2 - t1), t2], burn, push])
            for share in (0.25, 0.5, 0.75)
        ]
        if t1 > 0.1:
            points.append(np.concatenate([[t1 / 2, t1, t2], push, burn]))
    return points


def _scattered(field: Field, wish: Wish) -> list[Array]:
    """Random points of three and four burns for each effort beyond the first."""
    stream = np.random.default_rng(wish.seed)
    points = []
    for count in (3, 4):
        for _ in range(_SCATTERED * (wish.effort - 1)):
            times = np.sort(stream.uniform(0.0, field.span, count))
            burns = _WILD * stream.standard_normal(3 * (count - 1))
            points.append(np.concatenate([times, burns]))
    return points
