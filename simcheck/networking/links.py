"""Links between neighbours: when they see each other, when their link closes, when all do."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np

from simcheck.arrays import Array
from simcheck.kernels.sampled import SampledMotion
from simcheck.kernels.vectors import norm
from simcheck.kernels.visibility import lowest_of_segment
from simcheck.kernels.windows import (
    Rows,
    at_least,
    everywhere,
    extremes,
    longest,
    outside,
    total,
    windows,
)
from simcheck.networking.sizing import budget_range, margin_db
from simcheck.records.case import Body
from simcheck.records.network import Link, NetworkAim, RingLinks

SLACK_M = 1.0
"""A line of sight or a range that misses its limit by less still holds: cubics are no better."""


def links(
    names: Sequence[str],
    motion: SampledMotion,
    body: Body,
    aim: NetworkAim,
    slots: Sequence[int] | None = None,
) -> RingLinks:
    """The links of relays with their neighbours, over the time of the samples.

    slots: where each relay sits, which says who its neighbours are; without them it is the order
    around the ring at the first sample. Two relays have one link, one has none.
    """
    pairs = _neighbours(motion, slots)
    if not pairs:
        return RingLinks(
            links=(), closed_share=None, connected_share=1.0, outages=0, longest_outage_s=0.0
        )
    start, end = float(motion.times[0]), float(motion.times[-1])
    ranges = _PairSignal(motion, pairs, _distance)
    nearest = _PairSignal(motion, pairs, lowest_of_segment)
    sight = nearest.above(body.radius_m + aim.grazing_height_m - SLACK_M)
    near = ranges.below(min(aim.max_range_m, budget_range(aim.link)) + SLACK_M)
    closed = [everywhere(both) for both in zip(sight, near, strict=True)]
    shortest, longest_range = ranges.bounds()
    lowest = nearest.bounds()[0] - body.radius_m
    span = end - start
    found = tuple(
        Link(
            first=names[a],
            second=names[b],
            shortest_m=float(shortest[k]),
            longest_m=float(longest_range[k]),
            lowest_height_m=float(lowest[k]),
            sight_share=total(sight[k]) / span,
            closed_share=total(closed[k]) / span,
            longest_outage_s=longest(outside(closed[k], start, end)),
            worst_margin_db=margin_db(aim.link, float(longest_range[k])) if aim.link else None,
        )
        for k, (a, b) in enumerate(pairs)
    )
    ring = everywhere(closed)
    outages = outside(ring, start, end)
    # A ring that is open in one place is still a chain.
    connected = at_least(closed, len(pairs) - 1) if len(pairs) > 2 else ring
    return RingLinks(
        links=found,
        closed_share=total(ring) / span if len(pairs) > 2 else None,
        connected_share=total(connected) / span,
        outages=len(outages),
        longest_outage_s=longest(outages),
    )


def _neighbours(motion: SampledMotion, slots: Sequence[int] | None) -> list[tuple[int, int]]:
    """Pairs of relays next to each other, in the order of the ring."""
    count = len(motion.positions)
    if count < 2:
        return []
    turn = _angles(motion) if slots is None else np.asarray(slots, dtype=np.float64)
    order = np.argsort(turn, kind="stable").tolist()
    pairs = list(zip(order, [*order[1:], order[0]], strict=True))
    return pairs if count > 2 else pairs[:1]


def _angles(motion: SampledMotion) -> Array:
    """Where each relay stands around the mean normal of their orbits at the first sample."""
    places = motion.positions[:, 0]
    normal = np.sum(np.cross(places, motion.velocities[:, 0]), axis=0)
    normal /= np.linalg.norm(normal)
    first = places[0] - normal * (places[0] @ normal)
    turn = np.arctan2(places @ np.cross(normal, first), places @ first)
    return np.asarray(np.mod(turn, 2.0 * np.pi))


class _PairSignal:
    """A length of each pair of relays, of their two places, as a function of time."""

    def __init__(
        self,
        motion: SampledMotion,
        pairs: list[tuple[int, int]],
        length: Callable[[Array, Array], Array],
    ) -> None:
        self.motion = motion
        self.length = length
        self.first = np.array([a for a, _ in pairs], dtype=np.intp)
        self.second = np.array([b for _, b in pairs], dtype=np.intp)
        places = motion.positions
        self.sampled = length(places[self.first], places[self.second])

    def __call__(self, rows: Rows, times: Array) -> Array:
        first = self.motion.at(self.first[rows], times)
        return self.length(first, self.motion.at(self.second[rows], times))

    def bounds(self) -> tuple[Array, Array]:
        """Least and most of each pair."""
        return extremes(self.motion.times, self.sampled, self)

    def above(self, floor: float) -> list[Array]:
        """Spans in which each pair has at least this length."""
        return windows(
            self.motion.times, self.sampled - floor, lambda rows, at: self(rows, at) - floor
        )

    def below(self, limit: float) -> list[Array]:
        """Spans in which each pair has at most this length."""
        times = self.motion.times
        if not np.isfinite(limit):
            return [times[[0, -1]][None, :]] * len(self.first)
        return windows(times, limit - self.sampled, lambda rows, at: limit - self(rows, at))


def _distance(first: Array, second: Array) -> Array:
    return norm(second - first)
