"""Sequential quadratic programming for many small problems at once.

Reference: Nocedal and Wright (2006), Numerical Optimization, chapter 18 (SQP with damped BFGS,
procedure 18.2, and an l1 merit function). All rows move together, so numpy's overhead is paid once
an iteration and not once a start; a general package solves one problem a call, thirty times slower
on the many starts that a global search needs.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from typing import NamedTuple, TypeAlias

import numpy as np
from numpy.typing import NDArray

from simcheck.arrays import Array

Rows: TypeAlias = NDArray[np.intp]
Function: TypeAlias = Callable[[Array, Rows], tuple[Array, Array]]
Slopes: TypeAlias = Callable[[Array, Rows], tuple[Array, Array, Array, Array]]

_DIFFERENCE = 1e-7
_SHARES = np.array([1.0, 0.5, 0.2, 0.05, 0.01])
_ARMIJO = 1e-4
_CORRECTED = 1.0  # a correction longer than this share of its step is not trusted
_MET = 1e-9  # residual at which an equation is met
_NEARLY_MET = 1e-3
_RESTORING = 8
_BENDING = 1e-6  # step of the differences of slopes
_FLAT = 1e-7  # share of the largest curvature below which there is none
_FLATTEST = 1e-3  # least curvature along the equations that a step trusts
_STIFF, _STIFFER = 0.1, 10.0  # first curvature added to steps that were cut, and its growth
_STIFFEST = 1e4  # beyond it a row that finds no way down is given up
_CUT, _WHOLE = 0.3, 0.9  # shares of a step: cut below, whole above
_SOFT = 1e-9  # keeps dependent equations solvable


class Minima(NamedTuple):
    """Points (b, n), costs (b,) and the largest equation residual (b,)."""

    points: Array
    costs: Array
    residuals: Array


class _Look(NamedTuple):
    cost: Array
    slope: Array
    rest: Array
    bend: Array


def minimise(
    function: Function,
    starts: Array,
    *,
    slopes: Slopes | None = None,
    reach: float = 0.3,
    iterations: int = 60,
    settled: float = 1e-10,
    patience: int = 20,
    hopeless: float = np.inf,
    group: Rows | None = None,
    curved: bool = False,
) -> Minima:
    """Minimise cost subject to rest = 0 from every start.

    function maps points (m, n) of order one to cost (m,) and rest (m, k); starts (b, n). It is told
    which start (m,) each point comes from, so that each may have parameters of its own. slopes, if
    there is one, also returns the derivatives (m, n) and (m, k, n) after each. reach bounds the
    largest change of a variable in one step. A row stops when its cost changes by no more than
    `settled` relative, or, after `patience` steps, when it has met the equations and still costs
    more than `hopeless` times the best of the rows of its `group` (b,) that have met them. A row
    that meets a NaN goes no further; otherwise rows do not touch one another. curved takes second
    derivatives from differences of the slopes at every step, in place of the update of a guess: an
    end in a few steps that each cost more.
    """
    x = np.array(starts, dtype=np.float64)
    count, size = x.shape
    hessian = np.broadcast_to(np.eye(size), (count, size, size)).copy()
    look = partial(_look, function) if slopes is None else partial(_exact, slopes)
    everyone = np.arange(count)
    now = look(x, everyone)
    weight = np.full(count, 1.0)
    stiff = np.zeros(count)
    moving = np.ones(count, dtype=bool)
    for turn in range(iterations):
        rows = np.flatnonzero(moving)
        here = _Look(*(part[rows] for part in now))
        if curved:
            step, force = _curved_step(look, x[rows], rows, here, stiff[rows])
        else:
            step, force = _step(here, hessian[rows])
        step *= (reach / np.maximum(np.max(np.abs(step), axis=1), reach))[:, None]
        weight[rows] = np.maximum(weight[rows], 1.5 * np.max(np.abs(force), axis=1))
        moved = _moved(function, x[rows], rows, step, here, weight[rows], strict=curved)
        fresh = look(x[rows] + moved, rows)
        good = np.isfinite(fresh.cost) & np.all(np.isfinite(fresh.bend), axis=(1, 2))
        good &= np.all(np.isfinite(fresh.slope), axis=1)
        change = np.abs(fresh.cost - here.cost) / np.maximum(np.abs(here.cost), 1e-12)
        still = (change < settled) & (np.max(np.abs(fresh.rest), axis=1) < _MET)
        if curved:
            stiff[rows] = _stiffened(stiff[rows], step, moved)
            still &= np.any(moved != 0, axis=1) | (stiff[rows] > _STIFFEST)
        else:
            hessian[rows] = _updated(hessian[rows], moved, here, fresh, force, good)
        kept = rows[good]
        x[kept] += moved[good]
        for part, other in zip(now, fresh, strict=True):
            part[kept] = other[good]
        moving[rows] = good & ~still
        if turn >= patience and np.isfinite(hopeless):
            moving &= ~_left_behind(now, hopeless, group)
        if not moving.any():
            break
    x, now = _restored(look, x, now)
    return Minima(x, now.cost, np.max(np.abs(now.rest), axis=1))


def _left_behind(now: _Look, hopeless: float, group: Rows | None) -> NDArray[np.bool_]:
    """Rows that cost over `hopeless` times the best of their group that meets the equations."""
    met = np.max(np.abs(now.rest), axis=1) < _NEARLY_MET
    cost = np.where(met & np.isfinite(now.cost), now.cost, np.inf)
    which = np.zeros(len(cost), dtype=np.intp) if group is None else group
    best = np.full(int(which.max()) + 1, np.inf)
    np.minimum.at(best, which, cost)
    return np.asarray(met & (now.cost > hopeless * best[which]))


def _solve(matrix: Array, right: Array) -> Array:
    """Stacked linear equations; the least-squares answer to all where one is singular."""
    try:
        return np.asarray(np.linalg.solve(matrix, right))
    except np.linalg.LinAlgError:
        return np.asarray(np.linalg.pinv(matrix) @ right)


def _restored(look: Callable[[Array, Rows], _Look], x: Array, now: _Look) -> tuple[Array, _Look]:
    """Bring rows that still miss the equations onto them by Newton steps of least change."""
    for _ in range(_RESTORING):
        rows = np.flatnonzero(np.max(np.abs(now.rest), axis=1) > _MET)
        if not len(rows):
            break
        bend, rest = now.bend[rows], now.rest[rows]
        inner = bend @ np.swapaxes(bend, 1, 2) + _SOFT * np.eye(bend.shape[1])
        finite = np.all(np.isfinite(inner), axis=(1, 2)) & np.all(np.isfinite(rest), axis=1)
        rows, bend = rows[finite], bend[finite]
        pull = _solve(inner[finite], rest[finite][..., None])[..., 0]
        x[rows] -= np.einsum("bkn,bk->bn", bend, pull)
        for part, other in zip(now, look(x[rows], rows), strict=True):
            part[rows] = other
    return x, now


def _look(function: Function, x: Array, rows: Rows) -> _Look:
    """Cost, residuals and their forward differences at points (b, n), in one call."""
    count, size = x.shape
    shifts = np.concatenate([np.zeros((1, size)), _DIFFERENCE * np.eye(size)])
    with np.errstate(all="ignore"):
        cost, rest = function((x[:, None, :] + shifts).reshape(-1, size), np.repeat(rows, size + 1))
        cost, rest = cost.reshape(count, -1), rest.reshape(count, size + 1, -1)
        slope = (cost[:, 1:] - cost[:, :1]) / _DIFFERENCE
        bend = (rest[:, 1:] - rest[:, :1]) / _DIFFERENCE
    return _Look(cost[:, 0].copy(), slope, rest[:, 0].copy(), np.swapaxes(bend, 1, 2).copy())


def _exact(slopes: Slopes, x: Array, rows: Rows) -> _Look:
    with np.errstate(all="ignore"):
        cost, slope, rest, bend = slopes(x, rows)
    return _Look(cost, slope, rest, bend)


def _step(here: _Look, hessian: Array) -> tuple[Array, Array]:
    """Steps (b, n) and multipliers (b, k) of the quadratic models."""
    count, size = here.slope.shape
    equations = here.rest.shape[1]
    matrix = np.zeros((count, size + equations, size + equations))
    matrix[:, :size, :size] = hessian
    matrix[:, :size, size:] = np.swapaxes(here.bend, 1, 2)
    matrix[:, size:, :size] = here.bend
    matrix[:, size:, size:] = -_SOFT * np.eye(equations)
    right = -np.concatenate([here.slope, here.rest], axis=1)
    finite = np.all(np.isfinite(matrix), axis=(1, 2)) & np.all(np.isfinite(right), axis=1)
    matrix[~finite], right[~finite] = np.eye(size + equations), 0.0
    solution = _solve(matrix, right[..., None])[..., 0]
    return solution[:, :size], solution[:, size:]


def _curved_step(
    look: Callable[[Array, Rows], _Look], x: Array, rows: Rows, here: _Look, stiff: Array
) -> tuple[Array, Array]:
    """Steps (b, n) and multipliers (b, k) with the Lagrangian's own curvature.

    Onto the equations by the least change, then along them by Newton's step, whose curvatures are
    taken without their sign so that it leads down (Nocedal and Wright, section 18.1 and 3.4).
    """
    across = here.bend.shape[1]
    fine = np.all(np.isfinite(here.slope), axis=1) & np.all(np.isfinite(here.bend), axis=(1, 2))
    bend = np.where(fine[:, None, None], here.bend, 0.0)
    slope, rest = (np.where(fine[:, None], part, 0.0) for part in (here.slope, here.rest))
    square = bend @ np.swapaxes(bend, 1, 2) + _SOFT * np.eye(across)
    force = -_solve(square, bend @ slope[..., None])[..., 0]
    curve, along = _curvature(look, x, rows, slope, bend, force)
    normal = -(np.swapaxes(bend, 1, 2) @ _solve(square, rest[..., None]))[..., 0]
    back = np.swapaxes(along, 1, 2)
    values, vectors = np.linalg.eigh(back @ curve @ along)
    pull = back @ (slope + np.einsum("bij,bj->bi", curve, normal))[..., None]
    bent = np.maximum(np.abs(values), _FLATTEST) + stiff[:, None]
    share = (np.swapaxes(vectors, 1, 2) @ pull) / bent[..., None]
    step = normal - (along @ vectors @ share)[..., 0]
    return np.where(fine[:, None], step, 0.0), force


def _stiffened(stiff: Array, step: Array, moved: Array) -> Array:
    """The curvature (b,) added in all directions at the next step: more after a step cut short."""
    share = np.max(np.abs(moved), axis=1) / np.maximum(np.max(np.abs(step), axis=1), 1e-300)
    more = np.maximum(_STIFFER * stiff, _STIFF)
    less = np.where(stiff > _STIFF, stiff / _STIFFER, 0.0)
    return np.where(share < _CUT, more, np.where(share > _WHOLE, less, stiff))


def _curvature(
    look: Callable[[Array, Rows], _Look],
    x: Array,
    rows: Rows,
    slope: Array,
    bend: Array,
    force: Array,
) -> tuple[Array, Array]:
    """The Lagrangian's second derivatives (b, n, n), and directions that keep the equations."""
    count, size = x.shape
    across = bend.shape[1]
    still = (slope == 0) & np.all(bend == 0, axis=1)  # variables that nothing depends on stay put
    row, which = np.nonzero(~still)
    shifted = look(x[row] + _BENDING * np.eye(size)[which], rows[row])
    pulled = shifted.slope + np.einsum("mkn,mk->mn", shifted.bend, force[row])
    flat = slope + np.einsum("bkn,bk->bn", bend, force)
    rise = np.zeros((count, size, size))
    rise[row, which] = np.where(still[row], 0.0, (pulled - flat[row]) / _BENDING)
    rise = np.where(np.isfinite(rise), rise, 0.0)
    along = np.linalg.qr(np.swapaxes(bend, 1, 2), mode="complete")[0][:, :, across:]
    return 0.5 * (rise + np.swapaxes(rise, 1, 2)), along


def give_of(slopes: Slopes, point: Array) -> Array:
    """How far each variable (n,) of an optimum gives way to a unit of force along it.

    All others answer and the equations stay met: a move by d of a variable that gives way by g
    costs d^2 / 2g to second order. Zero where the cost is not curved upwards.
    """
    row = np.zeros(1, dtype=np.intp)
    x = point[None]
    here = _exact(slopes, x, row)
    square = here.bend @ np.swapaxes(here.bend, 1, 2) + _SOFT * np.eye(here.bend.shape[1])
    force = -_solve(square, here.bend @ here.slope[..., None])[..., 0]
    curve, along = _curvature(partial(_exact, slopes), x, row, here.slope, here.bend, force)
    values, vectors = np.linalg.eigh(np.swapaxes(along, 1, 2) @ curve @ along)
    bent = np.abs(values[0]) > _FLAT * np.max(np.abs(values[0]))
    if np.any(values[0][bent] < 0):
        return np.zeros(len(point))
    spread = (along @ vectors)[0][:, bent]
    return np.asarray(np.sum(spread**2 / values[0][bent], axis=1))


def _moved(
    function: Function,
    x: Array,
    rows: Rows,
    step: Array,
    here: _Look,
    weight: Array,
    *,
    strict: bool,
) -> Array:
    """For each row the longest share of its step, corrected, that lowers the merit enough.

    Where none does, the one with the least merit, or nothing if strict.

    Each trial is drawn back onto the equations by a Newton step with the slopes at x (a
    second-order correction): without it a curved equation allows only tiny shares.
    """
    count, size = x.shape
    trial = x[:, None, :] + _SHARES[:, None] * step[:, None, :]
    inner = here.bend @ np.swapaxes(here.bend, 1, 2) + _SOFT * np.eye(here.bend.shape[1])
    inner = np.where(np.isfinite(inner), inner, np.eye(here.bend.shape[1]))
    back = np.swapaxes(_solve(inner, here.bend), 1, 2)
    whose = np.repeat(rows, len(_SHARES))
    with np.errstate(all="ignore"):
        _, rest = function(trial.reshape(-1, size), whose)
        shift = -np.einsum("bnk,bsk->bsn", back, rest.reshape(count, len(_SHARES), -1))
        length = np.linalg.norm(_SHARES[:, None] * step[:, None, :], axis=2)
        near = np.linalg.norm(shift, axis=2) < _CORRECTED * length
        trial = np.where(near[..., None], trial + shift, trial)
        cost, rest = function(trial.reshape(-1, size), whose)
    gap = np.sum(np.abs(rest), axis=1).reshape(count, -1)
    merit = cost.reshape(count, -1) + weight[:, None] * gap
    start = here.cost + weight * np.sum(np.abs(here.rest), axis=1)
    slope = np.sum(here.slope * step, axis=1) - weight * np.sum(np.abs(here.rest), axis=1)
    bar = start[:, None] + _ARMIJO * _SHARES * np.minimum(slope, 0.0)[:, None]
    merit = np.where(np.isfinite(merit), merit, np.inf)
    passed = merit <= bar + 1e-15 * np.abs(start)[:, None]
    first = np.argmax(passed, axis=1)
    some = passed.any(axis=1)
    chosen = np.where(some, first, np.argmin(merit, axis=1))
    moved = trial[np.arange(count), chosen] - x
    return np.where(some[:, None], moved, 0.0) if strict else np.asarray(moved)


def _updated(
    hessian: Array, moved: Array, here: _Look, fresh: _Look, force: Array, good: Array
) -> Array:
    """Damped BFGS update of the Lagrangian's curvature (b, n, n)."""
    change = fresh.slope - here.slope
    change = change + np.einsum("bkn,bk->bn", fresh.bend - here.bend, force)
    bent = np.einsum("bij,bj->bi", hessian, moved)
    inside = np.sum(moved * bent, axis=1)
    along = np.sum(moved * change, axis=1)
    with np.errstate(all="ignore"):
        damp = np.where(along >= 0.2 * inside, 1.0, 0.8 * inside / (inside - along))
        mixed = damp[:, None] * change + (1 - damp)[:, None] * bent
        scale = np.sum(moved * mixed, axis=1)
        result = (
            hessian
            - bent[:, :, None] * bent[:, None, :] / inside[:, None, None]
            + mixed[:, :, None] * mixed[:, None, :] / scale[:, None, None]
        )
    fine = good & (inside > 1e-30) & (scale > 1e-30) & np.all(np.isfinite(result), axis=(1, 2))
    return np.where(fine[:, None, None], result, hessian)
