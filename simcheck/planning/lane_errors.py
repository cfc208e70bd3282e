"""The six errors of many craft near their slots, against tolerances and as seen from the craft."""

from __future__ import annotations

import numpy as np

from simcheck.arrays import Array
from simcheck.planning.lane_commands import Flags
from simcheck.records.case import Tolerance

_NEAR = 0.03  # eccentricity, tilt in rad and relative period up to which errors are linear


def tolerances(tolerance: Tolerance, period: float) -> Array:
    """Tolerances (6,) of the errors, infinite where one is not judged; the period's relative."""
    listed = (
        tolerance.phase_rad,
        None if tolerance.period_s is None else tolerance.period_s / period,
        *[tolerance.eccentricity] * 2,
        *[tolerance.plane_rad] * 2,
    )
    return np.array([np.inf if x is None else x for x in listed])


def uses(errors: Array, tolerance: Array) -> Array:
    """Shares (n, 4) of the tolerances on phase, period, eccentricity and plane; errors (n, 6)."""
    parts = np.abs(errors / tolerance)
    vectors = (np.hypot(parts[:, 2], parts[:, 3]), np.hypot(parts[:, 4], parts[:, 5]))
    return np.stack([parts[:, 0], parts[:, 1], *vectors], axis=-1)


def near(errors: Array) -> Flags:
    """Whether errors (n, 6) are small enough to be linear; never where they are not numbers."""
    size = np.abs(errors)
    small = size[:, 1] < _NEAR
    small &= np.hypot(size[:, 2], size[:, 3]) < _NEAR
    return np.asarray(small & (np.hypot(size[:, 4], size[:, 5]) < _NEAR))


def turned(errors: Array, angle: Array) -> Array:
    """Errors (n, 6) with their two vectors turned by angles (n,)."""
    c, s = np.cos(angle), np.sin(angle)
    phase, period, k, h, x, y = errors.T
    return np.stack(
        [phase, period, c * k - s * h, s * k + c * h, c * x - s * y, s * x + c * y], axis=-1
    )


def applied(matrix: Array, errors: Array) -> Array:
    """Matrices (..., p, k) applied to errors (..., k), by the same steps for any number of them."""
    return added(np.moveaxis(matrix * errors[..., None, :], -1, 0))


def added(parts: Array) -> Array:
    """Sum over the first axis, by the same steps for one lane and for many."""
    total = parts[0]
    for part in parts[1:]:
        total = total + part
    return np.asarray(total)
