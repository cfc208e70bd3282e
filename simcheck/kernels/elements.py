"""Orbital elements and back, SI and radians, leading axes free.

Classical elements serve people; equinoctial ones, in a frame whose z axis is near the orbit
normal, serve the numbers: no singularity near circular orbits in the ring's plane.
References: Vallado (2022), algorithms 9 and 10; Broucke and Cefola (1972), Celest. Mech. 5, 303.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from simcheck.arrays import Array
from simcheck.kernels.kepler import mean_from_true
from simcheck.kernels.vectors import TAU, cross, dot, norm, rotation, unit

_SINGULAR = 1e-11  # below this e or sin(i) an angle from the apsis or node means nothing


class Classical(NamedTuple):
    """Semi-latus rectum (m), eccentricity, inclination, raan, argp and true anomaly (rad)."""

    p: Array
    e: Array
    i: Array
    raan: Array
    argp: Array
    nu: Array

    @property
    def a(self) -> Array:
        """Semi-major axis (m), negative for a hyperbola."""
        return self.p / (1.0 - self.e**2)


class Equinoctial(NamedTuple):
    """a (m), (h, k) = e*(sin, cos)(argp+raan), (p, q) = tan(i/2)*(sin, cos)(raan), mean longitude.

    All in the frame that the state was given in; undefined only at i = 180 deg and for e >= 1.
    """

    a: Array
    h: Array
    k: Array
    p: Array
    q: Array
    longitude: Array


def state_from_classical(
    p: ArrayLike,
    e: ArrayLike,
    i: ArrayLike,
    raan: ArrayLike,
    argp: ArrayLike,
    nu: ArrayLike,
    gm: float,
) -> tuple[Array, Array]:
    """Position (..., 3) m and velocity (..., 3) m/s of classical elements (p in m, rad)."""
    p, e, i, raan, argp, nu = np.broadcast_arrays(
        *(np.asarray(x, dtype=np.float64) for x in (p, e, i, raan, argp, nu))
    )
    cos, sin = np.cos(nu), np.sin(nu)
    zero = np.zeros_like(nu)
    r = (p / (1.0 + e * cos))[..., None] * np.stack([cos, sin, zero], axis=-1)
    v = np.sqrt(gm / p)[..., None] * np.stack([-sin, e + cos, zero], axis=-1)
    turn = rotation(2, raan) @ rotation(0, i) @ rotation(2, argp)
    return np.asarray((turn @ r[..., None])[..., 0]), np.asarray((turn @ v[..., None])[..., 0])


def eccentricity_vector(position: Array, velocity: Array, gm: float) -> Array:
    """Vector to the periapsis with the length of the eccentricity, (..., 3)."""
    h = cross(position, velocity)
    return np.asarray(cross(velocity, h) / gm - unit(position))


def classical_from_state(position: Array, velocity: Array, gm: float) -> Classical:
    """Classical elements of states (..., 3), m and m/s.

    Angles in [0, 2 pi). Where the orbit is equatorial the raan is 0 and argp counts from the
    x axis; where it is circular argp is 0 and the true anomaly counts from the node.
    """
    position, velocity = np.broadcast_arrays(position, velocity)
    h = cross(position, velocity)
    hn = norm(h)
    w = h / hn[..., None]
    sin_i = np.hypot(w[..., 0], w[..., 1])
    inclination = np.arctan2(sin_i, w[..., 2])
    raan = np.where(sin_i > _SINGULAR, np.arctan2(w[..., 0], -w[..., 1]), 0.0)
    node = np.stack([np.cos(raan), np.sin(raan), np.zeros_like(raan)], axis=-1)
    side = cross(w, node)
    ev = eccentricity_vector(position, velocity, gm)
    e = norm(ev)
    latitude = np.arctan2(dot(position, side), dot(position, node))
    argp = np.where(e > _SINGULAR, np.arctan2(dot(ev, side), dot(ev, node)), 0.0)
    return Classical(
        hn**2 / gm,
        np.where(e > _SINGULAR, e, 0.0),
        inclination,
        np.mod(raan, TAU),
        np.mod(argp, TAU),
        np.mod(latitude - argp, TAU),
    )


def equinoctial_from_state(position: Array, velocity: Array, gm: float) -> Equinoctial:
    """Equinoctial elements of elliptic states (..., 3) in the axes they are given in.

    mean longitude in (-pi, pi]. Rows with e >= 1 give NaN in `longitude`.
    """
    h = cross(position, velocity)
    w = unit(h)
    with np.errstate(all="ignore"):
        p = w[..., 0] / (1.0 + w[..., 2])
        q = -w[..., 1] / (1.0 + w[..., 2])
    f, g = _equinoctial_axes(p, q)
    ev = eccentricity_vector(position, velocity, gm)
    k, hh = dot(ev, f), dot(ev, g)
    a = 1.0 / (2.0 / norm(position) - dot(velocity, velocity) / gm)
    true_longitude = np.arctan2(dot(position, g), dot(position, f))
    e, apsis = np.hypot(k, hh), np.arctan2(hh, k)
    with np.errstate(all="ignore"):
        mean = np.where(e < 1.0, mean_from_true(true_longitude - apsis, e), np.nan)
    longitude = np.pi - np.mod(np.pi - (mean + apsis), TAU)
    return Equinoctial(a, hh, k, p, q, longitude)


def state_from_equinoctial(elements: Equinoctial, gm: float) -> tuple[Array, Array]:
    """Position and velocity (..., 3) of equinoctial elements, in the axes they refer to."""
    a, h, k, p, q, longitude = (np.asarray(x, dtype=np.float64) for x in elements)
    ecc = _eccentric_longitude(longitude, h, k)
    c, s = np.cos(ecc), np.sin(ecc)
    b = 1.0 / (1.0 + np.sqrt(1.0 - h**2 - k**2))
    x = a * ((1 - h**2 * b) * c + h * k * b * s - k)
    y = a * ((1 - k**2 * b) * s + h * k * b * c - h)
    scale = np.sqrt(gm / a) / (1.0 - k * c - h * s)
    vx = scale * (h * k * b * c - (1 - h**2 * b) * s)
    vy = scale * ((1 - k**2 * b) * c - h * k * b * s)
    f, g = _equinoctial_axes(p, q)
    position = x[..., None] * f + y[..., None] * g
    return np.asarray(position), np.asarray(vx[..., None] * f + vy[..., None] * g)


def _equinoctial_axes(p: Array, q: Array) -> tuple[Array, Array]:
    """In-plane axes f and g, (..., 3)."""
    scale = 1.0 + p**2 + q**2
    f = np.stack([1 - p**2 + q**2, 2 * p * q, -2 * p], axis=-1) / scale[..., None]
    g = np.stack([2 * p * q, 1 + p**2 - q**2, 2 * q], axis=-1) / scale[..., None]
    return f, g


def _eccentric_longitude(longitude: Array, h: Array, k: Array) -> Array:
    """Solve Kepler's equation in equinoctial form by Newton's method with a safe start."""
    from simcheck.kernels.kepler import true_from_mean

    e, apsis = np.hypot(h, k), np.arctan2(h, k)
    nu = true_from_mean(longitude - apsis, e)
    beta = e / (1 + np.sqrt(1 - e**2))
    return np.asarray(nu - 2 * np.arctan2(beta * np.sin(nu), 1 + beta * np.cos(nu)) + apsis)


def ring_frame(inclination: ArrayLike, raan: ArrayLike, *, equatorial: bool) -> Array:
    """Rows are the axes of the ring frame: x to the node, z along the ring's normal, (..., 3, 3).

    x is the inertial x axis where the ring is equatorial. `frame @ vector` resolves an inertial
    vector in the ring frame.
    """
    raan = np.zeros_like(np.asarray(raan, np.float64)) if equatorial else raan
    inclination = np.asarray(inclination, dtype=np.float64)
    return np.swapaxes(rotation(2, raan) @ rotation(0, inclination), -1, -2)
