"""Comparisons in metres, degrees and seconds: a failure says how far off, in a unit to judge by.

Each takes the actual and the expected value, in the unit named, and the largest difference
allowed. A NaN always fails.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike


def assert_metres(actual: ArrayLike, expected: ArrayLike, within: float) -> None:
    """Positions (..., 3) in m lie within `within` metres of each other."""
    _judge(_length(actual, expected), within, "m")


def assert_metres_per_second(actual: ArrayLike, expected: ArrayLike, within: float) -> None:
    """Velocities (..., 3) in m/s differ by no more than `within` m/s."""
    _judge(_length(actual, expected), within, "m/s")


def assert_degrees(actual: ArrayLike, expected: ArrayLike, within: float) -> None:
    """Angles in degrees agree to `within` degrees, whole turns ignored."""
    difference = np.asarray(actual, dtype=np.float64) - np.asarray(expected, dtype=np.float64)
    _judge(np.abs(np.mod(difference + 180.0, 360.0) - 180.0), within, "deg")


def assert_radians(actual: ArrayLike, expected: ArrayLike, within: float) -> None:
    """Angles in radians agree to `within` radians, whole turns ignored."""
    assert_degrees(np.degrees(actual), np.degrees(expected), float(np.degrees(within)))


def assert_seconds(actual: ArrayLike, expected: ArrayLike, within: float) -> None:
    """Times in s agree to `within` seconds."""
    _judge(np.abs(np.asarray(actual) - np.asarray(expected)), within, "s")


def assert_relative(actual: ArrayLike, expected: ArrayLike, within: float) -> None:
    """Numbers agree to the fraction `within` of the expected one."""
    expected = np.asarray(expected, dtype=np.float64)
    _judge(np.abs(np.asarray(actual) - expected) / np.abs(expected), within, "relative")


def assert_vectors(actual: ArrayLike, expected: ArrayLike, within: float) -> None:
    """Vectors (..., 3) differ by no more than the fraction `within` of the expected length."""
    size = np.linalg.norm(np.asarray(expected, dtype=np.float64), axis=-1)
    _judge(_length(actual, expected) / size, within, "relative")


def _length(actual: ArrayLike, expected: ArrayLike) -> np.ndarray:
    difference = np.asarray(actual, dtype=np.float64) - np.asarray(expected, dtype=np.float64)
    return np.linalg.norm(difference, axis=-1)


def _judge(error: np.ndarray, within: float, unit: str) -> None:
    if not np.all(error <= within):
        where = np.unravel_index(np.argmax(np.nan_to_num(error, nan=np.inf)), np.shape(error))
        row = f" in row {tuple(int(k) for k in where)}" if where else ""
        raise AssertionError(f"off by {error[where]:.4g} {unit}{row}, allowed {within:.4g} {unit}")
