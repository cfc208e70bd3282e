"""How near a flight comes to what it must keep clear of: the ground, the outer limit, the members.

Apsides are found as events, so the lowest altitude is exact between burns; closest approaches are
taken on samples and refined on cubics between them, whose error is 1e-9 of the radius: (2 pi/240)^4
over 384.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from simcheck.arrays import Array
from simcheck.engines.base import Propagator, Thrust
from simcheck.kernels.transfers import period_of
from simcheck.kernels.vectors import dot, norm

SAMPLES_A_REVOLUTION = 240

_STILL = 1e-12  # m2: a relative motion between samples below it is none
_NEWTON = 4


class Stretch(NamedTuple):
    """An arc to look at: a coast if thrust is None. state is (7,) at start_s."""

    start_s: float
    end_s: float
    state: Array
    thrust: Thrust | None


class Clearances(NamedTuple):
    """Smallest and largest radius in m, and the closest approach with its member's index."""

    lowest_radius_m: float
    largest_radius_m: float
    closest_m: float | None
    closest_member: int | None


def clearances(
    propagator: Propagator, stretches: list[Stretch], members: list[Array]
) -> Clearances:
    """Extremes over the stretches; members are their states (7,) at the first stretch's start."""
    low, high = np.inf, 0.0
    normal = np.array([0.0, 0.0, 1.0])
    for stretch in stretches:
        radii = [norm(stretch.state[:3])]
        if stretch.end_s > stretch.start_s:
            if stretch.thrust is None:
                events = propagator.passages(stretch.start_s, stretch.state, stretch.end_s, normal)
                radii += [norm(e.state[:3]) for e in events if e.kind != "node"]
            radii.append(norm(_states(propagator, stretch, np.array([stretch.end_s]))[0, :3]))
        low, high = min(low, *map(float, radii)), max(high, *map(float, radii))
    closest, who = _closest(propagator, stretches, members)
    return Clearances(low, high, closest, who)


def _closest(
    propagator: Propagator, stretches: list[Stretch], members: list[Array]
) -> tuple[float | None, int | None]:
    if not members or not stretches:
        return None, None
    grids = [_grid(stretch, propagator.gravity.gm) for stretch in stretches]
    craft = np.concatenate(
        [_states(propagator, s, g) for s, g in zip(stretches, grids, strict=True)]
    )
    times = np.concatenate(grids)
    once, back = np.unique(times, return_inverse=True)
    best, who = np.inf, 0
    for index, member in enumerate(members):
        there = propagator.sample(stretches[0].start_s, member, once)[back]
        distance = _refined(craft - there, times)
        if distance < best:
            best, who = distance, index
    return float(best), who


def _grid(stretch: Stretch, gm: float) -> Array:
    period = float(period_of(stretch.state[:3], stretch.state[3:6], gm))
    span = stretch.end_s - stretch.start_s
    if span <= 0.0:
        return np.array([stretch.start_s])
    turns = span / period if np.isfinite(period) else 1.0
    return np.linspace(stretch.start_s, stretch.end_s, 3 + int(turns * SAMPLES_A_REVOLUTION))


def _states(propagator: Propagator, stretch: Stretch, times: Array) -> Array:
    if stretch.thrust is None:
        return propagator.sample(stretch.start_s, stretch.state, times)
    rows, time, state = [], stretch.start_s, stretch.state
    for until in times:
        time, state, _ = propagator.advance(time, state, float(until), stretch.thrust)
        rows.append(state)
    return np.array(rows)


def _refined(relative: Array, times: Array) -> float:
    """Smallest distance in m of relative states (n, 7) at times that do not fall.

    Between samples the cubic with their positions and velocities is followed to its nearest point
    by Newton's method, from where straight motion from either end would have it.
    """
    r, v = relative[:, :3], relative[:, 3:6]
    best = float(np.min(norm(r)))
    h = np.diff(times)[:, None]
    gap, m0, m1 = r[1:] - r[:-1], v[:-1] * h, v[1:] * h
    c1, c2, c3 = m0, 3 * gap - 2 * m0 - m1, m0 + m1 - 2 * gap
    for end, place, slope in ((0.0, r[:-1], m0), (1.0, r[1:], m1)):
        share = end - dot(place, slope) / np.maximum(dot(slope, slope), _STILL)
        for _ in range(_NEWTON):
            s = np.clip(share, 0.0, 1.0)[:, None]
            p = r[:-1] + s * (c1 + s * (c2 + s * c3))
            d = c1 + s * (2 * c2 + 3 * s * c3)
            curve = dot(d, d) + dot(p, 2 * c2 + 6 * s * c3)
            share = s[:, 0] - dot(p, d) / np.where(curve > _STILL, curve, np.inf)
        best = min(best, float(np.min(norm(p), initial=np.inf)))
    return best
