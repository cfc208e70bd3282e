"""What boinor charges for a transfer: Hohmann, bi-elliptic, and Lambert's problem.

All in m, m/s and s. boinor takes the start to be at an apsis (its velocity along the orbit) and
turns the impulses by the argument of periapsis alone, so only their magnitudes are handed on.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from tests.reference import boinor_core


class Cost(NamedTuple):
    """Magnitudes of the impulses in m/s, in order, and the time from first to last in s."""

    dv: tuple[float, ...]
    duration: float

    @property
    def total(self) -> float:
        """Sum of the impulses in m/s."""
        return sum(self.dv)


def hohmann(gm: float, radius: float, final_radius: float) -> Cost:
    """Two tangential impulses from circle to circle."""
    first, second, duration = boinor_core.hohmann(gm, circle(gm, radius), final_radius)
    return Cost(_lengths(first, second), float(duration))


def bielliptic(gm: float, radius: float, far_radius: float, final_radius: float) -> Cost:
    """Three tangential impulses from circle to circle, the second one at far_radius."""
    *impulses, out, back = boinor_core.bielliptic(gm, far_radius, final_radius, circle(gm, radius))
    return Cost(_lengths(*impulses), float(out + back))


def lambert(
    gm: float,
    start: np.ndarray,
    end: np.ndarray,
    duration: float,
    *,
    revolutions: int = 0,
    prograde: bool = True,
    low_path: bool = True,
) -> tuple[np.ndarray, np.ndarray]:
    """Velocities in m/s at both ends of the arc between two positions (Izzo's method)."""
    return boinor_core.izzo(
        gm, np.asarray(start), np.asarray(end), duration, revolutions, prograde, low_path, 35, 1e-12
    )


def circle(gm: float, radius: float) -> tuple[np.ndarray, np.ndarray]:
    """State on a circle in the plane of the x and y axes."""
    return np.array([radius, 0.0, 0.0]), np.array([0.0, np.sqrt(gm / radius), 0.0])


def _lengths(*vectors: np.ndarray) -> tuple[float, ...]:
    return tuple(float(np.linalg.norm(v)) for v in vectors)
