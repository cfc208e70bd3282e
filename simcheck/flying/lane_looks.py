"""What lanes come near to on their coasts: the ground, the largest radius, the members."""

from __future__ import annotations

import numpy as np

from simcheck.arrays import Array
from simcheck.engines.base import Propagator
from simcheck.engines.batches import TaylorBatches
from simcheck.kernels.transfers import apsis_radii, period_of
from simcheck.kernels.vectors import norm
from simcheck.measuring import RingMotion
from simcheck.planning.commanding import member_states
from simcheck.planning.lane_commands import Rows
from simcheck.records.case import Case

_SAMPLES, _FEW = 128, 28  # a revolution, on an ellipse and near a circle
_ROUND = 0.1  # eccentricity up to which an orbit is near a circle
_SHARP = 0.3  # eccentricity from which a craft turns too fast at its periapsis for those samples
_CLOSER = 16  # samples of the two intervals about the lowest, on such an ellipse
_AT_ONCE = 50_000  # samples worked on together, which stay in the processor's cache
_MOST_SAMPLES = 4000  # a coast
_MEMBER_SAMPLES = 240  # a revolution, joined by cubics
_STRETCH = 8  # revolutions that a member is followed at a time


class Looks:
    """Extremes of coasts, from samples a few degrees apart refined by parabolas."""

    def __init__(
        self, case: Case, batches: TaylorBatches, motion: RingMotion, propagator: Propagator
    ) -> None:
        self.batches = batches
        states = member_states(case, motion, propagator) if case.members else []
        self.members = [_Member(state, propagator, motion.period_s) for state in states]

    def look(self, times: Array, states: Array, until: Array) -> Array:
        """Lowest and largest radius and the least distance to a member (3, n) of coasts.

        From states (n, 7) at times (n,) to until (n,); lanes with nowhere to go have met nothing.
        """
        found = np.array([[np.inf], [0.0], [np.inf]]) + np.zeros(len(times))
        span = until - times
        rows = np.flatnonzero((span > 0) & np.isfinite(states).all(axis=1))
        if not len(rows):
            return found
        # Each lane by its own number of samples would break up the batches; by powers of the root
        # of two it does not depend on the others.
        wanted = np.clip(self._wanted(states[rows], span[rows]), 4, None)
        wanted = np.ceil(2 ** (np.ceil(2 * np.log2(wanted)) / 2))
        for count in np.unique(wanted):
            of = rows[wanted == count]
            size = max(_AT_ONCE // int(count), 1)
            for i in range(0, len(of), size):
                self._looked(found, of[i : i + size], int(count), times, states, span)
        return found

    def _looked(
        self, found: Array, of: Rows, count: int, times: Array, states: Array, span: Array
    ) -> None:
        """Look at coasts of some lanes at `count` steps each, into found."""
        grid = times[of, None] + span[of, None] * np.linspace(0.0, 1.0, count + 1)
        rows6 = self.batches.sample(times[of], states[of], grid)
        seen = rows6[..., :3]
        radius = norm(seen)
        found[0, of], found[1, of] = _least(radius), -_least(-radius)
        self._closer(found[0], of, grid, rows6, states[of, 6])
        for member in self.members:
            found[2, of] = np.minimum(found[2, of], member.nearest(grid, seen))

    def _closer(self, low: Array, of: Rows, times: Array, seen: Array, mass: Array) -> None:
        """Look again about the lowest passage of long ellipses, into `low`."""
        gm = self.batches.gravity.gm
        near, far = apsis_radii(seen[:, 0, :3], seen[:, 0, 3:], gm)
        sharp = np.flatnonzero(~(far - near < _SHARP * (far + near)))
        if not len(sharp):
            return
        inner = norm(seen[sharp, :, :3])
        passing = (inner[:, 1:-1] <= inner[:, :-2]) & (inner[:, 1:-1] <= inner[:, 2:])
        lowest = apsis_radii(seen[sharp, 1:-1, :3], seen[sharp, 1:-1, 3:], gm)[0]
        least = 1 + np.argmin(np.where(passing, lowest, np.inf), axis=1)
        begin, end = np.maximum(least - 1, 0), np.minimum(least + 1, times.shape[1] - 1)
        start, stop = times[sharp, begin], times[sharp, end]
        states = np.concatenate([seen[sharp, begin], mass[sharp, None]], axis=1)
        grid = start[:, None] + (stop - start)[:, None] * np.linspace(0.0, 1.0, _CLOSER + 1)
        fine = _least(norm(self.batches.sample(start, states, grid)[..., :3]))
        low[of[sharp]] = np.minimum(fine, low[of[sharp]])

    def _wanted(self, states: Array, span: Array) -> Array:
        gm = self.batches.gravity.gm
        r, v = states[:, :3], states[:, 3:6]
        period, (low, high) = period_of(r, v, gm), apsis_radii(r, v, gm)
        turns = np.where(np.isfinite(period), span / period, 1.0)
        round_ = high - low < _ROUND * (high + low)
        return np.asarray(np.minimum(np.where(round_, _FEW, _SAMPLES) * turns, _MOST_SAMPLES))


class _Member:
    """Where a member is, from cubics between samples that no lane moves."""

    def __init__(self, state: Array, propagator: Propagator, period: float) -> None:
        self.state, self.propagator = state, propagator
        self.step = period / _MEMBER_SAMPLES
        self.cubics = np.empty((0, 4, 3))

    def nearest(self, times: Array, positions: Array) -> Array:
        """Least distance (n,) of positions (n, m, 3) at times (n, m)."""
        away = positions - self._at(times)
        squares = away[..., 0] ** 2 + away[..., 1] ** 2 + away[..., 2] ** 2
        return np.sqrt(np.maximum(_least(squares), 0.0))

    def _at(self, times: Array) -> Array:
        """Positions (n, m, 3) by Hermite's cubics."""
        shares = times / self.step
        at = shares.astype(np.intp)
        self._follow(int(at.max()) + 1)
        cubics, s = self.cubics[at], (shares - at)[..., None]
        found = cubics[..., 3, :] * s
        for power in (2, 1):
            found += cubics[..., power, :]
            found *= s
        found += cubics[..., 0, :]
        return np.asarray(found)

    def _follow(self, count: int) -> None:
        """Have at least `count` cubics, always by the same stretches."""
        block = _STRETCH * _MEMBER_SAMPLES
        while len(self.cubics) < count:
            start = len(self.cubics) * self.step
            begun = self.propagator.advance(0.0, self.state, start).state
            times = np.asarray(start + np.arange(block + 1) * self.step, dtype=np.float64)
            rows = self.propagator.sample(start, begun, times)
            one, two = rows[:-1, :3], rows[1:, :3]
            before, after = self.step * rows[:-1, 3:6], self.step * rows[1:, 3:6]
            bend, twist = 3 * (two - one) - 2 * before - after, 2 * (one - two) + before + after
            self.cubics = np.concatenate([self.cubics, np.stack([one, before, bend, twist], 1)])


def _least(values: Array) -> Array:
    """Least value (n,) of rows (n, m), by the parabola through the smallest and its neighbours."""
    at = np.clip(np.argmin(values, axis=1), 1, values.shape[1] - 2)
    row = np.arange(len(values))
    before, here, after = values[row, at - 1], values[row, at], values[row, at + 1]
    bend, slope = before - 2 * here + after, (after - before) / 2
    with np.errstate(all="ignore"):
        vertex = np.where((bend > 0) & (np.abs(slope) < bend), here - slope**2 / (2 * bend), here)
    return np.asarray(np.minimum(np.min(values, axis=1), vertex))
