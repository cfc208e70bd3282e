"""Received power of a radio link in free space. Decibels; powers in dBW; hertz and metres."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from simcheck.arrays import Array

LIGHT_M_S = 299792458.0
"""Speed of light in vacuum (SI)."""


def decibels(ratio: ArrayLike) -> Array:
    """Ten times the common logarithm; a power in W becomes dBW."""
    return np.asarray(10.0 * np.log10(np.asarray(ratio, dtype=np.float64)))


def free_space_loss_db(distance_m: ArrayLike, frequency_hz: float) -> Array:
    """Loss between isotropic antennas, (4 pi d f / c)^2 in dB.

    Source: Friis (1946), Proc. IRE 34(5), 254-256; Recommendation ITU-R P.525.
    """
    distance = np.asarray(distance_m, dtype=np.float64)
    return 2.0 * decibels(4.0 * np.pi * distance * frequency_hz / LIGHT_M_S)


def range_of_loss(loss_db: ArrayLike, frequency_hz: float) -> Array:
    """Distance in m at which free space loses this much."""
    ratio = 10.0 ** (np.asarray(loss_db, dtype=np.float64) / 20.0)
    return np.asarray(ratio * LIGHT_M_S / (4.0 * np.pi * frequency_hz))
