"""Whole-revolution averages of many flights at once: `simcheck.measuring.average`, vectorised.

The same window, samples and definitions; only the formulas are arranged for arrays. Reference for
the eccentric longitude from the position: Broucke and Cefola (1972), Celest. Mech. 5, 303.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from simcheck.arrays import Array
from simcheck.engines.batches import TaylorBatches
from simcheck.kernels.fitting import fit_line
from simcheck.kernels.kepler import orbital_period
from simcheck.kernels.vectors import TAU, dot, norm, wrap
from simcheck.measuring import REVOLUTIONS, SAMPLES, RingMotion, slot_period

GLANCE = 16
"""Samples a revolution of a glance."""

_BLOCK = 64  # lanes worked on together: their samples stay in the processor's cache
_WINDOW = 1e-12  # as in `simcheck.measuring`, like the two below
_RUNAWAY = 0.2
_ITERATIONS = 150
_NEAR = 0.3  # slope of the period found by the period tried, above which the line is not trusted
_LIKE_THE_RING = 0.05  # relative difference of the period up to which a glance takes the ring's
_SHARES = np.arange(REVOLUTIONS * SAMPLES + 1) / SAMPLES
# Least squares is linear: these turn longitudes into the line's last value and its slope a period.
_LAST, _SLOPE = fit_line(_SHARES, np.eye(len(_SHARES)), TAU)
_FEW = np.arange(REVOLUTIONS * GLANCE + 1) / GLANCE
_FEW_LAST, _FEW_SLOPE = fit_line(_FEW, np.eye(len(_FEW)), TAU)


class LaneAverages(NamedTuple):
    """`Averages` of n lanes: arrays (n,), e_vector (n, 2), normal (n, 3); NaN where not closed."""

    time: Array
    longitude: Array
    period: Array
    e_vector: Array
    normal: Array
    radius: Array


def average_lanes(
    batches: TaylorBatches, times: Array, states: Array, motion: RingMotion
) -> LaneAverages:
    """Fly states (n, 7) for whole revolutions from times (n,) and average their elements.

    Agrees with `average` to 1e-11. A lane's row depends on that lane alone, bit for bit; it is NaN
    where the orbit is not closed, breaks down, or has no steady period to average over.
    """
    parts = [
        _block(batches, times[i : i + _BLOCK], states[i : i + _BLOCK], motion)
        for i in range(0, len(times), _BLOCK)
    ]
    if not parts:
        parts = [np.empty((0, 9))]
    t, longitude, period, k, h, x, y, z, radius = np.concatenate(parts).T
    return LaneAverages(
        t, longitude, period, np.stack([k, h], axis=-1), np.stack([x, y, z], axis=-1), radius
    )


class LaneGlance(NamedTuple):
    """Errors of n lanes against a slot at `time` (n,), by a quick look; NaN where not closed.

    errors (n, 6): mean longitude, relative period, eccentricity vector (k, h), normal's x and y.
    longitude (n,) is the craft's in the ring frame, then.
    """

    time: Array
    errors: Array
    longitude: Array

    def of(self, rows: NDArray[np.intp]) -> LaneGlance:
        """Those of some lanes."""
        return LaneGlance(*(part[rows] for part in self))


def glance_lanes(
    batches: TaylorBatches,
    times: Array,
    states: Array,
    motion: RingMotion,
    slot: int | NDArray[np.intp],
) -> LaneGlance:
    """The averages of states (n, 7) from times (n,) against a slot, or slots (n,), for decisions.

    One pass over the ring's own revolutions and fewer samples, at a sixth of the cost of
    `average_lanes`. Near a ring the two differ by the forces' periodic terms times the window's
    relative error: some 1e-7. Under other bodies all samples are taken. A lane's row depends on
    that lane alone, bit for bit.
    """
    parts = [
        _glanced(batches, times[i : i + _BLOCK], states[i : i + _BLOCK], motion)
        for i in range(0, len(times), _BLOCK)
    ]
    time, longitude, period, k, h, x, y = np.concatenate(parts or [np.empty((7, 0))], axis=1)
    phase = wrap(longitude - motion.longitude(slot, time))
    relative = period / slot_period(motion, time, period) - 1
    errors = np.stack([phase, relative, k, h, x, y], axis=-1)
    return LaneGlance(time, errors, longitude)


@np.errstate(all="ignore")
def _glanced(batches: TaylorBatches, times: Array, states: Array, motion: RingMotion) -> Array:
    """Time, longitude, period, k, h, the normal's x and y (7, n) of a block."""
    gm = batches.gravity.gm
    inverse_axis = 2 / norm(states[:, :3]) - dot(states[:, 3:6], states[:, 3:6]) / gm
    period = orbital_period(inverse_axis, gm)
    like = np.abs(period / motion.period_s - 1) < _LIKE_THE_RING
    span = REVOLUTIONS * motion.period_s
    window = np.where(like, motion.period_before(times + span, span), period)
    found = np.full((7, len(times)), np.nan)
    rows = np.flatnonzero(np.isfinite(period))
    if not len(rows):
        return found
    # Where the sky's pull drifts within the window, fewer samples would weigh its ends otherwise.
    few = batches.gravity.sky is None
    shares, last, slope = (_FEW, _FEW_LAST, _FEW_SLOPE) if few else (_SHARES, _LAST, _SLOPE)
    grid = times[rows, None] + shares * window[rows, None]
    longitude, k, h, x, y, *_ = _seen(
        batches.sample(times[rows], states[rows], grid), grid, motion, gm
    )
    longitude = _unwrapped(longitude)
    found[0, rows] = grid[:, -1]
    found[1, rows] = _sum(last * longitude)
    found[2, rows] = window[rows] * TAU / _sum(slope * longitude)
    for row, values in enumerate((k, h, x, y), start=3):
        found[row, rows] = _sum(values[:, :-1]) / (len(shares) - 1)
    return found


@np.errstate(all="ignore")
def _block(batches: TaylorBatches, times: Array, states: Array, motion: RingMotion) -> Array:
    """Averages (n, 9) in the order of `LaneAverages`, its vectors spread out."""
    gm = batches.gravity.gm
    whole = batches.gravity.point_mass  # two-body motion: the osculating period is the averaged
    inverse_axis = 2 / norm(states[:, :3]) - dot(states[:, 3:6], states[:, 3:6]) / gm
    period = orbital_period(inverse_axis, gm)
    if not whole:  # a glance comes within some 1e-7 of it, and saves a pass
        glanced = _glanced(batches, times, states, motion)[2]
        steady = (glanced > _RUNAWAY * period) & (glanced < period / _RUNAWAY)
        period = np.where(steady, glanced, period)
    result = np.full((len(times), 9), np.nan)
    last_pass = np.full((2, len(times)), np.nan)  # period tried and found
    rows = np.flatnonzero(np.isfinite(period))
    for left in range(_ITERATIONS, 0, -1):
        if not len(rows):
            break
        grid = times[rows, None] + _SHARES * period[rows, None]
        seen = _seen(batches.sample(times[rows], states[rows], grid), grid, motion, gm)
        longitude = _unwrapped(seen[0])
        turns = _sum(_SLOPE * longitude) / TAU  # revolutions that one period makes
        steady = (turns > _RUNAWAY) & (turns < 1 / _RUNAWAY)
        settled = steady & ((np.abs(turns - 1) < _WINDOW) | whole | (left == 1))
        fresh = period[rows] / turns
        tried, found = last_pass[:, rows]
        last_pass[:, rows] = period[rows], fresh
        period[rows] = np.where(settled, fresh, _fixed_point(tried, found, period[rows], fresh))
        done = rows[settled]
        result[done, 0] = grid[settled, -1]
        result[done, 1] = _sum(_LAST * longitude)[settled]
        result[done, 2] = period[done]
        for column, values in enumerate(seen[1:], start=3):
            result[done, column] = (_sum(values[:, :-1]) / (len(_SHARES) - 1))[settled]
        rows = rows[steady & ~settled]
    return result


def _fixed_point(tried: Array, found: Array, period: Array, fresh: Array) -> Array:
    """Next period to try: where found equals tried on the line through two passes, if that is near.

    Saves a pass or two of the plain iteration, which ends at the same period.
    """
    slope = (fresh - found) / (period - tried)
    line = (fresh - slope * period) / (1 - slope)
    return np.where(np.abs(slope) < _NEAR, line, fresh)


def _seen(rows: Array, times: Array, motion: RingMotion, gm: float) -> tuple[Array, ...]:
    """Mean longitude, k, h, orbit normal and radius of states (n, m, 6) in the ring frame."""
    x, y, z, vx, vy, vz = np.moveaxis(rows, -1, 0).copy()
    x, y, z = _turned(x, y, z, times, motion)
    vx, vy, vz = _turned(vx, vy, vz, times, motion)
    hx, hy, hz = y * vz - z * vy, z * vx - x * vz, x * vy - y * vx
    size = np.sqrt(hx * hx + hy * hy + hz * hz)
    wx, wy, wz = hx / size, hy / size, hz / size
    radius = np.sqrt(x * x + y * y + z * z)
    # The vector to the periapsis, and the axes f and g in the plane that `Equinoctial` refers to.
    ex = (vy * hz - vz * hy) / gm - x / radius
    ey = (vz * hx - vx * hz) / gm - y / radius
    ez = (vx * hy - vy * hx) / gm - z / radius
    p, q = wx / (1 + wz), -wy / (1 + wz)
    scale = 1 + p * p + q * q
    fx, fy, fz = (1 - p * p + q * q) / scale, 2 * p * q / scale, -2 * p / scale
    gx, gy, gz = fy, (1 + p * p - q * q) / scale, 2 * q / scale
    k, h = ex * fx + ey * fy + ez * fz, ex * gx + ey * gy + ez * gz
    along, across = x * fx + y * fy + z * fz, x * gx + y * gy + z * gz
    return _mean_longitude(along, across, size, k, h, gm), k, h, wx, wy, wz, radius


def _turned(
    x: Array, y: Array, z: Array, times: Array, motion: RingMotion
) -> tuple[Array, Array, Array]:
    """Components along the axes of `RingMotion.frame`."""
    raan = motion.ring.raan_rad + motion.node_rate * times
    if motion.equatorial:
        raan = np.zeros(1)
    elif motion.node_rate == 0.0:
        raan = raan[:1, :1]
    c, s = np.cos(raan), np.sin(raan)
    ci, si = np.cos(motion.ring.inclination_rad), np.sin(motion.ring.inclination_rad)
    x, y = c * x + s * y, c * y - s * x
    return x, ci * y + si * z, ci * z - si * y


def _mean_longitude(
    along: Array, across: Array, momentum: Array, k: Array, h: Array, gm: float
) -> Array:
    """Mean longitude by way of the eccentric one, from the place in the plane; NaN where open."""
    root = np.sqrt(1 - h * h - k * k)
    b, unit = 1 / (1 + root), root * gm / momentum**2  # 1 / (a root), with a = p / root^2
    hk = h * k * b
    cosine = k + ((1 - k * k * b) * along - hk * across) * unit
    sine = h + ((1 - h * h * b) * across - hk * along) * unit
    return np.arctan2(sine, cosine) + h * cosine - k * sine


def _unwrapped(angles: Array) -> Array:
    """Angles (n, m) without jumps from a first in (-pi, pi]; `numpy.unwrap` is slow."""
    angles[:, 0] = wrap(angles[:, 0])
    jumps = np.cumsum(np.rint(np.diff(angles, axis=-1) / TAU), axis=-1)
    angles[:, 1:] -= TAU * jumps
    return angles


def _sum(values: Array) -> Array:
    """Sum over the last axis, by the same steps for one lane and for many."""
    return np.asarray(np.sum(np.ascontiguousarray(values), axis=-1))
