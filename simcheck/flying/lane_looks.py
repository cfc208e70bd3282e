"""What lanes come near to on their coasts: the ground, the largest radius, the members."""

from __future__ import annotations

import numpy as np

from simcheck.arrays import Array
from simcheck.engines.base import Propagator
from simcheck.engines.batches import TaylorBatches, ThrustBatch
from simcheck.flying.lane_burns import LaneBurns
from simcheck.flying.lane_members import Member, Path
from simcheck.kernels.perturbations import zonal_acceleration
from simcheck.kernels.transfers import apsis_radii, period_of
from simcheck.kernels.vectors import TAU, norm
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
_MOST_WATCHED = 64_000  # a coast, where it has to keep clear of members at all times
_SHARPEST = 8.0  # turns at the periapsis, in mean ones, that so many samples do for
_BURN_SAMPLES = 240  # a revolution of a circle at the lower end of a burn


class Looks:
    """Extremes of coasts, from samples a few degrees apart refined by parabolas."""

    def __init__(
        self, case: Case, batches: TaylorBatches, motion: RingMotion, propagator: Propagator
    ) -> None:
        self.batches = batches
        self.watching = bool(case.members) and case.limits.separation_m > 0
        states = member_states(case, motion, propagator) if case.members else []
        self.members = [Member(state, propagator, motion.period_s) for state in states]

    def nothing(self, count: int) -> Array:
        """What lanes (count,) have met that did not fly."""
        return np.array([[np.inf], [0.0], *[[np.inf]] * len(self.members)]) + np.zeros(count)

    def look(
        self, times: Array, states: Array, until: Array, nearest: Array | None = None
    ) -> Array:
        """Lowest and largest radius and the least distance to each member (2 + members, n).

        Of coasts from states (n, 7) at times (n,) to until (n,); lanes with nowhere to go have met
        nothing. nearest (members, n) is known from elsewhere: distances that cannot beat it are
        those of samples.
        """
        found = self.nothing(len(times))
        if nearest is None:
            nearest = found[2:]
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
                self._looked(found, of[i : i + size], int(count), times, states, span, nearest)
        return found

    def _looked(
        self,
        found: Array,
        of: Rows,
        count: int,
        times: Array,
        states: Array,
        span: Array,
        nearest: Array,
    ) -> None:
        """Look at coasts of some lanes at `count` steps each, into found."""
        grid = times[of, None] + span[of, None] * np.linspace(0.0, 1.0, count + 1)
        rows6 = self.batches.sample(times[of], states[of], grid)
        seen = rows6[..., :3]
        radius = norm(seen)
        found[0, of], found[1, of] = _least(radius), -_least(-radius)
        self._closer(found[0], of, grid, rows6, states[of, 6])
        path = Path(grid, rows6, self._pull)
        for row, member in enumerate(self.members):
            found[2 + row, of] = member.nearest(path, nearest[row, of])

    def look_at_burns(self, times: Array, states: Array, went: LaneBurns, nearest: Array) -> Array:
        """Least distance to each member (members, n) by burns lit at times (n,), states (n, 7).

        nearest (members, n) is known from elsewhere: it comes back where a burn cannot beat it.
        """
        found = nearest.copy()
        ran = np.isfinite(states).all(axis=1) & np.isfinite(went.states).all(axis=1)
        rows = np.flatnonzero(ran & (went.ends > times))
        if not len(rows):
            return found
        both = np.stack([states[rows], went.states[rows]], axis=1)
        span = np.stack([times[rows], went.ends[rows]], axis=1)
        bounds = [member.bound(span, both) for member in self.members]
        some = np.any(np.array(bounds) < nearest[:, rows], axis=0)
        rows, both, span = rows[some], both[some], span[some]
        lowest = norm(both[..., :3]).min(axis=1)
        step = TAU * np.sqrt(lowest * lowest * lowest / self.batches.gravity.gm) / _BURN_SAMPLES
        wanted = 2 ** np.ceil(np.log2(np.maximum((span[:, 1] - span[:, 0]) / step, 2.0)))
        for count in np.unique(wanted):
            these = wanted == count
            of = rows[these]
            path = self._burnt(int(count), span[these], states[of], went.push.of(of))
            for row, member in enumerate(self.members):
                found[row, of] = np.minimum(found[row, of], member.nearest(path, found[row, of]))
        return found

    def _burnt(self, count: int, span: Array, states: Array, push: ThrustBatch) -> Path:
        """Burns over spans (n, 2) in `count` steps each."""
        shares = np.linspace(0.0, 1.0, count + 1)
        times = span[:, :1] + (span[:, 1:] - span[:, :1]) * shares
        rows = [states]
        for k in range(count):
            rows.append(self.batches.advance(times[:, k], rows[-1], times[:, k + 1], push))
        return Path(times, np.stack(rows, axis=1))

    def _pull(self, position: Array) -> Array:
        """Acceleration (k, 3) of a coast but for the sky's, which curves cannot tell."""
        g = self.batches.gravity
        r = norm(position)[:, None]
        zonal = zonal_acceleration(position, g.gm, g.radius, g.j2, g.j3, g.j4)
        return np.asarray(zonal - g.gm / (r * r * r) * position)

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
        count = np.where(round_, _FEW, _SAMPLES) * turns
        if not self.watching:
            return np.asarray(np.minimum(count, _MOST_SAMPLES))
        with np.errstate(all="ignore"):
            e = (high - low) / (high + low)
            sharp = np.sqrt((1 + e) / (1 - e) ** 3) / _SHARPEST
        return np.asarray(np.minimum(count * np.fmax(sharp, 1.0), _MOST_WATCHED))


def _least(values: Array) -> Array:
    """Least value (n,) of rows (n, m), by the parabola through the smallest and its neighbours."""
    at = np.clip(np.argmin(values, axis=1), 1, values.shape[1] - 2)
    row = np.arange(len(values))
    before, here, after = values[row, at - 1], values[row, at], values[row, at + 1]
    bend, slope = before - 2 * here + after, (after - before) / 2
    with np.errstate(all="ignore"):
        vertex = np.where((bend > 0) & (np.abs(slope) < bend), here - slope**2 / (2 * bend), here)
    return np.asarray(np.minimum(np.min(values, axis=1), vertex))
