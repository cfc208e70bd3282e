"""The flights that all rows fly: invented, about a body with J2, each a little different."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import NamedTuple

import numpy as np

from simcheck.engines.base import G0
from simcheck.engines.gravity import Gravity
from simcheck.kernels.elements import state_from_classical

MARS = Gravity(4.282837e13, 3396190.0, 1.96045e-3)
RADIUS, INCLINATION = 2.0 * MARS.radius, 0.6
NEWTON, ISP, MASS = 400.0, 318.0, 1200.0
SIZES = np.array([RADIUS] * 3 + [2e3] * 3 + [MASS])
"""What a state's components (7,) amount to, SI: absolute tolerances are a share of it."""


class Arc(NamedTuple):
    """Start and end in s, thrust in N (0: a coast), Isp in s, direction in RSW."""

    start: float
    until: float
    newton: float
    isp: float
    direction: tuple[float, float, float]

    @property
    def flow(self) -> float:
        """Mass flow, kg/s."""
        return self.newton / (G0 * self.isp)


class Flights(NamedTuple):
    """Starts (n, 7), ends of the five arcs (5, n) in s, the two burns' directions (2, n, 3)."""

    states: np.ndarray
    until: np.ndarray
    newton: np.ndarray
    isp: np.ndarray
    directions: np.ndarray

    def first(self, n: int) -> Flights:
        """The first n of them."""
        return Flights(
            self.states[:n],
            self.until[:, :n],
            self.newton[:n],
            self.isp[:n],
            self.directions[:, :n],
        )

    def arcs(self, k: int) -> Iterator[Arc]:
        """Coast, burn, coast, burn, coast of flight k."""
        now, isp = 0.0, float(self.isp[k])
        for i, until in enumerate(self.until[:, k].tolist()):
            if i % 2:
                direction = tuple(self.directions[i // 2, k].tolist())
                yield Arc(now, until, float(self.newton[k]), isp, direction)
            else:
                yield Arc(now, until, 0.0, isp, (0.0, 0.0, 0.0))
            now = until


def samples(n: int) -> Flights:
    """Starts scattered by a km, burns by a per cent and half a degree."""
    rng = np.random.default_rng(1)
    r, v = state_from_classical(RADIUS, 0.01, INCLINATION, 1.0, 0.5, 0.3, MARS.gm)
    states = np.tile([*r, *v, MASS], (n, 1))
    states[:, :3] += 1e3 * rng.normal(size=(n, 3))
    states[:, 3:6] += 0.5 * rng.normal(size=(n, 3))
    turn = 2 * math.pi * math.sqrt(RADIUS**3 / MARS.gm)
    lengths = np.array([4.3 * turn, 240.0, 5.0 * turn, 180.0, 4.6 * turn])[:, None]
    lengths = lengths + [[0.0], [2.4], [0.0], [1.8], [0.0]] * rng.normal(size=(5, n))
    directions = np.array([[0.0, 1.0, 0.0], [0.0, 0.8, 0.6]])[:, None] + np.zeros((2, n, 3))
    directions += 0.01 * rng.normal(size=directions.shape)
    directions /= np.linalg.norm(directions, axis=-1, keepdims=True)
    newton, isp = NEWTON * (1 + 0.01 * rng.normal(size=n)), ISP * (1 + 0.003 * rng.normal(size=n))
    return Flights(states, np.cumsum(lengths, axis=0), newton, isp, directions)
