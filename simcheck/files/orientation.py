"""How a built-in body stands at an epoch: its pole, its prime meridian and the case's axes.

The axes of a case stay where the body's pole and node are at the epoch. About the Earth they are
the true equator and equinox of the epoch (IAU 2006/2000A, by erfa), about any other body the pole
and the ascending node of the body's equator on the ICRF equator (IAU WGCCRE 2015).

Left out. From the epoch on the body turns uniformly about that fixed pole: without precession of
the pole (Earth 20 arcseconds a year, Mars 3), nutation (Earth 9, within 19 years) and the monthly
terms of the Moon's rotation, 0.1 deg together. The Moon's pole goes round the ecliptic's at
1.54 deg in 18.6 years, 0.5 deg a year. UT1 is taken as UTC: 0.9 s, 0.004 deg of the Earth's prime
meridian; in years beyond the leap seconds that erfa knows, as much again for each that will be
announced.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np

from simcheck.arrays import Array
from simcheck.files.epochs import Instant, erfa_quiet
from simcheck.files.iau_rotation import ROTATIONS, SOURCE, Rotation
from simcheck.kernels.vectors import rotation

_J2000 = 2451545.0
_CENTURY = 36525.0
_FIRST_UTC = 2436934.5  # 1960; before it nothing ties UTC to the Earth's rotation
_EARTH = "IAU 2006/2000A (erfa), UT1 taken as UTC"


class Orientation(NamedTuple):
    """matrix (3, 3) turns vectors in the ICRF into the case's axes, which `axes` puts in words.

    prime_meridian_rad counts from the x axis about the pole, in 0..2 pi; None where unknown.
    """

    matrix: Array
    prime_meridian_rad: float | None
    axes: str
    source: str


def orientation(name: str, epoch: Instant) -> Orientation | None:
    """The orientation of a built-in body at the epoch, None of a body that is not built in."""
    if name.casefold() == "earth":
        return _earth(epoch)
    for known, model in ROTATIONS.items():
        if known.casefold() == name.casefold():
            return _planet(model, epoch)
    return None


def is_built_in(name: str) -> bool:
    """Whether the orientation of a body of that name is known."""
    return name.casefold() in {"earth", *(known.casefold() for known in ROTATIONS)}


def pole_and_meridian(model: Rotation, days: float) -> tuple[float, float, float]:
    """Right ascension and declination of the pole and the angle W, degrees, days past J2000."""
    centuries = days / _CENTURY
    ra = model.ra[0] + model.ra[1] * centuries
    dec = model.dec[0] + model.dec[1] * centuries
    w = model.w[0] + math.fmod(model.w[1] * days, 360.0) + model.w[2] * days**2
    for theta0, theta1, a, d, turn in model.terms:
        theta = math.radians(math.fmod(theta0 + theta1 * centuries, 360.0))
        ra += a * math.sin(theta)
        dec += d * math.cos(theta)
        w += turn * math.sin(theta)
    return ra, dec, w


def _planet(model: Rotation, epoch: Instant) -> Orientation:
    ra, dec, w = pole_and_meridian(model, (epoch.day - _J2000) + epoch.part)
    turn = rotation(2, math.radians(ra + 90.0)) @ rotation(0, math.radians(90.0 - dec))
    axes = "z: the body's north pole at the epoch; x: its equator's node on the ICRF equator"
    return Orientation(np.asarray(turn.T), math.radians(w % 360.0), axes, SOURCE)


def _earth(epoch: Instant) -> Orientation:
    """TDB serves for TT, 2 ms apart at most."""
    with erfa_quiet() as erfa:
        matrix = np.asarray(erfa.pnm06a(epoch.day, epoch.part))
        meridian = None
        if epoch.day + epoch.part >= _FIRST_UTC:
            utc = erfa.taiutc(*erfa.tttai(epoch.day, epoch.part))
            meridian = float(erfa.gst06a(*utc, epoch.day, epoch.part))
    axes = "z, x: true equator and equinox of the epoch"
    return Orientation(matrix, meridian, axes, _EARTH)
