"""Small burns near a circle: what they change, and the cheapest set that makes a wanted change.

Everything is linear and in units of the circle: a Δv over the circular speed, angles in rad, the
period as its relative change. Axes are the ring frame's; longitudes are counted from its x axis.
Reference: Gauss' equations for a circle, e.g. D'Amico and Montenbruck (2006), J. Guid. Control
Dyn. 29(3), 554. Second-order terms are of the size of the change squared.
"""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from simcheck.arrays import Array

PHASE, PERIOD, K, H, NORMAL_X, NORMAL_Y = range(6)
"""Rows of a change: mean longitude, dT/T, eccentricity vector (k, h), the normal's x and y."""

_TOLERANCE = 1e-7
_MAX_COLUMNS = 200
_SMALL = 1e-9
_GOLDEN = (np.sqrt(5) - 1) / 2
_REWEIGHTED = 8
_FIRM = 1e5  # how much more a change missed counts than a burn's length
_MET = 1e-4  # of the largest change wanted, within which the others count as made


class SmallBurn(NamedTuple):
    """One of a set: its place in the list of possible ones, and its Δv (d,) over the speed."""

    place: int
    dv: Array


def responses(longitude: Array, angle_left: Array) -> Array:
    """What unit impulses along R, S and W change by the end, (n, 6, 3).

    longitude (n,): where each burn is; angle_left (n,): how far in rad the craft moves from it to
    the end. An impulse along S shifts the period by 3 and the longitude by -3 a radian.
    """
    lam, left = np.broadcast_arrays(longitude, angle_left)
    cos, sin = np.cos(lam), np.sin(lam)
    found = np.zeros((*lam.shape, 6, 3))
    found[..., PHASE, 0] = -2.0
    found[..., PHASE, 1] = -3.0 * left
    found[..., PERIOD, 1] = 3.0
    found[..., K, 0], found[..., K, 1] = sin, 2 * cos
    found[..., H, 0], found[..., H, 1] = -cos, 2 * sin
    found[..., NORMAL_X, 2], found[..., NORMAL_Y, 2] = sin, -cos
    return found


def cheapest(effects: Array, low: Array, high: Array) -> list[SmallBurn] | None:
    """The set of burns of least total length whose joint effect lies between low and high.

    effects (n, m, d): what each possible burn, along each of d axes, does to each of m quantities.
    Found by column
    generation: a linear programme over some directions gives the primer vector of each possible
    burn; the one where it is longest joins with that direction, until none is longer than one
    (Lawden's condition), so the result is the optimum of the linear problem, with at most m burns.
    None where no set reaches.
    """
    from scipy.optimize import linprog

    scale = np.max(np.abs(effects), axis=(0, 2))
    scale[scale == 0] = 1.0
    unit = effects / scale[:, None]
    low, high = low / scale, high / scale
    size = float(np.max(np.abs([low, high]), initial=0.0))
    if np.all((low <= 0) & (high >= 0)):
        return []
    low, high = low / size, high / size  # the solver's own tolerances are absolute
    columns = _first_columns(unit)
    for _ in range(_MAX_COLUMNS):
        matrix = np.array([unit[i] @ u for i, u in columns]).T
        equal = high - low <= 0
        solved = linprog(
            np.ones(len(columns)),
            A_ub=np.vstack([matrix[~equal], -matrix[~equal]]) if not equal.all() else None,
            b_ub=np.append(high[~equal], -low[~equal]) if not equal.all() else None,
            A_eq=matrix[equal] if equal.any() else None,
            b_eq=low[equal] if equal.any() else None,
        )
        if solved.status != 0:
            return None
        primer = np.einsum("nmk,m->nk", unit, _prices(solved, equal))
        length = np.sqrt(np.sum(primer**2, axis=1))
        if np.max(length) <= 1 + _TOLERANCE:
            break
        columns += [(int(i), primer[i] / length[i]) for i in _peaks(length)]
    return _joined(columns, size * solved.x)


def fewer(
    effects: Array, burns: list[SmallBurn], low: Array, high: Array, most: float
) -> list[SmallBurn]:
    """The set with burns left out, one after another, while its total length stays below `most`.

    effects, low, high as in `cheapest`; the burns kept stay in their places, their Δv made anew.
    """
    scale = np.max(np.abs(effects), axis=(0, 2))
    scale[scale == 0] = 1.0
    effects, low, high = effects / scale[:, None], low / scale, high / scale
    while len(burns) > 1:
        trials = []
        for out in burns:
            places = [burn.place for burn in burns if burn is not out]
            dvs = _lightest(effects[places], low, high)
            if dvs is not None:
                trials.append([SmallBurn(p, dv) for p, dv in zip(places, dvs, strict=True)])
        best = min(trials, key=total, default=None)
        if best is None or total(best) > most:
            return burns
        burns = best
    return burns


def _lightest(effects: Array, low: Array, high: Array) -> Array | None:
    """Δv (p, d) at given places of least total length, None where they cannot do it.

    The quantities are of one size, as `fewer` scales them. Reweighted least squares, which tend to
    the least sum of lengths; the change made is a bounded unknown beside them.
    """
    from scipy.optimize import lsq_linear

    if np.all((low <= 0) & (high >= 0)):
        return np.zeros((len(effects), effects.shape[2]))
    size = float(np.max(np.abs([low, high])))
    count, rows, axes = effects.shape
    matrix = effects.transpose(1, 0, 2).reshape(rows, count * axes)
    low, high = low / size, high / size
    bounds = (
        np.append(np.full(count * axes, -np.inf), low - _SMALL),
        np.append(np.full(count * axes, np.inf), high + _SMALL),
    )
    x = np.ones((count, axes))
    for _ in range(_REWEIGHTED):
        length = np.sqrt(np.sum(x**2, axis=1))
        weight = 1 / np.sqrt(np.maximum(length, max(1e-3 * float(np.max(length)), _SMALL)))
        left = np.vstack([_FIRM * matrix, np.diag(np.repeat(weight, axes))])
        right = np.vstack([-_FIRM * np.eye(rows), np.zeros((count * axes, rows))])
        solved = lsq_linear(
            np.hstack([left, right]), np.zeros(len(left)), bounds=bounds, method="bvls"
        )
        x = solved.x[: count * axes].reshape(count, axes)
    off = matrix @ x.ravel() - solved.x[count * axes :]
    return None if np.max(np.abs(off)) > _MET else size * x


def total(burns: list[SmallBurn]) -> float:
    """Sum of the lengths, over the speed."""
    return float(sum(np.linalg.norm(burn.dv) for burn in burns))


def _peaks(length: Array) -> NDArray[np.int64]:
    """Where the primer is longer than one and than beside it."""
    beside = np.concatenate([[-np.inf], length, [-np.inf]])
    high = (length >= beside[:-2]) & (length > beside[2:]) & (length > 1 + _TOLERANCE)
    return np.flatnonzero(high)


def _prices(solved: Any, equal: NDArray[np.bool_]) -> Array:
    """The dual value of each quantity, (m,)."""
    prices = np.zeros(len(equal))
    if equal.any():
        prices[equal] = solved.eqlin.marginals
    if not equal.all():
        up, down = np.split(solved.ineqlin.marginals, 2)
        prices[~equal] = up - down
    return prices


def _first_columns(unit: Array) -> list[tuple[int, Array]]:
    """Both ways along each axis at a handful of places: enough to reach anything reachable."""
    count = len(unit)
    # Golden-ratio steps: even ones may all come to lie on one line through the body.
    shares = (np.arange(min(count, 9)) * _GOLDEN) % 1.0
    places = sorted({0, count - 1, *(round(x) for x in (count - 1) * shares)})
    axes = np.eye(unit.shape[2])
    ways = [*axes, *-axes]
    return [(place, way) for place in places for way in ways]


def _joined(columns: list[tuple[int, Array]], lengths: Array) -> list[SmallBurn]:
    total: dict[int, Array] = {}
    for (index, way), length in zip(columns, lengths, strict=True):
        if length > _SMALL * np.sum(lengths):
            total[index] = total.get(index, np.zeros(len(way))) + length * way
    return [SmallBurn(index, total[index]) for index in sorted(total)]
