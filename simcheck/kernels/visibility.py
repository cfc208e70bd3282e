"""Who sees whom about a sphere: lines of sight, elevations, caps of coverage, shadows.

The last axis is the component, leading axes are free; metres and radians. Left out everywhere: the
body's flattening, refraction (up to 0.6 deg at the Earth's horizon), terrain, light's travel time.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from simcheck.arrays import Array
from simcheck.kernels.vectors import angle_between, dot, norm

SUN_RADIUS_M = 695700e3
"""Nominal solar radius, IAU 2015 Resolution B3."""


def lowest_of_segment(first: Array, second: Array) -> Array:
    """Least distance (...) of the segment between two places from the centre, both ends included.

    first, second: (..., 3) m. Where the nearest point of the line lies beyond an end, that end is
    it; two equal places give their own distance.
    """
    along = second - first
    length2 = dot(along, along)
    with np.errstate(invalid="ignore", divide="ignore"):
        share = np.where(length2 > 0.0, -dot(first, along) / length2, 0.0)
    return norm(first + np.clip(share, 0.0, 1.0)[..., None] * along)


def sine_of_elevation(site: Array, place: Array) -> Array:
    """Sine of the elevation (...) of a place above the horizon of a site, (..., 3) m each.

    The zenith points away from the centre. A place at the site itself gives NaN.
    """
    away = place - site
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.asarray(dot(site, away) / (norm(site) * norm(away)))


def cap_angle(distance: ArrayLike, radius: float, elevation: ArrayLike) -> Array:
    """Half-angle (...) at the centre of the cap that sees a place at or above an elevation.

    distance of the place from the centre and the sphere's radius in m, elevation in rad. NaN where
    the place lies inside the sphere. Source: Larson and Wertz, SMAD 3rd ed., section 5.2.
    """
    elevation = np.asarray(elevation, dtype=np.float64)
    ratio = radius / np.asarray(distance, dtype=np.float64)
    inside = np.where(ratio <= 1.0, ratio, np.nan)
    return np.asarray(np.arccos(inside * np.cos(elevation)) - elevation)


def cap_share(angle: ArrayLike) -> Array:
    """Share of a sphere's surface within a cap of this half-angle, rad."""
    return np.asarray(np.sin(np.asarray(angle) / 2.0) ** 2)


def street_half_width(angle: ArrayLike, relays: ArrayLike) -> Array:
    """Half-width of the street along a ring's ground circle that is covered at all times, rad.

    angle: half-angle of each relay's cap, rad; relays: evenly spaced on one circle. 0 where the
    caps do not meet. cos(width) = cos(angle) / cos(pi / relays): Rider (1985), "Optimized polar
    orbit constellations for redundant earth coverage", J. Astronaut. Sci. 33(2), from memory.
    """
    half = np.pi / np.asarray(relays, dtype=np.float64)
    meet = np.asarray(angle) >= half
    ratio = np.where(meet, np.cos(angle) / np.where(meet, np.cos(half), 1.0), 1.0)
    return np.arccos(np.minimum(ratio, 1.0))


class Grid(NamedTuple):
    """Points of a unit sphere in rows of latitude: directions (P, 3), latitude (P,) rad, weights.

    row (P,) counts from the south; weights (P,) are the shares of the surface that the points
    stand for, and sum to one.
    """

    directions: Array
    latitude: Array
    row: NDArray[np.intp]
    weights: Array


def surface_grid(rows: int, on_equator: int) -> Grid:
    """Points at the middles of equal steps of latitude, evenly spaced along each.

    A row's points share the exact area of its zone, so that weights are exact; their number goes
    with the cosine of the latitude, every second row is turned by half a step.
    """
    edges = np.linspace(-np.pi / 2.0, np.pi / 2.0, rows + 1)
    middle = (edges[1:] + edges[:-1]) / 2.0
    zones = (np.sin(edges[1:]) - np.sin(edges[:-1])) / 2.0
    counts = np.maximum(np.rint(on_equator * np.cos(middle)), 3).astype(np.intp)
    row = np.repeat(np.arange(rows), counts)
    place = np.arange(len(row)) - np.repeat(np.cumsum(counts) - counts, counts)
    longitude = 2.0 * np.pi * (place + 0.5 * (row % 2)) / counts[row]
    latitude = middle[row]
    directions = np.stack(
        [
            np.cos(latitude) * np.cos(longitude),
            np.cos(latitude) * np.sin(longitude),
            np.sin(latitude),
        ],
        axis=-1,
    )
    return Grid(directions, latitude, row, (zones / counts)[row])


class Shadow(NamedTuple):
    """How deep a place is in shadow, rad: positive within. umbra: none of the Sun is seen."""

    umbra: Array
    penumbra: Array


def shadow(place: Array, sun: Array, radius: float, sun_radius: float = SUN_RADIUS_M) -> Shadow:
    """Depth in the umbra and in the whole shadow of a sphere, by the discs as seen from the place.

    place, sun: (..., 3) m from the sphere's centre. Beyond the umbra's tip the disc of the body is
    smaller than the Sun's and umbra stays negative. Source: Montenbruck and Gill (2000), Satellite
    Orbits, section 3.4.2 (apparent radii and separation), from memory.
    """
    to_sun = sun - place
    body_disc = np.arcsin(np.minimum(radius / norm(place), 1.0))
    sun_disc = np.arcsin(np.minimum(sun_radius / norm(to_sun), 1.0))
    apart = angle_between(-place, to_sun)
    return Shadow(body_disc - sun_disc - apart, body_disc + sun_disc - apart)


def eclipse_share(radius: ArrayLike, body_radius: float, beta: ArrayLike) -> Array:
    """Share of a revolution that a circular orbit spends in the body's cylinder of shadow.

    radius of the orbit and of the body in m; beta: the Sun's angle above the orbit's plane, rad.
    0 where the orbit passes beside the cylinder. With the penumbra it is longer, in the umbra alone
    shorter, each by 2.1 min for a 24 h orbit of the Earth, more where beta is near its limit.
    Source: Vallado (2022), section 5.3, from memory.
    """
    ratio = body_radius / np.asarray(radius, dtype=np.float64)
    cosine = np.cos(np.asarray(beta, dtype=np.float64))
    far = np.sqrt(1.0 - np.minimum(ratio, 1.0) ** 2)
    dark = far < np.abs(cosine)
    return (
        np.where(dark, np.arccos(np.where(dark, far / np.where(dark, cosine, 1.0), 1.0)), 0) / np.pi
    )
