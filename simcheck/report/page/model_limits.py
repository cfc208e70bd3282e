"""Where the model ends, and whether a case is inside: each limit with this case's own numbers."""

from __future__ import annotations

import datetime
import math
from typing import Literal, NamedTuple, TypeAlias

import numpy as np

from simcheck.kernels.elements import classical_from_state
from simcheck.measuring import RingMotion
from simcheck.records.case import Case
from simcheck.records.flight import Flight
from simcheck.records.plan import Plan
from simcheck.records.quantities import listed_tolerances
from simcheck.records.result import Result, Seen
from simcheck.records.sky import AU_M, SUN_PRESSURE_N_M2
from simcheck.report.words import fixed, kilometres, significant, speed

# Altitudes in km below which drag moves an orbit within weeks, rough and from memory.
_AIR_KM = {"Earth": 1000.0, "Mars": 350.0, "Venus": 350.0, "Titan": 1500.0}
_LOCKED = ("Moon", "Io", "Europa", "Ganymede", "Callisto", "Titan", "Enceladus")
_C22_OF_J2 = 0.3  # of locked moons, from memory
_ASSUMED_M2_KG = 0.02
_LIGHT_M_S = 299792458.0
_FIRST_YEAR, _LAST_YEAR = 1900, 2100
_SMALL = 0.1  # of the smallest angular tolerance: what may be left out unseen


Standing: TypeAlias = Literal["inside", "outside", "small", "look", "not known"]


class Limit(NamedTuple):
    """A limit of the model: what is left out, this case's number, whether it is inside.

    "small" and "look" are of rough sizes: below a tenth of the smallest angular tolerance, or not;
    "not known" is where the case cannot tell.
    """

    name: str
    model: str
    number: str
    inside: Standing


class _Sizes(NamedTuple):
    """A case by the numbers that the limits ask for."""

    case: Case
    radius_m: float
    lowest_m: float
    altitude_m: float | None
    revolutions: float
    span_s: float
    allowed_deg: float


def model_limits(
    result: Result, ring: RingMotion, flight: Flight | None, plan: Plan | None
) -> list[Limit]:
    """All limits; those of a flight only where there is one."""
    sizes = _sizes(result, ring, flight)
    found = [
        *_zonals(sizes),
        _tesserals(sizes),
        *_others(result, sizes),
        _sunlight(sizes),
        _relativity(sizes),
        _sphere(sizes),
        _shadow(sizes),
        _ephemerides(sizes),
        _orbit(sizes),
    ]
    air = _atmosphere(sizes)
    return [*([air] if air else []), *found, *_burns(sizes, flight, plan)]


def _sizes(result: Result, ring: RingMotion, flight: Flight | None) -> _Sizes:
    case = result.case
    start = float(np.linalg.norm(case.craft.position_m))
    altitude = None if flight is None else flight.lowest_altitude_m
    lowest = min(start, ring.radius_m) if altitude is None else altitude + case.body.radius_m
    span = flight.arcs[-1].end_s if flight is not None and flight.arcs else 0.0
    if result.hold is not None:
        span = result.hold.start_s + result.hold.duration_s
    tolerances = listed_tolerances(case.tolerance)
    angles = [tolerances[key] for key in ("phase_deg", "plane_deg") if key in tolerances]
    return _Sizes(
        case,
        ring.radius_m,
        max(lowest, 0.5 * case.body.radius_m),
        altitude,
        max(span / ring.period_s, 1.0),
        span,
        min(angles, default=math.nan),
    )


def _drift_deg(sizes: _Sizes, part: float) -> float:
    """Roughly how far a pull of this share of the body's can turn an orbit over the span."""
    return math.degrees(2.0 * math.pi * sizes.revolutions * part)


def _judged(sizes: _Sizes, part: float) -> tuple[str, Standing]:
    """Words on a share of the body's pull, and whether it may be left out."""
    drift = _drift_deg(sizes, part)
    text = f"{significant(part)} of the body's pull; over the span up to some {drift:.1g} deg"
    if math.isnan(sizes.allowed_deg):
        return f"{text}; no angle is judged", "not known"
    inside = _small(sizes, drift)
    return f"{text}, against a tolerance of {significant(sizes.allowed_deg, 'deg')}", inside


def _small(sizes: _Sizes, drift_deg: float) -> Standing:
    if math.isnan(sizes.allowed_deg):
        return "not known"
    return "small" if drift_deg <= _SMALL * sizes.allowed_deg else "look"


def _told(inside: bool) -> Standing:
    return "inside" if inside else "outside"


def _zonals(sizes: _Sizes) -> list[Limit]:
    """Each zonal term: flown, zero, or left out with its size at the lowest point."""
    case, found = sizes.case, []
    for degree, name in ((2, "j2"), (3, "j3"), (4, "j4")):
        value = float(getattr(case.body, name))
        ratio = (case.body.radius_m / sizes.lowest_m) ** degree
        part = (degree + 1) * abs(value) * ratio
        if name in case.forces:
            text = f"{name.upper()} = {value:.4e}; {significant(part)} of the body's pull"
            found.append(Limit(f"{name.upper()} of the body", "flown", text, "inside"))
        elif value:
            text, inside = _judged(sizes, part)
            found.append(Limit(f"{name.upper()} of the body", "left out", text, inside))
        else:
            text = f"no value of {name.upper()} is known here"
            found.append(Limit(f"{name.upper()} of the body", "left out", text, "not known"))
    return found


def _tesserals(sizes: _Sizes) -> Limit:
    case = sizes.case
    model = "left out: zonal terms only, and none beyond J4"
    if case.body.name not in _LOCKED or not case.body.j2:
        text = "no number here; they matter most where revolutions and the body's spin fit together"
        return Limit(
            "terms that turn with the body", model, f"{text} ({_resonance(sizes)})", "not known"
        )
    ratio = (case.body.radius_m / sizes.lowest_m) ** 2
    text, inside = _judged(sizes, 9.0 * _C22_OF_J2 * case.body.j2 * ratio)
    return Limit("terms that turn with the body", model, f"C22 near 0.3 J2: {text}", inside)


def _resonance(sizes: _Sizes) -> str:
    spin = sizes.case.body.rotation_period_s
    period = 2.0 * math.pi * math.sqrt(sizes.radius_m**3 / sizes.case.body.gm_m3_s2)
    if not spin:
        return "the spin is not known"
    return f"{abs(spin) / period:.4f} revolutions of the ring a turn of {sizes.case.body.name}"


def _others(result: Result, sizes: _Sizes) -> list[Limit]:
    case = result.case
    if "third-bodies" in case.forces and case.sky is not None:
        names = ", ".join(track.name for track in case.sky.pulling) or "none"
        text = f"flown: {names}"
        model = "points, on the motion named under the constants; no other body"
        return [Limit("other bodies", model, text, "inside")]
    if not result.seen:
        text = "not known about this body without an epoch"
        return [Limit("other bodies", "left out", text, "not known")]
    return [_pull(sizes, one) for one in result.seen]


def _pull(sizes: _Sizes, one: Seen) -> Limit:
    distance = float(np.linalg.norm(one.position_m))
    tide = 2.0 * one.gm_m3_s2 / distance**3 * sizes.radius_m
    part = tide * sizes.radius_m**2 / sizes.case.body.gm_m3_s2
    text, inside = _judged(sizes, part)
    return Limit(f"tide of {one.name}", "left out", text, inside)


def _sunlight(sizes: _Sizes) -> Limit:
    case, sky = sizes.case, sizes.case.sky
    if "sunlight-pressure" in case.forces and sky is not None and sky.sunlight is not None:
        model = "a sphere; the whole disc of the Sun or none of it, by a cylinder of shadow"
        text = f"area to mass {significant(sky.sunlight.area_to_mass_m2_kg, 'm2/kg')}"
        return Limit("sunlight on the craft", model, text, "inside")
    push = SUN_PRESSURE_N_M2 * _ASSUMED_M2_KG
    part = push * sizes.radius_m**2 / case.body.gm_m3_s2
    drift = _drift_deg(sizes, part)
    text = (
        f"a craft of {_ASSUMED_M2_KG} m2/kg, black, at {AU_M / 1e9:.0f} million km from the Sun:"
        f" {significant(push, 'm/s2')}, over the span up to some {drift:.1g} deg"
    )
    return Limit("sunlight on the craft", "left out", text, _small(sizes, drift))


def _atmosphere(sizes: _Sizes) -> Limit | None:
    """Only where the body is known to have one, or might."""
    case = sizes.case
    level = _AIR_KM.get(case.body.name)
    if level is None:
        return None
    if sizes.altitude_m is None:
        return Limit("atmosphere", "left out", "the lowest altitude is not known", "not known")
    text = f"lowest altitude {kilometres(sizes.altitude_m)}; drag is felt below some {level:.0f} km"
    return Limit("atmosphere", "left out", text, _told(sizes.altitude_m >= level * 1e3))


def _relativity(sizes: _Sizes) -> Limit:
    part = 3.0 * sizes.case.body.gm_m3_s2 / (sizes.lowest_m * _LIGHT_M_S**2)
    text, inside = _judged(sizes, part)
    return Limit("general relativity", "left out", text, inside)


def _sphere(sizes: _Sizes) -> Limit:
    """Altitudes count from a sphere: the bulge by J2 and the spin, to first order."""
    case = sizes.case
    body = case.body
    spin = body.rotation_period_s
    centrifugal = (2 * math.pi / spin) ** 2 * body.radius_m**3 / body.gm_m3_s2 if spin else 0.0
    bulge = (1.5 * body.j2 + 0.5 * centrifugal) * body.radius_m
    model = "a sphere: altitudes, sight lines, coverage and shadows know no flattening or terrain"
    text = f"flattening of some {kilometres(bulge)} if it were fluid"
    if sizes.altitude_m is None:
        return Limit("shape of the body", model, text, "not known")
    margin = sizes.altitude_m - case.limits.min_altitude_m
    return Limit(
        "shape of the body",
        model,
        f"{text}; margin of the lowest altitude {kilometres(margin)}",
        _told(margin > bulge),
    )


def _shadow(sizes: _Sizes) -> Limit:
    model = "of sunlight's push a cylinder; eclipses of relays with penumbra, of a sphere"
    lights = "sunlight-pressure" in sizes.case.forces
    text = "used" if lights else "not used by the flight; by the tables of eclipses only"
    return Limit("shadow of the body", model, text, "inside")


def _ephemerides(sizes: _Sizes) -> Limit:
    case = sizes.case
    model = f"built-in ones reach from {_FIRST_YEAR} to {_LAST_YEAR}; nothing is downloaded"
    if case.epoch is None:
        used = case.sky is not None and bool(case.sky.tracks)
        text = "the case has no epoch; its own bodies are on Kepler orbits" if used else "not used"
        return Limit("ephemerides", model, text, "inside")
    try:
        start = datetime.datetime.fromisoformat(case.epoch).replace(tzinfo=None)
        end = start + datetime.timedelta(seconds=sizes.span_s)
    except (ValueError, OverflowError):
        return Limit("ephemerides", model, "the epoch is outside the calendar", "outside")
    inside = start.year >= _FIRST_YEAR and end.year < _LAST_YEAR
    return Limit("ephemerides", model, f"from {start:%Y-%m-%d} to {end:%Y-%m-%d}", _told(inside))


def _orbit(sizes: _Sizes) -> Limit:
    craft, gm = sizes.case.craft, sizes.case.body.gm_m3_s2
    e = float(classical_from_state(craft.position_m, craft.velocity_m_s, gm).e)
    text = f"first orbit: eccentricity {fixed(e, 4)}"
    return Limit("orbit", "closed orbits; the ring near-circular", text, _told(e < 1.0))


def _burns(sizes: _Sizes, flight: Flight | None, plan: Plan | None) -> list[Limit]:
    found = []
    if plan is not None and plan.burns:
        loss = plan.commanded_dv_m_s - plan.total_dv_m_s
        part = abs(loss) / plan.total_dv_m_s if plan.total_dv_m_s > 0.0 else 0.0
        text = f"re-aiming changes {speed(loss, sign=True)}, {100.0 * part:.2f} % of the impulses"
        model = (
            "impulses in two-body motion, re-aimed in the case's forces with finite burns;"
            " floor and alternatives are two-body numbers"
        )
        found.append(Limit("plans", model, text, "inside" if part <= 0.05 else "look"))
    burns = [] if flight is None else [arc for arc in flight.arcs if arc.kind == "burn"]
    if burns:
        longest = max(arc.end_s - arc.start_s for arc in burns)
        gm = sizes.case.body.gm_m3_s2
        slowest = min(float(np.linalg.norm(arc.start.position_m)) for arc in burns)
        turn = 2.0 * math.pi * math.sqrt(slowest**3 / gm)
        text = f"longest {fixed(longest, 1, 's')}, {100.0 * longest / turn:.2f} % of a revolution"
        model = "full constant thrust, no build-up or tail-off; attitude and sloshing left out"
        found.append(Limit("engines", model, text, "not known"))
    return found
