"""Open-loop flights of many samples at once: the same flight as `fly_plan`, a lane each.

What is out of the ordinary is left to `fly_plan`: a lane whose tank runs dry, whose orbit is open
or comes near the ground, or that comes near a limit on radius or separation. Whether it is depends
on the lane alone. Extremes are those of samples a few degrees apart, refined by parabolas: to some
10 m in radius, and to a thousandth in the distance to members; the flight itself and its errors
agree with `fly_plan` to rounding.
"""

from __future__ import annotations

import math
from statistics import NormalDist
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from simcheck.arrays import Array
from simcheck.engines.base import G0, Steering, gravity_of
from simcheck.engines.batches import TaylorBatches, ThrustBatch
from simcheck.engines.choosing import fast_propagator
from simcheck.flying.draws import Draws, engine_draws
from simcheck.flying.executing import WATCH_CAP, stop_of
from simcheck.kernels.transfers import period_of
from simcheck.kernels.vectors import cross, norm, turn_about, unit, wrap
from simcheck.measuring import REVOLUTIONS, RingMotion, resolve_ring
from simcheck.measuring_lanes import average_lanes
from simcheck.planning.commanding import member_states
from simcheck.records.case import Case, Engine
from simcheck.records.plan import Command, Plan

_SAMPLES = 96  # a revolution
_MOST_SAMPLES = 4000  # a coast
_NEAR_RADIUS = 0.02  # of the body's radius: nearer to the ground or to a limit a lane flies alone
_NEAR_MEMBER = 0.2  # of the separation asked for
_MEMBER_SAMPLES = 240  # a revolution, joined by cubics


class LaneFlights(NamedTuple):
    """n flights: arrays (n,), NaN and `alone` true where a lane has to be flown by itself."""

    phase: Array
    period: Array
    eccentricity: Array
    plane: Array
    dv: Array
    propellant: Array
    arrival: Array
    lowest: Array
    largest: Array
    closest: Array
    alone: NDArray[np.bool_]


class _Lanes:
    """Lanes under way: times (n,), states (n, 7), and what has been seen of them."""

    def __init__(self, case: Case, batches: TaylorBatches, samples: list[Draws]) -> None:
        self.case, self.batches = case, batches
        self.flight = np.array([d.flight for d in samples])
        self.burns = np.array([d.burns for d in samples])
        self.accelerometer = np.array([d.accelerometer for d in samples])
        n, craft, errors = len(samples), case.craft, case.errors
        self.times = np.zeros(n)
        self.states = np.empty((n, 7))
        self.states[:, :3] = craft.position_m + errors.initial_position_m * self.flight[:, 2:5]
        self.states[:, 3:6] = craft.velocity_m_s + errors.initial_velocity_m_s * self.flight[:, 5:8]
        self.states[:, 6] = craft.mass_kg
        self.dv, self.arrival = np.zeros(n), np.zeros(n)
        self.lowest, self.largest = np.full(n, np.inf), np.zeros(n)
        self.closest = np.full(n, np.inf)
        self.alone = np.zeros(n, dtype=bool)


def fly_lanes(case: Case, plan: Plan, seed: int, samples: range) -> LaneFlights:
    """Fly samples of a plan open loop; see `LaneFlights`."""
    gravity = gravity_of(case)
    propagator = fast_propagator(gravity)
    motion = resolve_ring(case.ring, propagator)
    draws = [engine_draws(seed, sample, len(plan.commands)) for sample in samples]
    lanes = _Lanes(case, TaylorBatches(gravity), draws)
    members = _Members(case, plan, motion)
    for index, command in enumerate(plan.commands):
        late = case.errors.ignition_time_s * lanes.burns[:, index, 6]
        _coast(lanes, np.maximum(command.ignition_s + late, lanes.times), members)
        _burn(lanes, command, index)
    return _measured(lanes, motion, members)


def _coast(lanes: _Lanes, until: Array, members: _Members) -> None:
    """Coast to `until` (n,), looking at radii and members on the way."""
    _look(lanes, until, members)
    lanes.states = lanes.batches.advance(lanes.times, lanes.states, until)
    lanes.times = until


def _look(lanes: _Lanes, until: Array, members: _Members) -> None:
    """Extremes of the coasts from where the lanes are to `until`."""
    span = until - lanes.times
    rows = np.flatnonzero((span > 0) & np.isfinite(lanes.states).all(axis=1))
    if not len(rows):
        return
    start = lanes.states[rows]
    period = period_of(start[:, :3], start[:, 3:6], lanes.batches.gravity.gm)
    # Each lane by its own number of samples would break up the batches: by powers of two it does
    # not depend on the others.
    turns = np.where(np.isfinite(period), span[rows] / period, 1.0)
    wanted = 2 ** np.ceil(np.log2(np.clip(_SAMPLES * turns, 4, _MOST_SAMPLES)))
    for count in np.unique(wanted):
        of = rows[wanted == count]
        grid = lanes.times[of, None] + span[of, None] * np.linspace(0.0, 1.0, int(count) + 1)
        seen = lanes.batches.sample(lanes.times[of], lanes.states[of], grid)
        radius = norm(seen[..., :3])
        lanes.lowest[of] = np.minimum(lanes.lowest[of], _least(radius))
        lanes.largest[of] = np.maximum(lanes.largest[of], -_least(-radius))
        lanes.closest[of] = np.minimum(lanes.closest[of], members.nearest(grid, seen[..., :3]))


def _least(values: Array) -> Array:
    """Least value (n,) of rows (n, m), by the parabola through the smallest and its neighbours."""
    at = np.clip(np.argmin(values, axis=1), 1, values.shape[1] - 2)
    row = np.arange(len(values))
    before, here, after = values[row, at - 1], values[row, at], values[row, at + 1]
    bend, slope = before - 2 * here + after, (after - before) / 2
    with np.errstate(all="ignore"):
        vertex = np.where((bend > 0) & (np.abs(slope) < bend), here - slope**2 / (2 * bend), here)
    return np.asarray(np.minimum(np.min(values, axis=1), vertex))


def _burn(lanes: _Lanes, command: Command, index: int) -> None:
    """One burn of all lanes, with its errors; as `executing.execute` has it."""
    case, errors, g = lanes.case, lanes.case.errors, lanes.burns[:, index]
    engine: Engine | None = case.thrusters if command.engine == "thrusters" else case.engine
    if engine is None:
        lanes.alone[:] = True
        return
    size = command.dv_m_s
    more = np.maximum(
        errors.magnitude_proportional * g[:, 0] + errors.magnitude_fixed_m_s / size * g[:, 1], -0.99
    )
    angles = errors.pointing_proportional_rad * g[:, 2:4]
    angles = angles + errors.pointing_fixed_m_s / size * g[:, 4:6]
    thrust = engine.thrust_n * (1 + errors.thrust_bias * lanes.flight[:, 0])
    isp = engine.isp_s * (1 + errors.isp_bias * lanes.flight[:, 1])
    steering: Steering = command.steering
    push = ThrustBatch(
        np.maximum(thrust, 1e-9 * engine.thrust_n) * (1 + more),
        np.maximum(isp, 1e-9 * engine.isp_s) * (1 + more),
        steering,
        _pointed(command.direction, angles),
    )
    mass, exhaust = lanes.states[:, 6], G0 * push.isp_s
    flow = push.thrust_n / exhaust
    length = np.full(len(mass), command.duration_s)
    if command.cutoff == "velocity":
        scale = (1 + more) * (1 + errors.accelerometer_scale * lanes.accelerometer)
        length = -mass * np.expm1(-size * scale / exhaust) / flow
    watched = command.cutoff == "orbit" and command.watch is not None
    if watched:
        length = np.full(len(mass), WATCH_CAP * command.duration_s)
    if errors.missed_burn > 0:
        missed = np.array([d < _quantile(errors.missed_burn) for d in g[:, 7]])
        length = np.where(missed, 0.0, length)
    lanes.alone |= (mass - case.craft.dry_mass_kg) / flow < length
    until = lanes.times + length
    if watched and command.watch is not None:
        stop = stop_of(command.watch, lanes.batches.gravity.gm)
        found = lanes.batches.until_stop(lanes.times, lanes.states, until, push, stop)
        after, ends = found.states, found.times
        lanes.alone |= ~found.stopped & (length > 0)
    else:
        after, ends = lanes.batches.advance(lanes.times, lanes.states, until, push), until
    made = length > 0
    lanes.dv += np.where(made, exhaust * np.log(mass / after[:, 6]), 0.0)
    lanes.arrival = np.where(made, ends, lanes.arrival)
    for state in (lanes.states, after):
        radius = norm(state[:, :3])
        lanes.lowest = np.minimum(lanes.lowest, radius)
        lanes.largest = np.maximum(lanes.largest, radius)
    lanes.states, lanes.times = after, np.where(made, ends, lanes.times)


def _quantile(chance: float) -> float:
    return float(NormalDist().inv_cdf(chance)) if chance < 1 else math.inf


def _pointed(direction: Array, angles: Array) -> Array:
    """Directions (n, 3) turned by two angles each (n, 2), as `executing` turns one."""
    helper = np.eye(3)[int(np.argmin(np.abs(direction)))]
    one = unit(cross(direction, helper))
    other = cross(direction, one)
    count = len(angles)
    turned = turn_about(
        turn_about(np.tile(direction, (count, 1)), np.tile(one, (count, 1)), angles[:, 0]),
        np.tile(other, (count, 1)),
        angles[:, 1],
    )
    straight = ~np.any(angles, axis=1)
    return np.where(straight[:, None], direction, turned / norm(turned)[:, None])


def _measured(lanes: _Lanes, motion: RingMotion, members: _Members) -> LaneFlights:
    """The coast that measures, its errors, and which lanes are out of the ordinary."""
    case = lanes.case
    found = average_lanes(lanes.batches, lanes.times, lanes.states, motion)
    closed = np.isfinite(found.period)
    _look(lanes, np.where(closed, found.time, lanes.times), members)
    room = _NEAR_RADIUS * case.body.radius_m
    limits = case.limits
    alone = lanes.alone | ~closed
    alone |= lanes.lowest < case.body.radius_m + room
    alone |= np.abs(lanes.lowest - case.body.radius_m - limits.min_altitude_m) < room
    alone |= np.abs(lanes.largest - limits.max_radius_m) < room
    if case.members and limits.separation_m > 0:
        alone |= lanes.closest < (1 + _NEAR_MEMBER) * limits.separation_m
    return LaneFlights(
        phase=wrap(found.longitude - motion.longitude(case.craft.slot, found.time)),
        period=found.period - motion.period_s,
        eccentricity=np.hypot(found.e_vector[:, 0], found.e_vector[:, 1]),
        plane=np.arctan2(np.hypot(found.normal[:, 0], found.normal[:, 1]), found.normal[:, 2]),
        dv=lanes.dv,
        propellant=case.craft.mass_kg - lanes.states[:, 6],
        arrival=lanes.arrival,
        lowest=lanes.lowest,
        largest=lanes.largest,
        closest=lanes.closest if case.members else np.full(len(lanes.dv), np.nan),
        alone=alone,
    )


class _Members:
    """Where the members are, from cubics between samples that no lane moves."""

    def __init__(self, case: Case, plan: Plan, motion: RingMotion) -> None:
        propagator = fast_propagator(gravity_of(case))
        last = plan.commands[-1] if plan.commands else None
        end = 0.0 if last is None else last.ignition_s + WATCH_CAP * last.duration_s
        end += (REVOLUTIONS + 2) * motion.period_s
        count = int(np.ceil(end / motion.period_s * _MEMBER_SAMPLES))
        self.step = end / count
        times = np.asarray(np.arange(count + 1) * self.step, dtype=np.float64)
        states = member_states(case, motion, propagator)
        self.rows = [propagator.sample(0.0, state, times)[:, :6] for state in states]

    def nearest(self, times: Array, positions: Array) -> Array:
        """Least distance (n,) of positions (n, m, 3) at times (n, m) to any member."""
        least = np.full(len(times), np.inf)
        for rows in self.rows:
            away = positions - self._at(rows, times)
            squares = np.sum(away * away, axis=-1)
            least = np.minimum(least, np.sqrt(np.maximum(_least(squares), 0.0)))
        return least

    def _at(self, rows: Array, times: Array) -> Array:
        """Positions (n, m, 3) by Hermite's cubic."""
        at = np.clip((times / self.step).astype(np.intp), 0, len(rows) - 2)
        s = (times / self.step - at)[..., None]
        one, two = rows[at], rows[at + 1]
        a, b = (1 + 2 * s) * (1 - s) ** 2, s * (1 - s) ** 2
        c, d = s**2 * (3 - 2 * s), s**2 * (s - 1)
        return np.asarray(
            a * one[..., :3]
            + b * self.step * one[..., 3:]
            + c * two[..., :3]
            + d * self.step * two[..., 3:]
        )
