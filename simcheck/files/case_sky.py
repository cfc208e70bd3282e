"""The [[third_body]] and [sunlight] tables, and the sky of a case that they and its forces make.

A built-in body with an epoch sees the other bodies by itself; [[third_body]] tables replace them
all, on Kepler orbits about the central body. One with an irradiance is the light source.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from simcheck.files.case_motion import HALF_TURN
from simcheck.files.case_tables import Table
from simcheck.files.ephemeris import (
    built_in_perturbers,
    default_period,
    longest_span,
    oriented,
    out_of_range,
    own_sky,
    sky_of,
    within_range,
)
from simcheck.files.epochs import DAY_S, read_date
from simcheck.files.orientation import is_built_in
from simcheck.files.perturbers import is_known_from
from simcheck.files.settings_text import (
    LENGTHS,
    TIMES,
    Keys,
    angle_of,
    number_of,
    quoted,
    text_of,
)
from simcheck.records.case import Body, Force, Limits
from simcheck.records.sky import Sky, Sunlight, ThirdBody

_MOST = 3
_LIGHT_M_S = 299792458.0
_MARGIN_S = 365.25 * DAY_S
_AFTER_S = 30.0 * DAY_S  # at least, to measure in what a flight ended
_SILENT_S = 3.0 * _MARGIN_S
_SHORTEST = 4000.0  # revolutions in the span; more would be tens of megabytes of segments
_EPOCH = '"2031-04-12T06:00:00"'
_EXAMPLE = (
    '[[third_body]] with name = "Sun", gm = "1.32712e11 km3/s2" and semi_major_axis = "2.28e8 km"'
)


@dataclass(frozen=True, kw_only=True)
class SkyRead:
    """The two tables as read; sunlight_asked holds area to mass (m2/kg) and reflectivity."""

    bodies: tuple[ThirdBody, ...] = ()
    sunlight_asked: tuple[float, float] | None = None


def span_of(limits: Limits) -> float:
    """How long a case's sky is sampled, s: a year beyond its limit, three years without one."""
    return limits.duration_s + _MARGIN_S if math.isfinite(limits.duration_s) else _SILENT_S


def read_sky(top: Table, body: Body | None, forces: tuple[Force, ...], limits: Limits) -> SkyRead:
    """Both tables; a fault where one of them, or a force, would be without effect."""
    tables = top.tables("third_body")
    read = [_read_third(table, body, limits) for table in tables]
    lights = [table for table in tables if table.has("irradiance")]
    _check_names(tables, body)
    if len(tables) > _MOST:
        tables[_MOST].fault(None, f"expected at most {_MOST} third bodies; leave the others out")
    for table in lights[1:]:
        table.fault("irradiance", "expected one light source; give one irradiance only")
    for table in tables:
        if "third-bodies" not in forces and table not in lights:
            table.fault(
                None,
                'has no effect: "third-bodies" is not among forces and it gives no light; write '
                'forces = ["third-bodies"] in [body] or leave the table out',
            )
    sunlight = _read_sunlight(top, forces)
    if tables and not lights and "sunlight-pressure" in forces:
        _fault_forces(
            top,
            '"sunlight-pressure" needs a light source; write irradiance = "1361 W/m2" in one '
            "[[third_body]]",
        )
    bodies = tuple(one for one in read if one is not None)
    return SkyRead(bodies=bodies, sunlight_asked=sunlight)


def check_sky(
    top: Table, body: Body | None, forces: tuple[Force, ...], limits: Limits, epoch: str | None
) -> None:
    """A fault where a force needs to know where the built-in other bodies are, and cannot.

    epoch: the case's, or that of the message that the craft starts from.
    """
    asking = [force for force in ("third-bodies", "sunlight-pressure") if force in forces]
    if not asking or body is None or top.raw("third_body"):
        return
    asked = f'"{asking[0]}"'
    if not is_built_in(body.name):
        _fault_forces(
            top,
            f"{asked} needs other bodies, which a body of your own has none of; write "
            f"{_EXAMPLE}" + (' and irradiance = "1361 W/m2"' if asking[0][0] == "s" else ""),
        )
    elif not is_known_from(body.name):
        _fault_forces(
            top,
            f"{asked} about {body.name}: its own orbit is not built in; write {_EXAMPLE}, the "
            "orbit as seen from it",
        )
    elif epoch is None and not _epoch_at_fault(top):
        message = f"epoch is missing: {asked} takes the places of the other bodies from it; write "
        top.faults.add(("case",), f"{message}epoch = {_EPOCH}")
    elif epoch is not None:
        limit = limits.duration_s if math.isfinite(limits.duration_s) else 0.0
        if not within_range(read_date(epoch), limit + _AFTER_S):
            message = f"{out_of_range(body.name)}, got {epoch}"
            top.faults.add(("case", "epoch"), f"{message}; write epoch = {_EPOCH} or {_EXAMPLE}")


def in_sky(
    body: Body, forces: tuple[Force, ...], limits: Limits, epoch: str | None, read: SkyRead
) -> tuple[Body, Sky | None]:
    """The body with its axes, and the sky of a case without faults; None where it needs none."""
    instant = None if epoch is None else read_date(epoch)
    pulling, shining = "third-bodies" in forces, "sunlight-pressure" in forces
    body, span, sunlight = oriented(body, instant), span_of(limits), _sunlight(read)
    if read.bodies:
        return body, own_sky(read.bodies, span, pulling=pulling, sunlight=sunlight)
    if instant is None or not (pulling or shining):
        return body, None
    bodies, span = built_in_perturbers(body, instant), longest_span(instant, span)
    return body, sky_of(bodies, span, pulling=pulling, sunlight=sunlight)


def _read_third(table: Table, body: Body | None, limits: Limits) -> ThirdBody | None:
    """One [[third_body]]; None where a fault leaves none."""
    name = table.text("name", "Sun")
    gm = table.quantity("gm", "gm", "1.32712e11 km3/s2", above=0.0)
    a = table.quantity("semi_major_axis", "length", "2.28e8 km", above=0.0)
    e = table.number("eccentricity", "0.09", default=0.0, at_least=0.0, below=0.9)
    i = table.quantity(
        "inclination", "angle", "25 deg", default=0.0, at_least=0.0, at_most=HALF_TURN
    )
    raan = table.quantity("raan", "angle", "40 deg", default=0.0)
    argp = table.quantity("argp", "angle", "75 deg", default=0.0)
    nu = table.quantity("true_anomaly", "angle", "200 deg", default=0.0)
    period = table.quantity("period", "time", "687 d", default=0.0, above=0.0)
    light = table.quantity("irradiance", "irradiance", "1361 W/m2", default=0.0, above=0.0)
    table.close()
    if name is None or body is None or not all(map(math.isfinite, (gm, a, e, i, raan, argp, nu))):
        return None
    if not table.has("period"):
        period = default_period(a, body.gm_m3_s2 + gm)
    _check_orbit(table, a * (1.0 - e), period, body, limits)
    return ThirdBody(
        name=name,
        gm_m3_s2=gm,
        semi_major_axis_m=a,
        eccentricity=e,
        inclination_rad=i,
        raan_rad=raan,
        argp_rad=argp,
        true_anomaly_rad=nu,
        period_s=period,
        irradiance_w_m2=light,
    )


def _check_orbit(table: Table, periapsis: float, period: float, body: Body, limits: Limits) -> None:
    """A third body stays outside the central one, and does not race round it."""
    if periapsis <= body.radius_m:
        table.fault(
            "semi_major_axis",
            f"expected an orbit outside {body.name}, whose radius is {body.radius_m / 1e3:g} km, "
            f"got a closest distance of {periapsis / 1e3:g} km",
        )
        return
    shortest = span_of(limits) / _SHORTEST
    if period < shortest:
        key = "period" if table.has("period") else "semi_major_axis"
        table.fault(
            key,
            f"expected a period of at least {shortest / 3600.0:.3g} h, got {period / 3600.0:.3g} h",
        )


def _check_names(tables: list[Table], body: Body | None) -> None:
    """Each third body has a name of its own."""
    taken = set() if body is None else {body.name.casefold()}
    for table in tables:
        name = table.raw("name")
        if isinstance(name, str):
            if name.casefold() in taken:
                table.fault("name", f"{name} is the name of another body; write another one")
            taken.add(name.casefold())


def _read_sunlight(top: Table, forces: tuple[Force, ...]) -> tuple[float, float] | None:
    """Area to mass and reflectivity; None where they are not given."""
    wanted = "sunlight-pressure" in forces
    example = 'area_to_mass = "0.02 m2/kg" and reflectivity = 1.3'
    table = top.table(
        "sunlight", f'write [sunlight] with {example} for "sunlight-pressure"' if wanted else ""
    )
    if table is None:
        return None
    if not wanted:
        table.fault(
            None,
            'has no effect: "sunlight-pressure" is not among forces; write forces = '
            '["sunlight-pressure"] in [body] or leave the table out',
        )
    area = table.quantity("area_to_mass", "area to mass", "0.02 m2/kg", above=0.0, at_most=100.0)
    reflectivity = table.number("reflectivity", "1.3", at_least=1.0, below=2.0 + 1e-12)
    table.close()
    return area, reflectivity


def _sunlight(read: SkyRead) -> Sunlight | None:
    """The push of sunlight; the pressure of the case's own light follows from its irradiance."""
    if read.sunlight_asked is None:
        return None
    area, reflectivity = read.sunlight_asked
    light = next((one for one in read.bodies if one.irradiance_w_m2 > 0.0), None)
    if light is None:
        return Sunlight(area_to_mass_m2_kg=area, reflectivity=reflectivity)
    return Sunlight(
        area_to_mass_m2_kg=area,
        reflectivity=reflectivity,
        pressure_n_m2=light.irradiance_w_m2 / _LIGHT_M_S,
        distance_m=light.semi_major_axis_m,
    )


def _fault_forces(top: Table, message: str) -> None:
    top.faults.add(("body", "forces"), message)


def _epoch_at_fault(top: Table) -> bool:
    """Whether the epoch is missing only because its key, or a message that has it, is faulty."""
    places = [("case", "epoch"), ("case",), *(("craft", form) for form in ("opm", "ocm", "tle"))]
    return any(top.faults.at(place) for place in places)


# ------------------------------------------------------------------------------- the way back


def sky_tables(sky: Sky | None) -> list[tuple[str, Keys]]:
    """The tables that `read_sky` reads as this sky; keys at their defaults are left out."""
    if sky is None:
        return []
    third = [("[[third_body]]", _third_keys(body)) for body in sky.own]
    light = sky.sunlight
    return third if light is None else [("[sunlight]", _sunlight_keys(light)), *third]


def _sunlight_keys(light: Sunlight) -> Keys:
    yield "area_to_mass", quoted(light.area_to_mass_m2_kg, "area to mass", ("m2/kg",))
    yield "reflectivity", number_of(light.reflectivity)


def _third_keys(body: ThirdBody) -> Keys:
    yield "name", text_of(body.name)
    yield "gm", quoted(body.gm_m3_s2, "gm", ("km3/s2", "m3/s2"))
    yield "semi_major_axis", quoted(body.semi_major_axis_m, "length", LENGTHS)
    yield "eccentricity", number_of(body.eccentricity)
    for key in ("inclination", "raan", "argp", "true_anomaly"):
        yield key, angle_of(getattr(body, f"{key}_rad"))
    yield "period", quoted(body.period_s, "time", TIMES)
    if body.irradiance_w_m2:
        yield "irradiance", quoted(body.irradiance_w_m2, "irradiance", ("W/m2",))
