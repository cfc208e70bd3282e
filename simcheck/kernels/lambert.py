"""Lambert's problem in batches, whole revolutions included.

Reference: Izzo (2015), Revisiting Lambert's problem, Celest. Mech. Dyn. Astr. 121, 1-15: unknown x,
Householder's iteration of order 3, its starting values for zero and for many revolutions.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from simcheck.arrays import Array
from simcheck.kernels.vectors import cross, dot, norm, unit

_ITERATIONS = 15
_NEAR_PARABOLA = 0.01
_SETTLED = 1e-13


def lambert(
    start: Array,
    end: Array,
    duration: ArrayLike,
    normal: Array,
    gm: float,
    *,
    revolutions: int = 0,
    long_period: bool = True,
) -> tuple[Array, Array]:
    """Velocities at both ends of the conic from start to end in a given time.

    start, end: (..., 3) m; duration (...) s; normal (3,) about which the motion is anticlockwise,
    which settles the short or the long way; gm m3/s2. With revolutions > 0 there are two conics:
    long_period takes the one with the longer period. Returns (..., 3) m/s each; NaN where no such
    conic exists or where start and end are in line with the body, so that the plane is undefined.
    Shapes broadcast.
    """
    r1, r2, t = np.broadcast_arrays(start, end, np.asarray(duration, np.float64)[..., None])
    t = t[..., 0]
    n1, n2 = norm(r1), norm(r2)
    chord = norm(r2 - r1)
    half = (n1 + n2 + chord) / 2
    with np.errstate(all="ignore"):
        w = unit(cross(r1, r2))
        size = np.sqrt(np.maximum(1 - chord / half, 0.0))
        forward = dot(w, np.broadcast_to(normal, w.shape)) >= 0
        w = np.where(forward[..., None], w, -w)
        lam = np.where(forward, size, -size)
        wanted = np.sqrt(2 * gm / half**3) * t
        x = _solve(lam, wanted, revolutions, long_period=long_period)
        y = np.sqrt(1 - lam**2 * (1 - x**2))
        gamma, rho = np.sqrt(gm * half / 2), (n1 - n2) / chord
        sigma = np.sqrt(np.maximum(1 - rho**2, 0.0))
        radial1 = gamma * ((lam * y - x) - rho * (lam * y + x)) / n1
        radial2 = -gamma * ((lam * y - x) + rho * (lam * y + x)) / n2
        across = gamma * sigma * (y + lam * x)
        along1, along2 = unit(r1), unit(r2)
        v1 = radial1[..., None] * along1 + (across / n1)[..., None] * cross(w, along1)
        v2 = radial2[..., None] * along2 + (across / n2)[..., None] * cross(w, along2)
    return v1, v2


def _solve(lam: Array, wanted: Array, revolutions: int, *, long_period: bool) -> Array:
    """Izzo's x for each non-dimensional time of flight; NaN where there is none."""
    if revolutions == 0:
        x = _first_guess(lam, wanted)
    else:
        m = revolutions
        if long_period:
            root = (8 * wanted / (m * np.pi)) ** (2 / 3)
        else:
            root = ((m * np.pi + np.pi) / (8 * wanted)) ** (2 / 3)
        x = (root - 1) / (root + 1)
    shape, x, lam, wanted = np.shape(x), np.ravel(x), np.ravel(lam), np.ravel(wanted)
    rows = np.flatnonzero(np.isfinite(x))
    for _ in range(_ITERATIONS):
        step = _householder(x[rows], lam[rows], wanted[rows], revolutions)
        x[rows] -= step
        rows = rows[np.abs(step) > _SETTLED]
        if not len(rows):
            break
    missed = np.abs(_time_of_flight(x, lam, revolutions) / wanted - 1)
    good = (missed < 1e-9) & (x > -1)
    if revolutions:
        good &= x < 1
    return np.where(good, x, np.nan).reshape(shape)


def _first_guess(lam: Array, wanted: Array) -> Array:
    """Izzo's equation 30."""
    t0 = np.arccos(lam) + lam * np.sqrt(1 - lam**2)
    t1 = 2 / 3 * (1 - lam**3)
    slow = (t0 / wanted) ** (2 / 3) - 1
    fast = 5 / 2 * t1 / wanted * (t1 - wanted) / (1 - lam**5) + 1
    # Between the parabola (x = 1) and the least energy (x = 0).
    between = np.exp(np.log(2) * np.log(wanted / t0) / np.log(t1 / t0)) - 1
    return np.where(wanted >= t0, slow, np.where(wanted < t1, fast, between))


def _time_of_flight(x: Array, lam: Array, revolutions: int) -> Array:
    """Non-dimensional time of flight (Izzo, equation 18; Battin's series near the parabola)."""
    y = np.sqrt(1 - lam**2 * (1 - x**2))
    psi = np.where(
        x < 1,
        np.arccos(np.clip(x * y + lam * (1 - x**2), -1, 1)),
        np.arcsinh(np.maximum((y - x * lam) * np.sqrt(np.maximum(x**2 - 1, 0)), 0)),
    )
    apart = 1 - x**2
    plain = ((psi + revolutions * np.pi) / np.sqrt(np.abs(apart)) - x + lam * y) / apart
    if revolutions:
        return np.asarray(plain)
    eta = y - lam * x
    s1 = (1 - lam - x * eta) / 2
    series = (eta**3 * 4 / 3 * _hypergeometric(s1) + 4 * lam * eta) / 2
    return np.where(np.abs(x - 1) < _NEAR_PARABOLA, series, plain)


def _hypergeometric(z: Array) -> Array:
    """2F1(3, 1; 5/2; z) by its series."""
    total, term = np.ones_like(z), np.ones_like(z)
    for k in range(40):
        term = term * (3 + k) * (1 + k) / (2.5 + k) * z / (k + 1)
        total = total + term
    return total


def _householder(x: Array, lam: Array, wanted: Array, revolutions: int) -> Array:
    """Third-order step (Izzo, equations 22 and 23)."""
    t = _time_of_flight(x, lam, revolutions)
    y = np.sqrt(1 - lam**2 * (1 - x**2))
    apart = 1 - x**2
    d1 = (3 * t * x - 2 + 2 * lam**3 * x / y) / apart
    d2 = (3 * t + 5 * x * d1 + 2 * (1 - lam**2) * lam**3 / y**3) / apart
    d3 = (7 * x * d2 + 8 * d1 - 6 * (1 - lam**2) * lam**5 * x / y**5) / apart
    off = t - wanted
    return np.asarray(off * (d1**2 - off * d2 / 2) / (d1 * (d1**2 - off * d2) + d3 * off**2 / 6))
