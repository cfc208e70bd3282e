"""What moves a coasting craft beside the body's point mass, as plain arrays.

Zonal terms, the constant tide, third bodies and sunlight. The body's own acceleration towards each
third body is taken off, since the axes are centred on it (Montenbruck and Gill 2000, Satellite
Orbits, section 3.3); sunlight pushes as on a sphere (section 3.4). The body hides the Sun's disc
as a whole while it hides the disc's centre, by parallel rays: left out are the passage through the
penumbra, half of which counts as light and half as dark, and the cone of the shadow; the first is
the disc's angle times the distance behind the limb wide (80 km at 12,600 km about Mars).
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from simcheck.arrays import Array
from simcheck.engines.gravity import Gravity
from simcheck.kernels.chebyshev import positions
from simcheck.kernels.perturbations import zonal_acceleration
from simcheck.kernels.vectors import dot, norm
from simcheck.records.sky import Sky, Sunlight, Track


def place_of(track: Track, times: Array | float) -> Array:
    """Positions (..., 3) m of a third body from the central one; NaN outside its span."""
    return positions(track.start_s, track.step_s, track.coefficients_m, times)


def pull(gravity: Gravity, time: Array | float, position: Array) -> Array:
    """Acceleration (..., 3) m/s2 beside the point mass at positions (..., 3) m and times (...)."""
    total = np.zeros(np.shape(position))
    if any(gravity.zonals):
        total += zonal_acceleration(position, gravity.gm, gravity.radius, *gravity.zonals)
    if gravity.tide:
        total += gravity.tide * position * np.array([-0.5, -0.5, 1.0])
    if gravity.sky is None:
        return total
    for track in gravity.sky.pulling:
        there = place_of(track, time)
        gap = there - position
        total += track.gm_m3_s2 * (_over_cube(gap) - _over_cube(there))
    light, sun = gravity.sky.sunlight, gravity.sky.sun
    if light is not None and sun is not None:
        there = place_of(sun, time)
        lit = in_sunlight(position, there, gravity.radius)
        total -= push_of(light) * lit[..., None] * _over_cube(there - position)
    return total


def push_of(light: Sunlight) -> float:
    """Acceleration by sunlight times the distance to the Sun squared, m3/s2."""
    return light.pressure_n_m2 * light.distance_m**2 * light.reflectivity * light.area_to_mass_m2_kg


def in_sunlight(position: Array, sun: Array, radius: float) -> Array:
    """1 where a place (..., 3) m sees the centre of the Sun past a sphere, 0 behind it."""
    along = dot(position, sun) / norm(sun)
    behind = (along < 0.0) & (dot(position, position) - along**2 < radius**2)
    return np.where(behind, 0.0, 1.0)


def tidal_rate(gravity: Gravity, times: Array, normals: Array) -> Array:
    """By how much the tide along an orbit's normal is off its mean, (n,) 1/s2.

    times (n,), normals (n, 3) are unit vectors. Divided by the mean motion it is the long-periodic
    part of the rate of a circular orbit's mean longitude: of the quadrupole, averaged over the
    orbit. Left out is the octupole, radius over distance smaller and zero on average for a circle.
    """
    rate = np.zeros(len(times))
    if gravity.sky is None:
        return rate
    for track in gravity.sky.pulling:
        there = place_of(track, times)
        d = norm(there)
        along = dot(there, normals) / d
        rate += track.gm_m3_s2 / d**3 * (3.0 * along**2 - 1.0)
    tide = gravity.averaged().tide - gravity.tide
    return np.asarray(rate - tide * (1.5 * normals[:, 2] ** 2 - 0.5))


def unknown(gravity: Gravity, time: float, until: float) -> str:
    """What to say of an arc that leaves the time for which the sky is known; "" where it stays."""
    if gravity.sky is None:
        return ""
    tracks = gravity.sky.tracks
    start, end = max(track.start_s for track in tracks), min(track.end_s for track in tracks)
    if min(time, until) >= start and max(time, until) <= end + LATE_S:
        return ""
    return (
        f"an arc from {time:.0f} to {until:.0f} s leaves the time for which the other bodies are "
        f"known, {start:.0f} to {end:.0f} s past the epoch"
    )


class Windows(NamedTuple):
    """A sky as the equations take it: positions as powers of the share of a window.

    Window i begins at start + i * stride and is twice the stride long, so that an arc up to a
    stride long lies in one of them wherever it begins. powers (n, tracks, 3, POWERS) in m.
    """

    start: float
    end: float
    stride: float
    powers: Array


LATE_S = 1e-3
"""How far past the end of what is known an arc may reach: sums of steps round by less."""

POWERS = 9
"""Coefficients of a window's polynomials."""

_SEGMENTS = 2
"""A stride is this many segments of the quickest track, a window a sixth of a revolution where the
edge takes 24 segments for one. The polynomial then is off by 2e-11 of the distance."""


def longest_arc(gravity: Gravity) -> float:
    """How long an arc may be to lie in one window, s; infinite without a sky."""
    if gravity.sky is None:
        return np.inf
    return _SEGMENTS * min(track.step_s for track in gravity.sky.tracks)


def ends_of_arcs(start: float, end: float, longest: float) -> list[float]:
    """Where to cut an arc into equal parts, none longer than `longest`; the last is its end."""
    parts = 1 if np.isinf(longest) else max(1, int(np.ceil(abs(end - start) / longest)))
    return [*(start + (end - start) * i / parts for i in range(1, parts)), end]


def windows(sky: Sky) -> Windows:
    """The windows over the time that all of a sky's tracks cover."""
    tracks = sky.tracks
    start, end = max(track.start_s for track in tracks), min(track.end_s for track in tracks)
    stride = _SEGMENTS * min(track.step_s for track in tracks)
    count = max(int(np.floor((end - start) / stride)), 1)
    begins = start + stride * np.arange(count)
    span = np.minimum(2 * stride, end - begins)
    # The last window would end behind the tracks: its polynomial is drawn over what is known.
    nodes = begins[:, None] + _NODES * span[:, None]
    powers = np.stack([_powers(place_of(track, nodes)) for track in tracks], axis=1)
    powers *= (2 * stride / span)[:, None, None, None] ** np.arange(POWERS)
    return Windows(start, end, stride, powers)


def _over_cube(vector: Array) -> Array:
    return np.asarray(vector / norm(vector)[..., None] ** 3)


def _powers(values: Array) -> Array:
    """Powers' coefficients (n, 3, POWERS) of values (n, POWERS, 3) at the nodes."""
    found = np.zeros((len(values), 3, POWERS))
    for node in range(POWERS):  # term by term, so that a row does not depend on the others
        found += values[:, node, :, None] * _FROM_NODES[:, node]
    return found


_NODES = (1.0 - np.cos(np.pi * (np.arange(POWERS) + 0.5) / POWERS)) / 2.0
_FROM_NODES = np.linalg.inv(np.vander(_NODES, POWERS, increasing=True))
