"""Motions of other bodies as functions of time, sampled into Chebyshev segments and averaged."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import TypeAlias

import numpy as np

from simcheck.arrays import Array
from simcheck.kernels.chebyshev import extrema, interpolating, positions
from simcheck.kernels.vectors import norm

Position: TypeAlias = Callable[[Array], Array]
"""Seconds past the epoch (n,) to metres (n, 3)."""


def sampled(position: Position, start_s: float, end_s: float, step_s: float, degree: int) -> Array:
    """Coefficients (segments, degree + 1, 3) m of the motion from start_s to end_s or a bit later.

    `kernels.chebyshev.positions` reads them. Segments share the points where they meet.
    """
    segments = max(1, math.ceil((end_s - start_s) / step_s - 1e-9))
    inner = (extrema(degree)[:-1] + 1.0) / 2.0
    times = (np.arange(segments)[:, None] + inner) * step_s
    last = segments * step_s
    values = position(start_s + np.append(times.ravel(), last))
    nodes = np.arange(segments)[:, None] * degree + np.arange(degree + 1)
    return interpolating(values[nodes])


def smoothed(position: Position, step_s: float, degree: int) -> Position:
    """The motion by way of samples of its own, wherever more times are asked than those take."""

    def smooth(times: Array) -> Array:
        start, end = float(np.min(times)), float(np.max(times))
        if len(times) * step_s <= (end - start) * degree:
            return position(times)
        return positions(start, step_s, sampled(position, start, end, step_s, degree), times)

    return smooth


def mean_tide(position: Position, gm: float, span_s: float, samples: int) -> Array:
    """Mean of gm / d^3 (3 u u' - 1), 1/s2 (3, 3), over a span around the epoch.

    Weighted by 1 + cos, largest at the epoch: over two whole revolutions or more this is exact
    where the motion repeats, and hardly feels another period (the Moon has two months) cut short.
    """
    share = np.arange(samples) / samples - 0.5
    places = position(share * span_s)
    weight = (1.0 + np.cos(2.0 * math.pi * share)) / samples
    d = norm(places)
    u = places / d[:, None]
    strength = weight * gm / d**3
    outer = np.einsum("n,ni,nj->ij", strength, u, u)
    return np.asarray(3.0 * outer - np.sum(strength) * np.eye(3))
