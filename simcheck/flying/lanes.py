"""Flights of many samples at once: the same flight as `fly_plan`, a lane each.

What is out of the ordinary is left to `fly_plan`: a lane whose tank runs dry, whose orbit is open
or comes near the ground, that comes near a limit on radius or separation, or whose team has to ask
the planner. Whether it is depends on the lane alone. Extremes are those of samples some degrees
apart, refined by parabolas: to a few hundred metres in radius, mostly to one. Distances to members
are refined on the motion itself, to metres. The flight itself and its errors agree with `fly_plan`
to a tenth of a millimetre.
"""

from __future__ import annotations

import pickle
import threading
from functools import lru_cache
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from simcheck.arrays import Array
from simcheck.engines.base import G0
from simcheck.engines.batches import TaylorBatches
from simcheck.errors import FlightError
from simcheck.flying.draws import Draws, drawn, engine_draws
from simcheck.flying.lane_burns import LaneBurns, LaneDraws, burn
from simcheck.flying.lane_looks import Looks
from simcheck.flying.team_lanes import ACTIONS, Choices, Situations, TeamLanes
from simcheck.kernels.transfers import period_of
from simcheck.kernels.vectors import norm, wrap
from simcheck.measuring import slot_period
from simcheck.measuring_lanes import average_lanes
from simcheck.planning.commanding import Range
from simcheck.planning.lane_commands import Rows, alike, nominal
from simcheck.planning.trim_sets import MOST
from simcheck.records.case import Case
from simcheck.records.plan import Plan

TOLERANCE = 1e-12
"""Of the Taylor series: a fraction of a millimetre in ten revolutions, at half the cost."""

_NEAR_RADIUS = 0.02  # of the body's radius: nearer to the ground or to a limit a lane flies alone
_NEAR_MEMBER = 0.02  # of the separation asked for, and
_NEAR_M = 200.0
_SPARE = 6  # burns and decisions beyond plan and trims before a lane flies alone
_ONE_AT_A_TIME = threading.Lock()  # integrators hold state, and a cluster's workers have threads
_OVER = tuple(ACTIONS.index(name) for name in ("stop", "give-up"))
_TRIM = ACTIONS.index("trim")


class LaneFlights(NamedTuple):
    """n flights: arrays (n,), NaN and `alone` true where a lane has to be flown by itself."""

    phase: Array
    period: Array
    eccentricity: Array
    plane: Array
    e_vector: Array  # (n, 2), k and h in the ring frame
    normal: Array  # (n, 3), in the ring frame
    dv: Array
    propellant: Array
    arrival: Array
    lowest: Array
    largest: Array
    nearest: Array  # (members, n), m
    burns: Rows
    decisions: Rows
    alone: NDArray[np.bool_]


def fly_lanes(
    case: Case, plan: Plan, seed: int, samples: range, *, closed_loop: bool = False
) -> LaneFlights:
    """Fly samples of a plan; closed_loop lets our team decide as the case's operations have it."""
    with _ONE_AT_A_TIME:
        ground = _ground(pickle.dumps((case, plan)), closed_loop)
        return _Lanes(ground, seed, samples).fly()


def ground_of(case: Case, plan: Plan) -> Ground:
    """What flights of a plan with a team share."""
    return _ground(pickle.dumps((case, plan)), True)


class Ground:
    """What all flights of a plan share, made once a process."""

    def __init__(self, case: Case, plan: Plan, *, closed_loop: bool) -> None:
        self.case, self.plan, self.closed_loop = case, plan, closed_loop
        self.site = Range(case)
        self.batches = TaylorBatches(self.site.propagator.gravity, TOLERANCE)
        self.looks = Looks(case, self.batches, self.site.motion, self.site.propagator)
        self.team: TeamLanes | None = None
        if closed_loop:
            try:
                self.team = TeamLanes(self.site, plan, self.batches)
            except FlightError:  # the planner has to see to each flight
                self.team = None


@lru_cache(maxsize=4)
def _ground(pickled: bytes, closed_loop: bool) -> Ground:
    return Ground(*pickle.loads(pickled), closed_loop=closed_loop)


class _Lanes:
    """Lanes under way: times (n,), states (n, 7), what is left to fly, what has been seen."""

    def __init__(self, ground: Ground, seed: int, samples: range) -> None:
        self.ground, self.site, self.case = ground, ground.site, ground.case
        self.batches, self.looks, self.team = ground.batches, ground.looks, ground.team
        case, commands, n = ground.case, ground.plan.commands, len(samples)
        most = len(commands)
        if ground.closed_loop:
            most += case.operations.max_trims + _SPARE
        draw = drawn if ground.closed_loop else engine_draws
        self._draw([draw(seed, sample, most) for sample in samples], most)
        craft, errors = case.craft, case.errors
        self.times = np.zeros(n)
        self.states = np.empty((n, 7))
        self.states[:, :3] = craft.position_m + errors.initial_position_m * self.flight[:, 2:5]
        self.states[:, 3:6] = craft.velocity_m_s + errors.initial_velocity_m_s * self.flight[:, 5:8]
        self.states[:, 6] = craft.mass_kg
        self.dv, self.arrival = np.zeros(n), np.zeros(n)
        self.seen = self.looks.nothing(n)
        self.burnt: list[tuple[Rows, Array, Array, LaneBurns]] = []  # times and states when lit
        self.missed, self.over, self.trimming = np.zeros((3, n), dtype=bool)
        self.alone = np.full(n, ground.closed_loop and self.team is None)
        self.made, self.tried, self.decided, self.trims = np.zeros((4, n), dtype=np.intp)
        self.left = alike(commands, n, max(len(commands), MOST) + 1)
        self.mass, self.spent = np.full(n, craft.mass_kg), np.zeros(n)  # by the team's books

    def _draw(self, samples: list[Draws], most: int) -> None:
        self.most = most
        self.flight = np.array([d.flight for d in samples])
        self.burns = np.array([d.burns for d in samples])
        self.estimates = np.array([d.estimates for d in samples])
        self.accelerometer = np.array([d.accelerometer for d in samples])

    def fly(self) -> LaneFlights:
        """Burn and decide in turns until no lane has anything left to do."""
        while True:
            rows = np.flatnonzero(~self.over & ~self.alone)
            if not len(rows):
                return self._measured()
            self._burn(rows[self.left.number[rows] > 0])
            rows = rows[~self.alone[rows]]
            if self.team is not None:
                self._decide(rows, self.team)
            self.over[rows[self.left.number[rows] == 0]] = True

    def _look(self, rows: Rows, until: Array) -> None:
        """Extremes of coasts from where lanes are to `until`."""
        near = self.seen[2:, rows]
        found = self.looks.look(self.times[rows], self.states[rows], until, near)
        self.seen[0, rows] = np.minimum(self.seen[0, rows], found[0])
        self.seen[1, rows] = np.maximum(self.seen[1, rows], found[1])
        self.seen[2:, rows] = np.minimum(near, found[2:])

    def _look_at_burns(self) -> None:
        """Distances to members in burns, where they may be smaller than on all the coasts."""
        for rows, times, states, went in self.burnt:
            near = self.seen[2:, rows]
            self.seen[2:, rows] = self.looks.look_at_burns(times, states, went, near)

    def _burn(self, rows: Rows) -> None:
        """Coast to the next ignition and burn, the trims counted, the books kept."""
        beyond = self.tried[rows] >= self.most
        self.alone[rows[beyond]] = True
        rows = rows[~beyond]
        if not len(rows):
            return
        commands, g = self.left.of(rows), self.burns[rows, self.tried[rows]]
        late = self.case.errors.ignition_time_s * g[:, 6]
        light = np.maximum(commands.ignition[:, 0] + late, self.times[rows])
        self._look(rows, light)
        lit = self.batches.advance(self.times[rows], self.states[rows], light)
        draws = LaneDraws(g, self.flight[rows], self.accelerometer[rows])
        went = burn(self.batches, self.case, light, lit, commands, draws)
        if self.looks.members:
            self.burnt.append((rows, light, lit, went))
        made = ~went.missed
        self.alone[rows] |= went.odd | (
            went.missed & (self.team is not None) & ~self.trimming[rows]
        )
        self.missed[rows], self.tried[rows] = went.missed, self.tried[rows] + 1
        self.made[rows] += made
        self.trims[rows] += self.trimming[rows] & made
        self.dv[rows] += went.dv
        self.arrival[rows] = np.where(made, went.ends, self.arrival[rows])
        for state in (lit, went.states):
            radius = norm(state[:, :3])
            self.seen[0, rows] = np.minimum(self.seen[0, rows], radius)
            self.seen[1, rows] = np.maximum(self.seen[1, rows], radius)
        self._book(rows, commands.thrusters[:, 0], np.where(made, went.ends - light, 0.0))
        self.times[rows], self.states[rows] = went.ends, went.states
        self.left.without_first(rows)

    def _book(self, rows: Rows, small: NDArray[np.bool_], lasted: Array) -> None:
        """The team's book-keeping: nominal flow over the time that the engine burnt."""
        thrusts = nominal(self.case, small)
        exhaust = G0 * thrusts.isp
        after = self.mass[rows] - thrusts.newton / exhaust * lasted
        after = np.maximum(after, self.case.craft.dry_mass_kg)
        self.spent[rows] += exhaust * np.log(self.mass[rows] / after)
        self.mass[rows] = after

    def _decide(self, rows: Rows, team: TeamLanes) -> None:
        """Track and decide, where there is time for it."""
        operations, some = self.case.operations, self.left.number[rows] > 0
        asked = ~(some & (operations.replan == "never"))
        asked &= some | (operations.max_trims > 0) | self.missed[rows]
        rows = rows[asked]
        times = self.times[rows] + self._settling(rows)
        some = self.left.number[rows] > 0
        soon = some & (self.left.ignition[rows, 0] < times)
        while np.any(soon & self.missed[rows]):  # what comes before the estimate is given up
            self.left.without_first(rows[soon & self.missed[rows]])
            some = self.left.number[rows] > 0
            soon = some & (self.left.ignition[rows, 0] < times)
        rows, times = rows[~soon], times[~soon]
        beyond = self.decided[rows] >= self.most
        self.alone[rows[beyond]] = True
        rows, times = rows[~beyond], times[~beyond]
        if len(rows):
            self._take(rows, team.decide(self._situations(rows, times)))

    def _settling(self, rows: Rows) -> Array:
        """Tracking needed before a decision (n,), s."""
        operations = self.case.operations
        if operations.settle_s is not None:
            return np.full(len(rows), operations.settle_s)
        state = self.states[rows]
        period = period_of(state[:, :3], state[:, 3:6], self.batches.gravity.gm)
        period = np.where(np.isfinite(period), period, self.site.motion.period_s)
        return np.asarray((operations.settle_revolutions or 0.0) * period)

    def _situations(self, rows: Rows, times: Array) -> Situations:
        """What the team is told: the truth with the errors of this estimate."""
        errors, g = self.case.errors, self.estimates[rows, self.decided[rows]]
        self.decided[rows] += 1
        states = self.batches.advance(self.times[rows], self.states[rows], times)
        states[:, :3] += errors.navigation_position_m * g[:, :3]
        states[:, 3:6] += errors.navigation_velocity_m_s * g[:, 3:]
        states[:, 6] = self.mass[rows]
        left = np.maximum(self.case.operations.max_trims - self.trims[rows], 0)
        return Situations(
            times,
            states,
            self.left.of(rows),
            left,
            self.trimming[rows],
            self.spent[rows],
        )

    def _take(self, rows: Rows, choice: Choices) -> None:
        self.left.put(rows, choice.left)
        self.alone[rows] |= choice.odd
        self.trimming[rows] |= choice.action == _TRIM
        self.missed[rows] = False
        self.left.number[rows[np.isin(choice.action, _OVER)]] = 0

    def _measured(self) -> LaneFlights:
        """The coast that measures, its errors, and which lanes are out of the ordinary."""
        case, motion = self.case, self.site.motion
        found = average_lanes(self.batches, self.times, self.states, motion)
        closed = np.isfinite(found.period)
        self._look(np.arange(len(self.dv)), np.where(closed, found.time, self.times))
        self._look_at_burns()
        lowest, largest, *nearest = self.seen
        return LaneFlights(
            phase=wrap(found.longitude - motion.longitude(case.craft.slot, found.time)),
            period=found.period - slot_period(motion, found.time, found.period),
            eccentricity=np.hypot(found.e_vector[:, 0], found.e_vector[:, 1]),
            plane=np.arctan2(np.hypot(found.normal[:, 0], found.normal[:, 1]), found.normal[:, 2]),
            e_vector=found.e_vector,
            normal=found.normal,
            dv=self.dv,
            propellant=case.craft.mass_kg - self.states[:, 6],
            arrival=self.arrival,
            lowest=lowest,
            largest=largest,
            nearest=np.reshape(nearest, (len(nearest), len(self.dv))),
            burns=self.made,
            decisions=self.decided,
            alone=self.alone | ~closed | self._near_a_limit(),
        )

    def _near_a_limit(self) -> NDArray[np.bool_]:
        body, limits = self.case.body, self.case.limits
        lowest, largest, *nearest = self.seen
        room = _NEAR_RADIUS * body.radius_m
        near = lowest < body.radius_m + room
        near |= np.abs(lowest - body.radius_m - limits.min_altitude_m) < room
        near |= np.abs(largest - limits.max_radius_m) < room
        if self.case.members and limits.separation_m > 0:
            room = (1 + _NEAR_MEMBER) * limits.separation_m + _NEAR_M
            near |= np.min(nearest, axis=0) < room
        return np.asarray(near)
