"""Built-in bodies: gravity, size and spin, each constant with its source.

Zonal coefficients belong to the radius that their gravity field was published with. Here
`radius_m` is the radius that altitudes count from, so J_n is converted by (r_field / radius)^n and
its source says so. Rates of rotation are those about the IAU north pole, so Venus turns backwards
and its period is negative.

Sources marked "from memory of" were written down from memory of the paper; the others were read
in the publication's own data or in a table that quotes it. What was left out: the large moons also
have a C22 near 0.3 J2, and every body has further terms.
"""

from __future__ import annotations

import difflib
import math
from dataclasses import dataclass

from simcheck.errors import InputError
from simcheck.records.case import Body

_IAU = "IAU WGCCRE 2015 (Archinal et al. 2018)"
_JPL_MOONS = "JPL satellite physical parameters"
_DAY_S = 86400.0


@dataclass(frozen=True, kw_only=True)
class _Zonals:
    """J2, J3, J4 as published, unnormalised, with the radius they refer to."""

    radius_km: float
    j: tuple[float, float, float]
    source: str


@dataclass(frozen=True, kw_only=True)
class _Entry:
    """One body: constant and its source side by side; spin as in the IAU report."""

    name: str
    gm_km3_s2: tuple[float, str]
    radius_km: tuple[float, str]
    spin_deg_day: tuple[float, str]
    zonals: _Zonals


def _unnormalised(c20: float, c30: float, c40: float) -> tuple[float, float, float]:
    """J_n = -sqrt(2n + 1) * C_n0 of fully normalised coefficients."""
    return 0.0 - math.sqrt(5) * c20, 0.0 - math.sqrt(7) * c30, 0.0 - 3.0 * c40


_ENTRIES = (
    _Entry(
        name="Mercury",
        gm_km3_s2=(22031.86869109080, "MESS160A (Konopliv, Park and Ermakov 2020)"),
        radius_km=(2440.53, f"{_IAU}, equatorial"),
        spin_deg_day=(6.1385108, _IAU),
        zonals=_Zonals(
            radius_km=2440.0,
            j=_unnormalised(-2.250253697653e-5, -4.770937804775e-6, -5.809271015195e-6),
            source="MESS160A (Konopliv, Park and Ermakov 2020)",
        ),
    ),
    _Entry(
        name="Venus",
        gm_km3_s2=(324858.592079, "MGNP180U (Konopliv et al. 1999)"),
        radius_km=(6051.8, f"{_IAU}, mean"),
        spin_deg_day=(-1.4813688, _IAU),
        zonals=_Zonals(
            radius_km=6051.0,
            j=_unnormalised(-1.96972335776e-6, 7.96824637191e-7, 7.15808750045e-7),
            source="MGNP180U (Konopliv et al. 1999)",
        ),
    ),
    _Entry(
        name="Earth",
        gm_km3_s2=(398600.4415, "EGM2008 (Pavlis et al. 2012), TT-compatible"),
        radius_km=(6378.1366, f"{_IAU}, equatorial"),
        spin_deg_day=(math.degrees(7.292115e-5) * _DAY_S, "EGM2008 (Pavlis et al. 2012)"),
        zonals=_Zonals(
            radius_km=6378.1363,
            j=_unnormalised(-4.84165143790815e-4, 9.57161207093473e-7, 5.39965866638991e-7),
            source="from memory of EGM2008 (Pavlis et al. 2012), tide-free",
        ),
    ),
    _Entry(
        name="Moon",
        gm_km3_s2=(4902.80007, "GRAIL (Williams et al. 2014)"),
        radius_km=(1737.4, f"{_IAU}, mean"),
        spin_deg_day=(13.17635815, _IAU),
        zonals=_Zonals(
            radius_km=1738.0,
            j=(2.032156846495257e-4, 8.459702697459457e-6, -9.70441383657e-6),
            source="DE430 (Folkner et al. 2014), GRAIL, without the permanent tide",
        ),
    ),
    _Entry(
        name="Mars",
        gm_km3_s2=(42828.37581575610, "MRO120D (Konopliv et al. 2016)"),
        radius_km=(3396.19, f"{_IAU}, equatorial"),
        spin_deg_day=(350.891982443297, _IAU),
        zonals=_Zonals(
            radius_km=3396.0,
            j=_unnormalised(-8.750220924537e-4, -1.18970150373e-5, 5.129095830134e-6),
            source="MRO120D (Konopliv et al. 2016)",
        ),
    ),
    _Entry(
        # Both asteroids: the IAU ellipsoids are triaxial or older than Dawn, so the radius is that
        # of the gravity field. The equator bulges to 482 km (Ceres) and 289 km (Vesta).
        name="Ceres",
        gm_km3_s2=(62.6290536121, "CERES18D (Konopliv et al. 2018)"),
        radius_km=(470.0, "reference radius of CERES18D (Konopliv et al. 2018)"),
        spin_deg_day=(952.1532635, "CERES18D (Konopliv et al. 2018)"),
        zonals=_Zonals(
            radius_km=470.0,
            j=(2.6499e-2, 0.0, 0.0),
            source="from memory of Park et al. 2016",
        ),
    ),
    _Entry(
        name="Vesta",
        gm_km3_s2=(17.2882449693, "VESTA20H (Konopliv et al. 2014)"),
        radius_km=(265.0, "reference radius of VESTA20H (Konopliv et al. 2014)"),
        spin_deg_day=(1617.3329428, _IAU),
        zonals=_Zonals(
            radius_km=265.0,
            j=_unnormalised(-3.17799e-2, 0.0, 0.0),
            source="from memory of VESTA20H (Konopliv et al. 2014)",
        ),
    ),
    _Entry(
        name="Io",
        gm_km3_s2=(5959.91547, f"{_JPL_MOONS}, JUP365"),
        radius_km=(1821.49, f"{_IAU}, mean"),
        spin_deg_day=(203.4889538, _IAU),
        zonals=_Zonals(
            radius_km=1821.6,
            j=(1845.9e-6, 0.0, 0.0),
            source="from memory of Anderson et al. 2001 (Galileo)",
        ),
    ),
    _Entry(
        name="Europa",
        gm_km3_s2=(3202.71210, f"{_JPL_MOONS}, JUP365"),
        radius_km=(1560.80, f"{_IAU}, mean"),
        spin_deg_day=(101.3747235, _IAU),
        zonals=_Zonals(
            radius_km=1565.0,
            j=(435.5e-6, 0.0, 0.0),
            source="from memory of Anderson et al. 1998 (Galileo)",
        ),
    ),
    _Entry(
        name="Ganymede",
        gm_km3_s2=(9887.83275, f"{_JPL_MOONS}, JUP365"),
        radius_km=(2631.2, f"{_IAU}, mean"),
        spin_deg_day=(50.3176081, _IAU),
        zonals=_Zonals(
            radius_km=2631.2,
            j=(127.53e-6, 0.0, 0.0),
            source="from memory of Schubert et al. 2004 (Galileo)",
        ),
    ),
    _Entry(
        name="Callisto",
        gm_km3_s2=(7179.28340, f"{_JPL_MOONS}, JUP365"),
        radius_km=(2410.3, f"{_IAU}, mean"),
        spin_deg_day=(21.5710715, _IAU),
        zonals=_Zonals(
            radius_km=2410.3,
            j=(32.7e-6, 0.0, 0.0),
            source="from memory of Anderson et al. 2001 (Galileo)",
        ),
    ),
    _Entry(
        name="Titan",
        gm_km3_s2=(8978.13710, f"{_JPL_MOONS}, SAT441"),
        radius_km=(2574.76, f"{_IAU}, mean"),
        spin_deg_day=(22.5769768, _IAU),
        zonals=_Zonals(  # J3 and J4 of Durante et al. lie within their own errors of zero
            radius_km=2575.0,
            j=(33.089e-6, 0.0, 0.0),
            source="from memory of Durante et al. 2019 (Cassini)",
        ),
    ),
    _Entry(
        name="Enceladus",
        gm_km3_s2=(7.21037, f"{_JPL_MOONS}, SAT441"),
        radius_km=(252.1, f"{_IAU}, mean"),
        spin_deg_day=(262.7318996, _IAU),
        zonals=_Zonals(
            radius_km=254.2,
            j=(5435.2e-6, -115.3e-6, 0.0),
            source="Iess et al. 2014 (Cassini), J3 and the radius from memory",
        ),
    ),
)

NAMES = tuple(entry.name for entry in _ENTRIES)


def built_in(name: str) -> Body:
    """The built-in body of that name, upper or lower case.

    Raises InputError naming the nearest built-in body where there is none.
    """
    for entry in _ENTRIES:
        if entry.name.casefold() == name.strip().casefold():
            return _body(entry)
    near = difflib.get_close_matches(name.strip().title(), NAMES, n=1, cutoff=0.5)
    hint = f"did you mean {near[0]}?" if near else f"the built-in ones are {', '.join(NAMES)}"
    raise InputError(f'no built-in body is called "{name[:40]}"; {hint}')


def _body(entry: _Entry) -> Body:
    """SI constants of an entry, zonals converted to its radius."""
    radius_km, radius_source = entry.radius_km
    spin, spin_source = entry.spin_deg_day
    zonals = entry.zonals
    j2, j3, j4 = rescaled(zonals.j, zonals.radius_km, radius_km)
    source = zonals.source
    if zonals.radius_km != radius_km:
        source += f"; converted from its radius of {zonals.radius_km:g} km"
    sources = {"gm": entry.gm_km3_s2[1], "radius": radius_source, "rotation_period": spin_source}
    present = {"j2": j2, "j3": j3, "j4": j4}
    return Body(
        name=entry.name,
        gm_m3_s2=entry.gm_km3_s2[0] * 1e9,
        radius_m=radius_km * 1e3,
        j2=j2,
        j3=j3,
        j4=j4,
        rotation_period_s=360.0 / spin * _DAY_S,
        sources=sources | {name: source for name, value in present.items() if value},
    )


def rescaled(
    j: tuple[float, float, float], radius: float, new_radius: float
) -> tuple[float, float, float]:
    """J2, J3, J4 that mean the same field when they refer to another radius (same unit)."""
    ratio = radius / new_radius
    return j[0] * ratio**2, j[1] * ratio**3, j[2] * ratio**4
