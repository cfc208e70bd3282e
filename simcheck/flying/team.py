"""The flight team: what it does with an estimate, knowing nothing but the estimate.

A policy is any callable that turns a Situation and a planner into a Choice; `stepwise` is ours. A
Situation holds all that a team knows. The truth is not in it and cannot be reached from it.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Callable
from dataclasses import replace
from typing import NamedTuple, TypeAlias

import numpy as np

from simcheck.arrays import Array
from simcheck.engines.base import Propagator, Thrust
from simcheck.errors import FlightError, NoPlanError
from simcheck.measuring import RingMotion, average, offsets
from simcheck.planning.later import left_of, seen_from, shifted
from simcheck.planning.registry import Planner
from simcheck.planning.trimming import MARGIN
from simcheck.records.case import Case
from simcheck.records.estimate import Estimate
from simcheck.records.flight import Action, FlownErrors
from simcheck.records.plan import Command, Plan
from simcheck.records.quantities import QUANTITIES, error_of, listed_tolerances
from simcheck.records.wish import Wish

FLY_ON = 0.1
"""Share of each tolerance below which the burns left are flown as they stand."""

RESERVE = 2
"""Trim burns kept back, where a trim with fewer burns exists, for what this one leaves."""


class Situation(NamedTuple):
    """What a team knows when it decides; plan is the one being flown, on the case's clock.

    remaining are its burns not yet due; spent_m_s the Δv flown by the team's book-keeping;
    trims_left how many trim burns it may still make, trimming whether it has begun to; missed
    whether the last ignition failed; flown the labels of the burns made so far.
    """

    case: Case
    motion: RingMotion
    propagator: Propagator
    estimate: Estimate
    plan: Plan
    remaining: tuple[Command, ...]
    spent_m_s: float
    trims_left: int
    trimming: bool = False
    missed: bool = False
    flown: tuple[str, ...] = ()

    @property
    def at_the_end(self) -> bool:
        """Whether the plan's burns are over, so that whatever comes is a trim."""
        return not self.remaining and (self.trimming or not self.missed)


class Choice(NamedTuple):
    """What to do, why, and the plan to fly from here with the burns left of it."""

    action: Action
    why: str
    plan: Plan
    remaining: tuple[Command, ...]


Policy: TypeAlias = Callable[[Situation, Planner], Choice]


def stepwise(now: Situation, planner: Planner) -> Choice:
    """Fly on while that lands well inside the tolerances; else ask the planner; trim at the end.

    The team stops when its estimate puts every error inside half its tolerance.
    """
    believed = foreseen(now, now.estimate, now.remaining)
    use, worst = judged_worst(now.case, believed)
    if now.remaining and use < FLY_ON:
        return _same(now, "fly-on", f"the burns left land well inside: {worst}")
    if not now.remaining and use <= MARGIN:
        return _same(now, "stop", f"every error is within half its tolerance: {worst}")
    if now.at_the_end and now.trims_left <= 0:
        left = f"{worst}, and no trim is left"
        return _same(now, "stop" if use <= 1 else "give-up", left)
    try:
        plan = _asked(now, planner)
    except NoPlanError as none:
        return _same(now, "fly-on" if now.remaining else "give-up", f"{worst}, but {none}")
    return _taken(now, plan, worst)


def _asked(now: Situation, planner: Planner) -> Plan:
    """The planner's answer to the case as it stands at the estimate, on the case's clock."""
    time = now.estimate.time_s
    later = seen_from(now.case, now.estimate, now.motion, now.propagator, spent_m_s=now.spent_m_s)
    left = left_of(now.plan, now.remaining, time)
    trims = now.trimming or now.at_the_end
    wish = Wish(flying=left, most_burns=now.trims_left if trims else None)
    try:
        few = max(now.trims_left - RESERVE, 1) if now.at_the_end else wish.most_burns
        plan = planner(later, replace(wish, most_burns=few))
    except NoPlanError:
        if not now.at_the_end:
            raise
        plan = planner(later, wish)
    kept = {x.burn for x in now.remaining}
    plan = shifted(plan, time)
    if {x.burn for x in plan.commands} <= kept:
        return plan
    return renumbered(plan, now.flown, None if trims else "B")


def renumbered(plan: Plan, flown: tuple[str, ...], letter: str | None = None) -> Plan:
    """The plan with its burns numbered on from those already flown: T3 after T2.

    letter takes the place of those that the planner gave: only trims are called T.
    """
    made = Counter(label.rstrip("0123456789") for label in flown)
    fresh: dict[str, str] = {}
    given = letter
    for burn in plan.burns:
        letter = given or burn.label.rstrip("0123456789")
        made[letter] += 1
        fresh[burn.label] = f"{letter}{made[letter]}"
    return replace(
        plan,
        burns=tuple(replace(x, label=fresh[x.label]) for x in plan.burns),
        commands=tuple(replace(x, burn=fresh.get(x.burn, x.burn)) for x in plan.commands),
    )


def _taken(now: Situation, plan: Plan, worst: str) -> Choice:
    """The planner's plan as a choice, named by what it does with the burns that were left."""
    count, dv = len(plan.commands), plan.commanded_dv_m_s
    if not count:
        return Choice("stop", f"{worst}, but the planner has no burn for it", plan, ())
    burns = f"{count} burn{'s' if count > 1 else ''}, {dv:.3f} m/s"
    foreseen_dv = sum(x.dv_m_s for x in now.remaining)
    if [x.burn for x in plan.commands] == [x.burn for x in now.remaining]:
        why = f"{worst}: the burns left are re-aimed, {dv - foreseen_dv:+.3f} m/s"
        return Choice("re-aim", why, plan, plan.commands)
    if (now.trimming or now.at_the_end) and count > now.trims_left:
        left = f"{worst}, and the trim needs {burns}, with {now.trims_left} left"
        return _same(now, "fly-on" if now.remaining else "give-up", left)
    if not now.at_the_end:
        return Choice("replan", f"{worst}: a fresh plan of {burns}", plan, plan.commands)
    return Choice("trim", f"{worst}: {plan.summary}, {burns}", plan, plan.commands)


def _same(now: Situation, action: Action, why: str) -> Choice:
    return Choice(action, why, now.plan, now.remaining)


def foreseen(now: Situation, start: Estimate, commands: tuple[Command, ...]) -> FlownErrors:
    """The four errors at the end if the commands are flown perfectly from a state; NaN if none."""
    try:
        time, state = flown_perfectly(now, start, commands)
        off = offsets(
            average(now.propagator, time, state, now.motion), now.motion, now.case.craft.slot
        )
    except FlightError:
        return FlownErrors(
            phase_deg=math.nan, period_s=math.nan, eccentricity=math.nan, plane_deg=math.nan
        )
    return FlownErrors(
        phase_deg=math.degrees(off.phase),
        period_s=off.period,
        eccentricity=off.eccentricity,
        plane_deg=math.degrees(off.plane),
    )


def flown_perfectly(
    now: Situation, start: Estimate, commands: tuple[Command, ...], until: float | None = None
) -> tuple[float, Array]:
    """Time and state (7,) after commands flown from an estimate without errors, or at `until`."""
    mass = now.case.craft.mass_kg if start.mass_kg is None else start.mass_kg
    time, state = start.time_s, np.concatenate([start.position_m, start.velocity_m_s, [mass]])
    for command in commands:
        engine = now.case.thrusters if command.engine == "thrusters" else now.case.engine
        if engine is None:
            raise FlightError(f"{command.burn} asks for thrusters; the case has none")
        light = max(command.ignition_s, time)
        state = now.propagator.advance(time, state, light).state
        thrust = Thrust(
            thrust_n=engine.thrust_n,
            isp_s=engine.isp_s,
            steering=command.steering,
            direction=command.direction,
        )
        time = light + command.duration_s
        state = now.propagator.advance(light, state, time, thrust).state
    if until is not None:
        state, time = now.propagator.advance(time, state, until).state, until
    return time, state


def errors_of(errors: Array, motion: RingMotion) -> FlownErrors:
    """The four errors of six small ones (6,): see `measuring_lanes.LaneGlance`."""
    phase, period, k, h, x, y = (float(e) for e in errors)
    return FlownErrors(
        phase_deg=math.degrees(phase),
        period_s=period * motion.period_s,
        eccentricity=math.hypot(k, h),
        plane_deg=math.degrees(math.asin(min(math.hypot(x, y), 1.0))),
    )


def judged_worst(case: Case, errors: FlownErrors) -> tuple[float, str]:
    """The largest use of a tolerance, and that error in words."""
    tolerances = listed_tolerances(case.tolerance)
    found = [
        (abs(error_of(errors, q)) / tolerances[q.error], q)
        for q in QUANTITIES
        if q.error in tolerances
    ]
    if not found:
        return 0.0, "nothing is judged"
    use, q = max(found, key=lambda pair: pair[0])
    if math.isnan(use):
        return math.inf, "the orbit cannot be measured"
    unit = f" {q.unit}" if q.unit else ""
    value = error_of(errors, q)
    share = f"{use:.0%} of" if use < 2 else f"{use:.3g} times"
    return use, f"the {q.name} is {value:+.4g}{unit} off, {share} its tolerance"
