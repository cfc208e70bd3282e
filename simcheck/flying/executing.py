"""What an engine makes of a command: bias, Gates errors, cutoffs, an empty tank.

Reference: Gates (1963), JPL TR 32-504: a burn's error has a proportional and a fixed part, along
its direction (magnitude) and on each of the two axes across it (pointing). The magnitude error
scales the exhaust speed at unchanged mass flow, so a timed burn delivers exactly that much more or
less; the thrust bias scales thrust and flow alike.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np

from simcheck.arrays import Array
from simcheck.engines.base import (
    Propagator,
    Stop,
    Thrust,
    stop_at_apsis,
    stop_at_period,
    stop_at_tilt,
)
from simcheck.flying.draws import Draws
from simcheck.kernels.vectors import cross, norm, turn_about, unit
from simcheck.records.case import Engine, Errors
from simcheck.records.plan import Command, Watch

WATCH_CAP = 1.25
"""A watched burn is cut off at this multiple of its commanded duration at the latest."""


class Executed(NamedTuple):
    """A burn as it went: thrust, ignition and cutoff (s), state (7,) after it, what ended it."""

    thrust: Thrust
    ignition_s: float
    cutoff_s: float
    state: Array
    ended: str


def ignition(command: Command, errors: Errors, draws: Draws, index: int, earliest: float) -> float:
    """When the engine lights, s; never before the previous arc's end."""
    late = errors.ignition_time_s * float(draws.burns[index, 6])
    return max(command.ignition_s + late, earliest)


def execute(
    propagator: Propagator,
    command: Command,
    *,
    engine: Engine,
    errors: Errors,
    draws: Draws,
    index: int,
    time: float,
    state: Array,
    dry_mass: float,
) -> Executed:
    """Fly one commanded burn from ignition at `time` with state (7,)."""
    thrust = _actual_thrust(command, engine, errors, draws, index)
    full = max(float(state[6]) - dry_mass, 0.0) / thrust.flow_kg_s
    length, ended = _length(
        command,
        thrust,
        float(state[6]),
        (1 + _magnitude(command, errors, draws, index))
        * (1 + errors.accelerometer_scale * draws.accelerometer),
    )
    stop = None
    if command.cutoff == "orbit" and command.watch is not None:
        length, ended = WATCH_CAP * command.duration_s, "watch not reached"
        stop = stop_of(command.watch, propagator.gravity.gm)
    if full < length:
        length, ended = full, "tank empty"
    end = propagator.advance(time, state, time + length, thrust, stop)
    if end.stopped:
        ended = "orbit"
    return Executed(thrust, time, end.time, end.state, ended)


def _length(command: Command, thrust: Thrust, mass: float, scale: float) -> tuple[float, str]:
    """Length in s by the cutoff; an accelerometer shows the Δv made divided by `scale`."""
    if command.cutoff == "velocity":
        burnt = -mass * math.expm1(-command.dv_m_s * scale / thrust.exhaust_m_s)
        return burnt / thrust.flow_kg_s, "velocity"
    return command.duration_s, "duration"


def _magnitude(command: Command, errors: Errors, draws: Draws, index: int) -> float:
    """Relative magnitude error of a burn."""
    g = draws.burns[index]
    fixed = errors.magnitude_fixed_m_s / command.dv_m_s * g[1]
    return max(float(errors.magnitude_proportional * g[0] + fixed), -0.99)


def stop_of(watch: Watch, gm: float) -> Stop:
    """The stop that a watched burn ends at."""
    if watch.quantity == "period_s":
        return stop_at_period(watch.target, gm)
    if watch.quantity == "apsis_radius_m":
        return stop_at_apsis(watch.target, gm)
    if watch.direction is None:
        raise ValueError("a watch on the tilt needs a direction")
    return stop_at_tilt(watch.direction, watch.target)


def _actual_thrust(
    command: Command, engine: Engine, errors: Errors, draws: Draws, index: int
) -> Thrust:
    g = draws.burns[index]
    size = command.dv_m_s
    more = _magnitude(command, errors, draws, index)
    angles = errors.pointing_proportional_rad * g[2:4] + errors.pointing_fixed_m_s / size * g[4:6]
    thrust = engine.thrust_n * (1 + errors.thrust_bias * draws.thrust)
    isp = engine.isp_s * (1 + errors.isp_bias * draws.isp)
    return Thrust(
        thrust_n=max(thrust, 1e-9 * engine.thrust_n) * (1 + more),
        isp_s=max(isp, 1e-9 * engine.isp_s) * (1 + more),
        steering=command.steering,
        direction=_pointed(command.direction, angles),
    )


def _pointed(direction: Array, angles: Array) -> Array:
    """Turn a unit vector (3,) by two angles (2,) about axes across it; exact when both are 0."""
    if not np.any(angles):
        return direction
    helper = np.eye(3)[int(np.argmin(np.abs(direction)))]
    one = unit(cross(direction, helper))
    other = cross(direction, one)
    turned = turn_about(turn_about(direction, one, angles[0]), other, angles[1])
    return np.asarray(turned / norm(turned))
