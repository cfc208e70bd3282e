"""Flights by heyoka's batch integrator alone, called on arrays laid out beforehand.

At gm = radius = 1, without a line of ours between the calls: what our batches are measured by.
"""

from __future__ import annotations

import math

import heyoka as hy
import numpy as np
from flight_rows.samples import MARS, MASS, Flights

from simcheck.engines.base import G0
from simcheck.engines.batches import LANES
from simcheck.engines.taylor import THRUST, motion_equations


class Bare:
    """The flights made ready (a multiple of LANES of them); a call flies them."""

    def __init__(self, flights: Flights, tolerance: float) -> None:
        n = len(flights.states) // LANES * LANES
        f = flights.first(n)
        self.time = math.sqrt(MARS.radius**3 / MARS.gm)
        self.scale = np.array([MARS.radius] * 3 + [MARS.radius / self.time] * 3 + [MASS])
        self.starts = _grouped(f.states / self.scale)
        lengths = np.diff(f.until, axis=0, prepend=0.0) / self.time
        self.spans = [row.reshape(-1, LANES).tolist() for row in lengths]
        pars = np.zeros((2, n, 11))
        pars[:, :, 0] = MARS.j2
        pars[:, :, THRUST.start] = f.newton / MASS * self.time**2 / MARS.radius
        pars[:, :, THRUST.start + 1] = f.newton / (G0 * f.isp) / MASS * self.time
        pars[:, :, THRUST.start + 5 : THRUST.stop] = f.directions
        self.pushes = [_grouped(row) for row in pars]
        self.coast, self.burn = (_integrator(tolerance, thrusting=on) for on in (False, True))
        self.coast.pars[:] = [[MARS.j2], [0.0], [0.0]]
        self.ends = np.empty_like(self.starts)

    def __call__(self) -> None:
        coast, burn, ends, starts = self.coast, self.burn, self.ends, self.starts
        still, lit, push = coast.state, burn.state, burn.pars
        (one, two, three, four, five), (first, second) = self.spans, self.pushes
        for g in range(len(starts)):
            still[:] = starts[g, :6]
            coast.set_time(0.0)
            coast.propagate_until(one[g])
            lit[:6], lit[6], push[:] = still, 1.0, first[g]
            burn.set_time(0.0)
            burn.propagate_until(two[g])
            still[:] = lit[:6]
            coast.set_time(0.0)
            coast.propagate_until(three[g])
            lit[:6], push[:] = still, second[g]
            burn.set_time(0.0)
            burn.propagate_until(four[g])
            still[:] = lit[:6]
            coast.set_time(0.0)
            coast.propagate_until(five[g])
            ends[g, :6], ends[g, 6] = still, lit[6]

    def physical(self) -> np.ndarray:
        """The ends (n, 7) in SI."""
        return np.swapaxes(self.ends, 1, 2).reshape(-1, 7) * self.scale


def _grouped(rows: np.ndarray) -> np.ndarray:
    return np.ascontiguousarray(np.swapaxes(rows.reshape(-1, LANES, rows.shape[1]), 1, 2))


def _integrator(tolerance: float, *, thrusting: bool) -> hy.taylor_adaptive_batch:
    equations = motion_equations(thrusting=thrusting)
    return hy.taylor_adaptive_batch(equations, np.ones((len(equations), LANES)), tol=tolerance)
