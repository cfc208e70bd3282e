"""Two-body transfer geometry: apsides, flight times to a direction, speeds for a period.

SI, radians, scalars or leading axes as said. Reference: Vallado (2022), chapter 6.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike

from simcheck.arrays import Array
from simcheck.kernels.elements import eccentricity_vector
from simcheck.kernels.kepler import mean_from_true, orbital_period
from simcheck.kernels.vectors import TAU, cross, dot, norm, turn_about, unit

_PARABOLIC = 1e-8  # an open orbit nearer to e = 1 counts as a parabola
_CIRCULAR = 1e-11  # below this eccentricity the periapsis is taken where the craft is


def inverse_axis(position: Array, velocity: Array, gm: float) -> Array:
    """1/a in 1/m of states (..., 3); negative for a hyperbola."""
    return np.asarray(2 / norm(position) - dot(velocity, velocity) / gm)


def period_of(position: Array, velocity: Array, gm: float) -> Array:
    """Period in s of states (..., 3), infinite where the orbit is not closed."""
    return orbital_period(inverse_axis(position, velocity, gm), gm)


def apsis_radii(position: Array, velocity: Array, gm: float) -> tuple[Array, Array]:
    """Periapsis and apoapsis radius in m of states (..., 3); the apoapsis is inf if unbound."""
    radius, slant = norm(position), dot(position, velocity)
    p = (radius**2 * dot(velocity, velocity) - slant**2) / gm
    with np.errstate(divide="ignore", over="ignore", invalid="ignore"):
        e = np.hypot(p / radius - 1, np.sqrt(np.maximum(p / gm, 0.0)) * slant / radius)
        return p / (1 + e), np.where(e < 1, p / np.maximum(1 - e, 1e-300), np.inf)


def apsis_direction(position: Array, velocity: Array, gm: float) -> Array:
    """Unit vector (3,) to the periapsis; to the craft itself on a circular orbit."""
    ev = eccentricity_vector(position, velocity, gm)
    return unit(ev) if norm(ev) > _CIRCULAR else unit(position)


def coast_to_direction(
    position: Array, velocity: Array, direction: Array, gm: float
) -> tuple[float, Array, Array]:
    """Fly an ellipse to its next passage through a direction.

    position, velocity, direction: (3,); direction is projected on the orbit's plane. Returns the
    time of flight in s, in [0, period), and position and velocity there. A direction within 1e-9
    rad ahead of or behind the craft is where it is: time of flight 0.
    """
    w = unit(cross(position, velocity))
    apsis = apsis_direction(position, velocity, gm)
    apsis = unit(apsis - dot(apsis, w) * w)  # near a circle rounding tilts it out of the plane
    side = cross(w, apsis)
    e = float(norm(eccentricity_vector(position, velocity, gm)))
    e = e if e > _CIRCULAR else 0.0
    now = float(np.arctan2(dot(position, side), dot(position, apsis)))
    then = float(np.arctan2(dot(direction, side), dot(direction, apsis)))
    ahead = float(np.mod(then - now, TAU))
    if ahead < 1e-9 or ahead > TAU - 1e-9:
        return 0.0, position, velocity
    rate = TAU / float(period_of(position, velocity, gm))
    mean = mean_from_true(np.array([now, now + ahead]), e)
    h = norm(cross(position, velocity))
    p = h**2 / gm
    nu = now + ahead
    radius = p / (1 + e * np.cos(nu))
    along = np.cos(nu) * apsis + np.sin(nu) * side
    across = cross(w, along)
    speed = gm / h
    v = speed * (e * np.sin(nu) * along + (1 + e * np.cos(nu)) * across)
    return float((mean[1] - mean[0]) / rate), np.asarray(radius * along), np.asarray(v)


def coast_time(position: Array, velocity: Array, angle: float, gm: float) -> float:
    """Time in s that a craft takes to sweep an angle (rad, negative for the past) about the body.

    position, velocity: (3,) m, m/s. Whole revolutions count on an ellipse. NaN where an open orbit
    never sweeps so far. On plain floats, since flights ask for it by the thousand. Reference:
    Vallado (2022), section 2.2: Kepler's equation in the anomaly differences.
    """
    x, y, z = (float(c) for c in position)
    u, v, w = (float(c) for c in velocity)
    r = math.sqrt(x * x + y * y + z * z)
    slant, speed2 = x * u + y * v + z * w, u * u + v * v + w * w
    p = (r * r * speed2 - slant * slant) / gm
    e_cos, e_sin = p / r - 1, math.sqrt(p / gm) * slant / r
    e, now = math.hypot(e_cos, e_sin), math.atan2(e_sin, e_cos)
    then = now + angle
    if e < 1:
        axis = p / (1 - e * e)
        beta = e / (1 + math.sqrt(1 - e * e))
        means = []
        for nu in (now, then):
            anomaly = nu - 2 * math.atan2(beta * math.sin(nu), 1 + beta * math.cos(nu))
            means.append(anomaly - e * math.sin(anomaly))
        return (means[1] - means[0]) * axis * math.sqrt(axis / gm)
    if e * math.cos(then) <= -1 or abs(then) >= math.pi:
        return math.nan
    tangents = [math.tan(nu / 2) for nu in (now, then)]
    if e - 1 < _PARABOLIC:
        times = [0.5 * p * math.sqrt(p / gm) * (t + t**3 / 3) for t in tangents]
        return times[1] - times[0]
    means = []
    for tangent in tangents:
        anomaly = 2 * math.atanh(math.sqrt((e - 1) / (e + 1)) * tangent)
        means.append(e * math.sinh(anomaly) - anomaly)
    axis = p / (e * e - 1)
    return (means[1] - means[0]) * axis * math.sqrt(axis / gm)


def coast_times(position: Array, velocity: Array, angle: Array, gm: float) -> Array:
    """Seconds (n,) in which closed orbits sweep angles (n,) in rad; NaN where one is open.

    position, velocity (n, 3). `coast_time` for many at once, negative angles included.
    """
    r, axis = norm(position), 1 / inverse_axis(position, velocity, gm)
    p = np.sum(cross(position, velocity) ** 2, axis=-1) / gm
    with np.errstate(all="ignore"):
        e_cos, e_sin = p / r - 1, np.sqrt(p / gm) * dot(position, velocity) / r
        e, nu = np.hypot(e_cos, e_sin), np.arctan2(e_sin, e_cos)
        beta = e / (1 + np.sqrt(1 - e * e))
        then = nu + angle
        means = []
        for at in (nu, then):
            anomaly = at - 2 * np.arctan2(beta * np.sin(at), 1 + beta * np.cos(at))
            means.append(anomaly - e * np.sin(anomaly))
        return np.asarray((means[1] - means[0]) * axis * np.sqrt(axis / gm))


def speed_for_apsis(radius: ArrayLike, other: ArrayLike, gm: float) -> Array:
    """Speed in m/s at the apsis of this radius when the opposite apsis has radius `other` (m)."""
    r, o = np.asarray(radius, dtype=np.float64), np.asarray(other, dtype=np.float64)
    return np.sqrt(2 * gm * o / (r * (r + o)))


def speed_for_period(radius: ArrayLike, period: ArrayLike, gm: float) -> Array:
    """Speed in m/s at this radius (m) on an orbit of this period (s); NaN where it has none."""
    period = np.asarray(period, dtype=np.float64)
    with np.errstate(all="ignore"):
        axis = np.cbrt(gm * (period / TAU) ** 2)
        return np.sqrt(gm * (2 / np.asarray(radius, dtype=np.float64) - 1 / axis))


def turn_to_plane(position: Array, velocity: Array, normal: Array) -> Array:
    """Velocity (3,) turned about the position into the plane with this normal (3,).

    The position has to lie in that plane; the sense of motion about the normal is kept.
    """
    axis = unit(position)
    w = unit(cross(position, velocity))
    angle = np.arctan2(dot(cross(w, normal), axis), dot(w, normal))
    return turn_about(velocity, axis, angle)


def node_direction(normal: Array, other: Array, fallback: Array) -> Array:
    """Unit vector (3,) along normal x other, the line two planes share; fallback if parallel."""
    line = cross(normal, other)
    length = norm(line)
    return np.asarray(line / length) if length > 1e-9 else unit(fallback)
