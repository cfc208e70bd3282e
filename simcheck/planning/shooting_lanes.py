"""The slopes of one arc where the sky acts: all its variations flown side by side.

An arc under other bodies costs ten times one under the zonals alone, and slopes take twelve:
`shooting.Shooter` asks for them here where there is a sky.
"""

from __future__ import annotations

from functools import lru_cache
from typing import NamedTuple

import numpy as np

from simcheck.arrays import Array
from simcheck.engines.base import G0
from simcheck.engines.batches import TaylorBatches, ThrustBatch
from simcheck.engines.gravity import Gravity
from simcheck.errors import FlightError
from simcheck.kernels.transfers import coast_times
from simcheck.kernels.vectors import cross, dot, norm
from simcheck.records.case import Engine
from simcheck.records.plan import Steering

_ROUNDS = 8
_ON_PLACE = 1e-12  # as `shooting` has it


class BurnLanes(NamedTuple):
    """Variations (n,) of a burn: its engine, steering and share, places and Δv (n, 3)."""

    engine: Engine
    steering: Steering
    share: float
    places: Array
    dvs: Array


def ends(
    gravity: Gravity, burns: BurnLanes, states: Array, time: float, wait: float
) -> tuple[Array, Array]:
    """Times (n,) since `time` and states (n, 7) at the cutoffs of burns from states (n, 7).

    wait is about how long to coast to the ignition. Raises FlightError where an orbit is not
    closed, so that it never comes to the place.
    """
    batches = _batches(gravity)
    n = len(states)
    sizes = norm(burns.dvs)
    exhaust = G0 * burns.engine.isp_s
    lengths = -states[:, 6] * exhaust / burns.engine.thrust_n * np.expm1(-sizes / exhaust)
    lengths = burns.share * lengths
    start = np.full(n, time)
    now = np.full(n, time + wait)
    lit = batches.advance(start, states, now)
    fine = _ON_PLACE * np.sqrt(norm(lit[:, :3]) ** 3 / gravity.gm)
    rows = np.arange(n)
    for _ in range(_ROUNDS):
        there = lit[rows]
        angles = _ahead(there, burns.places[rows])
        steps = coast_times(there[:, :3], there[:, 3:6], angles, gravity.gm) - lengths[rows] / 2
        if not np.isfinite(steps).all():
            raise FlightError("an orbit that is not closed does not come to the next burn's place")
        on = np.abs(steps) > fine[rows]
        early = on & (now[rows] + steps <= time)
        now[rows[early]], lit[rows[early]] = time, states[rows[early]]
        on &= ~early
        rows, steps = rows[on], steps[on]
        if not len(rows):
            break
        lit[rows] = batches.advance(now[rows], lit[rows], now[rows] + steps)
        now[rows] += steps
    thrust = ThrustBatch(
        np.full(n, burns.engine.thrust_n / burns.share),
        np.full(n, burns.engine.isp_s),
        burns.steering,
        burns.dvs / np.where(sizes > 0.0, sizes, 1.0)[:, None],
    )
    until = now + np.where(sizes > 0.0, lengths, 0.0)
    return until - time, batches.advance(now, lit, until, thrust)


@lru_cache(maxsize=64)
def _batches(gravity: Gravity) -> TaylorBatches:
    return TaylorBatches(gravity)


def _ahead(states: Array, places: Array) -> Array:
    """Angles (n,) in (-pi, pi] from craft to directions (n, 3), positive ahead."""
    r, v = states[:, :3], states[:, 3:6]
    h = cross(r, v)
    return np.asarray(np.arctan2(dot(cross(h, r), places) / norm(h), dot(r, places)))
