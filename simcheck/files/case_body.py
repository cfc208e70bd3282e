"""The [body] table: a built-in body, its constants replaced where the file gives its own."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import cast

from simcheck.bodies import built_in, rescaled
from simcheck.errors import InputError
from simcheck.files.case_tables import Table
from simcheck.records.case import Body, Force

FORCES = ("j2", "j3", "j4", "third-bodies", "sunlight-pressure")
_CASE_FILE = "case file"
_NUMBERS = ("gm", "radius", "j2", "j3", "j4", "rotation_period", "prime_meridian")


def read_body(top: Table) -> tuple[Body | None, tuple[Force, ...]]:
    """The body, None where a fault leaves it unknown, and the forces asked for."""
    table = top.table("body", 'write [body] with name = "Mars" and forces = ["j2"]')
    if table is None:
        return None, ()
    name = table.text("name", "Mars", required=False)
    given = _given_numbers(table)
    body = _base(table, name, given)
    if body is not None:
        body = _with_numbers(body, given)
        _check_meridian(table, body)
    forces = cast("list[Force]", table.words("forces", FORCES))
    if body is not None:
        for force in forces:
            _check_force(table, force, body)
    table.close()
    return body, tuple(forces)


def _given_numbers(table: Table) -> dict[str, float]:
    """The constants that the file gives, SI; NaN for a faulty one."""
    numbers = {
        "gm": table.quantity("gm", "gm", "42828.37 km3/s2", default=0.0, above=0.0),
        "radius": table.quantity("radius", "length", "3396.19 km", default=0.0, above=0.0),
        "j2": table.number("j2", "0.00196", default=0.0, above=-1.0, below=1.0),
        "j3": table.number("j3", "3.1e-5", default=0.0, above=-1.0, below=1.0),
        "j4": table.number("j4", "-1.5e-5", default=0.0, above=-1.0, below=1.0),
        "rotation_period": table.quantity("rotation_period", "time", "24.623 h", default=0.0),
        "prime_meridian": table.quantity("prime_meridian", "angle", "30 deg", default=0.0),
    }
    if table.has("rotation_period") and numbers["rotation_period"] == 0.0:
        table.fault("rotation_period", "expected a time other than 0; leave it out if unknown")
    return {key: value for key, value in numbers.items() if table.has(key)}


def _base(table: Table, name: str | None, given: dict[str, float]) -> Body | None:
    """The body to start from: built in, or of the file's own gm and radius."""
    own = {"gm", "radius"} <= given.keys()
    if name is not None:
        try:
            return built_in(name)
        except InputError as error:
            if not own:
                stop = "" if str(error).endswith("?") else "."
                table.fault("name", f"{error}{stop} A body of your own needs gm and radius")
    elif not own and not table.has("name"):
        table.fault(
            None,
            'expected the name of a built-in body, or gm and radius; write name = "Mars", or '
            'gm = "42828.37 km3/s2" and radius = "3396.19 km"',
        )
    if not own or any(math.isnan(given[key]) for key in ("gm", "radius")):
        return None
    return Body(name=name or "the central body", gm_m3_s2=given["gm"], radius_m=given["radius"])


def _with_numbers(body: Body, given: dict[str, float]) -> Body:
    """The body with the file's constants; a new radius leaves the gravity field as it was."""
    given = {key: value for key, value in given.items() if not math.isnan(value)}
    radius = given.get("radius", body.radius_m)
    j2, j3, j4 = rescaled((body.j2, body.j3, body.j4), body.radius_m, radius)
    sources = dict(body.sources)
    if radius != body.radius_m:
        for key in ("j2", "j3", "j4"):
            if key in sources:
                sources[key] += "; converted to the radius of the case file"
    return replace(
        body,
        gm_m3_s2=given.get("gm", body.gm_m3_s2),
        radius_m=radius,
        j2=given.get("j2", j2),
        j3=given.get("j3", j3),
        j4=given.get("j4", j4),
        rotation_period_s=given.get("rotation_period", body.rotation_period_s),
        prime_meridian_rad=given.get("prime_meridian", body.prime_meridian_rad),
        sources=sources | {key: _CASE_FILE for key in _NUMBERS if key in given},
    )


def _check_meridian(table: Table, body: Body) -> None:
    """A prime meridian needs a spin to be somewhere later."""
    if table.has("prime_meridian") and body.rotation_period_s is None:
        table.fault(
            "prime_meridian",
            f"has no effect: how fast {body.name} turns is unknown; write "
            'rotation_period = "24.623 h" beside it',
        )


def _check_force(table: Table, force: Force, body: Body) -> None:
    """A zonal force needs a coefficient."""
    coefficients = {"j2": body.j2, "j3": body.j3, "j4": body.j4}
    if coefficients.get(force) == 0.0 and not table.faults.at((*table.path, force)):
        table.fault(
            "forces",
            f'"{force}" has no effect: the {force.upper()} of {body.name} is zero or unknown; '
            f'give {force} in [body] or leave "{force}" out of forces',
        )
