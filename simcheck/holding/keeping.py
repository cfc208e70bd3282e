"""What it takes to keep a ring: each relay trimmed before it leaves a tolerance.

The trims are those of the flight team (`planning.trimming_lanes`), commanded with the case's
engines and flown as commanded. Execution and navigation errors are left out: with them a trim
leaves some per cent of what it mends, which the next one works off.

A trim does not bring the errors of the moment to zero. Other bodies swing the plane and the shape
to and fro, each fortnight about the Moon, and let them drift from year to year. So the relay is
flown ahead, nothing being done, and the mean of what lies ahead is what is mended, over as long a
time as the errors then stay within their tolerances: the swing is left alone, and a drift begins on
the far side.
"""

from __future__ import annotations

import math
from dataclasses import replace
from typing import NamedTuple

import numpy as np

from simcheck.arrays import Array
from simcheck.engines.batches import TaylorBatches
from simcheck.holding.drifting import Drift, drift, periapsis
from simcheck.kernels.vectors import TAU
from simcheck.measuring import RingMotion
from simcheck.measuring_lanes import LaneGlance, glance_lanes
from simcheck.planning.lane_commands import Rows, flown_perfectly
from simcheck.planning.lane_errors import tolerances, uses
from simcheck.planning.trim_sets import MOST
from simcheck.planning.trimming import MARGIN
from simcheck.planning.trimming_lanes import Trimmer
from simcheck.records.case import Case

_DUE = 0.9  # share of a tolerance, used now or expected at the next look, to trim at
_MEND = 0.5  # share of a tolerance that the trims take for it, so as to mend what is half as large
_STAYS = 0.7  # share of a tolerance within which a trim leaves an error for the time ahead
_ROOM, _ROOM_S = 10.0, 10 * 86400.0  # revolutions or seconds, the longer, that a trim may take
_AHEAD_S = 40 * 86400.0  # of which a trim takes account, at most
_SHARE = 0.25  # of its tolerance, that the phase moves in it
_TANK = 0.95  # dry share of the mass that trims are found for: little is paid to be done sooner


class Kept(NamedTuple):
    """What keeping cost m relays (m,): Δv in m/s, burns, largest use, and looks without a trim.

    The largest use is infinite where a relay was lost.
    """

    dv: Array
    burns: Array
    use: Array
    untrimmed: Array


def keep(
    case: Case,
    batches: TaylorBatches,
    motion: RingMotion,
    slots: Rows,
    states: Array,
    looks: Array,
) -> Kept:
    """Keep relays from states (m, 7) at the first of `looks` (n,) to the last.

    Their mass stays what it was: the propellant of a year's upkeep changes the burns by its share.
    """
    m = len(states)
    cases = _for_trims(case, motion, float(states[0, 6]))
    trimmers = [Trimmer(one, batches, motion) for one in cases]
    limits = tolerances(case.tolerance, motion.period_s)
    mass = states[:, 6].copy()
    kept = Kept(np.zeros(m), np.zeros(m), np.zeros(m), np.zeros(m))
    now, there = np.full(m, looks[0]), states.copy()
    before = np.full((m, 6), np.nan)  # the errors at the last look, if nothing was done since
    for index, time in enumerate(looks):
        rows = np.flatnonzero((now <= time) & np.isfinite(kept.use))
        at = np.full(len(rows), time)
        there[rows] = batches.advance(now[rows], there[rows], at)
        now[rows] = time
        seen = glance_lanes(batches, at, there[rows], motion, slots[rows])
        down = periapsis(seen.errors, motion) <= case.body.radius_m
        use = np.where(down[:, None], np.nan, uses(seen.errors, limits))
        worst = np.max(use, axis=1)
        kept.use[rows] = np.maximum(kept.use[rows], np.where(np.isnan(worst), np.inf, worst))
        soon = np.fmax(use, uses(_next(seen.errors, before[rows]), limits))
        before[rows] = seen.errors
        due = np.flatnonzero((np.max(soon, axis=1) >= _DUE) & np.isfinite(worst))
        if not len(due) or index + 1 == len(looks):
            continue
        lanes = rows[due]
        coming = looks[index : np.searchsorted(looks, time + _AHEAD_S)]
        ahead = look_ahead(drift(batches, motion, slots[lanes], there[lanes], coming), limits)
        mend = _worth_it(ahead.steady, soon[due], limits, trimmers[0].tolerance)
        if len(mend):
            lanes, course = lanes[mend], (now, there)
            _trim(trimmers, course, slots, lanes, seen.of(due[mend]), ahead.of(mend), kept)
            there[:, 6] = mass
            before[lanes[now[lanes] > time]] = np.nan
    return kept


def _worth_it(steady: Array, soon: Array, limits: Array, finer: Array) -> Rows:
    """Relays whose steady errors (n, 6) are large enough to mend; the rest of them is swing.

    A period that drives no phase out, by the uses `soon` (n, 4), is mended by its own tolerance.
    """
    shares = uses(steady, finer)
    idle = soon[:, 0] < _DUE
    shares[idle, 1] = uses(steady, limits)[idle, 1]
    return np.flatnonzero(np.max(shares, axis=1) >= MARGIN)


def _next(errors: Array, before: Array) -> Array:
    """Errors (n, 6) to expect at the next look: as much further as since the last one."""
    return errors + np.where(np.isfinite(before), errors - before, 0.0)


def _trim(
    trimmers: list[Trimmer],
    course: tuple[Array, Array],
    slots: Rows,
    rows: Rows,
    seen: LaneGlance,
    ahead: Ahead,
    kept: Kept,
) -> None:
    """Trim some relays by the first trimmer that can, in place: they end after the last burn."""
    now, there = course
    left = np.arange(len(rows))
    for trimmer in trimmers:
        lanes, swing = rows[left], ahead.of(left).swing_at
        most = np.full(len(lanes), MOST)
        until = float(now[lanes[0]]) + max(_ROOM * trimmer.motion.period_s, _ROOM_S)
        found = trimmer.trims(
            now[lanes], there[lanes], most, seen.of(left), slots[lanes], until, swing
        )
        done = np.flatnonzero(~found.none)
        commands, flown = found.commands.of(done), lanes[done]
        now[flown], there[flown] = flown_perfectly(
            trimmer.batches, trimmer.case, now[flown], there[flown], commands
        )
        waited = ahead.of(left[done]).largest_until(commands.ignition[:, 0])
        kept.use[flown] = np.maximum(kept.use[flown], waited)
        kept.dv[flown] += commands.total_dv
        kept.burns[flown] += commands.number
        left = left[found.none]
        if not len(left):
            return
    kept.untrimmed[rows[left]] += 1


class Ahead(NamedTuple):
    """Errors of n relays at the looks ahead, nothing being done: steady (n, 6), and their swing.

    The steady part is what a trim mends: the mean of the relative period and the two vectors over
    what lies ahead, and the phase of the first look. swing (n, l, 6) is the rest, at times (l,);
    largest (n, l) are the largest shares of a tolerance used.
    """

    times: Array
    steady: Array
    swing: Array
    largest: Array

    def of(self, rows: Rows) -> Ahead:
        """Those of some relays."""
        return Ahead(self.times, self.steady[rows], self.swing[rows], self.largest[rows])

    def largest_until(self, times: Array) -> Array:
        """Largest share of a tolerance (n,) that is used by times (n,), a burn each."""
        waiting = self.times <= times[:, None]
        return np.asarray(np.max(np.where(waiting, self.largest, 0.0), axis=1, initial=0.0))

    def swing_at(self, rows: Rows, times: Array) -> Array:
        """The swing (k, 6) of relays `rows` at times (k,), on straight lines; none in the phase."""
        found = [
            [np.interp(time, self.times, column) for column in self.swing[row].T]
            for row, time in zip(rows, times, strict=True)
        ]
        return np.array(found).reshape(-1, 6)


def look_ahead(flown: Drift, limits: Array) -> Ahead:
    """Part what relays will do, nothing being done, into a steady part and a swing.

    The mean is taken over as many looks as the swing then stays within `_STAYS` of limits (6,).
    """
    errors = flown.errors
    steady = errors[:, 0].copy()
    for count in range(2, errors.shape[1] + 1):
        some = errors[:, :count]
        mean = np.mean(some, axis=1)
        rest = (some - mean[:, None]).reshape(-1, 6)
        shares = uses(rest, limits)[:, 2:].reshape(len(errors), count, 2)
        stays = np.max(shares, axis=(1, 2)) <= _STAYS
        steady[stays, 1:] = mean[stays, 1:]
    swing = errors - steady[:, None]
    swing[..., 0] = 0.0
    largest = np.max(uses(errors.reshape(-1, 6), limits), axis=1).reshape(errors.shape[:2])
    return Ahead(flown.times, steady, swing, largest)


def _for_trims(case: Case, motion: RingMotion, mass: float) -> list[Case]:
    """The cases that trims are found for: no end of time, and tolerances that let a relay rest.

    The first asks for a period that lets the phase rest too; a large burn across the plane cannot
    meet it, as it changes the speed along the way to second order. The last leaves it at that.
    """
    given, limits = case.tolerance, replace(case.limits, duration_s=math.inf)
    craft = replace(case.craft, dry_mass_kg=_TANK * mass, propellant_kg=(1 - _TANK) * mass)
    tolerance = replace(
        given,
        eccentricity=None if given.eccentricity is None else _MEND * given.eccentricity,
        plane_rad=None if given.plane_rad is None else _MEND * given.plane_rad,
    )
    loose = replace(case, tolerance=tolerance, limits=limits, craft=craft)
    if given.phase_rad is None:
        return [loose]
    rest = _SHARE * given.phase_rad / (TAU / motion.period_s * _AHEAD_S) * motion.period_s
    if given.period_s is not None and given.period_s <= rest:
        return [loose]
    return [replace(loose, tolerance=replace(tolerance, period_s=rest)), loose]
