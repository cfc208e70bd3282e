"""Trims of many craft near their slots at once: the best of all sets of burns on a grid.

Where `trimming` solves a linear problem for each craft, this tries all sets of `trim_sets`, and
aims the best in the case's forces. An error that has to be mended is brought to zero; one that is
fine is left alone as long as it stays fine. The sets come within a few per cent of the linear
optimum, in a hundredth of the time.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, NamedTuple, TypeAlias

import numpy as np

from simcheck.arrays import Array
from simcheck.engines.base import G0
from simcheck.engines.batches import TaylorBatches
from simcheck.kernels.vectors import TAU
from simcheck.measuring import RingMotion
from simcheck.measuring_lanes import LaneGlance, glance_lanes
from simcheck.planning.lane_commands import (
    Flags,
    LaneCommands,
    Rows,
    commandable,
    cutoffs,
    empty,
    flown_perfectly,
    for_thrusters,
    nominal,
    seconds,
    smallest_dv,
)
from simcheck.planning.lane_errors import added, applied, near, tolerances, turned, uses
from simcheck.planning.trim_sets import LEAD, MENDS, MOST, WAITS, Sets, sets_of
from simcheck.planning.trimming import MARGIN
from simcheck.records.case import Case

_BLOCK = 32  # craft worked on together: their sets stay in the processor's cache
_DEARER, _DEARER_M_S = 0.08, 0.05  # share and m/s that a set may cost more for having fewer burns
_SHRINKS = 3.0  # times the smallest burn: aiming may make one shorter
_INDIFFERENT = 0.001  # of the Δv left in the tank, for which an earlier end is bought
_FLAT, _E, _ALL = range(len(MENDS))
_ROUNDS = 4  # of aiming in the case's forces
_MET = 0.1  # of each tolerance at which aiming ends,
_STALLED = 0.9  # or where a round leaves more than this of what the one before left
_OF = [0, 1, 2, 4]  # where in six errors those of phase, period, eccentricity and plane begin


Aim: TypeAlias = Callable[[Rows, Array], Array]
"""Errors (k, 6) that lanes (k,) are to have at times (k,), in place of none."""


class _Ask(NamedTuple):
    """Shares of a tolerance: what a fine error may grow to, and a mended one be left with."""

    fine: float
    mended: float


_ASKS = (_Ask(0.2, 0.2), _Ask(0.7, 0.7))  # what is wanted; what has to do where burns run out
_AIMED = 0.85  # of each tolerance, that an aimed trim has to be within,
_MUCH = 0.3  # or this share of what it began with, where more burns are left for the rest


class _Cheapest(NamedTuple):
    """The cheapest set of p burns for each lane and wait (n, w): cost, number and what it mends.

    The cost is a Δv over the circular speed, infinite where no set will do.
    """

    burns: int
    cost: Array
    number: Rows
    mend: Rows


class _Picks(NamedTuple):
    """A set for each of n lanes, of infinite cost where there is none.

    places, along and across (n, MOST) are its burns, number (n,) of them meant; mend (n, MOST, 4)
    and straighten (n, MOST, 2) turn errors at the start into Δv; ends (n,) is the last place.
    """

    cost: Array
    wait: Rows
    number: Rows
    places: Array
    along: Array
    across: Array
    mend: Array
    straighten: Array
    ends: Array

    def of(self, rows: Rows) -> _Picks:
        parts: list[Any] = [part[rows] for part in self]
        return _Picks(*parts)


class LaneTrims(NamedTuple):
    """Commands of trims, the revolutions that they wait, and lanes (n,) that have none."""

    commands: LaneCommands
    wait: Array
    none: Flags


class Trimmer:
    """Finds trims in one case; not shared between threads."""

    def __init__(self, case: Case, batches: TaylorBatches, motion: RingMotion) -> None:
        self.case, self.batches, self.motion = case, batches, motion
        self.speed = float(np.sqrt(case.body.gm_m3_s2 / motion.radius_m))
        self.tolerance = tolerances(case.tolerance, motion.period_s)
        weights = tuple(float(1 / t) if np.isfinite(t) else 0.0 for t in self.tolerance)
        self.sets = [sets_of(burns, weights) for burns in range(1, MOST + 1)]

    def glance(self, times: Array, states: Array) -> LaneGlance:
        """What the orbits of estimates (n, 7) at times (n,) are, nothing being done."""
        return glance_lanes(self.batches, times, states, self.motion, self.case.craft.slot)

    def trims(
        self,
        times: Array,
        states: Array,
        most: Rows,
        seen: LaneGlance | None = None,
        slots: Rows | None = None,
        until: float | None = None,
        aim: Aim | None = None,
    ) -> LaneTrims:
        """Trims from estimates (n, 7) at times (n,), of at most `most` (n,) burns.

        seen is what `glance` gives for them, where that is known already; slots (n,) where they
        are for others than the craft's; until where they are to end before the case's limit; aim
        where errors are to be brought to something else than zero. A lane's trims depend on that
        lane alone, bit for bit.
        """
        n = len(times)
        seen = self.glance(times, states) if seen is None else seen
        # What the errors are at the estimate: the glance ends two revolutions later.
        passed = self.motion.rate * (seen.time - times)
        errors = seen.errors - (0.0 if aim is None else aim(np.arange(n), seen.time))
        errors[:, 0] += errors[:, 1] * passed
        longitude = seen.longitude - passed * (1 - errors[:, 1])
        local = turned(errors, -longitude)
        end = self.case.limits.duration_s if until is None else until
        room = (end - times) / self.motion.period_s - LEAD
        picks = _nothing(n)
        for start in range(0, n, _BLOCK):
            rows = np.arange(start, min(start + _BLOCK, n))
            rows = rows[near(errors[rows])]
            self._pick(picks, rows, local, room, most, states[:, 6])
        found = np.flatnonzero(np.isfinite(picks.cost))
        made, none = empty(n, MOST), np.ones(n, dtype=bool)
        lanes = (times[found], states[found], longitude[found])
        slot = self.case.craft.slot if slots is None else slots[found]
        to = None if aim is None else (lambda rows, at: aim(found[rows], at))
        aimed, use = self._aimed(*lanes, picks.of(found), slot, to)
        before = np.max(uses(errors[found], self.tolerance), axis=1)
        enough = np.where(picks.number[found] < most[found], _MUCH * before, 0.0)
        good = (use <= np.maximum(enough, _AIMED)) & commandable(self.case, aimed)
        made.put(found[good], aimed.of(np.flatnonzero(good)))
        none[found[good]] = False
        return LaneTrims(made, np.array(WAITS)[picks.wait], none)

    def _pick(
        self, picks: _Picks, rows: Rows, errors: Array, room: Array, most: Rows, mass: Array
    ) -> None:
        """Fill in the sets to take for errors (n, 6) of some lanes, as seen from each craft."""
        for ask in _ASKS:
            if not len(rows):
                return
            args = (errors[rows], room[rows], mass[rows])
            best = [self._cheapest(burns, ask, *args) for burns in (1, 2)]
            best.append(self._cheapest(3, ask, *args, wanting=self._wanting(best, ask, *args)))
            self._choose(picks, rows, best, errors, most, mass)
            rows = rows[~np.isfinite(picks.cost[rows])]

    @property
    def _free(self) -> float:
        return _DEARER_M_S / self.speed

    def _wanting(
        self, best: list[_Cheapest], ask: _Ask, errors: Array, room: Array, mass: Array
    ) -> Flags:
        """Lanes (n,) for which more burns may pay: the fewer cost more than any trim has to."""
        cost = np.min([x.cost for x in best], axis=0)
        near = np.min(cost, axis=1) + self._spare(mass)
        wait = np.argmax(cost <= near[:, None], axis=1)[:, None]
        least = np.take_along_axis(self._least(errors, ask), wait, axis=1)
        enough = (1 + _DEARER) * least + self._free
        return np.asarray(~(np.take_along_axis(cost, wait, axis=1) <= enough)[:, 0])

    def _spare(self, mass: Array) -> Array:
        """Δv (n,) over the circular speed, that an earlier end is worth."""
        tank = np.maximum(mass / self.case.craft.dry_mass_kg, 1.0)
        exhaust = G0 * self.case.engine.isp_s
        return np.asarray(_INDIFFERENT * exhaust * np.log(tank) / self.speed)

    def _least(self, errors: Array, ask: _Ask) -> Array:
        """What any trim over a wait costs at least (n, w), over the circular speed.

        Phase and period by two burns along the motion, at the wait's ends; the eccentricity and the
        plane by themselves.
        """
        use, t = uses(errors, self.tolerance), self.tolerance[_OF]
        share = np.where(use >= MARGIN, (use - ask.mended) / np.maximum(use, MARGIN), 0.0)
        share = np.where(np.isfinite(t), share, 0.0)
        drift = share[:, :1] * errors[:, :1] / (TAU * np.array(WAITS))
        period = (share[:, 1] * errors[:, 1])[:, None]
        flat = (np.abs(drift - period) + np.abs(drift)) / 3
        e = share[:, 2] * np.hypot(errors[:, 2], errors[:, 3]) / 2
        tilt = share[:, 3] * np.hypot(errors[:, 4], errors[:, 5])
        return np.asarray(np.hypot(np.maximum(flat, e[:, None]), tilt[:, None]))

    def _cheapest(
        self,
        burns: int,
        ask: _Ask,
        errors: Array,
        room: Array,
        mass: Array,
        wanting: Flags | None = None,
    ) -> _Cheapest:
        """The cheapest sets that leave every error as asked, of the lanes that are asked for."""
        sets = self.sets[burns - 1].within(float(np.max(room)))
        use = uses(errors, self.tolerance)
        shape = (len(errors), len(WAITS))
        best = _Cheapest(burns, np.full(shape, np.inf), np.zeros(shape, int), np.zeros(shape, int))
        asked = np.ones(len(errors), dtype=bool) if wanting is None else wanting
        allowed = np.where(use >= MARGIN, ask.mended, np.maximum(use, ask.fine))
        allowed = (allowed * self.tolerance[_OF])[:, :, None]
        smallest = _SHRINKS * smallest_dv(self.case, mass) / self.speed
        flat, e = np.maximum(use[:, 0], use[:, 1]) >= MARGIN, use[:, 2] >= MARGIN
        which = np.where(e, np.where(flat, _ALL, _E), _ALL if burns == MOST else _FLAT)
        for mend in np.unique(which[asked]):
            of = np.flatnonzero(asked & (which == mend))
            for tilted in (False, True):
                one = of[(use[of, 3] >= MARGIN) == tilted]
                if len(one):
                    cost = _costs(sets, mend, errors[one], allowed[one], tilted, smallest[one])
                    _keep(best, one, mend, cost, sets)
        best.cost[np.array(WAITS) > room[:, None]] = np.inf
        return best

    def _choose(
        self,
        picks: _Picks,
        rows: Rows,
        best: list[_Cheapest],
        errors: Array,
        most: Rows,
        mass: Array,
    ) -> None:
        """Take the shortest wait nearly as cheap as the cheapest, with few burns, into picks."""
        cost = np.stack([x.cost for x in best])  # (p, n, w)
        enough = (1 + _DEARER) * np.min(cost, axis=0) + self._free
        fits = np.arange(1, MOST + 1)[:, None] <= most[rows]
        may = np.isfinite(cost) & (cost <= enough) & fits[:, :, None]
        fewest = np.argmax(may, axis=0)
        value = np.take_along_axis(np.where(may, cost, np.inf), fewest[None], axis=0)[0]
        near = np.min(value, axis=1) + self._spare(mass[rows])
        wait = np.argmax(value <= near[:, None], axis=1)
        at = np.arange(len(rows))
        found = np.isfinite(value[at, wait])
        for sets, chosen in zip(self.sets, best, strict=True):
            of = np.flatnonzero(found & (fewest[at, wait] == chosen.burns - 1))
            w = wait[of]
            picks.cost[rows[of]], picks.wait[rows[of]] = value[of, w], w
            self._take(picks, rows[of], sets, chosen.number[of, w], chosen.mend[of, w], errors)

    def _take(
        self, picks: _Picks, lanes: Rows, sets: Sets, numbers: Rows, mend: Rows, errors: Array
    ) -> None:
        """Put sets of one size into lanes of picks."""
        burns = len(sets.places)
        picks.number[lanes], picks.ends[lanes] = burns, sets.ends[numbers]
        picks.places[lanes, :burns] = sets.places[:, numbers].T
        picks.mend[lanes] = picks.straighten[lanes] = 0.0
        picks.mend[lanes, :burns] = np.moveaxis(sets.along, -1, 0)[numbers, mend]
        tilted = uses(errors[lanes], self.tolerance)[:, 3] >= MARGIN
        across = np.moveaxis(sets.across, -1, 0)[numbers]
        picks.straighten[lanes, :burns] = np.where(tilted[:, None, None], across, 0.0)
        picks.along[lanes] = applied(picks.mend[lanes], errors[lanes, :4])
        picks.across[lanes] = applied(picks.straighten[lanes], errors[lanes, 4:])

    def _aimed(
        self,
        times: Array,
        states: Array,
        longitude: Array,
        picks: _Picks,
        slot: int | Rows,
        aim: Aim | None,
    ) -> tuple[LaneCommands, Array]:
        """The picks' commands aimed in the case's forces, and the largest use they end with."""
        use = np.full(len(times), np.inf)
        best = made = self._commands(times, states, picks)
        rows = np.arange(len(times))
        for left in range(_ROUNDS, 0, -1):
            one = made.of(rows)
            at, ends = flown_perfectly(self.batches, self.case, times[rows], states[rows], one)
            to = slot if isinstance(slot, int) else slot[rows]
            seen = glance_lanes(self.batches, at, ends, self.motion, to)
            errors = seen.errors if aim is None else seen.errors - aim(rows, seen.time)
            worst = np.max(uses(errors, self.tolerance), axis=1)
            better = worst < use[rows]
            on = better & (worst > _MET) & ~(worst > _STALLED * use[rows])
            use[rows[better]] = worst[better]
            best.put(rows[better], one.of(np.flatnonzero(better)))
            rows, errors = rows[on], errors[on]
            if not len(rows) or left == 1:
                break
            self._mend(picks, rows, turned(errors, -longitude[rows]))
            made = self._commands(times, states, picks)
        return best, use

    def _mend(self, picks: _Picks, rows: Rows, errors: Array) -> None:
        """Change the Δv of some lanes by what they were seen to leave, (n, 6)."""
        errors = np.where(np.isfinite(errors), errors, 0.0)
        errors[:, 0] += errors[:, 1] * picks.ends[rows]  # back to where the set starts from
        picks.along[rows] += applied(picks.mend[rows], errors[:, :4])
        picks.across[rows] += applied(picks.straighten[rows], errors[:, 4:])

    def _commands(self, times: Array, states: Array, picks: _Picks) -> LaneCommands:
        made = empty(len(times), MOST)
        made.turning[:] = True
        made.number[:] = picks.number
        sizes = np.hypot(picks.along, picks.across)
        whole = np.where(sizes > 0, sizes, 1.0)
        made.direction[..., 0] = 0.0
        made.direction[..., 1] = np.where(sizes > 0, picks.along / whole, 1.0)
        made.direction[..., 2] = picks.across / whole
        made.dv[:] = np.where(made.meant, self.speed * sizes, 0.0)
        mass = states[:, 6].copy()
        for i in range(MOST):
            made.thrusters[:, i] = for_thrusters(self.case, made.dv[:, i], mass)
            thrusts = nominal(self.case, made.thrusters[:, i])
            made.duration[:, i] = seconds(made.dv[:, i], mass, thrusts)
            middle = times + picks.places[:, i] / self.motion.rate
            made.ignition[:, i] = middle - made.duration[:, i] / 2
            mass = mass * np.exp(-made.dv[:, i] / (G0 * thrusts.isp))
        made.cutoff[:] = cutoffs(self.case, made.thrusters)
        return made


def _nothing(lanes: int) -> _Picks:
    shape = (lanes, MOST)
    return _Picks(
        np.full(lanes, np.inf),
        np.zeros(lanes, dtype=np.intp),
        np.zeros(lanes, dtype=np.intp),
        np.zeros(shape),
        np.zeros(shape),
        np.zeros(shape),
        np.zeros((*shape, 4)),
        np.zeros((*shape, 2)),
        np.zeros(lanes),
    )


def _costs(
    sets: Sets, mend: int, errors: Array, allowed: Array, tilted: bool, smallest: Array
) -> Array:
    """Costs (n, s) of sets over the circular speed, infinite where one leaves too much.

    allowed (n, 4, 1) are the errors that may be left; a plane that is fine is left as it is.
    """
    along, left = sets.mended(mend, errors)
    good = left[2] ** 2 + left[3] ** 2 <= allowed[:, 2] ** 2
    for row in (0, 1):
        good &= np.abs(left[row]) <= allowed[:, row]
    sizes = np.abs(along)
    if tilted:
        across, tilt = sets.straightened(errors)
        good &= tilt[0] ** 2 + tilt[1] ** 2 <= allowed[:, 3] ** 2
        sizes = np.sqrt(along**2 + across**2)
    good &= np.min(sizes, axis=0) >= smallest[:, None]
    return np.where(good, added(sizes), np.inf)


def _keep(best: _Cheapest, rows: Rows, mend: int, cost: Array, sets: Sets) -> None:
    """Keep the cheapest of each wait where it beats what was found before."""
    at = np.arange(len(rows))
    for wait, part in enumerate(sets.parts):
        number = np.argmin(cost[:, part], axis=1)
        value = cost[at, part.start + number]
        better = np.flatnonzero(value < best.cost[rows, wait])
        best.cost[rows[better], wait] = value[better]
        best.number[rows[better], wait] = part.start + number[better]
        best.mend[rows[better], wait] = mend
