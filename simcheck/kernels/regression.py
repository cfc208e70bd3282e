"""What drives an outcome: shares of its variance, by a straight-line fit."""

from __future__ import annotations

import numpy as np

from simcheck.arrays import Array


def shares_of_variance(inputs: Array, outputs: Array) -> Array:
    """Share of each outcome's variance that follows each input in a straight line.

    inputs (n, k), independent of each other; outputs (n, m). Returns (k + 1, m): the squared
    coefficients of the least-squares fit of standardised outputs on standardised inputs, then the
    rest, the residual's share, never negative: curvature, products of inputs, what no input holds.
    The sum is 1 up to the chance correlation of the inputs; an input without effect shows about
    rest / n. NaN in the column of an outcome that does not vary. Raises ValueError unless all
    numbers are finite and n > k + 1.
    Reference: Saltelli et al. (2008), Global Sensitivity Analysis: The Primer, section 1.2.5.
    """
    n, k = inputs.shape
    if n <= k + 1:
        raise ValueError(f"inputs: expected more than {k + 1} samples of {k} inputs, got {n}")
    if not (np.isfinite(inputs).all() and np.isfinite(outputs).all()):
        raise ValueError("shares of variance: expected finite inputs and outputs")
    x, y = _standardised(inputs), _standardised(outputs)
    slopes = np.linalg.lstsq(x, y, rcond=None)[0]
    rest = np.mean((y - x @ slopes) ** 2, axis=0)
    shares = np.concatenate([slopes**2, rest[None]])
    return np.where(np.ptp(outputs, axis=0) > 0.0, shares, np.nan)


def _standardised(columns: Array) -> Array:
    varies = np.ptp(columns, axis=0) > 0.0
    centred = np.where(varies, columns - columns.mean(axis=0), 0.0)
    return np.asarray(centred / np.where(varies, centred.std(axis=0), 1.0))
