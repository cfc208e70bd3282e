"""How wide a sample spreads, with the interval of it, from sums that are taken some at a time."""

from __future__ import annotations

import math
from typing import Literal, TypeAlias

import numpy as np

from simcheck.arrays import Array

Spread: TypeAlias = Literal["sigma", "rms"]

_MOST_DEGREES = 1e8  # of freedom: a spread known to a hundredth of a per cent


def power_sums(values: Array) -> Array:
    """Sums (4, ...) of the first to fourth powers of values (n, ...).

    Of values near zero: a mean far larger than the spread loses the digits of the spread.
    """
    return np.stack([np.sum(values**power, axis=0) for power in range(1, 5)])


def spread_interval(
    sums: Array, samples: int, kind: Spread, confidence: float
) -> tuple[float, float, float]:
    """Spread of independent samples and the two-sided interval (low, high) of what it estimates.

    sums (4,) as `power_sums` gives them; "sigma" is about the mean, "rms" about zero. The mean
    square is taken for a chi-square with as many degrees of freedom as give its variance, which the
    fourth moment tells: right for large samples, and for small ones of a Gaussian.
    References: Satterthwaite (1946), Biometrics Bulletin 2, 110; Cramér (1946), Mathematical
    Methods of Statistics, section 27.4 (the variance of a sample's variance).
    """
    from scipy.special import chdtri

    square, fourth = _moments(sums / samples, samples, kind)
    # Cramér has (n - 3)/(n - 1) before the square where it is about the mean: the same for large n.
    doubt = (fourth - square**2) / samples
    spread = math.sqrt(square)
    if not doubt > 2 * square**2 / _MOST_DEGREES:
        return spread, spread, spread
    degrees, tail = 2 * square**2 / doubt, (1 - confidence) / 2
    low, high = (math.sqrt(degrees / float(chdtri(degrees, p))) for p in (tail, 1 - tail))
    return spread, spread * low, spread * high


def _moments(means: Array, samples: int, kind: Spread) -> tuple[float, float]:
    """Mean square and mean fourth power, about the mean or about zero."""
    one, two, three, four = (float(m) for m in means)
    if kind == "rms":
        return two, four
    square = max(two - one**2, 0.0)
    fourth = four - 4 * one * three + 6 * one**2 * two - 3 * one**4
    return square * samples / (samples - 1), fourth
