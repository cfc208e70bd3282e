"""The perfect flight flown once more, in any posing and by any propagator, and read as before."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import NamedTuple

import numpy as np

from simcheck.arrays import Array
from simcheck.clearances import Stretch, clearances
from simcheck.doublechecking.posing import Posing
from simcheck.engines.base import Propagator
from simcheck.errors import FlightError
from simcheck.flying.draws import perfect
from simcheck.flying.executing import execute, ignition
from simcheck.kernels.vectors import rotation
from simcheck.measuring import Averages, RingMotion, average, offsets
from simcheck.planning.commanding import member_states
from simcheck.records.case import Case
from simcheck.records.flight import Components, Flight, FlownErrors, Outcome

_NOWHERE = FlownErrors(
    phase_deg=math.nan, period_s=math.nan, eccentricity=math.nan, plane_deg=math.nan
)


class Cutoff(NamedTuple):
    """Where the burns left the craft: the arcs so far, and when and how the last one ended."""

    arcs: list[Stretch]
    time: float
    state: Array
    dv_m_s: float
    arrival_s: float
    outcome: Outcome


def flown_again(
    nominal: Flight,
    posing: Posing,
    propagator: Propagator,
    motion: RingMotion,
    *,
    near: Averages | None = None,
    look: bool = True,
) -> Flight:
    """The nominal flight with what this posing and propagator make of its numbers instead.

    motion is the ring in the posing's units. With `near` its averaging window is taken over. look
    says whether clearances are found anew; it has no meaning from another epoch, and is slow with a
    slow propagator. A flight that breaks down has no errors.
    """
    try:
        end = burnt(posing, propagator)
        found = average(propagator, end.time, end.state, motion, near)
    except FlightError:
        return replace(nominal, errors=_NOWHERE, components=Components())
    case, length = posing.case, posing.length
    made = replace(
        nominal,
        outcome=end.outcome,
        errors=errors_of(found, motion, case.craft.slot, posing.time),
        components=components_of(found, motion, posing.turn),
        dv_used_m_s=end.dv_m_s * posing.time / length,
        propellant_used_kg=(case.craft.mass_kg - float(end.state[6])) / posing.mass,
        arrival_time_s=max(end.arrival_s / posing.time + posing.begun_s, 0.0),
    )
    if not look:
        return made
    ahead = Stretch(end.time, found.time, end.state, None)
    members = member_states(case, motion, propagator)
    seen = clearances(propagator, [*end.arcs, ahead], members, watch_m=0.0)
    return replace(
        made,
        lowest_altitude_m=(seen.lowest_radius_m - case.body.radius_m) / length,
        largest_radius_m=seen.largest_radius_m / length,
        closest_approach_m=None if seen.closest_m is None else seen.closest_m / length,
    )


def burnt(posing: Posing, propagator: Propagator) -> Cutoff:
    """Fly every command of a posing's plan, up to where the craft is measured from.

    The ground is not looked for.
    """
    case, commands = posing.case, posing.plan.commands
    craft, draws = case.craft, perfect(len(commands))
    engines = {"engine": case.engine, "thrusters": case.thrusters}
    end = Cutoff([], 0.0, _start(case), 0.0, 0.0, "flown")
    for index, command in enumerate(commands):
        end = _coasted(end, propagator, ignition(command, case.errors, draws, index, end.time))
        engine = engines[command.engine]
        if engine is None:
            raise FlightError(f"{command.burn} asks for the {command.engine}; the case has none")
        if draws.missed(index, case.errors.missed_burn):
            continue
        burn = execute(
            propagator,
            command,
            engine=engine,
            errors=case.errors,
            draws=draws,
            index=index,
            time=end.time,
            state=end.state,
            dry_mass=craft.dry_mass_kg,
        )
        end = Cutoff(
            [*end.arcs, Stretch(end.time, burn.cutoff_s, end.state, burn.thrust)],
            burn.cutoff_s,
            burn.state,
            end.dv_m_s + burn.thrust.exhaust_m_s * math.log(end.state[6] / burn.state[6]),
            burn.cutoff_s,
            "out-of-propellant" if burn.ended == "tank empty" else end.outcome,
        )
    return _coasted(end, propagator, -posing.begun_s)


def _start(case: Case) -> Array:
    craft = case.craft
    return np.concatenate([craft.position_m, craft.velocity_m_s, [craft.mass_kg]])


def _coasted(end: Cutoff, propagator: Propagator, until: float) -> Cutoff:
    if until <= end.time:
        return end
    there = propagator.advance(end.time, end.state, until).state
    arcs = [*end.arcs, Stretch(end.time, until, end.state, None)]
    return end._replace(arcs=arcs, time=until, state=there)


def errors_of(found: Averages, motion: RingMotion, slot: int, time: float = 1.0) -> FlownErrors:
    """The four errors of averages, with `time` new units of time to a second."""
    off = offsets(found, motion, slot)
    return FlownErrors(
        phase_deg=math.degrees(off.phase),
        period_s=off.period / time,
        eccentricity=off.eccentricity,
        plane_deg=math.degrees(off.plane),
    )


def components_of(found: Averages, motion: RingMotion, turn: float = 0.0) -> Components:
    """The signed parts, along axes that were turned with the motion.

    Those of an equatorial ring are the inertial ones, which were not.
    """
    if motion.equatorial:
        back = rotation(2, -turn * math.copysign(1.0, math.cos(motion.ring.inclination_rad)))
    else:
        back = np.eye(3)
    k, h = found.e_vector
    x, y, z = back @ found.normal
    k, h, _ = back @ np.array([k, h, 0.0])
    return Components(
        eccentricity_k=float(k),
        eccentricity_h=float(h),
        plane_x_deg=math.degrees(math.atan2(x, z)),
        plane_y_deg=math.degrees(math.atan2(y, z)),
    )
