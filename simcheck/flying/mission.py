"""One flight of a plan: every arc between ignitions and cutoffs, then the coast that measures it.

A flight is a pure function of (case, plan, draws).
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np

from simcheck.arrays import Array
from simcheck.clearances import Clearances, Stretch, clearances
from simcheck.engines.base import Propagator, Thrust, gravity_of
from simcheck.engines.choosing import fast_propagator, reference_propagator
from simcheck.errors import FlightError
from simcheck.flying.draws import Draws, drawn, perfect
from simcheck.flying.executing import execute, ignition
from simcheck.kernels.vectors import norm, wrap
from simcheck.measuring import (
    Averages,
    RingMotion,
    average,
    offsets,
    resolve_ring,
)
from simcheck.planning.commanding import member_states
from simcheck.records.case import Case, Engine
from simcheck.records.flight import (
    Arc,
    Flight,
    FlownErrors,
    MassState,
    Neighbour,
    Outcome,
)
from simcheck.records.plan import Plan

_DAY = 86400.0
_IMPACT_SAMPLES = 360  # looks along the arc that meets the ground


class _Leg(NamedTuple):
    """An arc in the making: its stretch, the state at its end, and what a burn was."""

    stretch: Stretch
    end: Array
    burn: str | None
    ended: str | None


class _Flown(NamedTuple):
    legs: list[_Leg]
    time: float
    state: Array
    outcome: Outcome
    events: list[str]


def fly_plan(
    case: Case,
    plan: Plan,
    *,
    seed: int | None = None,
    sample: int | None = None,
    reference: bool = True,
) -> Flight:
    """Fly a plan's commands in the case's forces and measure where the craft ends up.

    sample None flies without errors; otherwise the case's errors are drawn from the stream keyed by
    (seed, sample). reference also flies the reference propagator and states the disagreement.
    Raises FlightError only where the motion cannot be computed.
    """
    count = len(plan.commands)
    draws = perfect(count) if sample is None else drawn(seed or 0, sample, count)
    propagator = fast_propagator(gravity_of(case))
    motion = resolve_ring(case.ring, propagator)
    members = member_states(case, motion, propagator)
    flown = _fly(case, plan, draws, propagator)
    arrival = flown.time
    found = _measured(flown, propagator, motion)
    if found is not None:
        flown = _coast(flown, propagator, found.time)
    flown = _grounded(case, flown, propagator)
    if flown.outcome in ("hit-the-body", "left-the-body"):
        found = None
    seen = clearances(propagator, [leg.stretch for leg in flown.legs], members)
    drift, holds = _drift(case, motion, found)
    used = _dv_used(flown)
    return Flight(
        outcome=flown.outcome,
        arcs=tuple(_arc(leg) for leg in flown.legs),
        errors=_errors(case, motion, found),
        neighbours=_neighbours(case, motion, propagator, members, found),
        drift_deg_day=drift,
        holds_days=holds,
        dv_used_m_s=used,
        propellant_used_kg=float(case.craft.mass_kg - flown.state[6]),
        arrival_time_s=min(arrival, flown.time),
        lowest_altitude_m=seen.lowest_radius_m - case.body.radius_m,
        largest_radius_m=seen.largest_radius_m,
        closest_approach_m=seen.closest_m,
        closest_member=(
            None if seen.closest_member is None else case.members[seen.closest_member].name
        ),
        events=tuple(flown.events),
        seed=None if sample is None else (seed or 0),
        sample=sample,
        engine_disagreement_m=_disagreement(case, flown) if reference else None,
        propagator=propagator.name,
    )


def _fly(case: Case, plan: Plan, draws: Draws, propagator: Propagator) -> _Flown:
    """The commanded arcs, up to the last cutoff."""
    craft, errors = case.craft, case.errors
    engines: dict[str, Engine] = {"engine": case.engine}
    if case.thrusters is not None:
        engines["thrusters"] = case.thrusters
    state = np.concatenate(
        [
            craft.position_m + errors.initial_position_m * draws.position,
            craft.velocity_m_s + errors.initial_velocity_m_s * draws.velocity,
            [craft.mass_kg],
        ]
    )
    time, legs, events = 0.0, list[_Leg](), list[str]()
    outcome: Outcome = "flown"
    for index, command in enumerate(plan.commands):
        if command.engine not in engines:
            raise FlightError(f"{command.burn} asks for the {command.engine}; the case has none")
        light = ignition(command, errors, draws, index, time)
        if light > time:
            lit = propagator.advance(time, state, light).state
            legs.append(_Leg(Stretch(time, light, state, None), lit, None, None))
            time, state = light, lit
        burn = execute(
            propagator,
            command,
            engines[command.engine],
            errors,
            draws,
            index,
            time,
            state,
            craft.dry_mass_kg,
        )
        stretch = Stretch(time, burn.cutoff_s, state, burn.thrust)
        legs.append(_Leg(stretch, burn.state, command.burn, burn.ended))
        if burn.ended in ("tank empty", "watch not reached"):
            length = burn.cutoff_s - time
            events.append(
                f"{command.burn}: {burn.ended} after {length:.1f} s "
                f"of {command.duration_s:.1f} s commanded"
            )
        if burn.ended == "tank empty":
            outcome = "out-of-propellant"
        time, state = burn.cutoff_s, burn.state
    return _Flown(legs, time, state, outcome, events)


def _measured(flown: _Flown, propagator: Propagator, motion: RingMotion) -> Averages | None:
    try:
        return average(propagator, flown.time, flown.state, motion)
    except FlightError as trouble:
        flown.events.append(f"nothing to measure: {trouble}")
        return None


def _coast(flown: _Flown, propagator: Propagator, until: float) -> _Flown:
    end = propagator.advance(flown.time, flown.state, until).state
    leg = _Leg(Stretch(flown.time, until, flown.state, None), end, None, None)
    return flown._replace(legs=[*flown.legs, leg], time=until, state=end)


def _grounded(case: Case, flown: _Flown, propagator: Propagator) -> _Flown:
    """End the flight where it meets the body's surface, if it does."""
    radius = case.body.radius_m
    for index, leg in enumerate(flown.legs):
        low = clearances(propagator, [leg.stretch], []).lowest_radius_m
        if low >= radius:
            continue
        time, state = _impact(leg.stretch, propagator, radius)
        cut = leg._replace(stretch=leg.stretch._replace(end_s=time), end=state, ended="impact")
        flown.events.append(f"met the surface at {time:.0f} s")
        legs = [*flown.legs[:index], cut]
        return _Flown(legs, time, state, "hit-the-body", flown.events)
    unbound = not flown.legs or flown.legs[-1].burn is not None
    outcome: Outcome = "left-the-body" if unbound and flown.legs else flown.outcome
    return flown._replace(outcome=outcome)


def _impact(stretch: Stretch, propagator: Propagator, radius: float) -> tuple[float, Array]:
    """First time in s at which the arc is at the surface, to a millisecond, and the state there."""
    now, state = stretch.start_s, stretch.state
    for until in np.linspace(stretch.start_s, stretch.end_s, _IMPACT_SAMPLES)[1:]:
        end = propagator.advance(now, state, float(until), stretch.thrust).state
        if norm(end[:3]) < radius:
            low, high = now, float(until)
            while high - low > 1e-3:
                middle = (low + high) / 2
                there = propagator.advance(now, state, middle, stretch.thrust).state
                low, high = (low, middle) if norm(there[:3]) < radius else (middle, high)
            return high, propagator.advance(now, state, high, stretch.thrust).state
        now, state = float(until), end
    return now, state


def _errors(case: Case, motion: RingMotion, found: Averages | None) -> FlownErrors:
    if found is None:
        return FlownErrors(
            phase_deg=math.nan, period_s=math.nan, eccentricity=math.nan, plane_deg=math.nan
        )
    off = offsets(found, motion, case.craft.slot)
    return FlownErrors(
        phase_deg=float(np.degrees(off.phase)),
        period_s=off.period,
        eccentricity=off.eccentricity,
        plane_deg=float(np.degrees(off.plane)),
    )


def _drift(
    case: Case, motion: RingMotion, found: Averages | None
) -> tuple[float, float | None]:
    """Phase drift in deg/day, and days until the phase leaves its tolerance (None: never)."""
    if found is None:
        return math.nan, None
    rate = 2 * math.pi / found.period - motion.rate
    drift = math.degrees(rate) * _DAY
    tolerance = case.tolerance.phase_rad
    if tolerance is None or rate == 0:
        return drift, None
    phase = offsets(found, motion, case.craft.slot).phase
    room = tolerance - math.copysign(1.0, rate) * phase
    return drift, max(room / abs(rate), 0.0) / _DAY


def _neighbours(
    case: Case,
    motion: RingMotion,
    propagator: Propagator,
    members: list[Array],
    found: Averages | None,
) -> tuple[Neighbour, ...]:
    """The craft's mean longitude against each member's, both as flown."""
    if found is None:
        return ()
    rows = []
    for member, state in zip(case.members, members, strict=True):
        there = average(propagator, 0.0, state, motion)
        start = max(0.0, found.time - (there.time - 0.0))
        now = propagator.advance(0.0, state, start).state
        there = average(propagator, start, now, motion)
        longitude = there.longitude + 2 * math.pi / there.period * (found.time - there.time)
        ahead = float(np.degrees(wrap(found.longitude - longitude)))
        spacing = math.nan
        if member.slot is not None:
            slots = case.craft.slot - member.slot
            spacing = float(np.degrees(wrap(2 * math.pi * slots / case.ring.slots)))
        rows.append(Neighbour(name=member.name, spacing_deg=spacing, phase_deg=ahead))
    return tuple(rows)


def _dv_used(flown: _Flown) -> float:
    return float(sum(_leg_dv(leg) for leg in flown.legs))


def _leg_dv(leg: _Leg) -> float:
    thrust = leg.stretch.thrust
    if thrust is None:
        return 0.0
    return float(thrust.exhaust_m_s * np.log(leg.stretch.state[6] / leg.end[6]))


def _arc(leg: _Leg) -> Arc:
    stretch, thrust = leg.stretch, leg.stretch.thrust
    return Arc(
        kind="coast" if thrust is None else "burn",
        burn=leg.burn,
        start_s=stretch.start_s,
        end_s=stretch.end_s,
        thrust_n=0.0 if thrust is None else thrust.thrust_n,
        isp_s=0.0 if thrust is None else thrust.isp_s,
        steering=None if thrust is None else thrust.steering,
        direction=None if thrust is None else thrust.direction,
        start=_mass_state(stretch.state),
        end=_mass_state(leg.end),
        dv_m_s=_leg_dv(leg),
        ended=leg.ended,
    )


def _mass_state(state: Array) -> MassState:
    return MassState(position_m=state[:3], velocity_m_s=state[3:6], mass_kg=float(state[6]))


def _disagreement(case: Case, flown: _Flown) -> float:
    """Distance in m between the two propagators at the flight's end, the same arcs flown."""
    if not flown.legs:
        return 0.0
    other = reference_propagator(gravity_of(case))
    state = flown.legs[0].stretch.state
    for leg in flown.legs:
        thrust: Thrust | None = leg.stretch.thrust
        state = other.advance(leg.stretch.start_s, state, leg.stretch.end_s, thrust).state
    return float(norm(state[:3] - flown.state[:3]))
