"""Skies for tests: other bodies on circles whose place has a closed form, and real ones.

And what flies in them: a low and a high orbit about the Moon, invented like everything here.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from simcheck.bodies import built_in
from simcheck.engines import taylor
from simcheck.engines.base import Thrust
from simcheck.engines.gravity import Gravity
from simcheck.files.ephemeris import built_in_perturbers, own_perturber, sky_of, track_of
from simcheck.files.epochs import read_date
from simcheck.records.sky import AU_M, Sky, Sunlight, ThirdBody, Track
from tests.engines.bench import state
from tests.strategies import BODIES, TAU

DAY_S = 86400.0
YEAR_S = 365.25 * DAY_S

# Invented, much like what is seen from the Moon; the tilt is against the Moon's equator.
EARTH = ThirdBody(
    name="Earth",
    gm_m3_s2=3.986004418e14,
    semi_major_axis_m=384.4e6,
    eccentricity=0.0,
    inclination_rad=0.12,
    raan_rad=0.0,
    argp_rad=0.0,
    true_anomaly_rad=0.3,
    period_s=27.32 * DAY_S,
)
SUN = ThirdBody(
    name="Sun",
    gm_m3_s2=1.32712440018e20,
    semi_major_axis_m=AU_M,
    eccentricity=0.0,
    inclination_rad=0.03,
    raan_rad=0.0,
    argp_rad=0.0,
    true_anomaly_rad=1.0,
    period_s=YEAR_S,
    irradiance_w_m2=1361.0,
)
SAIL = Sunlight(area_to_mass_m2_kg=1.0, reflectivity=1.4)
"""Fifty times the area of a usual craft, so that light and shadow show."""


QUICK = replace(EARTH, period_s=0.6 * DAY_S)
"""The Earth in a hurry: windows of 72 minutes."""

MOON = BODIES["Moon"]
START = 1e5  # s: no arc begins at the epoch, so that the clock counts
LOW = state(1.25, 0.02, 0.2, body=MOON)  # 2.6 hours a revolution
HIGH = state(5.0, 0.1, 0.9, body=MOON)  # a day; both see the shadow in each
BURN = Thrust(thrust_n=40.0, isp_s=300.0, steering="rsw", direction=np.array([0.0, 1.0, 0.0]))


def track(body: ThirdBody, days: float = 400.0) -> Track:
    """The body's motion as simcheck samples it."""
    return track_of(own_perturber(body), days * DAY_S)


def place(body: ThirdBody, times: np.ndarray | float) -> np.ndarray:
    """Where a body on a circle from the node of x is, (..., 3) m, written out."""
    angle = body.true_anomaly_rad + TAU * np.asarray(times) / body.period_s
    tilt = body.inclination_rad
    along = [np.cos(angle), np.sin(angle) * np.cos(tilt), np.sin(angle) * np.sin(tilt)]
    return body.semi_major_axis_m * np.stack(along, axis=-1)


def sky(*, pulls: bool = True, light: Sunlight | None = SAIL, days: float = 400.0) -> Sky:
    """The Earth and the Sun as seen from the Moon, both pulling or none, and the Sun's light."""
    sun = track(SUN, days)
    pulling = (track(EARTH, days), sun) if pulls else ()
    return Sky(pulling=pulling, sun=sun, sunlight=light)


def about_the_moon(seen: Sky | None, *, zonal: bool = True) -> Gravity:
    """The Moon's gravity in a sky."""
    return Gravity(*MOON, sky=seen) if zonal else Gravity(MOON.gm, MOON.radius, sky=seen)


def about_the_earth(
    epoch: str,
    days: float,
    *,
    zonal: bool = True,
    pulls: bool = True,
    light: Sunlight | None = None,
) -> Gravity:
    """The Earth with J2 and the sky that is built in."""
    earth = built_in("Earth")
    bodies = built_in_perturbers(earth, read_date(epoch))
    seen = sky_of(bodies, days * DAY_S, pulling=pulls, sunlight=light)
    return Gravity(earth.gm_m3_s2, earth.radius_m, earth.j2 if zonal else 0.0, sky=seen)


def quick() -> Gravity:
    """In which a burn of some hours crosses windows."""
    return about_the_moon(Sky(pulling=(track(QUICK, 30.0),)))


def switchings(monkeypatch: pytest.MonkeyPatch) -> list[float]:
    """What the fast engine makes of each edge of the shadow, noted as it flies.

    heyoka may find one crossing twice, 1e-14 apart, which switches nothing: noted once.
    """
    noted: list[float] = []
    plain = taylor.lit_beyond

    def note(direction: int, step: float) -> float:
        lit = plain(direction, step)
        if noted[-1:] != [lit]:
            noted.append(lit)
        return lit

    monkeypatch.setattr(taylor, "lit_beyond", note)
    return noted
