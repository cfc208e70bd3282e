"""The body's turning surface: inertial places seen from axes that turn with it."""

from __future__ import annotations

import numpy as np

from simcheck.arrays import Array
from simcheck.records.case import Body
from simcheck.records.network import Site


def turned_by(body: Body, times: Array) -> Array:
    """Angle (...) rad from the inertial x axis to the prime meridian at times (...) s.

    The meridian starts at the x axis where the body has none; a body without a rotation period
    does not turn. The pole is the inertial z axis and stays there.
    """
    rate = 0.0 if body.rotation_period_s is None else 2.0 * np.pi / body.rotation_period_s
    return np.asarray((body.prime_meridian_rad or 0.0) + rate * np.asarray(times))


def body_fixed(positions: Array, angles: Array) -> Array:
    """Inertial places (..., 3) in axes turned by `angles` (...) rad about the pole."""
    c, s = np.cos(angles), np.sin(angles)
    x, y, z = positions[..., 0], positions[..., 1], positions[..., 2]
    return np.stack(np.broadcast_arrays(c * x + s * y, c * y - s * x, z), axis=-1)


def place_of(site: Site, body: Body) -> Array:
    """The site in body-fixed axes, (3,) m."""
    radius = body.radius_m + site.altitude_m
    flat = np.cos(site.latitude_rad)
    return radius * np.array(
        [
            flat * np.cos(site.longitude_rad),
            flat * np.sin(site.longitude_rad),
            np.sin(site.latitude_rad),
        ]
    )


def notes(body: Body, sites: tuple[Site, ...]) -> list[str]:
    """What is assumed of the surface, where the body does not say."""
    said = []
    if body.rotation_period_s is None:
        said.append(f"The rotation of {body.name} is not known: its surface is taken not to turn.")
    if body.prime_meridian_rad is None and sites:
        said.append(
            f"The orientation of {body.name} at the epoch is not known: its prime meridian is taken"
            " along the inertial x axis, so windows of sites are shifted in time as a whole."
        )
    return said
