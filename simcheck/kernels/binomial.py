"""Chances of counts of hits, and searches among whole numbers: for `rates` and `quantiles`."""

from __future__ import annotations

from collections.abc import Callable
from typing import TypeAlias

import numpy as np
from numpy.typing import ArrayLike, NDArray

from simcheck.arrays import Array

Counts: TypeAlias = NDArray[np.int64]

_MOST_SAMPLES = 2**50  # beyond it whole numbers and their neighbours blur


def at_most(count: ArrayLike, samples: ArrayLike, rate: ArrayLike) -> Array:
    """Chance of `count` hits or fewer; a real count runs smoothly between whole ones."""
    from scipy.special import betaincc

    k, n = np.asarray(count, dtype=np.float64), np.asarray(samples, dtype=np.float64)
    inner = betaincc(np.maximum(k, 0.0) + 1.0, np.maximum(n - k, 1e-300), rate)
    return np.where(k < 0, 0.0, np.where(k >= n, 1.0, inner))


def at_least(count: ArrayLike, samples: ArrayLike, rate: ArrayLike) -> Array:
    """Chance of `count` hits or more."""
    from scipy.special import betainc

    k, n = np.asarray(count, dtype=np.float64), np.asarray(samples, dtype=np.float64)
    inner = betainc(np.maximum(k, 1e-300), np.maximum(n - k, 0.0) + 1.0, rate)
    return np.where(k <= 0, 1.0, np.where(k > n, 0.0, inner))


def least(low: Counts, high: Counts, holds: Callable[[Counts], NDArray[np.bool_]]) -> Counts:
    """Least whole numbers for which `holds`, which is false at `low` and true at `high`."""
    while np.any(high - low > 1):
        middle = (low + high) // 2
        true = holds(middle)
        low, high = np.where(true, low, middle), np.where(true, middle, high)
    return high


def least_above(low: int, holds: Callable[[Counts], NDArray[np.bool_]]) -> int | None:
    """Least whole number above `low` for which `holds`; None where there is none to count to."""
    high = np.asarray(low + 1)
    while not holds(high):
        if high > _MOST_SAMPLES:
            return None
        high = 2 * high
    return int(least(np.asarray(low), high, holds))


def checked(count: ArrayLike, samples: ArrayLike) -> tuple[Array, Array]:
    """Both as floats. Raises ValueError unless 0 <= count <= samples."""
    k, n = np.asarray(count, dtype=np.float64), np.asarray(samples, dtype=np.float64)
    if not np.all((k >= 0) & (k <= n)):
        raise ValueError(f"count: expected 0 <= count <= samples, got {count!r} of {samples!r}")
    return k, n


def inside(value: ArrayLike, name: str) -> Array:
    """The share as a float. Raises ValueError, with its name, unless it is between 0 and 1."""
    found = np.asarray(value, dtype=np.float64)
    if not np.all((found > 0.0) & (found < 1.0)):
        raise ValueError(f"{name}: expected a share between 0 and 1, both left out, got {value!r}")
    return found
