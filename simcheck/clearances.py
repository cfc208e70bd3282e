"""How near a flight comes to what it must keep clear of: the ground, the outer limit, the members.

Apsides are found as events, so the lowest altitude is exact between burns; closest approaches are
taken on samples and refined by straight relative motion between them, whose error is that of the
relative acceleration over half a sample: metres where two relays pass within a few kilometres.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from simcheck.arrays import Array
from simcheck.engines.base import Propagator, Thrust
from simcheck.kernels.transfers import period_of
from simcheck.kernels.vectors import dot, norm

SAMPLES_A_REVOLUTION = 240


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
    """Smallest distance in m of relative states (n, 7), straight motion between samples."""
    r, v = relative[:, :3], relative[:, 3:6]
    with np.errstate(all="ignore"):
        shift = -dot(r, v) / dot(v, v)
    reach = np.max(np.diff(times), initial=0.0)
    shift = np.where(np.isfinite(shift), np.clip(shift, -reach, reach), 0.0)
    shift[0], shift[-1] = max(shift[0], 0.0), min(shift[-1], 0.0)
    return float(np.min(norm(r + shift[:, None] * v)))
