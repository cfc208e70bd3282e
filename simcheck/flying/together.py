"""One flight's decisions by the team of many flights: a policy like `team.stepwise`.

So a sample flown alone, with its full log, decides as it did among the others. What is too odd for
that team goes to `stepwise`, and so to the planner.
"""

from __future__ import annotations

from dataclasses import replace
from importlib.util import find_spec

import numpy as np

from simcheck.arrays import Array
from simcheck.flying.operating import Team
from simcheck.flying.team import (
    Choice,
    Situation,
    errors_of,
    flown_perfectly,
    judged_worst,
    stepwise,
)
from simcheck.planning.registry import DEFAULT, Planner
from simcheck.planning.replanning import burn_of
from simcheck.records.case import Case
from simcheck.records.plan import Command, Plan


def team_of(case: Case, plan: Plan, name: str, planner: Planner) -> Team | None:
    """Who decides in flights of a plan: None where the case's operations leave nothing to decide.

    Our own planner's team is the one that decides for many flights at once, where the fast engine
    is there; any other planner is asked, step by step.
    """
    operations = case.operations
    if operations.replan != "each-burn" and operations.max_trims == 0:
        return None
    if name == DEFAULT and find_spec("heyoka") is not None:
        return Team(Together(case, plan), planner)
    return Team(stepwise, planner)


class Together:
    """A policy for one flight of a plan; it holds what it made of that plan, so one a flight."""

    def __init__(self, case: Case, plan: Plan) -> None:
        from simcheck.flying.lanes import ground_of

        self.team = ground_of(case, plan).team
        self.plan: Plan | None = plan

    def __call__(self, now: Situation, planner: Planner) -> Choice:
        """What `team_lanes` decides for one lane, or `stepwise` where that has no answer."""
        choice = self._decided(now)
        if choice is not None:
            self.plan = choice.plan
            return choice
        choice = stepwise(now, planner)
        if choice.plan is not now.plan:
            self.plan = None  # a course of its own: nothing is known of flights about it
        return choice

    def _decided(self, now: Situation) -> Choice | None:
        from simcheck.flying.team_lanes import ACTIONS, Situations
        from simcheck.planning.lane_commands import alike, lane_of
        from simcheck.planning.trim_sets import MOST

        own = now.plan is self.plan
        if self.team is None or (now.missed and not now.trimming):
            return None
        if now.remaining and not now.trimming and not own:
            return None
        estimate = now.estimate
        mass = now.case.craft.mass_kg if estimate.mass_kg is None else estimate.mass_kg
        width = max(len(self.team.plan.commands), MOST) + 1
        if len(now.remaining) > width:
            return None
        chosen = self.team.decide(
            Situations(
                np.array([estimate.time_s]),
                np.concatenate([estimate.position_m, estimate.velocity_m_s, [mass]])[None],
                alike(now.remaining, 1, width),
                np.array([now.trims_left]),
                np.array([now.trimming]),
                np.array([now.spent_m_s]),
            )
        )
        if chosen.odd[0]:
            return None
        action = ACTIONS[chosen.action[0]]
        _, worst = judged_worst(now.case, errors_of(chosen.errors[0], now.motion))
        if action not in ("re-aim", "trim"):
            return Choice(action, _why(now, action, worst), now.plan, now.remaining)
        count = int(chosen.left.number[0])
        labels = _labels(now, count, action)
        commands = tuple(lane_of(chosen.left, 0, labels, now.case))
        why = _changed(
            now, commands, worst, action, float(chosen.rest[0]), round(float(chosen.wait[0]))
        )
        return Choice(action, why, _plan(now, commands), commands)


def _labels(now: Situation, count: int, action: str) -> list[str]:
    """T for trims, C for a burn added before those left, numbered on from those already flown."""
    kept = [] if action == "trim" else [command.burn for command in now.remaining]
    letter = "T" if action == "trim" else "C"
    made = sum(label.rstrip("0123456789") == letter for label in now.flown)
    fresh = [f"{letter}{made + i + 1}" for i in range(count - len(kept))]
    return fresh + kept


def _why(now: Situation, action: str, worst: str) -> str:
    if action == "fly-on":
        return f"the burns left are flown as they stand: {worst}"
    if now.trims_left <= 0:
        return f"{worst}, and no trim is left"
    if action == "stop":
        return f"every error is within its tolerance: {worst}"
    return f"{worst}, and no trim of the burns left is good enough"


def _changed(
    now: Situation,
    commands: tuple[Command, ...],
    worst: str,
    action: str,
    rest: float,
    turns: int,
) -> str:
    """What is changed and why, in words with numbers."""
    dv = sum(x.dv_m_s for x in commands)
    if action == "trim":
        burns = f"{len(commands)} burn{'s' if len(commands) > 1 else ''}, {dv:.3f} m/s"
        return f"{worst}: trims within {turns} rev, {burns}"
    more = dv - sum(x.dv_m_s for x in now.remaining)
    text = f"{worst}: the burns left are re-aimed, {more:+.3f} m/s"
    if len(commands) > len(now.remaining):
        text += f", a burn of {commands[0].dv_m_s:.3f} m/s before them included"
    if turns:
        text += f"; a trim of {rest:.3f} m/s is to follow {turns} rev after the last"
    return text


def _plan(now: Situation, commands: tuple[Command, ...]) -> Plan:
    """The plan being flown with these commands; their burns in two-body motion, flown perfectly."""
    purposes = {burn.label: burn.purpose for burn in now.plan.burns}
    burns, lits = [], _lit(now, commands)
    for command, lit in zip(commands, lits, strict=True):
        usual = "trim" if command.burn.startswith("T") else "correction"
        purpose = purposes.get(command.burn, usual)
        reason = "Aimed by the flight team from its estimate."
        burns.append(burn_of(command, lit, purpose, reason, now.case.body.gm_m3_s2))
    return replace(
        now.plan,
        burns=tuple(burns),
        total_dv_m_s=float(sum(burn.magnitude_m_s for burn in burns)),
        arrival_time_s=burns[-1].time_s,
        commands=commands,
        commanded_dv_m_s=float(sum(command.dv_m_s for command in commands)),
        primer=None,
        alternatives=(),
    )


def _lit(now: Situation, commands: tuple[Command, ...]) -> list[Array]:
    """States (7,) at the ignitions, from the estimate on."""
    return [
        flown_perfectly(now, now.estimate, commands[:k], until=command.ignition_s)[1]
        for k, command in enumerate(commands)
    ]
