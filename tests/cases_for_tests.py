"""Cases for tests, built in one place: Case records in km, degrees and hours, and TOML text.

Every craft, ring and engine here is invented unless the test names a source.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np

import simcheck
from simcheck.kernels.elements import state_from_classical
from simcheck.records.case import (
    Body,
    Case,
    Craft,
    DispersionAim,
    Engine,
    Errors,
    Force,
    Limits,
    Member,
    Operations,
    Ring,
    Tolerance,
)

DAY_S = 86400.0

EARTH = Body(name="Earth", gm_m3_s2=3.986004418e14, radius_m=6378137.0, j2=1.08263e-3)
MARS = Body(name="Mars", gm_m3_s2=4.282837e13, radius_m=3396190.0, j2=1.9566e-3)
MOON = Body(name="Moon", gm_m3_s2=4.9028e12, radius_m=1737400.0, j2=2.0323e-4)
CERES = Body(name="Ceres", gm_m3_s2=6.2629e10, radius_m=470000.0, j2=2.6499e-2)
VESTA = Body(name="Vesta", gm_m3_s2=1.7288e10, radius_m=265000.0, j2=7.1e-2)

ENGINE = Engine(name="engine", thrust_n=400.0, isp_s=318.0, min_burn_s=0.2, max_burn_s=1800.0)
IMPULSIVE = Engine(name="engine", thrust_n=1e7, isp_s=1e5)
"""So strong that burns last milliseconds: what is commanded is what is planned."""

TOLERANCE = Tolerance(
    phase_rad=float(np.radians(0.5)),
    period_s=5.0,
    eccentricity=0.002,
    plane_rad=float(np.radians(0.1)),
)
OPEN = Tolerance(period_s=5.0, eccentricity=0.002, plane_rad=float(np.radians(0.1)))
"""The same with the arrival angle left free."""


def orbit(
    body: Body,
    periapsis_km: float,
    apoapsis_km: float,
    inclination: float = 0.0,
    raan: float = 0.0,
    argp: float = 0.0,
    nu: float = 0.0,
) -> tuple[np.ndarray, np.ndarray]:
    """Position in m and velocity in m/s from radii in km (not altitudes) and angles in degrees."""
    low, high = periapsis_km * 1e3, apoapsis_km * 1e3
    e = (high - low) / (high + low)
    i, node, apsis, anomaly = np.radians([inclination, raan, argp, nu])
    return state_from_classical(low * (1 + e), e, i, node, apsis, anomaly, body.gm_m3_s2)


START = orbit(MARS, 3846.0, 13196.0, 28.0, 40.0, 75.0, 200.0)


def ring(
    period_h: float | None = None,
    *,
    radius_km: float | None = None,
    inclination: float = 35.0,
    raan: float = 60.0,
    slots: int = 4,
    latitude: float = 10.0,
) -> Ring:
    """A ring of a nodal period in hours or a mean radius in km, angles in degrees."""
    if (period_h is None) == (radius_km is None):
        raise ValueError("give either period_h or radius_km")
    by_period = period_h is not None
    return Ring(
        size="period" if by_period else "radius",
        size_value=period_h * 3600.0 if period_h is not None else 1e3 * (radius_km or 0.0),
        inclination_rad=float(np.radians(inclination)),
        raan_rad=float(np.radians(raan)),
        slots=slots,
        argument_of_latitude_rad=float(np.radians(latitude)),
    )


def case(
    body: Body = MARS,
    start: tuple[np.ndarray, np.ndarray] = START,
    goal: Ring | None = None,
    *,
    forces: tuple[Force, ...] = (),
    slot: int = 0,
    members: tuple[Member, ...] = (),
    engine: Engine = ENGINE,
    thrusters: Engine | None = None,
    dry_kg: float = 310.0,
    propellant_kg: float = 300.0,
    tolerance: Tolerance = TOLERANCE,
    days: float = 15.0,
    **limits: float,
) -> Case:
    """A case; what is left out is a relay about Mars with all four tolerances, two-body."""
    goal = ring(12.0) if goal is None else goal
    return Case(
        title="invented for a test",
        epoch=None,
        body=body,
        forces=forces,
        ring=goal,
        members=members,
        craft=Craft(
            name="R",
            slot=slot,
            dry_mass_kg=dry_kg,
            propellant_kg=propellant_kg,
            position_m=start[0],
            velocity_m_s=start[1],
        ),
        engine=engine,
        thrusters=thrusters,
        errors=Errors(),
        operations=Operations(),
        dispersion=DispersionAim(),
        tolerance=tolerance,
        limits=Limits(duration_s=days * DAY_S, **limits),
    )


Tables = dict[str, dict[str, Any]]

MINIMAL: Tables = {
    "case": {"title": "invented for a test"},
    "body": {"name": "Mars", "forces": []},
    "ring": {"period": "12 h", "inclination": "35 deg", "raan": "60 deg", "slots": 1},
    "craft": {"name": "R", "dry_mass": "310 kg", "propellant": "300 kg"},
    "craft.orbit": {
        "periapsis_altitude": "450 km",
        "apoapsis_altitude": "9800 km",
        "inclination": "28 deg",
        "raan": "40 deg",
        "argp": "75 deg",
        "true_anomaly": "200 deg",
    },
    "engine": {"thrust": "400 N", "isp": "318 s"},
    "tolerance": {"period": "5 s", "eccentricity": 0.002, "plane": "0.1 deg"},
}


def toml(changes: Tables | None = None, *, drop: tuple[str, ...] = ()) -> str:
    """A case file: MINIMAL, its tables updated by `changes`; `drop` names "table" or "table.key".

    A table whose first character is + is new instead of updated, for orbits of another form.
    """
    tables = {name: dict(keys) for name, keys in MINIMAL.items()}
    for name, keys in (changes or {}).items():
        if name.startswith("+"):
            tables[name[1:]] = dict(keys)
        else:
            tables.setdefault(name, {}).update(keys)
    for name in drop:
        table, _, key = name.rpartition(".")
        if name in tables:
            del tables[name]
        else:
            del tables[table][key]
    return "\n".join(_lines(tables)) + "\n"


def impulsive(changes: Tables) -> str:
    """A case file whose engine is so strong that its burns are impulses, with propellant enough."""
    engine = {"thrust": "1e7 N", "isp": "1e5 s"}
    return toml({"engine": engine, **changes})


def load(text: str, folder: Path) -> Case:
    """A case from TOML text, through a file as everyone else's."""
    path = folder / "case.toml"
    path.write_text(text, encoding="utf-8")
    return simcheck.load_case(path)


def _lines(tables: Tables) -> list[str]:
    lines = []
    for name, keys in tables.items():
        lines.append(f"[[{name}]]" if name == "ring.member" else f"[{name}]")
        lines += [f"{key} = {_toml(value)}" for key, value in keys.items()]
    return lines


def _toml(value: Any) -> str:
    if isinstance(value, str):
        return f'"{value}"'
    if isinstance(value, list | tuple):
        return "[" + ", ".join(map(_toml, value)) + "]"
    return repr(value)
