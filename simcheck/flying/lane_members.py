"""How near lanes come to a member: samples show about where, curves between them how near."""

from __future__ import annotations

from collections.abc import Callable
from typing import NamedTuple

import numpy as np

from simcheck.arrays import Array
from simcheck.engines.base import Propagator
from simcheck.kernels.vectors import norm
from simcheck.planning.lane_commands import Rows

_SAMPLES = 240  # a revolution, joined by cubics
_STRETCH = 8  # revolutions that a member is followed at a time
_NEWTON = 5
_STILL = 1e-12  # m2: a relative motion between samples below it is none
_FASTER = 1.25  # the greatest speed on a burn over that at its ends


class Path(NamedTuple):
    """Where n lanes are at m increasing times: times (n, m) s, states (n, m, 6 or more).

    pull gives the acceleration in m/s2 at positions (k, 3); None where samples are near enough for
    cubics.
    """

    times: Array
    states: Array
    pull: Callable[[Array], Array] | None = None


class Member:
    """Where a member is, from cubics between samples that no lane moves."""

    def __init__(self, state: Array, propagator: Propagator, period: float) -> None:
        self.state, self.propagator = state, propagator
        self.step = period / _SAMPLES
        self.cubics = np.empty((4, 3, 0))  # components first, which is quicker to look up

    def nearest(self, path: Path, known: Array) -> Array:
        """Least distance (n,) of lanes along their paths; a sample's where it cannot beat `known`.

        known: (n,) m, infinity where nothing is.
        """
        squares = self._squares(path)
        least = np.min(squares, axis=1)
        lane, at, share = _candidates(squares, np.minimum(least, known * known))
        if len(lane):
            np.minimum.at(least, lane, self._refined(path, lane, at, share))
        return np.asarray(np.sqrt(least))

    def bound(self, times: Array, states: Array) -> Array:
        """What the distance (n,) cannot fall below between two times (n, 2), states (n, 2, 6).

        As long as no speed on the way is more than a quarter above those at the ends.
        """
        ends, fastest = np.zeros(len(times)), np.zeros(len(times))
        for k in (0, 1):
            place, velocity, _ = self._moving(times[:, k], np.ones(len(times)))
            ends += norm(states[:, k, :3] - place.T)
            fastest = np.maximum(fastest, norm(states[:, k, 3:6]) + norm(velocity.T))
        return np.asarray((ends - _FASTER * fastest * (times[:, 1] - times[:, 0])) / 2)

    def _squares(self, path: Path) -> Array:
        """Squared distances (n, m) at a path's times."""
        at, s = self._reached(path.times)
        squares = np.zeros(path.times.shape)
        for axis in range(3):
            c0, c1, c2, c3 = self.cubics[:, axis]
            away = np.take(c3, at) * s
            for part in (c2, c1):
                away += np.take(part, at)
                away *= s
            away += np.take(c0, at)
            away -= path.states[..., axis]
            away *= away
            squares += away
        return squares

    def _refined(self, path: Path, lane: Rows, at: Rows, share: Array) -> Array:
        """Least squared distance (k,) near samples `at` of some lanes, `share` steps past them."""
        # Which side of the sample it is on the velocities tell; where near it, the parabola.
        there = self._moving(path.times[lane, at], np.ones(len(lane)))
        here = path.states[lane, at].T
        grows = _dot(here[:3] - there[0], here[3:6] - there[1]) > 0.0
        before = np.clip(np.where(grows, at - 1, at), 0, path.times.shape[1] - 2)
        share = share + (at - before)
        start = path.times[lane, before]
        h = path.times[lane, before + 1] - start
        curve = _curve(path, lane, before, h)
        least = np.full(len(lane), np.inf)
        for _ in range(_NEWTON):
            share = np.clip(share, 0.0, 1.0)
            there = self._moving(start + share * h, h)
            place, slope, bend = (a - b for a, b in zip(_along(curve, share), there, strict=True))
            least = np.minimum(least, _dot(place, place))
            rise = _dot(slope, slope) + _dot(place, bend)
            share = share - _dot(place, slope) / np.where(rise > _STILL, rise, np.inf)
        return least

    def _moving(self, times: Array, unit: Array) -> tuple[Array, Array, Array]:
        """Position (3, k) at times (k,), and its first two derivatives by a unit (k,) of time."""
        at, s = self._reached(times)
        place, slope, bend = _along(list(np.take(self.cubics, at, axis=2)), s)
        of = unit / self.step
        return place, of * slope, of * of * bend

    def _reached(self, times: Array) -> tuple[Rows, Array]:
        """Which cubics hold at times (...), and the share gone of each."""
        shares = times / self.step
        at = shares.astype(np.intp)
        self._follow(int(at.max()) + 1)
        return at, shares - at

    def _follow(self, count: int) -> None:
        """Have at least `count` cubics, always by the same stretches."""
        block = _STRETCH * _SAMPLES
        while self.cubics.shape[2] < count:
            start = self.cubics.shape[2] * self.step
            begun = self.propagator.advance(0.0, self.state, start).state
            times = np.asarray(start + np.arange(block + 1) * self.step, dtype=np.float64)
            rows = self.propagator.sample(start, begun, times).T
            one, two = rows[:3, :-1], rows[:3, 1:]
            before, after = self.step * rows[3:6, :-1], self.step * rows[3:6, 1:]
            bend, twist = 3 * (two - one) - 2 * before - after, 2 * (one - two) + before + after
            fresh = np.stack([one, before, bend, twist])
            self.cubics = np.concatenate([self.cubics, fresh], axis=2)


def _candidates(squares: Array, least: Array) -> tuple[Rows, Rows, Array]:
    """Lane (k,) and sample (k,) of minima of squared distances (n, m) that may be the least.

    With the place of each minimum in steps past its sample, by the parabola through three; least
    (n,) is the smallest known of each lane. A minimum is not missed if it is no further below its
    sample than the parabola can go in a step.
    """
    falls = squares[:, 1:] < squares[:, :-1]
    low = np.empty(squares.shape, dtype=bool)
    low[:, 1:-1] = falls[:, :-1] & ~falls[:, 1:]
    low[:, 0], low[:, -1] = ~falls[:, 0], falls[:, -1]
    lane, at = np.divmod(np.flatnonzero(low), squares.shape[1])
    middle = np.clip(at, 1, squares.shape[1] - 2)
    before, here, after = (squares[lane, middle + k] for k in (-1, 0, 1))
    bend, slope = before - 2 * here + after, (after - before) / 2
    with np.errstate(all="ignore"):
        share = np.where(bend > 0.0, -slope / bend, 0.0)
    share = np.clip(share + (middle - at), -1.0, 1.0)
    near = squares[lane, at] - np.abs(bend) / 2 - np.abs(slope) <= least[lane]
    return lane[near], at[near], share[near]


def _curve(path: Path, lane: Rows, at: Rows, h: Array) -> list[Array]:
    """Coefficients (3, k) of the curves from samples `at` of some lanes to the next, h later.

    Quintics where accelerations are known, cubics else: a step of x rad leaves x^6 / 46080 or
    x^4 / 384 of the radius, 3e-9 at 28 quintics a revolution, 1e-9 at 240 cubics.
    """
    one, two = path.states[lane, at], path.states[lane, at + 1]
    place, gap = one[:, :3].T, (two[:, :3] - one[:, :3]).T
    m0, m1 = h * one[:, 3:6].T, h * two[:, 3:6].T
    if path.pull is None:
        return [place, m0, 3 * gap - 2 * m0 - m1, m0 + m1 - 2 * gap]
    a0, a1 = (h * h * path.pull(state[:, :3]).T for state in (one, two))
    return [
        place,
        m0,
        a0 / 2,
        10 * gap - 6 * m0 - 4 * m1 - (3 * a0 - a1) / 2,
        -15 * gap + 8 * m0 + 7 * m1 + (3 * a0 - 2 * a1) / 2,
        6 * gap - 3 * (m0 + m1) - (a0 - a1) / 2,
    ]


def _along(curve: list[Array], s: Array) -> tuple[Array, Array, Array]:
    """Position (3, k) on curves at shares s (k,), and its first two derivatives."""
    place, slope, half = curve[-1], np.zeros_like(curve[-1]), np.zeros_like(curve[-1])
    for part in curve[-2::-1]:
        half = half * s + slope
        slope = slope * s + place
        place = place * s + part
    return place, slope, 2 * half


def _dot(a: Array, b: Array) -> Array:
    """Scalar product over the first axis, the same bits for one lane and for many."""
    return np.asarray(a[0] * b[0] + a[1] * b[1] + a[2] * b[2])
