"""What a matrix must satisfy to be the covariance of a state."""

from __future__ import annotations

import numpy as np

from simcheck.arrays import Array

_NAMES = ("x", "y", "z", "x velocity", "y velocity", "z velocity")
_SYMMETRY = 1e-9  # of the two standard deviations: what ten printed digits lose
_SMALLEST = -1e-6  # of the eigenvalues of the correlations: what seven printed digits lose


def covariance_fault(matrix: Array) -> str:
    """What is wrong with a covariance (6, 6) of position and velocity; empty where nothing is.

    It is judged as correlations, so that its units do not matter.
    """
    variances = matrix.diagonal()
    if (variances < 0.0).any():
        at = int(np.argmin(variances))
        return f"expected variances of 0 or more, got {variances[at]:.6g} for {_NAMES[at]}"
    sigma = np.sqrt(variances)
    with np.errstate(all="ignore"):
        correlations = np.where(matrix == 0.0, 0.0, matrix / sigma / sigma[:, None])
    size = np.abs(correlations)
    if not (size <= 1.0 - _SMALLEST).all():
        j, k = _place_of_largest(np.where(np.isnan(size), np.inf, size))
        return (
            f"expected correlations from -1 to 1, but the covariance {matrix[j, k]:.6g} of "
            f"{_NAMES[j]} with {_NAMES[k]} is more than their variances allow"
        )
    skew = np.abs(correlations - correlations.T)
    if (skew > _SYMMETRY).any():
        j, k = _place_of_largest(skew)
        return (
            f"expected a symmetric matrix, got {matrix[j, k]:.9g} for {_NAMES[j]} with {_NAMES[k]} "
            f"above the diagonal and {matrix[k, j]:.9g} below it"
        )
    smallest = float(np.linalg.eigvalsh(correlations)[0])
    if not smallest >= _SMALLEST:
        return (
            "expected a positive semidefinite matrix; as correlations it has an eigenvalue of "
            f"{smallest:.3g}, so some direction would have a negative variance"
        )
    return ""


def _place_of_largest(values: Array) -> tuple[int, int]:
    """Row and column of the largest value, the smaller of the two first."""
    row, column = divmod(int(np.argmax(values)), values.shape[1])
    return min(row, column), max(row, column)
