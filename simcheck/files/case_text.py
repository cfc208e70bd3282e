"""A Case to the text of a case file: the way back from `case_toml`.

Every number is written in the unit that makes it shortest, with no more digits than give back
the same float. The craft's state is written as an orbit where round elements give exactly that
state, else as vectors. Keys at their defaults are left out. What a file cannot say is not said:
sources of constants, the case's own path, limits that are used up (0 m/s, no time), and a built-in
body that does not turn.
"""

from __future__ import annotations

import json
import math

import numpy as np

from simcheck.arrays import Array
from simcheck.bodies import built_in
from simcheck.errors import InputError
from simcheck.files.case_network import network_tables
from simcheck.files.case_sky import sky_tables
from simcheck.files.settings_text import (
    LENGTHS,
    TIMES,
    Keys,
    angle_of,
    dispersion_keys,
    engine_keys,
    errors_keys,
    hold_keys,
    in_unit,
    limits_keys,
    number_of,
    operations_keys,
    quantity,
    quoted,
    text_of,
    tolerance_keys,
)
from simcheck.files.units import parse
from simcheck.kernels.elements import classical_from_state, state_from_classical
from simcheck.records.case import (
    Body,
    Case,
    Member,
    Ring,
)

_ORBIT_DIGITS = (0, 3, 6)  # decimals of km and deg at which elements are tried
_CONSTANTS = {
    "gm": ("gm_m3_s2", "gm", ("km3/s2", "m3/s2")),
    "radius": ("radius_m", "length", LENGTHS),
    "j2": ("j2", "", ()),
    "j3": ("j3", "", ()),
    "j4": ("j4", "", ()),
    "rotation_period": ("rotation_period_s", "time", TIMES),
    "prime_meridian": ("prime_meridian_rad", "angle", ("deg", "rad")),
}


def as_toml(case: Case) -> str:
    """The text of a case file that `load_case` reads as this case, number for number."""
    tables = [
        ("[case]", _head(case)),
        ("[body]", _body(case)),
        ("[ring]", _ring(case.ring, case.body)),
        *[("[[ring.member]]", _member(member, case.body)) for member in case.members],
        ("[craft]", _craft(case)),
        *_motion("craft", case.craft.position_m, case.craft.velocity_m_s, case.body),
        ("[engine]", engine_keys(case.engine)),
        ("[thrusters]", engine_keys(case.thrusters) if case.thrusters is not None else iter(())),
        ("[errors]", errors_keys(case.errors)),
        ("[operations]", operations_keys(case.operations)),
        ("[dispersion]", dispersion_keys(case.dispersion)),
        ("[tolerance]", tolerance_keys(case.tolerance)),
        ("[limits]", limits_keys(case.limits)),
        ("[hold]", hold_keys(case.hold)),
        *network_tables(case.network),
        *sky_tables(case.sky),
    ]
    blocks = []
    for name, keys in tables:
        lines = [f"{key} = {value}" for key, value in keys]
        if lines:
            blocks.append("\n".join([name, *lines]) + "\n")
    return "\n".join(blocks)


def _head(case: Case) -> Keys:
    yield "title", text_of(case.title)
    if case.epoch is not None:
        yield "epoch", text_of(case.epoch)


def _body(case: Case) -> Keys:
    """A built-in body by its name, with what the case has otherwise; any other in full."""
    body = case.body
    yield "name", text_of(body.name)
    try:
        usual: Body | None = built_in(body.name)
    except InputError:
        usual = None
    moved = usual is None or usual.radius_m != body.radius_m
    for key, (field, kind, units) in _CONSTANTS.items():
        value, known = getattr(body, field), getattr(usual, field, None)
        zonal = key in {"j2", "j3", "j4"}
        # A radius of the file's own has the built-in zonals converted to it.
        if value is None or (value == known and not (zonal and moved)):
            continue
        if zonal and value == 0.0 and not known:
            continue
        if key == "prime_meridian" and usual and body.sources.get(key) != "case file":
            continue  # it comes from the epoch
        yield key, quoted(value, kind, units) if kind else repr(float(value))
    yield "forces", json.dumps(list(case.forces))


def _ring(ring: Ring, body: Body) -> Keys:
    if ring.size == "period":
        yield "period", quoted(ring.size_value, "time", ("h", "min", "s"))
    else:
        yield _height("altitude", "radius", ring.size_value, body)
    yield "inclination", angle_of(ring.inclination_rad)
    yield "raan", angle_of(ring.raan_rad)
    yield "slots", str(ring.slots)
    yield "argument_of_latitude", angle_of(ring.argument_of_latitude_rad)


def _height(altitude: str, radius: str, value: float, body: Body) -> tuple[str, str]:
    """A distance from the centre as an altitude or a radius, whichever is shorter."""
    above = in_unit(value, "length", "km", body.radius_m)
    whole = quantity(value, "length", LENGTHS)
    if above and len(above) <= len(whole):
        return altitude, f'"{above}"'
    return radius, f'"{whole}"'


def _member(member: Member, body: Body) -> Keys:
    yield "name", text_of(member.name)
    if member.slot is not None:
        yield "slot", str(member.slot)
    if member.position_m is not None and member.velocity_m_s is not None:
        for name, keys in _motion("", member.position_m, member.velocity_m_s, body):
            inner = ", ".join(f"{key} = {value}" for key, value in keys)
            yield name.strip("[.]"), f"{{ {inner} }}"


def _craft(case: Case) -> Keys:
    craft = case.craft
    yield "name", text_of(craft.name)
    yield "slot", str(craft.slot)
    yield "dry_mass", quoted(craft.dry_mass_kg, "mass", ("kg",))
    yield "propellant", quoted(craft.propellant_kg, "mass", ("kg",))


def _motion(parent: str, position: Array, velocity: Array, body: Body) -> list[tuple[str, Keys]]:
    """A state as the table of an orbit where round elements are exactly it, else of vectors."""
    for decimals in _ORBIT_DIGITS:
        keys = _orbit(position, velocity, body, decimals)
        if keys:
            return [(f"[{parent}.orbit]", iter(keys.items()))]
    vectors = {
        "position": [quantity(float(x), "length", LENGTHS) for x in position],
        "velocity": [quantity(float(x), "speed", ("km/s", "m/s")) for x in velocity],
    }
    return [(f"[{parent}.state]", ((key, json.dumps(three)) for key, three in vectors.items()))]


def _orbit(position: Array, velocity: Array, body: Body, decimals: int) -> dict[str, str]:
    """Keys of an orbit rounded to some decimals, empty where it is not exactly the state.

    Written as `case_motion` reads it.
    """
    found = classical_from_state(position, velocity, body.gm_m3_s2)
    if not found.e < 1.0:
        return {}
    radii = [float(found.p / (1 + found.e)), float(found.p / (1 - found.e))]
    heights = [f"{(r - body.radius_m) / 1e3:.{decimals}f} km" for r in radii]
    low, high = (parse(height, "length") + body.radius_m for height in heights)
    if not 0.0 < low <= high:
        return {}
    names = ("inclination", "raan", "argp", "true_anomaly")
    # Rounded before the modulus: a hair below 360 deg is 0.
    turned = [round(math.degrees(float(x)), decimals) % 360 for x in found[2:]]
    angles = [f"{angle:.{decimals}f} deg" for angle in turned]
    e = (high - low) / (high + low)
    i, raan, argp, nu = (parse(angle, "angle") for angle in angles)
    r, v = state_from_classical(low * (1.0 + e), e, i, raan, argp, nu, body.gm_m3_s2)
    if not (np.array_equal(r, position) and np.array_equal(v, velocity)):
        return {}
    keys = ("periapsis_altitude", "apoapsis_altitude", *names)
    return {key: f'"{_trimmed(text)}"' for key, text in zip(keys, (*heights, *angles), strict=True)}


def _trimmed(text: str) -> str:
    number, _, unit = text.partition(" ")
    return f"{number_of(float(number))} {unit}"
