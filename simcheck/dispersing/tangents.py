"""A flight and its derivatives by every standard normal that its errors are drawn from.

The flight is that of `flying.lanes`, commands as they stand. Ignitions and cutoffs move in time as
well as in state, so both are carried along, and the three kinds of cutoff are taken to first order.
Missed burns have no derivative. Reference: Tapley, Schutz and Born (2004), Statistical Orbit
Determination, section 4.2.
"""

from __future__ import annotations

import math
from dataclasses import replace
from typing import NamedTuple

import numpy as np

from simcheck.arrays import Array
from simcheck.engines.base import Thrust
from simcheck.engines.gravity import Gravity, gravity_of
from simcheck.errors import FlightError
from simcheck.flying.executing import stop_of
from simcheck.flying.mission import fly_plan
from simcheck.kernels.vectors import cross, unit
from simcheck.records.case import Case, Errors
from simcheck.records.flight import Arc
from simcheck.records.plan import Command, Plan

_SOURCES = (
    ("thrust_bias", "thrust_bias", 1, False),
    ("isp_bias", "isp_bias", 1, False),
    ("initial_position", "initial_position_m", 3, False),
    ("initial_velocity", "initial_velocity_m_s", 3, False),
    ("accelerometer_scale", "accelerometer_scale", 1, False),
    ("magnitude_proportional", "magnitude_proportional", 1, True),
    ("magnitude_fixed", "magnitude_fixed_m_s", 1, True),
    ("pointing_proportional", "pointing_proportional_rad", 2, True),
    ("pointing_fixed", "pointing_fixed_m_s", 2, True),
    ("ignition_time", "ignition_time_s", 1, True),
)
"""Name, field of `Errors`, standard normals a flight or a burn, and whether they are a burn's."""


class Course(NamedTuple):
    """A point of the flight, and its derivatives by the N standard normals.

    time s and state (7,) with by_time (N,) and by_state (7, N); dv is the Δv made so far, with
    by_dv (N,).
    """

    time: float
    state: Array
    dv: float
    by_time: Array
    by_state: Array
    by_dv: Array


class Normals:
    """Which column of a derivative belongs to which standard normal of which source."""

    def __init__(self, errors: Errors, burns: int) -> None:
        self.columns: dict[str, slice] = {}
        self._sizes: dict[str, float] = {}
        self.count = 0
        for name, field, width, of_burns in _SOURCES:
            size = getattr(errors, field)
            wide = width * burns if of_burns else width
            if size > 0:
                self._sizes[name] = size
                self.columns[name] = slice(self.count, self.count + wide)
                self.count += wide

    def row(self, source: str, index: int = 0) -> Array:
        """What the normal `index` of a source moves by itself: its size, in its column (N,)."""
        row = np.zeros(self.count)
        if source in self.columns:
            row[self.columns[source].start + index] = self._sizes[source]
        return row


def linear_course(case: Case, plan: Plan, normals: Normals) -> Course:
    """The flight up to the last cutoff, with its derivatives. Raises FlightError if it fails."""
    flight = fly_plan(replace(case, errors=Errors()), plan, reference=False)
    if flight.outcome != "flown":
        raise FlightError(f"the flight without errors ends otherwise: {flight.outcome}")
    craft, none = case.craft, np.zeros(normals.count)
    spread = np.zeros((7, normals.count))
    for axis in range(3):
        spread[axis] = normals.row("initial_position", axis)
        spread[3 + axis] = normals.row("initial_velocity", axis)
    start = np.concatenate([craft.position_m, craft.velocity_m_s, [craft.mass_kg]])
    course = Course(0.0, start, 0.0, none, spread, none)
    burns = [arc for arc in flight.arcs if arc.kind == "burn"]
    for index, (command, arc) in enumerate(zip(plan.commands, burns, strict=True)):
        # A burn that waits for the end of the one before moves with it.
        held = arc.start_s > command.ignition_s
        lit = course.by_time if held else normals.row("ignition_time", index)
        course = _coasted(gravity_of(case), course, arc.start_s, lit)
        course = _burnt(gravity_of(case), course, command, arc, index, normals)
    return course


def _coasted(gravity: Gravity, course: Course, until: float, lit: Array) -> Course:
    """Coast to `until`, which moves by `lit` (N,)."""
    from simcheck.engines.variational import tangent

    end = tangent(gravity, course.state, until - course.time, start=course.time)
    moved = end.by_state @ course.by_state + np.outer(end.rates, lit - course.by_time)
    return course._replace(time=until, state=end.state, by_time=lit, by_state=moved)


def _burnt(
    gravity: Gravity, course: Course, command: Command, arc: Arc, index: int, normals: Normals
) -> Course:
    """One burn with its errors, as `executing.execute` has them."""
    from simcheck.engines.variational import tangent

    thrust = _thrust(command, arc)
    size = command.dv_m_s
    more = normals.row("magnitude_proportional", index)
    more = more + normals.row("magnitude_fixed", index) / size
    newton = normals.row("thrust_bias") + more  # both relative
    exhaust = normals.row("isp_bias") + more
    end = tangent(gravity, course.state, arc.end_s - arc.start_s, thrust, start=arc.start_s)
    moved = (
        end.by_state @ course.by_state
        + np.outer(end.by_thrust, thrust.thrust_n * newton)
        + np.outer(end.by_isp, thrust.isp_s * exhaust)
        + end.by_direction @ _turned(command, index, normals)
    )
    longer = np.zeros(normals.count)
    if arc.ended == "velocity":
        shown = more + normals.row("accelerometer_scale")
        mass = course.by_state[6] / course.state[6]
        whole = course.state[6] * thrust.exhaust_m_s / thrust.thrust_n
        share = size / thrust.exhaust_m_s
        longer = whole * _counted_length(share, mass + exhaust - newton, shown - exhaust)
    elif arc.ended == "orbit":
        longer = _watched_length(gravity, command, end.state, moved, end.rates)
    moved = moved + np.outer(end.rates, longer)
    before, after = course.state[6], end.state[6]
    speed = thrust.exhaust_m_s
    gained = exhaust * math.log(before / after) + course.by_state[6] / before - moved[6] / after
    return Course(
        arc.end_s,
        end.state,
        course.dv + speed * math.log(before / after),
        course.by_time + longer,
        moved,
        course.by_dv + speed * gained,
    )


def _thrust(command: Command, arc: Arc) -> Thrust:
    return Thrust(
        thrust_n=arc.thrust_n,
        isp_s=arc.isp_s,
        steering=command.steering,
        direction=command.direction,
    )


def _turned(command: Command, index: int, normals: Normals) -> Array:
    """How the direction moves (3, N), by a turn about each of the two axes of `executing`."""
    direction = command.direction
    helper = np.eye(3)[int(np.argmin(np.abs(direction)))]
    one = unit(cross(direction, helper))
    moved = np.zeros((3, normals.count))
    for k, axis in enumerate((one, cross(direction, one))):
        angle = normals.row("pointing_proportional", 2 * index + k)
        angle = angle + normals.row("pointing_fixed", 2 * index + k) / command.dv_m_s
        moved += np.outer(cross(axis, direction), angle)
    return moved


def _counted_length(share: float, grown: Array, shown: Array) -> Array:
    """How the length moves (N,) where the accelerometer ends a burn.

    In units of all that the mass could burn, m c/F, it is 1 - exp(-share), with share = dv/c.
    grown and shown (N,) are the relative changes of that unit and of the share.
    """
    return np.asarray(-math.expm1(-share) * grown + math.exp(-share) * share * shown)


def _watched_length(
    gravity: Gravity, command: Command, state: Array, moved: Array, rates: Array
) -> Array:
    """How the length moves (N,) where the orbit ends a burn: the stop function stays zero."""
    from simcheck.engines.variational import stop_gradient

    if command.watch is None:
        raise FlightError(f"{command.burn} ended on the orbit without a watch")
    slope = stop_gradient(stop_of(command.watch, gravity.gm), state, gravity.gm)
    with np.errstate(all="ignore"):  # not finite where the burn runs along the stop
        return np.asarray(-(slope @ moved) / (slope @ rates))
