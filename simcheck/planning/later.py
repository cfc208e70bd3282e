"""The same case seen from a later time, and plans made from there put back on the case's clock.

A planner that knows nothing of flights in progress so becomes one that replans: it is given a case
whose epoch is the estimate's time.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from simcheck.engines.base import Propagator
from simcheck.kernels.vectors import TAU
from simcheck.measuring import RingMotion
from simcheck.records.case import Body, Case, Member
from simcheck.records.estimate import Estimate
from simcheck.records.plan import Command, Plan

_LEAST_S = 1e-3  # a limit on duration has to stay above zero


def seen_from(
    case: Case,
    estimate: Estimate,
    motion: RingMotion,
    propagator: Propagator,
    *,
    spent_m_s: float = 0.0,
) -> Case:
    """The case with its epoch at the estimate: craft, ring, members and limits as they then are.

    spent_m_s is the Δv already flown, which the limit on Δv no longer holds. An estimate without a
    mass leaves the craft as heavy as the case has it.
    """
    time = estimate.time_s
    moved = float(motion.passed(time))
    ring = replace(
        case.ring,
        raan_rad=case.ring.raan_rad + motion.node_rate * time,
        argument_of_latitude_rad=float(np.mod(case.ring.argument_of_latitude_rad + moved, TAU)),
    )
    mass = estimate.mass_kg if estimate.mass_kg is not None else case.craft.mass_kg
    craft = replace(
        case.craft,
        position_m=estimate.position_m,
        velocity_m_s=estimate.velocity_m_s,
        propellant_kg=max(mass - case.craft.dry_mass_kg, 0.0),
    )
    limits = replace(
        case.limits,
        duration_s=max(case.limits.duration_s - time, _LEAST_S),
        dv_m_s=max(case.limits.dv_m_s - spent_m_s, 0.0),
    )
    members = tuple(_moved(member, time, propagator) for member in case.members)
    return replace(
        case,
        epoch=None,
        body=_turned(case.body, time),
        ring=ring,
        craft=craft,
        limits=limits,
        members=members,
        sky=None if case.sky is None else case.sky.seen_from(time),
    )


def _turned(body: Body, time: float) -> Body:
    """The body as it has turned by then."""
    if body.prime_meridian_rad is None or body.rotation_period_s is None:
        return body
    angle = body.prime_meridian_rad + TAU * time / body.rotation_period_s
    return replace(body, prime_meridian_rad=float(np.mod(angle, TAU)))


def _moved(member: Member, time: float, propagator: Propagator) -> Member:
    if member.position_m is None or member.velocity_m_s is None:
        return member
    state = np.concatenate([member.position_m, member.velocity_m_s, [1.0]])
    state = propagator.advance(0.0, state, time).state
    return replace(member, position_m=state[:3], velocity_m_s=state[3:6])


def left_of(plan: Plan, commands: tuple[Command, ...], time: float) -> Plan:
    """What is left of a plan when only these commands are still due, on a clock begun at `time`."""
    return shifted(replace(plan, commands=commands), -time)


def shifted(plan: Plan, seconds: float) -> Plan:
    """The plan with every time later by `seconds`."""
    primer = plan.primer
    if primer is not None:
        primer = replace(
            primer,
            largest_time_s=primer.largest_time_s + seconds,
            time_s=primer.time_s + seconds,
        )
    return replace(
        plan,
        burns=tuple(replace(burn, time_s=burn.time_s + seconds) for burn in plan.burns),
        commands=tuple(replace(x, ignition_s=x.ignition_s + seconds) for x in plan.commands),
        arrival_time_s=plan.arrival_time_s + seconds,
        alternatives=tuple(
            replace(x, arrival_time_s=x.arrival_time_s + seconds) for x in plan.alternatives
        ),
        primer=primer,
    )
