"""Re-aiming: impulses become commands that a perfect flight in the case's forces lands with.

The unknowns are each burn's centre time and its Δv vector in steering axes; the targets are the
listed errors of the verdict, each over its tolerance. Newton steps of least change meet the
targets; steps along them then lower the total Δv while that pays. Where the step from
two-body impulses straight to the full forces and finite burns fails, the zonal terms and the burn
lengths are brought in gradually (continuation).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from simcheck.arrays import Array
from simcheck.engines.base import G0, Gravity, Propagator, Thrust
from simcheck.errors import FlightError
from simcheck.kernels.transfers import apsis_radii
from simcheck.kernels.vectors import cross, norm, wrap
from simcheck.measuring import Averages, RingMotion, average
from simcheck.planning.burns import Burns, burn_seconds
from simcheck.records.case import Tolerance

_GOAL = 0.01  # of each tolerance
_ENOUGH = 0.05  # of each tolerance, where the steps no longer reach the goal
_ENOUGH_BETWEEN = 0.5  # the same at a stage on the way
_ROUNDS = 14
_SMALLEST_SHARE = 1 / 32
_LEVELS = 10
_TIME_STEP = 1e-5  # rad swept, for finite differences
_DV_STEP = 1e-3  # m/s
_LARGEST_TURN = 0.25  # rad a burn may move along its orbit in one step
_LARGEST_CHANGE = 0.35  # of a burn's Δv in one step
_DESCENTS = 8
_ALL_TARGETS = 5  # period, eccentricity (2), plane (2); the phase may be free
_STALE = 0.7  # a step that leaves more than this of the miss calls for fresh slopes
_HELD_FROM, _HELD = 0.93, 0.03  # share of max_burn from which a burn hardly changes
_RADIUS_SLACK = 1.0  # m
_HELD_TIME = 1e-3  # of its freedom is left to a time at its bound
_CLIP = 0.99  # share of max_burn at which a burn is cut short
_FEW = 8  # with more burns than this one descent has to do
_SETTLED = 1e-4  # relative change of the total Δv at which a step is the last


@dataclass(frozen=True, kw_only=True, eq=False)
class Aim:
    """What the re-aiming has to meet, and with what. start is the state (7,) at start_s.

    end_s is the latest last cutoff; infinity where time is free.
    """

    start_s: float
    end_s: float
    min_radius_m: float
    max_radius_m: float
    start: Array
    motion: RingMotion
    slot: int
    tolerance: Tolerance


class Flown(NamedTuple):
    """Ignitions (n,), durations (n,) and the states (n, 7) after each burn, with the end's miss."""

    ignitions: Array
    durations: Array
    states: Array
    averages: Averages
    miss: Array


def aim(
    setup: Aim,
    burns: Burns,
    propagator_at: Callable[[float], Propagator],
    motion_at: Callable[[float], RingMotion],
) -> tuple[Burns, Flown]:
    """Bring the burns to the targets in full forces with finite burns.

    propagator_at and motion_at give the forces and the ring at a share of the zonal terms, 0 to 1.
    Raises FlightError saying how far it came.
    """
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


class Shooter:
    """Flies burns and measures the miss; keeps the states between burns for differences."""

    def __init__(self, setup: Aim, propagator: Propagator, share: float) -> None:
        self.setup, self.propagator, self.share = setup, propagator, share

    def fly(self, burns: Burns, known: Flown | None = None, first: int = 0) -> Flown:
        """Fly from the start, or from what is `known` before burn `first`."""
        count = len(burns.times)
        ignitions, durations = np.zeros(count), np.zeros(count)
        states = np.zeros((count, 7))
        if known is not None:
            ignitions[:first], durations[:first] = known.ignitions[:first], known.durations[:first]
            states[:first] = known.states[:first]
        time, state = self.setup.start_s, self.setup.start
        if first:
            time, state = float(ignitions[first - 1] + durations[first - 1]), states[first - 1]
        for i in range(first, count):
            size = float(norm(burns.dvs[i]))
            engine = burns.engines[i]
            length = self.share * burn_seconds(size, float(state[6]), engine)
            ignition = float(burns.times[i]) - length / 2
            if ignition < time - max(length, 1e-6):
                raise FlightError(f"burn {i + 1} would begin {time - ignition:.0f} s too early")
            ignition = max(ignition, time)
            state = self.propagator.advance(time, state, ignition).state
            if size > 0:
                thrust = Thrust(
                    thrust_n=engine.thrust_n / self.share,
                    isp_s=engine.isp_s,
                    steering=burns.steering[i],
                    direction=burns.dvs[i] / size,
                )
                state = self.propagator.advance(ignition, state, ignition + length, thrust).state
            ignitions[i], durations[i], states[i] = ignition, length, state
            time = ignition + length
        near = None if known is None else known.averages
        found = average(self.propagator, time, state, self.setup.motion, near)
        return Flown(ignitions, durations, states, found, self.miss(found))

    def miss(self, found: Averages) -> Array:
        """Listed errors over their tolerances, signed."""
        setup = self.setup
        t = setup.tolerance
        parts: list[float] = []
        if t.phase_rad is not None:
            ahead = found.longitude - setup.motion.longitude(setup.slot, found.time)
            parts.append(float(wrap(ahead)) / t.phase_rad)
        if t.period_s is not None:
            parts.append((found.period - setup.motion.period_s) / t.period_s)
        if t.eccentricity is not None:
            parts += [float(x) / t.eccentricity for x in found.e_vector]
        if t.plane_rad is not None:
            parts += [float(x) / t.plane_rad for x in found.normal[:2]]
        return np.array(parts)

    def slopes(self, burns: Burns, flown: Flown, rates: Array) -> Array:
        """Derivatives of the miss, (targets, 4n): per burn its swept angle, then its Δv (3)."""
        columns = []
        for i in range(len(burns.times)):
            for j in range(4):
                times, dvs = burns.times.copy(), burns.dvs.copy()
                step = _TIME_STEP if j == 0 else _DV_STEP
                if j == 0:
                    times[i] += step / rates[i]
                else:
                    dvs[i, j - 1] += step
                moved = self.fly(burns._replace(times=times, dvs=dvs), flown, i)
                columns.append((moved.miss - flown.miss) / step)
        return np.array(columns).T


def _converge(shooter: Shooter, burns: Burns) -> tuple[Burns, Flown]:
    """Meet the targets, then lower the total Δv while that pays."""
    burns = burns._replace(times=_in_time(shooter, burns, burns.times))
    flown = shooter.fly(burns)
    burns, flown, slopes = _meet(shooter, burns, flown, None)
    pace = 1.0
    if len(flown.miss) < _ALL_TARGETS:
        return burns, flown  # what is not aimed at would be traded away without bound
    for _ in range(_DESCENTS if len(burns.times) <= _FEW else 1):
        rates = _rates(flown)
        slopes = shooter.slopes(burns, flown, rates)
        step = pace * _timely(shooter, burns, flown, slopes, rates, descend=True)
        try:
            trial, result, _ = _take(shooter, burns, flown, step, rates, loosely=True)
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
    """Newton steps of least change until every target is below `_GOAL`.

    slopes from nearby serve until they stop helping; they are then made anew.
    """
    for _ in range(_ROUNDS):
        worst = np.max(np.abs(flown.miss), initial=0.0)
        if worst < _GOAL:
            return burns, flown, slopes
        rates = _rates(flown)
        if slopes is None:
            slopes = shooter.slopes(burns, flown, rates)
        step = _timely(shooter, burns, flown, slopes, rates, descend=False)
        before = flown.miss
        burns, flown, share = _take(shooter, burns, flown, step, rates)
        if np.max(np.abs(flown.miss)) > _STALE * worst:
            slopes = None
        else:
            slopes = _learned(slopes, share * step, flown.miss - before)
    enough = _ENOUGH if shooter.share >= 1.0 else _ENOUGH_BETWEEN
    if np.max(np.abs(flown.miss), initial=0.0) < enough:
        return burns, flown, slopes
    raise FlightError(
        f"after {_ROUNDS} steps the largest error is {np.max(np.abs(flown.miss)):.3g} tolerances"
    )


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


def _rates(flown: Flown) -> Array:
    """Angular rate (n,) in rad/s at each burn."""
    r, v = flown.states[:, :3], flown.states[:, 3:6]
    return np.asarray(norm(cross(r, v)) / norm(r) ** 2)


def _learned(slopes: Array, step: Array, change: Array) -> Array:
    """Broyden's update of the slopes from what a step (n, 4) did to the miss."""
    x = step.ravel()
    return np.asarray(slopes + np.outer(change - slopes @ x, x) / (x @ x))


def _in_time(shooter: Shooter, burns: Burns, times: Array) -> Array:
    """Times (n,) with the first ignition after the start and the last cutoff before the end."""
    if not len(times):
        return times
    setup, mass = shooter.setup, float(shooter.setup.start[6])
    halves = [
        shooter.share * burn_seconds(float(norm(burns.dvs[i])), mass, burns.engines[i]) / 2
        for i in (0, -1)
    ]
    inside = times.copy()
    inside[0] = max(inside[0], setup.start_s + halves[0])
    inside[-1] = min(inside[-1], setup.end_s - halves[1])
    return inside


def _timely(
    shooter: Shooter,
    burns: Burns,
    flown: Flown,
    slopes: Array,
    rates: Array,
    *,
    descend: bool,
) -> Array:
    """The step (n, 4), made again with the first or last time held where it would pass a bound."""
    held = np.zeros(len(burns.times), dtype=bool)
    step = _step(shooter, burns, flown, slopes, held, descend=descend)
    times = burns.times + step[:, 0] / rates
    held = np.abs(_in_time(shooter, burns, times) - times) > 1e-9
    if held.any():
        step = _step(shooter, burns, flown, slopes, held, descend=descend)
    return step


def _step(
    shooter: Shooter,
    burns: Burns,
    flown: Flown,
    slopes: Array,
    held: NDArray[np.bool_],
    *,
    descend: bool,
) -> Array:
    """Step (n, 4): least change that zeroes the linearised miss, or descent of Δv that keeps it.

    The metric is the curvature of the total Δv: a burn turned along its orbit by x at fixed Δv
    costs about Δv x^2/2 elsewhere, and so does a Δv turned by x. Burns near their engine's longest
    are held.
    """
    miss = np.zeros_like(flown.miss) if descend else flown.miss
    count = len(burns.times)
    sizes = np.maximum(norm(burns.dvs), 1e-3 * burns.total + 1e-3)
    directions = burns.dvs / np.maximum(norm(burns.dvs), 1e-12)[:, None]
    scale = np.repeat(np.sqrt(sizes), 4).reshape(count, 4)
    scale[:, 0] = np.where(held, _HELD_TIME, 1.0) / np.sqrt(sizes)
    longest = np.array([engine.max_burn_s for engine in burns.engines])
    scale[flown.durations > _HELD_FROM * shooter.share * longest, 1:] *= _HELD
    gradient = np.concatenate([np.zeros((count, 1)), directions], axis=1)
    white_slopes = slopes * scale.ravel()
    free = -(gradient * scale).ravel() if descend else np.zeros(4 * count)
    pull, *_ = np.linalg.lstsq(white_slopes, -miss - white_slopes @ free, rcond=1e-10)
    return np.asarray(((free + pull) * scale.ravel()).reshape(count, 4))


def _take(
    shooter: Shooter,
    burns: Burns,
    flown: Flown,
    step: Array,
    rates: Array,
    *,
    loosely: bool = False,
) -> tuple[Burns, Flown, float]:
    """Take as much of the step as keeps the linearisation honest (loosely: as can be flown)."""
    sizes = np.maximum(norm(burns.dvs), 0.01 * burns.total)
    turn = np.max(np.abs(step[:, 0])) / _LARGEST_TURN
    change = np.max(norm(step[:, 1:]) / sizes) / _LARGEST_CHANGE
    share = 1.0 / max(1.0, float(turn), float(change))
    now = float(np.max(np.abs(flown.miss)))
    trouble: FlightError | None = None
    for _ in range(6):
        times = burns.times + share * step[:, 0] / rates
        fresh = burns._replace(
            times=_in_time(shooter, burns, times),
            dvs=_clipped(shooter, burns, flown, burns.dvs + share * step[:, 1:]),
        )
        try:
            result = shooter.fly(fresh)
        except FlightError as error:
            trouble, share = error, share / 2
            continue
        if loosely or np.max(np.abs(result.miss)) < max(2 * now, _GOAL) or share < 0.05:
            return fresh, result, share
        share /= 2
    raise trouble or FlightError(f"no step reduces the error of {now:.3g} tolerances")


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
