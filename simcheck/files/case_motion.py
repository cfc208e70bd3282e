"""Where something is at the epoch: an `orbit` table of elements or a `state` table of vectors."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from simcheck.arrays import Array
from simcheck.files.case_tables import Table
from simcheck.kernels.elements import state_from_classical
from simcheck.kernels.vectors import cross
from simcheck.records.case import Body, Limits

_PERIAPSIS = ("periapsis_altitude", "periapsis_radius")
_APOAPSIS = ("apoapsis_altitude", "apoapsis_radius")
_AXIS = ("semi_major_axis", "eccentricity")
_SIZES = (
    "one of periapsis_altitude and periapsis_radius with one of apoapsis_altitude and "
    "apoapsis_radius, or semi_major_axis with eccentricity"
)
_EXAMPLES = {
    "periapsis_altitude": "450 km",
    "periapsis_radius": "3846 km",
    "apoapsis_altitude": "9800 km",
    "apoapsis_radius": "13196 km",
}
HALF_TURN = math.pi * (1.0 + 1e-12)  # 180 deg, whatever the unit that it was written in
_EQUATORIAL = 1e-11
_CENTRE = 1e-9  # of the body's radius
_RECTILINEAR = 1e-9  # sine of the angle between position and velocity that is no orbit any more


@dataclass(frozen=True)
class Motion:
    """Position (m) and velocity (m/s), inertial axes."""

    position_m: Array
    velocity_m_s: Array


def read_orbit(table: Table, body: Body | None, limits: Limits) -> Motion | None:
    """Osculating elements to a state; None where a fault or an unknown body leaves none."""
    periapsis, apoapsis, key = _read_size(table, body)
    i = table.quantity("inclination", "angle", "28 deg", at_least=0.0, at_most=HALF_TURN)
    equatorial, circular = math.sin(i) < _EQUATORIAL, periapsis == apoapsis
    raan = table.quantity("raan", "angle", "40 deg", default=0.0 if equatorial else None)
    argp = table.quantity("argp", "angle", "75 deg", default=0.0 if circular else None)
    nu = table.quantity("true_anomaly", "angle", "200 deg")
    table.close()
    if body is None or not all(map(math.isfinite, (periapsis, apoapsis, i, raan, argp, nu))):
        return None
    e = (apoapsis - periapsis) / (apoapsis + periapsis)
    position, velocity = state_from_classical(
        periapsis * (1.0 + e), e, i, raan, argp, nu, body.gm_m3_s2
    )
    motion = Motion(position, velocity)
    _check_heights(table, (key, None), periapsis, motion, (body, limits))
    return motion


def read_state(table: Table, body: Body | None, limits: Limits) -> Motion | None:
    """Position and velocity as they stand; None where a fault leaves none."""
    position = np.array(table.vector("position", "length", ("5000 km", "0 km", "0 km")))
    velocity = np.array(table.vector("velocity", "speed", ("0 km/s", "2.9 km/s", "0 km/s")))
    table.close()
    if body is None or not np.isfinite([position, velocity]).all():
        return None
    keys = {"position": "position", "velocity": "velocity", "periapsis": None, "radius": None}
    return check_motion(table, keys, Motion(position, velocity), (body, limits))


def check_motion(
    table: Table, keys: Mapping[str, str | None], motion: Motion, around: tuple[Body, Limits]
) -> Motion | None:
    """The motion, where it is an orbit about the body; None and a fault where it is none.

    Faults of its position, velocity, periapsis or radius are recorded at the keys given for them.
    """
    body = around[0]
    wrong = orbit_fault(motion.position_m, motion.velocity_m_s, body)
    if wrong:
        table.fault(keys[wrong[0]], wrong[1])
        return None
    r, v = float(np.linalg.norm(motion.position_m)), float(np.linalg.norm(motion.velocity_m_s))
    h = float(np.linalg.norm(cross(motion.position_m, motion.velocity_m_s)))
    a = 1.0 / (2.0 / r - v**2 / body.gm_m3_s2)
    e = math.sqrt(max(0.0, 1.0 - h**2 / (body.gm_m3_s2 * a)))
    periapsis = h**2 / body.gm_m3_s2 / (1.0 + e)
    _check_heights(table, (keys["periapsis"], keys["radius"]), periapsis, motion, around)
    return motion


def orbit_fault(position: Array, velocity: Array, body: Body) -> tuple[str, str] | None:
    """Why a state (m, m/s) is no orbit about the body: "position" or "velocity", and the fault."""
    r, v = float(np.linalg.norm(position)), float(np.linalg.norm(velocity))
    if r <= _CENTRE * body.radius_m:
        return "position", f"expected a place outside the centre of {body.name}"
    escape = math.sqrt(2.0 * body.gm_m3_s2 / r)
    if v >= escape:
        return (
            "velocity",
            f"expected an orbit about {body.name}: {v:.3f} m/s is not below the escape speed "
            f"there, {escape:.3f} m/s",
        )
    h = float(np.linalg.norm(cross(position, velocity)))
    if h <= _RECTILINEAR * r * v:
        return "velocity", "expected an orbit: this motion runs through the body's centre"
    return None


def _read_size(table: Table, body: Body | None) -> tuple[float, float, str | None]:
    """Radii of periapsis and apoapsis, NaN after a fault, and the key that gave the periapsis."""
    given = [key for key in (*_PERIAPSIS, *_APOAPSIS, *_AXIS) if table.has(key)]
    radii = {key: _read_radius(table, key, body) for key in (*_PERIAPSIS, *_APOAPSIS)}
    a = table.quantity("semi_major_axis", "length", "8521 km", default=math.nan, above=0.0)
    e = table.number("eccentricity", "0.55", default=math.nan, at_least=0.0)
    if e >= 1.0:
        table.fault("eccentricity", f"expected an orbit, less than 1, got {e:g}; write 0.55")
        e = math.nan
    if sorted(given) == sorted(_AXIS):
        return a * (1.0 - e), a * (1.0 + e), None
    first = [key for key in given if key in _PERIAPSIS]
    last = [key for key in given if key in _APOAPSIS]
    if len(first) != 1 or len(last) != 1 or len(given) != 2:
        table.fault(None, f"expected {_SIZES}; got {' and '.join(given) or 'none of them'}")
        return math.nan, math.nan, None
    periapsis, apoapsis = radii[first[0]], radii[last[0]]
    if periapsis > apoapsis:
        table.fault(
            first[0],
            f"the periapsis, {km(periapsis)} from the centre, lies above the apoapsis, "
            f"{km(apoapsis)}; exchange them",
        )
        return math.nan, math.nan, None
    return periapsis, apoapsis, first[0]


def _read_radius(table: Table, key: str, body: Body | None) -> float:
    """An altitude or a radius as a radius; NaN where absent, faulty or the body unknown."""
    above = 0.0 if key.endswith("radius") else None
    value = table.quantity(key, "length", _EXAMPLES[key], default=math.nan, above=above)
    if key.endswith("altitude"):
        return value + (math.nan if body is None else body.radius_m)
    return value


def _check_heights(
    table: Table,
    keys: tuple[str | None, str | None],
    periapsis: float,
    motion: Motion,
    around: tuple[Body, Limits],
) -> None:
    """The orbit must clear the surface and the altitude that the limits ask for.

    keys: where to record a fault of the periapsis, and one of the radius at the epoch.
    """
    (key, radius_key), (body, limits) = keys, around
    height = periapsis - body.radius_m
    start = float(np.linalg.norm(motion.position_m))
    if height < 0.0:
        table.fault(
            key,
            f"the orbit runs into {body.name}: its periapsis lies {km(-height)} below the surface "
            f"(radius {km(body.radius_m)})",
        )
    elif height < limits.min_altitude_m:
        table.fault(
            key,
            f"the periapsis altitude of {km(height)} is below [limits] min_altitude, "
            f"{km(limits.min_altitude_m)}; raise the one or lower the other",
        )
    if start > limits.max_radius_m:
        table.fault(
            radius_key,
            f"the radius at the epoch, {km(start)}, is above [limits] max_radius, "
            f"{km(limits.max_radius_m)}",
        )


def km(metres: float) -> str:
    """A length in km to the metre."""
    return f"{metres / 1e3:.3f}".rstrip("0").rstrip(".") + " km"
