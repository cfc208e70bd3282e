"""Motions known at sample times, and their place at any time between: cubic Hermite polynomials."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from simcheck.arrays import Array


@dataclass(frozen=True, kw_only=True, eq=False)
class SampledMotion:
    """Several bodies at common times (T,) s, increasing: positions and velocities (M, T, 3).

    Between samples h apart the place is off by up to h^4/384 of the fourth derivative: on a circle
    of radius r, r (n h)^4 / 384, which is 0.4 m for a low orbit sampled each minute. A burn within
    a step shifts it by up to Δv h / 8.
    """

    times: Array
    positions: Array
    velocities: Array

    def at(self, which: NDArray[np.intp], times: Array) -> Array:
        """Places (n, 3) of bodies `which` (n,) at `times` (n,), which lie within the samples."""
        k = np.clip(np.searchsorted(self.times, times, side="right") - 1, 0, len(self.times) - 2)
        step = self.times[k + 1] - self.times[k]
        s = ((times - self.times[k]) / step)[:, None]
        before, after = self.positions[which, k], self.positions[which, k + 1]
        out = self.velocities[which, k] * step[:, None]
        into = self.velocities[which, k + 1] * step[:, None]
        rise = after - before
        # Horner's form of the cubic that has these four end values.
        return np.asarray(
            before + s * (out + s * (3 * rise - 2 * out - into + s * (out + into - 2 * rise)))
        )

    def all_at(self, times: Array) -> Array:
        """Places (M, n, 3) of every body at `times` (n,)."""
        bodies = len(self.positions)
        which = np.repeat(np.arange(bodies), len(times))
        return self.at(which, np.tile(times, bodies)).reshape(bodies, len(times), 3)


def sampled_motion(
    times: Array, positions: Array, velocities: Array | None = None
) -> SampledMotion:
    """The motion through samples; without velocities those of a cubic spline (not-a-knot).

    times (T,) s, at least two; positions and velocities (M, T, 3). The spline is as good as known
    velocities but for the first and last two steps, in which it is off by up to 11 times as much.
    Raises ValueError where shapes or times do not fit.
    """
    times = np.asarray(times, dtype=np.float64)
    positions = np.asarray(positions, dtype=np.float64)
    fits = times.ndim == 1 and positions.ndim == 3 and positions.shape[1:] == (len(times), 3)
    if not fits or len(times) < 2:
        raise ValueError(
            f"expected at least two times (T,) and positions (M, T, 3), got {times.shape} and "
            f"{positions.shape}"
        )
    if not np.all(np.diff(times) > 0.0):
        raise ValueError("expected times that increase")
    if velocities is None:
        from scipy.interpolate import CubicSpline

        velocities = CubicSpline(times, positions, axis=1)(times, 1)
    velocities = np.asarray(velocities, dtype=np.float64)
    if velocities.shape != positions.shape:
        raise ValueError(f"expected velocities of shape {positions.shape}, got {velocities.shape}")
    if not (np.isfinite(positions).all() and np.isfinite(velocities).all()):
        raise ValueError("expected finite positions and velocities")
    return SampledMotion(times=times, positions=positions, velocities=velocities)
