"""Curves in space as Chebyshev polynomials over segments of equal length.

Reference: Press et al. (2007), Numerical Recipes, section 5.8 (Clenshaw's recurrence); Trefethen
(2013), Approximation Theory and Approximation Practice, ch. 3 (interpolation in the extrema).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from simcheck.arrays import Array

_ROUNDING_S = 1e-3
"""A time so little outside the span is taken as inside: sums of steps round by less."""


def positions(start_s: float, step_s: float, coefficients: Array, times: ArrayLike) -> Array:
    """Points (..., 3) of a sampled curve at times (...) s.

    coefficients (segments, degree + 1, 3) are of Chebyshev polynomials in -1..1 over segments that
    are `step_s` long, the first of which begins at `start_s`. Outside the span, and at a time that
    is not finite, the point is NaN; nothing is raised. Row by row, so that no time depends on the
    others.
    """
    times = np.asarray(times, dtype=np.float64)
    since = times - start_s
    inside = (since >= -_ROUNDING_S) & (since <= step_s * len(coefficients) + _ROUNDING_S)
    place = np.where(inside, since, 0.0) / step_s
    segment = np.clip(place.astype(np.int64), 0, len(coefficients) - 1)
    x = (2.0 * (place - segment) - 1.0)[..., None]
    chosen = coefficients[segment]
    ahead, there = np.zeros((*times.shape, 3)), np.zeros((*times.shape, 3))
    for k in range(coefficients.shape[1] - 1, 0, -1):
        ahead, there = there, chosen[..., k, :] + 2.0 * x * there - ahead
    result = chosen[..., 0, :] + x * there - ahead
    return np.where(inside[..., None], result, np.nan)


def extrema(degree: int) -> Array:
    """The degree + 1 extrema of the Chebyshev polynomial, from -1 up to 1."""
    return -np.cos(np.pi * np.arange(degree + 1) / degree)


def interpolating(values: Array) -> Array:
    """Coefficients (segments, degree + 1, 3) of the polynomials through values at the extrema.

    values (segments, degree + 1, 3), the last of a segment the first of the next: since they hold
    both ends, the curve is continuous.
    """
    degree = values.shape[1] - 1
    k = np.arange(degree + 1)
    weights = np.cos(np.pi * np.outer(k, degree - k) / degree) * (2.0 / degree)
    weights[:, [0, -1]] *= 0.5
    weights[[0, -1]] *= 0.5
    return np.asarray(np.einsum("kj,sjc->skc", weights, values))
