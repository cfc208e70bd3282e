"""Re-aiming: impulses become commands that a perfect flight in the case's forces lands with.

The unknowns are the place of each burn on its orbit and its Δv vector in steering axes; the targets
are the listed errors of the verdict, each over its tolerance. Newton steps of least change meet the
targets; steps along them then lower the total Δv while that pays. Where the step from
two-body impulses straight to the full forces and finite burns fails, the zonal terms and the burn
lengths are brought in gradually (continuation).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np

from simcheck.arrays import Array
from simcheck.engines.base import G0, Propagator
from simcheck.engines.gravity import Gravity
from simcheck.errors import FlightError
from simcheck.kernels.transfers import apsis_radii
from simcheck.kernels.vectors import norm
from simcheck.measuring import RingMotion
from simcheck.planning.burns import Burns
from simcheck.planning.shooting import Aim, Flown, Shooter, moved

_ENOUGH = 5.0  # times the goal, where the steps no longer reach it
_ENOUGH_AT_MOST = 0.3  # of each tolerance
_ENOUGH_BETWEEN = 0.5  # of each tolerance, at a stage on the way
_ROUNDS = 14
_SMALLEST_SHARE = 1 / 32
_LEVELS = 10
_LARGEST_TURN = 0.25  # rad a burn may move along its orbit in one step
_LARGEST_CHANGE = 0.35  # of a burn's Δv in one step
_DESCENTS = 8
_ALL_TARGETS = 5  # period, eccentricity (2), plane (2); the phase may be free
_STALE = 0.7  # a step that leaves more than this of the miss calls for fresh slopes
_HELD_FROM, _HELD = 0.93, 0.03  # share of max_burn from which a burn hardly changes
_RADIUS_SLACK = 1.0  # m
_EARLY = 0.02  # s before the time allowed at which a last cutoff at that bound is aimed
_CLIP = 0.99  # share of max_burn at which a burn is cut short
_FEW = 8  # with more burns than this one descent has to do
_SETTLED = 1e-4  # relative change of the total Δv at which a step is the last


def aim(
    setup: Aim,
    burns: Burns,
    propagator_at: Callable[[float], Propagator],
    motion_at: Callable[[float], RingMotion],
    *,
    gradually: bool = True,
) -> tuple[Burns, Flown]:
    """Bring the burns to the targets in full forces with finite burns.

    propagator_at and motion_at give the forces and the ring at a share of the zonal terms, 0 to 1.
    gradually: where that fails at once, go by stages; burns that were aimed before need none.
    Raises FlightError saying how far it came.
    """
    if not gradually:
        return _converge(Shooter(setup, propagator_at(1.0), 1.0), burns)
    done, share = 0.0, 1.0
    best = burns
    for _ in range(_LEVELS):
        shooter = Shooter(replace(setup, motion=motion_at(share)), propagator_at(share), share)
        try:
            fresh, flown = _converge(shooter, best)
        except FlightError as trouble:
            share = done + (share - done) / 2
            if share - done < _SMALLEST_SHARE:
                raise FlightError(
                    f"re-aiming came {done:.0%} of the way from impulses in two-body motion to "
                    f"finite burns in the case's forces, then failed: {trouble}"
                ) from trouble
            continue
        if share >= 1.0:
            return fresh, flown
        best, done, share = fresh, share, min(1.0, share + 2 * (share - done))
    raise FlightError(f"re-aiming came no further than {done:.0%} of the way in {_LEVELS} stages")


def _converge(shooter: Shooter, burns: Burns) -> tuple[Burns, Flown]:
    """Meet the targets, then lower the total Δv while that pays."""
    flown = shooter.fly(burns)
    burns, flown, slopes = _meet(shooter, burns, flown, None)
    pace = 1.0
    if not shooter.setup.lower or len(flown.miss) < _ALL_TARGETS:
        return burns, flown  # what is not aimed at would be traded away without bound
    for _ in range(_DESCENTS if len(burns.sweeps) <= _FEW else 1):
        slopes = shooter.slopes(burns, flown)
        step = pace * _step(shooter, burns, flown, slopes, descend=True)
        try:
            trial, result, _ = _take(shooter, burns, flown, step, loosely=True)
            trial, result, _ = _meet(shooter, trial, result, slopes)
        except FlightError:
            pace /= 4
            continue
        fine = _commandable(trial, result)
        fine &= _beyond(shooter, result) <= max(_beyond(shooter, flown), _RADIUS_SLACK)
        gain = burns.total - trial.total if fine else -np.inf
        if gain > 0:
            burns, flown = trial, result
        pace = min(1.0, 2 * pace) if gain > 0 else pace / 4
        if abs(gain) < _SETTLED * burns.total:
            break
    return burns, flown


def _meet(
    shooter: Shooter, burns: Burns, flown: Flown, slopes: Array | None
) -> tuple[Burns, Flown, Array | None]:
    """Newton steps of least change until every target is below the goal and the end in time.

    slopes from nearby serve until they stop helping; they are then made anew.
    """
    goal = shooter.setup.goal
    if not len(burns.sweeps) and flown.worst > goal:
        raise FlightError(f"no burn is left to mend {flown.worst:.3g} tolerances")
    for _ in range(_ROUNDS):
        late = flown.cutoff > shooter.setup.end_s
        if flown.worst < goal and not late:
            return burns, flown, slopes
        if slopes is None:
            slopes = shooter.slopes(burns, flown)
        step = _step(shooter, burns, flown, slopes, descend=False)
        before = flown
        burns, flown, share = _take(shooter, burns, flown, step)
        if flown.worst > _STALE * before.worst:
            slopes = None
        else:
            change = np.append(flown.miss - before.miss, flown.cutoff - before.cutoff)
            slopes = _learned(slopes, share * step, change)
    near = max(goal, min(_ENOUGH * goal, _ENOUGH_AT_MOST))
    enough = near if shooter.share >= 1.0 else _ENOUGH_BETWEEN
    if flown.worst < enough:
        return burns, flown, slopes
    raise FlightError(f"after {_ROUNDS} steps the largest error is {flown.worst:.3g} tolerances")


def _commandable(burns: Burns, flown: Flown) -> bool:
    """Whether no burn is longer than its engine's longest."""
    pairs = zip(flown.durations, burns.engines, strict=True)
    return all(length <= engine.max_burn_s for length, engine in pairs)


def _beyond(shooter: Shooter, flown: Flown) -> float:
    """By how much in m the orbits after the burns pass the radius limits, summed."""
    setup, gm = shooter.setup, shooter.propagator.gravity.gm
    low, high = apsis_radii(flown.states[:, :3], flown.states[:, 3:6], gm)
    over = np.maximum(setup.min_radius_m - low, 0) + np.maximum(high - setup.max_radius_m, 0)
    return float(np.sum(over))


def _learned(slopes: Array, step: Array, change: Array) -> Array:
    """Broyden's update of the slopes from what a step (n, 4) did to the miss."""
    x = step.ravel()
    return np.asarray(slopes + np.outer(change - slopes @ x, x) / (x @ x))


def _step(shooter: Shooter, burns: Burns, flown: Flown, slopes: Array, *, descend: bool) -> Array:
    """Step (n, 4): least change that zeroes the linearised miss, or descent of Δv that keeps it.

    The metric is the curvature of the total Δv: a burn turned along its orbit by x at fixed Δv
    costs about Δv x^2/2 elsewhere, and so does a Δv turned by x. Burns near their engine's longest
    are held. A last cutoff that would come too late is a target too.
    """
    miss = np.zeros_like(flown.miss) if descend else flown.miss
    count = len(burns.sweeps)
    sizes = np.maximum(norm(burns.dvs), 1e-3 * burns.total + 1e-3)
    directions = burns.dvs / np.maximum(norm(burns.dvs), 1e-12)[:, None]
    scale = np.repeat(np.sqrt(sizes), 4).reshape(count, 4)
    scale[:, 0] = 1.0 / np.sqrt(sizes)
    longest = np.array([engine.max_burn_s for engine in burns.engines])
    scale[flown.durations > _HELD_FROM * shooter.share * longest, 1:] *= _HELD
    gradient = np.concatenate([np.zeros((count, 1)), directions], axis=1)
    white_slopes = slopes * scale.ravel()
    free = -(gradient * scale).ravel() if descend else np.zeros(4 * count)
    spare = shooter.setup.end_s - _EARLY - flown.cutoff
    for rows, goal in ((slice(-1), -miss), (slice(None), np.append(-miss, spare))):
        lines = white_slopes[rows]
        step = free + np.linalg.lstsq(lines, goal - lines @ free, rcond=1e-10)[0]
        if white_slopes[-1] @ step <= spare:
            break
    return np.asarray((step * scale.ravel()).reshape(count, 4))


def _take(
    shooter: Shooter, burns: Burns, flown: Flown, step: Array, *, loosely: bool = False
) -> tuple[Burns, Flown, float]:
    """Take as much of the step as keeps the linearisation honest (loosely: as can be flown)."""
    sizes = np.maximum(norm(burns.dvs), 0.01 * burns.total)
    turn = np.max(np.abs(step[:, 0])) / _LARGEST_TURN
    change = np.max(norm(step[:, 1:]) / sizes) / _LARGEST_CHANGE
    share = 1.0 / max(1.0, float(turn), float(change))
    trouble: FlightError | None = None
    for _ in range(6):
        fresh = moved(burns, flown, share * step)
        fresh = fresh._replace(dvs=_clipped(shooter, fresh, flown, fresh.dvs))
        try:
            result = shooter.fly(fresh)
        except FlightError as error:
            trouble, share = error, share / 2
            continue
        if loosely or result.worst < max(2 * flown.worst, shooter.setup.goal) or share < 0.05:
            return fresh, result, share
        share /= 2
    raise trouble or FlightError(f"no step reduces the error of {flown.worst:.3g} tolerances")


def _clipped(shooter: Shooter, burns: Burns, flown: Flown, dvs: Array) -> Array:
    """Δv vectors shortened to what each engine's longest burn delivers; the others make up."""
    masses = np.concatenate([[shooter.setup.start[6]], flown.states[:-1, 6]])
    for i, engine in enumerate(burns.engines):
        if not np.isfinite(engine.max_burn_s):
            continue
        exhaust = G0 * engine.isp_s
        burnt = min(_CLIP * engine.max_burn_s * engine.thrust_n / exhaust / masses[i], 0.999)
        dvs[i] *= min(1.0, -exhaust * np.log1p(-burnt) / max(float(norm(dvs[i])), 1e-12))
    return dvs


def levels(
    gravity: Gravity,
    build: Callable[[Gravity], Propagator],
    resolve: Callable[[Propagator], RingMotion],
) -> tuple[Callable[[float], Propagator], Callable[[float], RingMotion]]:
    """Propagators and rings by share of the zonal terms, each made once."""
    propagators: dict[float, Propagator] = {}
    motions: dict[float, RingMotion] = {}

    def propagator_at(share: float) -> Propagator:
        if share not in propagators:
            propagators[share] = build(gravity.scaled(share))
        return propagators[share]

    def motion_at(share: float) -> RingMotion:
        if share not in motions:
            motions[share] = resolve(propagator_at(share))
        return motions[share]

    return propagator_at, motion_at
