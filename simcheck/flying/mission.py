"""One flight of a plan: every arc between ignitions and cutoffs, then the coast that measures it.

A flight is a pure function of (case, plan, draws). Its outcome is the last thing that befell it: a
craft whose tank ran dry and that then leaves or hits the body has left or hit it, and the empty
tank stands among the events.
"""

from __future__ import annotations

import math

import numpy as np

from simcheck.arrays import Array
from simcheck.clearances import Passing, Stretch, clearances
from simcheck.engines.base import Propagator, Thrust
from simcheck.engines.choosing import fast_propagator, reference_propagator
from simcheck.engines.gravity import gravity_of
from simcheck.flying.arcs import Flown, Leg, coasted, grounded, impact
from simcheck.flying.draws import MOST_BURNS, drawn, perfect
from simcheck.flying.operating import Site, Team, operate
from simcheck.kernels.transfers import period_of
from simcheck.kernels.vectors import norm, wrap
from simcheck.measuring import (
    REVOLUTIONS,
    Averages,
    RingMotion,
    average,
    offsets,
    resolve_ring,
    slot_rate,
)
from simcheck.planning.commanding import member_states
from simcheck.records.case import Case
from simcheck.records.flight import (
    NEAR,
    Approach,
    Arc,
    Components,
    Flight,
    FlownErrors,
    MassState,
    Neighbour,
)
from simcheck.records.plan import Plan

_DAY = 86400.0
_LOOK = 1.05  # of the measuring coast, which is whole revolutions of the averaged period


def fly_plan(
    case: Case,
    plan: Plan,
    *,
    seed: int | None = None,
    sample: int | None = None,
    reference: bool = True,
    team: Team | None = None,
) -> Flight:
    """Fly a plan's commands in the case's forces and measure where the craft ends up.

    sample None flies without errors; otherwise the case's errors are drawn from the stream keyed by
    (seed, sample). team, where the case's operations let it decide, replans and trims; None flies
    the commands as they stand. reference also flies the reference propagator and states the
    disagreement. Raises FlightError only where the motion cannot be computed.
    """
    count = len(plan.commands) if team is None else len(plan.commands) + MOST_BURNS
    draws = perfect(count) if sample is None else drawn(seed or 0, sample, count)
    propagator = fast_propagator(gravity_of(case))
    motion = resolve_ring(case.ring, propagator)
    members = member_states(case, motion, propagator)
    flown = operate(Site(case, propagator, motion, draws), plan, team)
    arrival = max((leg.stretch.end_s for leg in flown.legs if leg.burn), default=0.0)
    flown, found = _measured(case, flown, propagator, motion)
    seen = clearances(
        propagator,
        [leg.stretch for leg in flown.legs],
        members,
        watch_m=NEAR * case.limits.separation_m,
    )
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
        decisions=tuple(flown.decisions),
        components=_components(found),
        approaches=tuple(_approach(case, passing) for passing in seen.passings),
    )


def _measured(
    case: Case, flown: Flown, propagator: Propagator, motion: RingMotion
) -> tuple[Flown, Averages | None]:
    """The coast after the last cutoff, and what it measures; None where it ends badly."""
    if flown.outcome == "hit-the-body":
        return flown, None
    r, v = flown.state[:3], flown.state[3:6]
    period = float(period_of(r, v, propagator.gravity.gm))
    closed = math.isfinite(period)
    # An open orbit that comes in has passed its periapsis by then: its speed only grows on the way.
    span = _LOOK * REVOLUTIONS * period if closed else 2 * float(norm(r) / norm(v))
    ahead = Stretch(flown.time, flown.time + span, flown.state, None)
    met = impact(ahead, propagator, case.body.radius_m)
    if met is not None:
        return grounded(flown, ahead, met), None
    if not closed:
        flown.events.append(f"nothing to measure: the orbit at {flown.time:.0f} s is not closed")
        flown = coasted(flown, propagator, ahead.end_s)
        return flown._replace(outcome="left-the-body"), None
    found = average(propagator, flown.time, flown.state, motion)
    return coasted(flown, propagator, found.time), found


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


def _components(found: Averages | None) -> Components:
    if found is None:
        return Components()
    x, y, z = found.normal
    return Components(
        eccentricity_k=float(found.e_vector[0]),
        eccentricity_h=float(found.e_vector[1]),
        plane_x_deg=float(np.degrees(np.arctan2(x, z))),
        plane_y_deg=float(np.degrees(np.arctan2(y, z))),
    )


def _drift(case: Case, motion: RingMotion, found: Averages | None) -> tuple[float, float | None]:
    """Phase drift in deg/day, and days until the phase leaves its tolerance (None: never)."""
    if found is None:
        return math.nan, None
    rate = 2 * math.pi / found.period - slot_rate(motion, found)
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


def _approach(case: Case, passing: Passing) -> Approach:
    return Approach(
        member=case.members[passing.member].name,
        kind=passing.kind,
        arc=passing.stretch,
        time_s=passing.time_s,
        distance_m=passing.distance_m,
        relative_speed_m_s=passing.relative_speed_m_s,
        relative_rsw_m=passing.relative_rsw_m,
    )


def _dv_used(flown: Flown) -> float:
    return float(sum(_leg_dv(leg) for leg in flown.legs))


def _leg_dv(leg: Leg) -> float:
    thrust = leg.stretch.thrust
    if thrust is None:
        return 0.0
    return float(thrust.exhaust_m_s * np.log(leg.stretch.state[6] / leg.end[6]))


def _arc(leg: Leg) -> Arc:
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


def _disagreement(case: Case, flown: Flown) -> float:
    """Distance in m between the two propagators at the flight's end, the same arcs flown."""
    if not flown.legs:
        return 0.0
    other = reference_propagator(gravity_of(case))
    state = flown.legs[0].stretch.state
    for leg in flown.legs:
        thrust: Thrust | None = leg.stretch.thrust
        state = other.advance(leg.stretch.start_s, state, leg.stretch.end_s, thrust).state
    return float(norm(state[:3] - flown.state[:3]))
