"""The flight team of many flights at once: what `team.stepwise` does, a lane each.

It knows what a Situation holds, and no more. It re-aims what is left of the plan with the slopes of
the flight without errors, and trims from the list of all small sets of burns; whatever is too odd
for that is left to the planner, one flight at a time.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from simcheck.arrays import Array
from simcheck.engines.batches import TaylorBatches
from simcheck.flying.team import FLY_ON, RESERVE
from simcheck.kernels.transfers import period_of
from simcheck.measuring_lanes import LaneGlance
from simcheck.planning.aiming_lanes import Course, LaneAims
from simcheck.planning.commanding import Range
from simcheck.planning.lane_commands import LaneCommands, Rows, empty, flown_perfectly
from simcheck.planning.lane_errors import uses
from simcheck.planning.replanning import DEARER_M_S
from simcheck.planning.trimming import MARGIN
from simcheck.planning.trimming_lanes import Trimmer
from simcheck.records.flight import Action
from simcheck.records.plan import Plan

ACTIONS: tuple[Action, ...] = ("fly-on", "re-aim", "trim", "stop", "give-up")
"""Actions by their number."""

_DEAREST = 0.25  # share that re-aimed burns may cost more than foreseen before the planner is asked
_LEAD = 0.1  # revolutions of the time after the last burn that are not counted on

_FLY_ON, _RE_AIM, _TRIM, _STOP, _GIVE_UP = range(5)


class Situations(NamedTuple):
    """What a team knows of n flights when it decides.

    times (n,) and states (n, 7) are estimates; left the burns not yet due; trims_left (n,) how many
    trims may still be made, trimming (n,) whether they have begun; spent (n,) the Δv flown by the
    team's book-keeping.
    """

    times: Array
    states: Array
    left: LaneCommands
    trims_left: Rows
    trimming: NDArray[np.bool_]
    spent: Array

    def of(self, rows: Rows) -> Situations:
        """Those of some lanes."""
        return Situations(
            self.times[rows],
            self.states[rows],
            self.left.of(rows),
            self.trims_left[rows],
            self.trimming[rows],
            self.spent[rows],
        )


class Choices(NamedTuple):
    """What to do with n flights: an action's number, the burns to fly; odd lanes have no answer.

    errors (n, 6) are what flying the burns left would have ended with; rest (n,) the Δv in m/s of a
    trim that re-aimed burns count on, wait (n,) the revolutions to that or of a trim.
    """

    action: NDArray[np.intp]
    left: LaneCommands
    errors: Array
    rest: Array
    wait: Array
    odd: NDArray[np.bool_]


class TeamLanes:
    """The team of flights of one plan. Not shared between threads.

    Raises FlightError where the plan cannot be flown without errors.
    """

    def __init__(self, site: Range, plan: Plan, batches: TaylorBatches) -> None:
        self.site, self.plan, self.batches = site, plan, batches
        self.course = Course(site, plan, batches)
        self.trimmer = Trimmer(site.case, batches, site.motion)

    def decide(self, now: Situations) -> Choices:
        """Fly on, re-aim, trim, stop or give up. A lane's choice depends on that lane alone."""
        n = len(now.times)
        seen = self._foreseen(now)
        errors = seen.errors.copy()
        use = np.max(uses(errors, self.trimmer.tolerance), axis=1)
        left = now.left.of(np.arange(n))
        choice = Choices(
            np.zeros(n, dtype=np.intp), left, errors, np.zeros(n), np.zeros(n), np.isnan(use)
        )
        some = now.left.number > 0
        open_ = ~choice.odd & ~(some & (use < FLY_ON))
        stop = open_ & ~some & (use <= MARGIN)
        out = open_ & ~some & ~stop & (now.trims_left <= 0)
        choice.action[stop] = _STOP
        choice.action[out] = np.where(use[out] <= 1, _STOP, _GIVE_UP)
        open_ &= ~stop & ~out
        self._re_aim(now, choice, np.flatnonzero(open_ & some & ~now.trimming))
        self._trim(now, choice, np.flatnonzero(open_ & ~some), seen)
        rows = np.flatnonzero(open_ & some & now.trimming)
        at = now.of(rows)
        for whole, part in zip(seen, self.trimmer.glance(at.times, at.states), strict=True):
            whole[rows] = part
        self._trim(now, choice, rows, seen)
        return choice

    def _foreseen(self, now: Situations) -> LaneGlance:
        """The errors that flying the burns left without errors ends with."""
        case = self.site.case
        times, states = flown_perfectly(self.batches, case, now.times, now.states, now.left)
        return self.trimmer.glance(times, states)

    def _re_aim(self, now: Situations, choice: Choices, rows: Rows) -> None:
        """The plan's burns left, aimed anew where that costs about what was foreseen."""
        burns, motion, limits = len(self.plan.commands), self.site.motion, self.site.case.limits
        for count in np.unique(now.left.number[rows]):
            at = rows[now.left.number[rows] == count]
            one, last = now.of(at), int(count) - 1
            # Time after the last burn, less the tracking that trims begin with.
            ends = one.left.ignition[:, last] + one.left.duration[:, last] + self._settling(one)
            room = np.where(one.trims_left > 0, (limits.duration_s - ends) / motion.period_s, 0.0)
            aims = self.course.reaim(burns - int(count), one.times, one.states, trims=room - _LEAD)
            fine = ~aims.failed & self._worth(one, aims, room)
            choice.odd[at[~fine]] = True
            choice.action[at] = _RE_AIM
            choice.left.put(at[fine], aims.commands.of(np.flatnonzero(fine)))
            choice.rest[at], choice.wait[at] = aims.rest, aims.turns

    def _settling(self, now: Situations) -> Array:
        """Tracking (n,) in s that the next decision will need, by the estimate's own period."""
        operations = self.site.case.operations
        if operations.settle_s is not None:
            return np.full(len(now.times), operations.settle_s)
        period = period_of(now.states[:, :3], now.states[:, 3:6], self.batches.gravity.gm)
        return np.asarray((operations.settle_revolutions or 0.0) * period)

    def _worth(self, now: Situations, aims: LaneAims, room: Array) -> NDArray[np.bool_]:
        """Whether re-aimed burns and the trim after them cost little more than was foreseen."""
        limits, made = self.site.case.limits, aims.commands
        last = np.arange(len(made.number)), np.maximum(made.number - 1, 0)
        end = made.ignition[last] + made.duration[last]
        worst = np.max(uses(aims.errors, self.trimmer.tolerance), axis=1)
        cost = made.total_dv + aims.rest
        enough = now.left.total_dv * (1 + _DEAREST) + DEARER_M_S
        fine = ((room > 1) | (worst <= MARGIN)) & (cost <= enough)
        return np.asarray(fine & (now.spent + cost <= limits.dv_m_s) & (end <= limits.duration_s))

    def _trim(self, now: Situations, choice: Choices, rows: Rows, seen: LaneGlance) -> None:
        """Trims of few burns, which leaves some for what these leave; else of all that are left.

        seen is what the orbits of all lanes are, nothing being done.
        """
        for reserve in (RESERVE, 0):
            if not len(rows):
                return
            most = np.maximum(now.trims_left[rows] - reserve, np.minimum(now.trims_left[rows], 1))
            at = now.of(rows)
            found = self.trimmer.trims(at.times, at.states, most, seen.of(rows))
            good = np.flatnonzero(~found.none)
            fresh = empty(len(rows), choice.left.dv.shape[1])
            fresh.put(good, found.commands.of(good))
            choice.left.put(rows[good], fresh.of(good))
            choice.action[rows[good]] = _TRIM
            choice.wait[rows[good]] = found.wait[good]
            rows = rows[found.none]
        none = now.left.number[rows] == 0
        good_enough = np.max(uses(choice.errors[rows], self.trimmer.tolerance), axis=1) <= 1
        choice.action[rows[none & good_enough]] = _STOP
        bad = none & ~good_enough
        choice.action[rows[bad & (now.trims_left[rows] <= 1)]] = _GIVE_UP
        choice.odd[rows[bad & (now.trims_left[rows] > 1)]] = True
