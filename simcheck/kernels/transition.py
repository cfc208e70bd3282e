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
    c, s = stumpff(z)
    u2 = chi**2 * c
    small = np.abs(z) < _SERIES_BELOW
    zs = np.where(small, z, 0.0)
    c4, c5 = np.zeros_like(zs), np.zeros_like(zs)
    for k in range(_TERMS, 0, -1):
        c4 = (1.0 - c4 * zs) / ((2 * k + 1) * (2 * k + 2))
        c5 = (1.0 - c5 * zs) / ((2 * k + 2) * (2 * k + 3))
    with np.errstate(all="ignore"):
        far4, far5 = (0.5 - c) / z, (1 / 6 - s) / z
    # c4 = 1/4! - z/6! + ..., so the nested sums above lack the first factor 1/2 and 1/6.
    u4 = chi**4 * np.where(small, c4 / 2, far4)
    u5 = chi**5 * np.where(small, c5 / 6, far5)
    return u2, u4, u5


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
    def outer(a: Array, b: Array) -> Array:
        return np.asarray(a[..., :, None] * b[..., None, :])

    def by(scale: Array, matrix: Array) -> Array:
        return np.asarray(scale[..., None, None] * matrix)

    r0n, rn = norm(r0), norm(r)
    one = np.broadcast_to(np.eye(3), (*r0n.shape, 3, 3))
    dv, dr = v - v0, r - r0
    rr = (
        by(rn / gm, outer(dv, dv))
        + by(1 / r0n**3, by(r0n * (1 - f), outer(r, r0)) + by(c, outer(v, r0)))
        + by(f, one)
    )
    rv = (
        by(r0n / gm * (1 - f), outer(dr, v0) - outer(dv, r0))
        + by(c / gm, outer(v, v0))
        + by(g, one)
    )
    twist = outer(r, v) - outer(v, r)
    inner = one - by(1 / rn**2, outer(r, r)) + by(1 / (gm * rn), twist @ outer(r, dv))
    vr = (
        -by(1 / r0n**2, outer(dv, r0))
        - by(1 / rn**2, outer(r, dv))
        + by(fdot, inner)
        - by(gm * c / (rn**3 * r0n**3), outer(r, r0))
    )
    vv = (
        by(r0n / gm, outer(dv, dv))
        + by(1 / rn**3, by(r0n * (1 - f), outer(r, r0)) - by(c, outer(r, v0)))
        + by(gdot, one)
    )
    top = np.concatenate([rr, rv], axis=-1)
    return np.concatenate([top, np.concatenate([vr, vv], axis=-1)], axis=-2)
