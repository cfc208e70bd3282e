"""The state transition matrix of two-body motion, in closed form for every conic.

Reference: Battin (1999), section 9.7, equations 9.84 to 9.87 (universal functions U0 to U5).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from simcheck.arrays import Array
from simcheck.kernels.kepler import propagate, stumpff
from simcheck.kernels.vectors import dot, norm

_SERIES_BELOW = 0.5
_TERMS = 14


def transition(
    position: Array, velocity: Array, duration: ArrayLike, gm: float
) -> tuple[Array, Array, Array]:
    """Move states along their conics, with the derivatives of the end by the start.

    position, velocity: (n, 3) m and m/s; duration: (n,) s. Returns position (n, 3), velocity (n, 3)
    and the matrix (n, 6, 6) of d(r, v)/d(r0, v0). Whole revolutions count: the matrix grows with
    time along the track.
    """
    dt = np.broadcast_to(np.asarray(duration, dtype=np.float64), position.shape[:-1])
    r, v = propagate(position, velocity, dt, gm)
    r0n, rn = norm(position), norm(r)
    alpha = 2 / r0n - dot(velocity, velocity) / gm
    chi = _universal(position, velocity, r, v, dt, alpha, gm)
    u2, u4, u5 = _functions(chi, alpha)
    f = 1 - u2 / r0n
    gdot = 1 - u2 / rn
    # g and fdot from the ends themselves, r = f r0 + g v0, which keeps whole turns out of them.
    h2 = dot(position, position) * dot(velocity, velocity) - dot(position, velocity) ** 2
    slant = dot(position, velocity)
    g = (r0n**2 * dot(r, velocity) - slant * dot(r, position)) / h2
    fdot = (dot(velocity, velocity) * dot(v, position) - slant * dot(v, velocity)) / h2
    c = (3 * u5 - chi * u4) / np.sqrt(gm) - dt * u2
    return r, v, _assemble(position, velocity, r, v, f, g, fdot, gdot, c, gm)


def _universal(
    position: Array, velocity: Array, r: Array, v: Array, dt: Array, alpha: Array, gm: float
) -> Array:
    """Universal anomaly with all revolutions (Battin, equation 4.86)."""
    return np.asarray(
        alpha * np.sqrt(gm) * dt + (dot(r, v) - dot(position, velocity)) / np.sqrt(gm)
    )


def _functions(chi: Array, alpha: Array) -> tuple[Array, Array, Array]:
    """U2, U4 and U5 of the full universal anomaly."""
    z = alpha * chi**2
    with np.errstate(all="ignore"):
        c, s = stumpff(z)
        c4, c5 = (0.5 - c) / z, (1 / 6 - s) / z
    small = np.abs(z) < _SERIES_BELOW
    if small.any():
        c4[small], c5[small] = _series(z[small])
    return chi**2 * c, chi**4 * c4, chi**5 * c5


def _series(z: Array) -> tuple[Array, Array]:
    """Stumpff's functions of orders four and five near zero: 1/4! - z/6! and so on, 1/5! - z/7!."""
    c4, c5 = np.zeros_like(z), np.zeros_like(z)
    for k in range(_TERMS, 0, -1):
        c4 = (1.0 - c4 * z) / ((2 * k + 1) * (2 * k + 2))
        c5 = (1.0 - c5 * z) / ((2 * k + 2) * (2 * k + 3))
    return c4 / 2, c5 / 6


def _assemble(
    r0: Array,
    v0: Array,
    r: Array,
    v: Array,
    f: Array,
    g: Array,
    fdot: Array,
    gdot: Array,
    c: Array,
    gm: float,
) -> Array:
    """The matrix from its four blocks: sums of outer products with dv, r0 and v0, and a diagonal.

    Summed by their right-hand vectors, which takes a third of the products.
    """
    r0n, rn = norm(r0), norm(r)
    dv, dr = v - v0, r - r0
    gain = r0n * (1 - f)

    def by(scale: Array, vector: Array) -> Array:
        return np.asarray(scale[..., None] * vector)

    turned = by(fdot * dot(r, v) / (gm * rn) - 1 / rn**2, r) - by(fdot * rn / gm, v)
    none = np.zeros_like(r)
    left = [
        [by(rn / gm, dv), by(1 / r0n**3, by(gain, r) + by(c, v)), none, none],
        [none, by(-gain / gm, dv), by(gain / gm, dr) + by(c / gm, v), none],
        [turned, -by(1 / r0n**2, dv) - by(gm * c / (rn * r0n) ** 3, r), none, by(-fdot / rn**2, r)],
        [by(r0n / gm, dv), by(gain / rn**3, r), by(-c / rn**3, r), none],
    ]
    right = np.stack([dv, r0, v0, r], axis=-2)
    matrix = np.empty((*r0n.shape, 6, 6))
    for index, (columns, scale) in enumerate(zip(left, (f, g, fdot, gdot), strict=True)):
        block = np.stack(columns, axis=-1) @ right
        block[..., [0, 1, 2], [0, 1, 2]] += scale[..., None]
        row, column = 3 * (index // 2), 3 * (index % 2)
        matrix[..., row : row + 3, column : column + 3] = block
    return matrix
