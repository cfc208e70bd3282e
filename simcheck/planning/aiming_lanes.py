"""Re-aiming what is left of one plan for many flights at once.

A few steps with the slopes of the flight without errors (`legs`) bring each flight's burns to where
they do best. A phase that is off is dear to mend with the burns alone and
nearly free with time: so the last burn may be parted, its rest made at the same place some
revolutions later, which leaves the orbit in between a period that meets the slot. That rest is not
commanded yet: it is a trim, made from what tracking then says. And a small burn may be made before
the next, which is cheaper there where it is made far from it.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from simcheck.arrays import Array
from simcheck.engines.base import G0
from simcheck.engines.batches import TaylorBatches, ThrustBatch
from simcheck.kernels.transfers import coast_times, period_of
from simcheck.kernels.vectors import cross, dot, norm, turn_about
from simcheck.measuring_lanes import glance_lanes
from simcheck.planning.commanding import Range, watch_of
from simcheck.planning.lane_commands import (
    LaneCommands,
    Rows,
    commandable,
    cutoffs,
    empty,
    for_thrusters,
    nominal,
    seconds,
    smallest_dv,
)
from simcheck.planning.lane_errors import near, uses
from simcheck.planning.legs import PRICES, TURNS, Leg, Legs
from simcheck.planning.trimming import MARGIN
from simcheck.records.plan import Plan

_ROUNDS = 12
_SETTLED = 0.02  # of each tolerance: burns are as good as they get where a step would change less
_ROUGHLY = 0.04  # of the largest error left, which a trim sees to
_PLACED = 2  # corrections of a coast's length until the burn's place is ahead
_LARGEST_TURN, _LARGEST_CHANGE = 0.5, 0.5  # rad along the orbit, share of Δv: slopes end there
_SMALL = 0.2  # share of the total Δv that a burn counts as at least, in that
_INDIFFERENT = 0.001  # of the Δv left in the tank, for which an earlier end is bought


class LaneAims(NamedTuple):
    """Re-aimed commands of n lanes, the errors (n, 6) that they end with, and what comes after.

    rest (n,) is the Δv in m/s of the trim that is to follow, turns (n,) the revolutions to it (0:
    none). failed are lanes whose burns could not be re-aimed.
    """

    commands: LaneCommands
    errors: Array
    rest: Array
    turns: Rows
    failed: NDArray[np.bool_]


class Course:
    """A plan as flown without errors, from which flights with errors are brought back.

    Raises FlightError where the plan's commands cannot be flown.
    """

    def __init__(self, site: Range, plan: Plan, batches: TaylorBatches) -> None:
        self.site, self.plan, self.batches = site, plan, batches
        self.legs = Legs(site, plan)
        self.tolerance, self.judged = self.legs.tolerance, self.legs.judged
        self._width = len(plan.commands) + 1  # with room for a small burn before them

    def reaim(self, first: int, times: Array, states: Array, *, trims: Array) -> LaneAims:
        """The plan's burns from number `first` on, aimed from estimates (n, 7) at times (n,).

        trims (n,) are the revolutions after the last burn that there is time for trims in, zero
        where none may follow. A lane's commands depend on that lane alone, bit for bit.
        """
        legs, n = self.legs.of(first), len(times)
        unchanged = np.zeros((n, legs[0].slopes.shape[1]))
        made, errors = self._fly(legs[0], times, states, unchanged)
        found = LaneAims(
            made, errors.copy(), np.zeros(n), np.zeros(n, dtype=np.intp), np.ones(n, dtype=bool)
        )
        # What fails with a small burn before is tried without one.
        for some in (legs, legs[:1]):
            rows = np.flatnonzero(found.failed)
            if not len(rows):
                break
            which, option = self._chosen(some, errors[rows], trims[rows], states[rows, 6])
            for k, leg in enumerate(some):
                of = which == k
                at = rows[of]
                if not len(at):
                    continue
                one = self._aimed(leg, option[of], times[at], states[at], errors[at])
                found.commands.put(at, one.commands)
                for whole, part in zip(found[1:], one[1:], strict=True):
                    whole[at] = part
        return found

    def _aimed(
        self, leg: Leg, option: Rows, times: Array, states: Array, errors: Array
    ) -> LaneAims:
        """Lanes of one leg and their options, brought to where their burns do best."""
        n = len(times)
        change, done = np.zeros((n, leg.slopes.shape[1])), np.zeros(n, dtype=bool)
        made, rest, errors = empty(n, self._width), np.zeros((n, 3)), errors.copy()
        for _ in range(_ROUNDS):
            rows = np.flatnonzero(~done & np.isfinite(errors).all(axis=1))
            asked = errors[rows] - _applied(leg.slopes, change[rows])
            fresh, rest[rows] = _best(leg, option[rows], asked)
            does, left = _applied(leg.slopes, fresh - change[rows]), errors[rows]
            does, left = (np.max(np.abs(x / self.tolerance), axis=1) for x in (does, left))
            done[rows] = (made.number[rows] > 0) & (does < np.maximum(_SETTLED, _ROUGHLY * left))
            rows, fresh = rows[~done[rows]], fresh[~done[rows]]
            if not len(rows):
                break
            change[rows] = fresh
            one, errors[rows] = self._fly(leg, times[rows], states[rows], fresh)
            made.put(rows, one)
        failed = (
            ~done | self._too_far(leg, change) | ~near(errors) | ~commandable(self.site.case, made)
        )
        turns = np.array([o.turns for o in leg.options])[option]
        return LaneAims(made, errors, norm(rest), turns, failed)

    def _chosen(
        self, legs: list[Leg], errors: Array, trims: Array, mass: Array
    ) -> tuple[Rows, Rows]:
        """Leg and option (n,): the fewest revolutions that cost hardly more than the cheapest."""
        pairs = [(k, i) for i in range(len(TURNS)) for k in range(len(legs))]
        cost = np.empty((len(errors), len(pairs)))
        smallest = smallest_dv(self.site.case, mass)
        for at, (k, i) in enumerate(pairs):
            leg, option = legs[k], legs[k].options[i]
            change, rest = _applied(option.change, errors), _applied(option.rest, errors)
            sizes = norm(leg.burns.dvs + change.reshape(len(errors), -1, 4)[..., 1:])
            value = sizes.sum(axis=1) + norm(rest) + self._dear(_applied(option.left, errors))
            value[option.turns > trims] = np.inf
            if leg.early:
                value[sizes[:, 0] < smallest] = np.inf
            cost[:, at] = value
        tank = np.maximum(mass / self.site.case.craft.dry_mass_kg, 1.0)
        spare = _INDIFFERENT * G0 * self.site.case.engine.isp_s * np.log(tank)
        best = np.argmax(cost <= (np.min(cost, axis=1) + spare)[:, None], axis=1)
        which = np.array(pairs)[best]
        return which[:, 0], which[:, 1]

    def _dear(self, errors: Array) -> Array:
        """What trimming errors (n, 6) may take (n,), in m/s and roughly; fine ones take nothing."""
        worst = np.max(uses(errors, self.tolerance), axis=1)
        k, h, x, y = errors[:, 2:].T
        parts = np.stack([*np.abs(errors[:, :2].T), np.hypot(k, h), np.hypot(x, y)], axis=-1)
        prices = np.where(self.judged, self.legs.speed * PRICES, 0.0)[[0, 1, 2, 4]]
        return np.where(worst > MARGIN, (prices * parts).sum(axis=1), 0.0)

    def _too_far(self, leg: Leg, change: Array) -> NDArray[np.bool_]:
        parts = change.reshape(len(change), -1, 4)
        parts = parts[:, int(leg.early) :]
        far = np.abs(parts[..., 0]) > _LARGEST_TURN
        sizes = np.maximum(norm(leg.burns.dvs), _SMALL * leg.burns.total)[int(leg.early) :]
        far |= norm(parts[..., 1:]) > _LARGEST_CHANGE * sizes
        return np.asarray(far.any(axis=1))

    def _fly(
        self, leg: Leg, times: Array, states: Array, change: Array
    ) -> tuple[LaneCommands, Array]:
        """Fly the burns, changed, at their places without errors: commands and errors (n, 6)."""
        case, gm = self.site.case, self.batches.gravity.gm
        n, q = len(times), len(leg.burns.sweeps)
        made = empty(n, self._width)
        made.number[:] = q
        parts = change.reshape(n, q, 4)
        times, states = times.copy(), states.copy()
        dates = leg.dates
        for i in range(q):
            place = turn_about(
                np.tile(leg.burns.places[i], (n, 1)), np.tile(leg.axes[i], (n, 1)), parts[:, i, 0]
            )
            dv = leg.burns.dvs[i] + parts[:, i, 1:]
            size = norm(dv)
            small = np.full(n, leg.burns.engines[i].name == "thrusters")
            if leg.early and i == 0:
                small = for_thrusters(case, size, states[:, 6])
            thrusts = nominal(case, small)
            length = seconds(size, states[:, 6], thrusts)
            about = dates[i] - (times if i == 0 else dates[i - 1] + times - made.ignition[:, i - 1])
            begun, lit = self._coast(times, states, place, about, length / 2)
            steering = leg.burns.steering[i]
            push = ThrustBatch(thrusts.newton, thrusts.isp, steering, dv / size[:, None])
            times = begun + length
            states = self.batches.advance(begun, lit, times, push)
            made.ignition[:, i], made.duration[:, i], made.dv[:, i] = begun, length, size
            made.direction[:, i] = push.direction
            made.turning[:, i], made.thrusters[:, i] = steering == "rsw", small
            made.cutoff[:, i] = cutoffs(case, small)
            for k in range(n) if self._watching else ():
                made.watch[k, i] = watch_of(lit[k], states[k], push.direction[k], steering, gm)
        seen = glance_lanes(self.batches, times, states, self.site.motion, case.craft.slot)
        return made, np.where(self.judged, seen.errors, 0.0)

    @property
    def _watching(self) -> bool:
        case = self.site.case
        return "orbit" in (case.engine.cutoff, (case.thrusters or case.engine).cutoff)

    def _coast(
        self, times: Array, states: Array, place: Array, about: Array, half: Array
    ) -> tuple[Array, Array]:
        """Coast about so long, until the places are `half` (n,) seconds of flight ahead.

        Lanes that are past a place already, or on an open orbit, become NaN.
        """
        gm = self.batches.gravity.gm
        r, v = states[:, :3], states[:, 3:6]
        there, period = coast_times(r, v, _ahead(states, place), gm), period_of(r, v, gm)
        wait = there + np.round((about + half - there) / period) * period - half
        light = np.where(wait > 0, times + wait, np.nan)
        lit = self.batches.advance(times, states, light)
        for _ in range(_PLACED):
            step = coast_times(lit[:, :3], lit[:, 3:6], _ahead(lit, place), gm) - half
            fresh = np.maximum(light + step, times)
            lit = self.batches.advance(light, lit, fresh)
            light = fresh
        return light, lit


def _ahead(states: Array, place: Array) -> Array:
    """Angles (n,) in (-pi, pi] from craft to directions (n, 3), in their orbits' planes."""
    r, v = states[:, :3], states[:, 3:6]
    h = cross(r, v)
    return np.arctan2(dot(cross(h, r), place) / norm(h), dot(r, place))


def _best(leg: Leg, option: Rows, errors: Array) -> tuple[Array, Array]:
    """Changes (n, 4q) and rests (n, 3) for errors (n, 6), by each lane's option."""
    change, rest = np.zeros((len(errors), leg.slopes.shape[1])), np.zeros((len(errors), 3))
    for i, one in enumerate(leg.options):
        rows = np.flatnonzero(option == i)
        change[rows] = _applied(one.change, errors[rows])
        rest[rows] = _applied(one.rest, errors[rows])
    return change, rest


def _applied(matrix: Array, rows: Array) -> Array:
    """A matrix (p, k) applied to rows (n, k), by the same steps for any number of them."""
    total = matrix[:, 0] * rows[:, :1]
    for k in range(1, matrix.shape[1]):
        total = total + matrix[:, k] * rows[:, k : k + 1]
    return np.asarray(total)
