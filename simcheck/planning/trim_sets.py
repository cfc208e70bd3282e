"""All sets of one to three small burns at places of a grid, and what each mends near a ring.

Linear theory of `kernels.near_circular`. Places are counted from the craft's, in rad, so that the
sets serve every craft; an error vector (k, h) or (x, y) has to be turned to axes that begin there.
"""

from __future__ import annotations

from functools import lru_cache
from itertools import combinations, pairwise, product
from typing import NamedTuple

import numpy as np

from simcheck.arrays import Array
from simcheck.kernels.near_circular import responses
from simcheck.kernels.vectors import TAU

MOST = 3
"""Burns a set."""

WAITS = (1, 2, 3, 5, 10, 20, 50)
"""Revolutions over which sets are made: their first burns in the first, their last in the last.

A single burn may be at any time up to there.
"""

LEAD = 0.02
"""Revolutions before the first place: time to command it."""

MENDS = ((0, 1), (2, 3), (0, 1, 2, 3))
"""What a set brings to zero in the plane: phase and period, eccentricity, or both."""

_GRID = {1: 16, 2: 12, 3: 8}  # places a revolution, by the number of burns
_TRACE = 1e-12  # of their size, what keeps the least squares solvable


class Sets(NamedTuple):
    """All sets of p burns: places (p, s), the last of each `ends` (s,), in rad.

    parts are the ranges of each of WAITS. along (3, p, 4, s) turns errors now into Δv along the
    motion, for each of MENDS; after (4, p, s) Δv into changes. across (p, 2, s) and tilt (2, p, s)
    are the same across the plane.
    """

    parts: tuple[slice, ...]
    places: Array
    ends: Array
    along: Array
    after: Array
    across: Array
    tilt: Array

    def within(self, revolutions: float) -> Sets:
        """Those of the waits that are not longer."""
        parts = [p for p, wait in zip(self.parts, WAITS, strict=True) if wait <= revolutions]
        end = parts[-1].stop if parts else 0
        return Sets(tuple(parts), *(part[..., :end] for part in self[1:]))

    def mended(self, mend: int, errors: Array) -> tuple[Array, Array]:
        """Δv (p, n, s) along the motion for errors (n, 6), and what is then left (4, n, s)."""
        flat = errors[:, :4].T[:, :, None]
        along = np.array([_sum(by, flat) for by in self.along[mend]])
        left = np.array([e + _sum(by, along) for e, by in zip(flat, self.after, strict=True)])
        left[0] -= flat[1] * self.ends
        return along, left

    def straightened(self, errors: Array) -> tuple[Array, Array]:
        """Δv (p, n, s) across the plane for errors (n, 6), and what is then left (2, n, s)."""
        off = errors[:, 4:].T[:, :, None]
        across = np.array([_sum(by, off) for by in self.across])
        return across, np.array(
            [e + _sum(by, across) for e, by in zip(off, self.tilt, strict=True)]
        )


def _sum(by: Array, parts: Array) -> Array:
    """Sum over k of by (k, s) times parts (k, n, s or 1), in one order: bits do not depend on n."""
    total = by[0] * parts[0]
    for one, part in zip(by[1:], parts[1:], strict=True):
        total = total + one * part
    return np.asarray(total)


@lru_cache(maxsize=64)
def sets_of(burns: int, weights: tuple[float, ...]) -> Sets:
    """All sets of a number of burns; weights (6,) are one over each error's tolerance, or zero."""
    waits = [_places(burns, wait) for wait in WAITS]
    bounds = np.cumsum([0, *(len(x) for x in waits)])
    places = np.concatenate(waits)
    ends = places[:, -1]
    effects = responses(places, ends[:, None] - places)  # (s, p, 6, 3)
    after = np.swapaxes(effects[:, :, :4, 1], 1, 2)
    tilt = np.swapaxes(effects[:, :, 4:, 2], 1, 2)
    drift = np.tile(np.eye(4), (len(ends), 1, 1))
    drift[:, 0, 1] = -ends
    weight = np.array(weights)
    along = []
    for rows in MENDS:
        chosen = np.where(np.isin(np.arange(4), rows), weight[:4], 0.0)[:, None]
        along.append(-_least_squares(chosen * after) @ (chosen * drift))
    across = -_least_squares(weight[4:, None] * tilt) * weight[4:]
    return Sets(
        tuple(slice(int(a), int(b)) for a, b in pairwise(bounds)),
        np.ascontiguousarray(places.T),
        ends,
        np.ascontiguousarray(np.moveaxis(np.array(along), 1, 3)),
        np.ascontiguousarray(np.moveaxis(after, 0, 2)),
        np.ascontiguousarray(np.moveaxis(across, 0, 2)),
        np.ascontiguousarray(np.moveaxis(tilt, 0, 2)),
    )


def _places(burns: int, wait: int) -> Array:
    """Places (s, p) in rad: the early ones in the wait's first revolution, the late in its last."""
    count = _GRID[burns]
    grid = LEAD + np.arange(count) / count
    if burns == 1:
        before = max((w for w in WAITS if w < wait), default=0)
        return TAU * (LEAD + np.arange(before * count, wait * count) / count)[:, None]
    if wait == 1:
        return TAU * np.array(list(combinations(grid, burns)))
    parted = [
        (*first, *last)
        for early in range(1, burns)
        for first, last in product(
            combinations(grid, early), combinations(grid + wait - 1, burns - early)
        )
    ]
    return TAU * np.array(parted)


def _least_squares(matrix: Array) -> Array:
    """Pseudo-inverses (s, p, m) of matrices (s, m, p), a trace of their size added."""
    turned = np.swapaxes(matrix, 1, 2)
    square = turned @ matrix
    size = np.trace(square, axis1=1, axis2=2)[:, None, None] + 1e-200
    return np.asarray(np.linalg.solve(square + _TRACE * size * np.eye(square.shape[-1]), turned))
