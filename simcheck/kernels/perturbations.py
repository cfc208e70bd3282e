"""Zonal gravity and its first-order secular effects.

Reference: Vallado (2022), section 8.6 (zonal accelerations as the gradient of the potential
U = gm/r * (1 - sum J_n (R/r)^n P_n(sin latitude))) and section 9.6 (secular rates).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from simcheck.arrays import Array
from simcheck.kernels.vectors import norm


def zonal_acceleration(
    position: Array, gm: float, radius: float, j2: float = 0.0, j3: float = 0.0, j4: float = 0.0
) -> Array:
    """Acceleration (..., 3) m/s2 by J2, J3 and J4 alone at position (..., 3) m.

    radius in m is the reference radius of the coefficients; z is the body's pole.
    """
    r = norm(position)
    s = position[..., 2] / r
    q = radius / r
    # dU/dr and dU/ds over gm/r^2, with P_n' from P_2, P_3, P_4.
    p2, d2 = (3 * s**2 - 1) / 2, 3 * s
    p3, d3 = (5 * s**3 - 3 * s) / 2, (15 * s**2 - 3) / 2
    p4, d4 = (35 * s**4 - 30 * s**2 + 3) / 8, (35 * s**3 - 15 * s) / 2
    radial = 3 * j2 * q**2 * p2 + 4 * j3 * q**3 * p3 + 5 * j4 * q**4 * p4
    polar = -(j2 * q**2 * d2 + j3 * q**3 * d3 + j4 * q**4 * d4)
    along = (radial - s * polar)[..., None] * position / r[..., None]
    along[..., 2] += polar
    return np.asarray(gm / r[..., None] ** 2 * along)


def secular_rates(
    a: ArrayLike, e: ArrayLike, i: ArrayLike, gm: float, radius: float, j2: float
) -> tuple[Array, Array, Array]:
    """First-order J2 rates of raan, argp and the excess of the mean anomaly's rate, rad/s.

    a in m, i in rad; mean elements. Left out: J2 squared, relative size J2 (R/p)^2.
    """
    a, e, i = (np.asarray(x, dtype=np.float64) for x in (a, e, i))
    n = np.sqrt(gm / a**3)
    k = 1.5 * n * j2 * (radius / (a * (1 - e**2))) ** 2
    sin2 = np.sin(i) ** 2
    return (
        np.asarray(-k * np.cos(i)),
        np.asarray(k * (2 - 2.5 * sin2)),
        np.asarray(k * np.sqrt(1 - e**2) * (1 - 1.5 * sin2)),
    )
