"""One flight of a plan: every arc between ignitions and cutoffs, then the coast that measures it.

A flight is a pure function of (case, plan, draws). Its outcome is the last thing that befell it: a
craft whose tank ran dry and that then leaves or hits the body has left or hit it, and the empty
tank stands among the events.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np

from simcheck.arrays import Array
from simcheck.clearances import Stretch, clearances
from simcheck.engines.base import Propagator, Thrust, gravity_of
from simcheck.engines.choosing import fast_propagator, reference_propagator
from simcheck.errors import FlightError
from simcheck.flying.draws import Draws, drawn, perfect
from simcheck.flying.executing import execute, ignition
from simcheck.kernels.transfers import period_of
from simcheck.kernels.vectors import norm, wrap
from simcheck.measuring import (
    REVOLUTIONS,
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
_IMPACT_SAMPLES = 120  # looks for the ground along a burn
_IMPACT_S = 1e-3
_LOOK = 1.05  # of the measuring coast, which is whole revolutions of the averaged period


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
    flown, found = _measured(case, flown, propagator, motion)
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
    """The commanded arcs, up to the last cutoff or to the ground."""
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
            wait = Stretch(time, light, state, None)
            met = _impact(wait, propagator, case.body.radius_m)
            if met is not None:
                return _grounded(_Flown(legs, time, state, outcome, events), wait, met)
            lit = propagator.advance(time, state, light).state
            legs.append(_Leg(wait, lit, None, None))
            time, state = light, lit
        burn = execute(
            propagator,
            command,
            engine=engines[command.engine],
            errors=errors,
            draws=draws,
            index=index,
            time=time,
            state=state,
            dry_mass=craft.dry_mass_kg,
        )
        stretch = Stretch(time, burn.cutoff_s, state, burn.thrust)
        met = _impact(stretch, propagator, case.body.radius_m)
        if met is not None:
            flown = _Flown(legs, time, state, outcome, events)
            return _grounded(flown, stretch, met, command.burn)
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


def _measured(
    case: Case, flown: _Flown, propagator: Propagator, motion: RingMotion
) -> tuple[_Flown, Averages | None]:
    """The coast after the last cutoff, and what it measures; None where it ends badly."""
    if flown.outcome == "hit-the-body":
        return flown, None
    r, v = flown.state[:3], flown.state[3:6]
    period = float(period_of(r, v, propagator.gravity.gm))
    closed = math.isfinite(period)
    # An open orbit that comes in has passed its periapsis by then: its speed only grows on the way.
    span = _LOOK * REVOLUTIONS * period if closed else 2 * float(norm(r) / norm(v))
    ahead = Stretch(flown.time, flown.time + span, flown.state, None)
    met = _impact(ahead, propagator, case.body.radius_m)
    if met is not None:
        return _grounded(flown, ahead, met), None
    if not closed:
        flown.events.append(f"nothing to measure: the orbit at {flown.time:.0f} s is not closed")
        flown = _coast(flown, propagator, ahead.end_s)
        return flown._replace(outcome="left-the-body"), None
    found = average(propagator, flown.time, flown.state, motion)
    return _coast(flown, propagator, found.time), found


def _coast(flown: _Flown, propagator: Propagator, until: float) -> _Flown:
    end = propagator.advance(flown.time, flown.state, until).state
    leg = _Leg(Stretch(flown.time, until, flown.state, None), end, None, None)
    return flown._replace(legs=[*flown.legs, leg], time=until, state=end)


def _grounded(
    flown: _Flown, stretch: Stretch, met: tuple[float, Array], burn: str | None = None
) -> _Flown:
    """The flight ended on the body's surface, where and when this arc meets it."""
    time, state = met
    leg = _Leg(stretch._replace(end_s=time), state, burn, "impact")
    events = [*flown.events, f"met the surface at {time:.0f} s"]
    return _Flown([*flown.legs, leg], time, state, "hit-the-body", events)


def _impact(stretch: Stretch, propagator: Propagator, radius: float) -> tuple[float, Array] | None:
    """First time in s, to a millisecond, and state at which an arc is below the surface."""
    start = stretch.start_s

    def at(time: float) -> Array | None:
        try:
            return propagator.advance(start, stretch.state, time, stretch.thrust).state
        except FlightError:  # so deep below that the motion itself breaks down
            return None

    def below(time: float) -> bool:
        there = at(time)
        return there is None or bool(norm(there[:3]) < radius)

    knots = _knots(stretch, propagator)
    first = next((i for i, knot in enumerate(knots) if below(knot)), None)
    if first is None:
        return None
    low, high = knots[max(first - 1, 0)], knots[first]
    while high - low > _IMPACT_S:
        middle = (low + high) / 2
        low, high = (low, middle) if below(middle) else (middle, high)
    there = at(high)
    return None if there is None else (high, there)


def _knots(stretch: Stretch, propagator: Propagator) -> list[float]:
    """Times between which the radius has no minimum: a coast's apsides; on a burn a fine grid."""
    start, end = stretch.start_s, stretch.end_s
    if stretch.thrust is None:
        try:
            events = propagator.passages(start, stretch.state, end, np.array([0.0, 0.0, 1.0]))
            return [start, *(e.time for e in events if e.kind != "node"), end]
        except FlightError:
            pass
    return [float(time) for time in np.linspace(start, end, _IMPACT_SAMPLES)]


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


def _drift(case: Case, motion: RingMotion, found: Averages | None) -> tuple[float, float | None]:
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
            ahead = spacing + float(np.degrees(wrap(np.radians(ahead - spacing))))
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
