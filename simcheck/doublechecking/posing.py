"""The same flight posed otherwise: another epoch, axes turned about the pole, other units.

The four errors must not know. What a posing changes is undone in `simcheck.doublechecking.flights`.
"""

from __future__ import annotations

from dataclasses import replace
from typing import NamedTuple

import numpy as np

from simcheck.arrays import Array
from simcheck.engines.base import Propagator
from simcheck.kernels.transfers import period_of
from simcheck.kernels.vectors import rotation
from simcheck.measuring import RingMotion
from simcheck.planning.later import seen_from, shifted
from simcheck.records.case import Case, Engine, Member
from simcheck.records.estimate import Estimate
from simcheck.records.plan import Command, Plan, Watch

_SHARE = 0.4  # of the coast before the first ignition
_SHORTEST_S = 60.0  # a coast shorter than this is no room to move the start in
_BACK = 0.3  # of a revolution, where the start is moved back instead


class Posing(NamedTuple):
    """A case and plan that are the same flight as others, and what was done to them.

    length, time and mass are how many of the new units make one of the old; turn (rad) is the
    angle by which the motion was turned about the pole, begun_s the old time of the new epoch.
    """

    case: Case
    plan: Plan
    length: float = 1.0
    time: float = 1.0
    mass: float = 1.0
    turn: float = 0.0
    begun_s: float = 0.0


def begun_otherwise(case: Case, plan: Plan, motion: RingMotion, propagator: Propagator) -> Posing:
    """The epoch moved along the first coast, or back along it where there is no such coast."""
    craft = case.craft
    first = min((command.ignition_s for command in plan.commands), default=0.0)
    begun = _SHARE * first
    if first < _SHORTEST_S:
        period = float(period_of(craft.position_m, craft.velocity_m_s, case.body.gm_m3_s2))
        begun = -_BACK * (period if np.isfinite(period) else 0.0)
    state = np.concatenate([craft.position_m, craft.velocity_m_s, [craft.mass_kg]])
    there = propagator.advance(0.0, state, begun).state
    estimate = Estimate(
        time_s=begun, position_m=there[:3], velocity_m_s=there[3:6], mass_kg=float(there[6])
    )
    seen = seen_from(case, estimate, motion, propagator)
    return Posing(seen, shifted(plan, -begun), begun_s=begun)


def turned(case: Case, plan: Plan, angle: float) -> Posing:
    """Everything turned about the body's pole by an angle in rad."""
    matrix = rotation(2, angle)
    ring = replace(case.ring, raan_rad=case.ring.raan_rad + angle)
    craft = replace(
        case.craft,
        position_m=matrix @ case.craft.position_m,
        velocity_m_s=matrix @ case.craft.velocity_m_s,
    )
    members = tuple(_moved(member, matrix, matrix) for member in case.members)
    commands = tuple(_turned_command(command, matrix) for command in plan.commands)
    made = replace(case, ring=ring, craft=craft, members=members)
    return Posing(made, replace(plan, commands=commands), turn=angle)


def rescaled(case: Case, plan: Plan, length: float, time: float, mass: float) -> Posing:
    """Everything in other units of length, time and mass."""
    speed = length / time
    body = replace(
        case.body,
        gm_m3_s2=case.body.gm_m3_s2 * length**3 / time**2,
        radius_m=case.body.radius_m * length,
    )
    unit_of_size = time if case.ring.size == "period" else length
    ring = replace(case.ring, size_value=case.ring.size_value * unit_of_size)
    craft = replace(
        case.craft,
        dry_mass_kg=case.craft.dry_mass_kg * mass,
        propellant_kg=case.craft.propellant_kg * mass,
        position_m=case.craft.position_m * length,
        velocity_m_s=case.craft.velocity_m_s * speed,
    )
    members = tuple(_moved(x, length * np.eye(3), speed * np.eye(3)) for x in case.members)
    made = replace(
        case,
        body=body,
        ring=ring,
        craft=craft,
        members=members,
        engine=_rescaled_engine(case.engine, mass * length / time**2, speed),
        thrusters=case.thrusters
        and _rescaled_engine(case.thrusters, mass * length / time**2, speed),
    )
    commands = tuple(_rescaled_command(command, length, time) for command in plan.commands)
    return Posing(made, replace(plan, commands=commands), length=length, time=time, mass=mass)


def _moved(member: Member, place: Array, speed: Array) -> Member:
    if member.position_m is None or member.velocity_m_s is None:
        return member
    return replace(
        member, position_m=place @ member.position_m, velocity_m_s=speed @ member.velocity_m_s
    )


def _turned_command(command: Command, matrix: Array) -> Command:
    watch = command.watch
    if watch is not None and watch.direction is not None:
        watch = replace(watch, direction=matrix @ watch.direction)
    fixed = command.steering == "inertial"
    direction = matrix @ command.direction if fixed else command.direction
    return replace(command, direction=direction, watch=watch)


def _rescaled_engine(engine: Engine, force: float, speed: float) -> Engine:
    return replace(engine, thrust_n=engine.thrust_n * force, isp_s=engine.isp_s * speed)


def _rescaled_command(command: Command, length: float, time: float) -> Command:
    return replace(
        command,
        ignition_s=command.ignition_s * time,
        duration_s=command.duration_s * time,
        dv_m_s=command.dv_m_s * length / time,
        watch=command.watch and _rescaled_watch(command.watch, length, time),
    )


def _rescaled_watch(watch: Watch, length: float, time: float) -> Watch:
    units = {"period_s": time, "apsis_radius_m": length, "tilt": 1.0}
    return replace(watch, target=watch.target * units[watch.quantity])
