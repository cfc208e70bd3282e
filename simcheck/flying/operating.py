"""The operation: burn, track, decide, until the last burn is made or the team stops.

The truth lives here. The team is handed an estimate with its errors, never the state itself.
"""

from __future__ import annotations

from dataclasses import replace
from typing import NamedTuple

import numpy as np

from simcheck.arrays import Array
from simcheck.clearances import Stretch
from simcheck.engines.base import G0, Propagator
from simcheck.errors import FlightError
from simcheck.flying.arcs import Flown, Leg, grounded, impact
from simcheck.flying.draws import Draws
from simcheck.flying.executing import execute, ignition
from simcheck.flying.team import Choice, Policy, Situation, foreseen
from simcheck.kernels.transfers import period_of
from simcheck.kernels.vectors import norm
from simcheck.measuring import RingMotion
from simcheck.planning.registry import Planner
from simcheck.records.case import Case, Engine
from simcheck.records.estimate import Estimate
from simcheck.records.flight import Decision
from simcheck.records.plan import Command, Plan


class Site(NamedTuple):
    """What a flight is flown in: the case, its forces and ring, and the errors drawn for it."""

    case: Case
    propagator: Propagator
    motion: RingMotion
    draws: Draws


class Team(NamedTuple):
    """Who decides, and the planner that it asks."""

    policy: Policy
    planner: Planner


def operate(site: Site, plan: Plan, team: Team | None) -> Flown:
    """Fly the plan's commands, up to the last cutoff or to the ground.

    team None flies them as they stand (open loop).
    """
    return _Operation(site, plan, team).run()


class _Operation:
    """One flight under way; `flown` is the truth at the last cutoff or missed ignition."""

    def __init__(self, site: Site, plan: Plan, team: Team | None) -> None:
        self.site, self.plan, self.team = site, plan, team
        self.remaining = plan.commands
        self.burns, self.estimates, self.trims, self.spent = 0, 0, 0, 0.0
        self.missed, self.trimming = False, False
        self.labels: list[str] = []
        craft, errors, draws = site.case.craft, site.case.errors, site.draws
        self.mass = craft.mass_kg  # by the team's book-keeping
        state = np.concatenate(
            [
                craft.position_m + errors.initial_position_m * draws.position,
                craft.velocity_m_s + errors.initial_velocity_m_s * draws.velocity,
                [craft.mass_kg],
            ]
        )
        self.flown = Flown([], 0.0, state, "flown", [], [])

    def run(self) -> Flown:
        """Burn and decide in turns."""
        while True:
            if self.remaining:
                command, self.remaining = self.remaining[0], self.remaining[1:]
                self._burn(command)
            ended = self.flown.outcome == "hit-the-body"
            if ended or not (self._decide() or self.remaining):
                return self.flown

    def _burn(self, command: Command) -> None:
        """Coast to the ignition and fly the burn, unless the ground comes first or it is missed."""
        site, flown = self.site, self.flown
        case, draws, index = site.case, site.draws, self.burns
        engine = self._engine(command)
        if index >= len(draws.burns):
            raise FlightError(f"more than {index} burns: this flight comes to no end")
        light = ignition(command, case.errors, draws, index, flown.time)
        self.burns += 1
        self.labels.append(command.burn)
        self.trims += self.trimming
        if light > flown.time and not self._coast(light):
            return
        flown, self.missed = self.flown, draws.missed(index, case.errors.missed_burn)
        if self.missed:
            self.trims -= self.trimming  # it cost nothing, and can be made again
            flown.events.append(f"{command.burn}: the ignition failed")
            return
        burn = execute(
            site.propagator,
            command,
            engine=engine,
            errors=case.errors,
            draws=draws,
            index=index,
            time=flown.time,
            state=flown.state,
            dry_mass=case.craft.dry_mass_kg,
        )
        stretch = Stretch(flown.time, burn.cutoff_s, flown.state, burn.thrust)
        met = impact(stretch, site.propagator, case.body.radius_m)
        if met is not None:
            self.flown = grounded(flown, stretch, met, command.burn)
            return
        self._book(engine, burn.cutoff_s - flown.time)
        legs = [*flown.legs, Leg(stretch, burn.state, command.burn, burn.ended)]
        self.flown = flown._replace(legs=legs, time=burn.cutoff_s, state=burn.state)
        if burn.ended in ("tank empty", "watch not reached"):
            length = burn.cutoff_s - flown.time
            flown.events.append(
                f"{command.burn}: {burn.ended} after {length:.1f} s "
                f"of {command.duration_s:.1f} s commanded"
            )
        if burn.ended == "tank empty":
            self.flown = self.flown._replace(outcome="out-of-propellant")

    def _engine(self, command: Command) -> Engine:
        engine = {"engine": self.site.case.engine, "thrusters": self.site.case.thrusters}
        found = engine[command.engine]
        if found is None:
            raise FlightError(f"{command.burn} asks for the {command.engine}; the case has none")
        return found

    def _coast(self, until: float) -> bool:
        """Coast; False where the ground comes first."""
        site, flown = self.site, self.flown
        wait = Stretch(flown.time, until, flown.state, None)
        met = impact(wait, site.propagator, site.case.body.radius_m)
        if met is not None:
            self.flown = grounded(flown, wait, met)
            return False
        end = site.propagator.advance(flown.time, flown.state, until).state
        legs = [*flown.legs, Leg(wait, end, None, None)]
        self.flown = flown._replace(legs=legs, time=until, state=end)
        return True

    def _book(self, engine: Engine, seconds: float) -> None:
        """The team's book-keeping: nominal flow over the time that the engine burnt."""
        exhaust = G0 * engine.isp_s
        after = max(
            self.mass - engine.thrust_n / exhaust * seconds, self.site.case.craft.dry_mass_kg
        )
        self.spent += exhaust * float(np.log(self.mass / after))
        self.mass = after

    def _decide(self) -> bool:
        """Track and decide, where there is a team and time for it; whether burns came of it."""
        operations = self.site.case.operations
        if self.team is None or (self.remaining and operations.replan == "never"):
            return False
        if self.flown.outcome == "out-of-propellant":
            self.remaining = ()
            return False
        if not self.remaining and operations.max_trims == 0 and not self.missed:
            return False
        time = self.flown.time + self._settling()
        due = [x for x in self.remaining if x.ignition_s >= time]
        if len(due) < len(self.remaining) and not self.missed:
            return False  # the next burn comes before the estimate is there
        truth = self.site.propagator.advance(self.flown.time, self.flown.state, time).state
        if self._falls(time):
            return False
        situation = self._situation(time, truth, tuple(due))
        choice = self.team.policy(situation, self.team.planner)
        self.plan, self.remaining, self.missed = choice.plan, choice.remaining, False
        self.trimming |= choice.action == "trim"
        self.flown.decisions.append(_decision(situation, choice, truth))
        if choice.action in ("stop", "give-up"):
            self.remaining = ()
        return bool(self.remaining)

    def _settling(self) -> float:
        """Tracking needed before a decision, s."""
        operations, flown = self.site.case.operations, self.flown
        if operations.settle_s is not None:
            return operations.settle_s
        period = period_of(flown.state[:3], flown.state[3:6], self.site.propagator.gravity.gm)
        turns = operations.settle_revolutions or 0.0
        return turns * float(period if np.isfinite(period) else self.site.motion.period_s)

    def _falls(self, time: float) -> bool:
        """Whether the craft meets the ground before an estimate is there."""
        site, flown = self.site, self.flown
        wait = Stretch(flown.time, time, flown.state, None)
        met = impact(wait, site.propagator, site.case.body.radius_m)
        if met is None:
            return False
        self.flown = grounded(flown, wait, met)
        self.remaining = ()
        return True

    def _situation(self, time: float, truth: Array, due: tuple[Command, ...]) -> Situation:
        """What the team is told: the truth with the errors of this estimate."""
        site, errors = self.site, self.site.case.errors
        if self.estimates >= len(site.draws.estimates):
            raise FlightError(f"more than {self.estimates} estimates: this flight has no end")
        g = site.draws.estimates[self.estimates]
        self.estimates += 1
        estimate = Estimate(
            time_s=time,
            position_m=truth[:3] + errors.navigation_position_m * g[:3],
            velocity_m_s=truth[3:6] + errors.navigation_velocity_m_s * g[3:],
            mass_kg=self.mass,
            source="tracking",
        )
        left = max(site.case.operations.max_trims - self.trims, 0)
        return Situation(
            case=site.case,
            motion=site.motion,
            propagator=site.propagator,
            estimate=estimate,
            plan=self.plan,
            remaining=due,
            spent_m_s=self.spent,
            trims_left=left,
            trimming=self.trimming,
            missed=self.missed,
            flown=tuple(self.labels),
        )


def _decision(situation: Situation, choice: Choice, truth: Array) -> Decision:
    """The log's line: what the team believed and did, and what was true."""
    estimate = situation.estimate
    true = replace(estimate, position_m=truth[:3], velocity_m_s=truth[3:6], mass_kg=truth[6])
    return Decision(
        time_s=estimate.time_s,
        action=choice.action,
        why=choice.why,
        believed=foreseen(situation, estimate, situation.remaining),
        true=foreseen(situation, true, situation.remaining),
        position_off_m=float(norm(estimate.position_m - truth[:3])),
        velocity_off_m_s=float(norm(estimate.velocity_m_s - truth[3:6])),
        burns=tuple(command.burn for command in choice.remaining),
        dv_left_m_s=float(sum(command.dv_m_s for command in choice.remaining)),
    )
