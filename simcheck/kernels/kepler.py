"""Two-body motion: Kepler's equation and universal-variable propagation, any eccentricity.

References: Battin (1999), An Introduction to the Mathematics and Methods of Astrodynamics, ch. 4
(universal functions); Vallado (2022), algorithm 8; Conway (1986), Celest. Mech. 39, 199 (the
Laguerre iteration that converges from any start).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from simcheck.arrays import Array
from simcheck.kernels.vectors import TAU, dot, norm

_SMALL_Z = 0.5  # below this |z| Stumpff's functions come from their series
_SERIES_TERMS = 14  # leaves a remainder below 1e-18 at |z| = 0.5
_MAX_ITERATIONS = 60
_PLAIN_FROM, _PLAIN_BELOW = 0.05, 0.9  # radius over semi-major axis; eccentricity
_CUBIC = 1e-6  # rad; the step after one this small is below rounding
_SETTLED = 1e-9  # relative step of the universal anomaly after which it is exact


def stumpff(z: Array) -> tuple[Array, Array]:
    """Stumpff's functions C(z) and S(z), shape of z. Series near zero, so no cancellation."""
    z = np.asarray(z, dtype=np.float64)
    c, s = np.empty_like(z), np.empty_like(z)
    small = np.abs(z) < _SMALL_Z
    zs = z[small]
    cs, ss = np.zeros_like(zs), np.zeros_like(zs)
    for k in range(_SERIES_TERMS, 0, -1):
        cs = (1.0 - cs * zs) / ((2 * k - 1) * (2 * k))
        ss = (1.0 - ss * zs) / ((2 * k) * (2 * k + 1))
    c[small], s[small] = cs, ss
    up, down = z >= _SMALL_Z, z <= -_SMALL_Z
    root = np.sqrt(z[up])
    c[up], s[up] = 2.0 * np.sin(root / 2) ** 2 / z[up], (root - np.sin(root)) / root**3
    root = np.sqrt(-z[down])
    c[down] = 2.0 * np.sinh(root / 2) ** 2 / -z[down]
    s[down] = (np.sinh(root) - root) / root**3
    return c, s


def propagate(
    position: Array, velocity: Array, duration: ArrayLike, gm: float
) -> tuple[Array, Array]:
    """Move states along their conics for `duration`, forwards or backwards.

    position, velocity: (..., 3) m and m/s; duration: (...) s; gm: m3/s2. Shapes broadcast.
    Returns position and velocity, (..., 3). Accuracy: near 1e-13 relative a revolution, for
    ellipses, parabolas and hyperbolas; whole revolutions are taken out first. Rows with a
    non-finite input, or that do not converge, come back as NaN.
    """
    duration = np.asarray(duration, dtype=np.float64)
    shape = np.broadcast_shapes(position.shape[:-1], velocity.shape[:-1], duration.shape)
    r0 = _finite(np.broadcast_to(position, (*shape, 3)).reshape(-1, 3))
    v0 = _finite(np.broadcast_to(velocity, (*shape, 3)).reshape(-1, 3))
    dt = _finite(np.broadcast_to(duration, shape).reshape(-1))
    r0n, sigma = norm(r0), dot(r0, v0) / np.sqrt(gm)
    alpha = 2.0 / r0n - dot(v0, v0) / gm
    plain = _plain(r0n, sigma, alpha)
    if plain.all():
        r, v = _on_ellipses(r0, v0, dt, gm)
    else:
        r, v = np.empty_like(r0), np.empty_like(v0)
        for rows, move in ((plain, _on_ellipses), (~plain, _on_conics)):
            r[rows], v[rows] = move(r0[rows], v0[rows], dt[rows], gm)
    return r.reshape(*shape, 3), v.reshape(*shape, 3)


def _plain(r0n: Array, sigma: Array, alpha: Array) -> NDArray[np.bool_]:
    """Ellipses far enough from a parabola for the eccentric anomaly to lose no digits."""
    inside = alpha * r0n
    square = (1.0 - inside) ** 2 + sigma**2 * alpha
    return np.asarray((inside > _PLAIN_FROM) & (square < _PLAIN_BELOW**2))


def _on_ellipses(r0: Array, v0: Array, dt: Array, gm: float) -> tuple[Array, Array]:
    """Move along plain ellipses by the change x of the eccentric anomaly (Battin, section 4.3).

    Three times quicker than universal variables, since sine and cosine serve everywhere.
    """
    r0n, root = norm(r0), np.sqrt(gm)
    alpha = 2.0 / r0n - dot(v0, v0) / gm
    ecosine, esine = 1.0 - alpha * r0n, dot(r0, v0) / root * np.sqrt(alpha)
    rate = root * alpha**1.5
    mean = rate * dt
    mean = mean - TAU * np.rint(mean / TAU)
    x, moving = mean, np.isfinite(mean)
    for _ in range(_MAX_ITERATIONS):
        sine, cosine = np.sin(x), np.cos(x)
        value = x - ecosine * sine + esine * (1.0 - cosine) - mean
        slope = 1.0 - ecosine * cosine + esine * sine
        curve = ecosine * sine + esine * cosine
        under = np.sqrt(np.abs(16 * slope**2 - 20 * value * curve))
        step = 5 * value / (slope + under)
        x = np.where(moving, x - step, x)  # a row that is done stays, whatever its neighbours do
        moving = moving & (np.abs(step) > _CUBIC)
        if not moving.any():
            break
    sine, fall = np.sin(x), 2.0 * np.sin(0.5 * x) ** 2
    f = 1.0 - fall / (alpha * r0n)
    g = (mean + sine - x) / rate
    r = f[:, None] * r0 + g[:, None] * v0
    rn = norm(r)
    fdot = -root * sine / (np.sqrt(alpha) * rn * r0n)
    gdot = 1.0 - fall / (alpha * rn)
    return r, fdot[:, None] * r0 + gdot[:, None] * v0


def _on_conics(r0: Array, v0: Array, dt: Array, gm: float) -> tuple[Array, Array]:
    """Move along any conic by universal variables."""
    chi, dt, alpha = _solve_universal(r0, v0, dt, gm)
    c, s = stumpff(alpha * chi**2)
    r0n = norm(r0)
    root = np.sqrt(gm)
    f = 1.0 - chi**2 * c / r0n
    g = dt - chi**3 * s / root
    r = f[:, None] * r0 + g[:, None] * v0
    rn = norm(r)
    fdot = root / (rn * r0n) * chi * (alpha * chi**2 * s - 1.0)
    gdot = 1.0 - chi**2 * c / rn
    return r, fdot[:, None] * r0 + gdot[:, None] * v0


def _finite(values: Array) -> Array:
    """Infinities made NaN, which runs through arithmetic without a warning."""
    return np.where(np.isfinite(values), values, np.nan)


def _solve_universal(r0: Array, v0: Array, dt: Array, gm: float) -> tuple[Array, Array, Array]:
    """Universal anomaly chi (n,) in sqrt(m), the time left after whole revolutions, 1/a."""
    r0n = norm(r0)
    sigma = dot(r0, v0) / np.sqrt(gm)
    alpha = 2.0 / r0n - dot(v0, v0) / gm
    period = orbital_period(alpha, gm)
    closed = np.isfinite(period)
    dt = dt - np.where(closed, period, 0.0) * np.rint(dt / period)
    root = np.sqrt(gm)
    chi = np.where(alpha > 0, root * dt * alpha, _parabolic_start(r0n, dt, gm))
    hyperbolic = alpha * np.sqrt(gm) * np.abs(dt) < -1e-6 * np.sqrt(r0n)
    chi = np.where(hyperbolic, _hyperbolic_start(r0n, sigma, alpha, dt, gm), chi)
    rows = np.flatnonzero(np.isfinite(chi))
    for _ in range(_MAX_ITERATIONS):
        here, al, r, sg = chi[rows], alpha[rows], r0n[rows], sigma[rows]
        square = here * here
        c, s = stumpff(al * square)
        u1, u2, u3 = here * (1 - al * square * s), square * c, here * square * s
        value = r * u1 + sg * u2 + u3 - root * dt[rows]
        slope = r * (1 - al * u2) + sg * u1 + u2
        curve = sg * (1 - al * u2) + (1 - al * r) * u1
        # Laguerre with n = 5: cubic, so the step after one this small is below rounding.
        under = np.sqrt(np.abs(16 * slope**2 - 20 * value * curve))
        step = 5 * value / (slope + np.copysign(under, slope))
        chi[rows] = here - step
        rows = rows[np.abs(step) > _SETTLED * np.abs(chi[rows]) + 1e-300]
        if not len(rows):
            break
    chi[rows] = np.nan
    return chi, dt, alpha


def _hyperbolic_start(r0: Array, sigma: Array, alpha: Array, dt: Array, gm: float) -> Array:
    """First guess of the universal anomaly on a hyperbola (Vallado, algorithm 8)."""
    with np.errstate(all="ignore"):
        a = 1.0 / alpha
        sign = np.sign(dt)
        below = sigma + sign * np.sqrt(-a) * (1.0 - r0 * alpha)
        inside = -2.0 * np.sqrt(gm) * alpha * dt / below
        guess = sign * np.sqrt(-a) * np.log(inside)
        near = _parabolic_start(r0, dt, gm)
        return np.where((inside > 1.0) & np.isfinite(guess), guess, near)


def _parabolic_start(r0: Array, dt: Array, gm: float) -> Array:
    """First guess near a parabola: the radius stays r0, or else chi^3 / 6 outgrows all the rest.

    Without the second bound a near-parabolic hyperbola starts where sinh is astronomic.
    """
    reach = np.sqrt(gm) * dt
    return np.asarray(np.sign(dt) * np.minimum(np.abs(reach) / r0, np.cbrt(6.0 * np.abs(reach))))


def orbital_period(inverse_axis: ArrayLike, gm: float) -> Array:
    """Period of a revolution in s from 1/a in 1/m; infinity where the orbit is not closed."""
    alpha = np.asarray(inverse_axis, dtype=np.float64)
    with np.errstate(all="ignore"):
        return np.where(alpha > 0, TAU / np.sqrt(gm * np.abs(alpha) ** 3), np.inf)


def axis_of_period(period: ArrayLike, gm: float) -> Array:
    """Semi-major axis in m of the period in s."""
    return np.cbrt(gm * (np.asarray(period, dtype=np.float64) / TAU) ** 2)


def mean_from_true(nu: ArrayLike, e: ArrayLike) -> Array:
    """Mean anomaly in rad from true anomaly; hyperbolic mean anomaly where e > 1.

    nu and e broadcast; e = 1 gives NaN. Whole revolutions of nu are kept for e < 1.
    """
    nu, e = np.broadcast_arrays(np.asarray(nu, np.float64), np.asarray(e, np.float64))
    with np.errstate(all="ignore"):
        beta = e / (1 + np.sqrt(1 - e**2))
        ecc = nu - 2 * np.arctan2(beta * np.sin(nu), 1 + beta * np.cos(nu))
        hyp = 2 * np.arctanh(np.sqrt((e - 1) / (e + 1)) * np.tan(nu / 2))
        hyperbola = np.where(e > 1, e * np.sinh(hyp) - hyp, np.nan)
        return np.where(e < 1, ecc - e * np.sin(ecc), hyperbola)


def true_from_mean(mean: ArrayLike, e: ArrayLike) -> Array:
    """True anomaly in rad from mean anomaly, hyperbolic mean anomaly where e > 1.

    mean and e broadcast; e = 1 gives NaN.
    """
    mean, e = np.broadcast_arrays(np.asarray(mean, np.float64), np.asarray(e, np.float64))
    turns = np.where(e < 1, TAU * np.rint(mean / TAU), 0.0)
    m = mean - turns
    with np.errstate(all="ignore"):
        start = np.where(e < 1, m + 0.85 * np.sign(m) * e, np.arcsinh(m / e))
        x, active = start, np.isfinite(start)
        for _ in range(_MAX_ITERATIONS):
            sin, cos = _anomaly_functions(x, e)
            value = np.where(e < 1, x - e * sin - m, e * sin - x - m)
            slope = np.where(e < 1, 1 - e * cos, e * cos - 1)
            curve = e * sin
            under = np.sqrt(np.abs(16 * slope**2 - 20 * value * curve))
            step = 5 * value / (slope + under)
            x = np.where(active, x - step, x)
            active = active & (np.abs(step) > 1e-15 * (1 + np.abs(x)))
            if not active.any():
                break
        beta = e / (1 + np.sqrt(1 - e**2))
        ellipse = x + 2 * np.arctan2(beta * np.sin(x), 1 - beta * np.cos(x))
        hyperbola = 2 * np.arctan(np.sqrt((e + 1) / (e - 1)) * np.tanh(x / 2))
        return np.where(e < 1, ellipse + turns, np.where(e > 1, hyperbola, np.nan))


def _anomaly_functions(x: Array, e: Array) -> tuple[Array, Array]:
    """Sine and cosine of the eccentric anomaly, hyperbolic ones where e > 1."""
    return np.where(e < 1, np.sin(x), np.sinh(x)), np.where(e < 1, np.cos(x), np.cosh(x))
