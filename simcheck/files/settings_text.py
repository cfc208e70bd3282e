"""Numbers with their units as text, and the tables of a case file that stand alone as such text.

The way back from `units` and `case_settings`. Keys at their defaults are left out.
"""

from __future__ import annotations

import json
import math
from collections.abc import Iterator

from simcheck.files.units import parse
from simcheck.records.case import DispersionAim, Engine, Errors, Limits, Operations, Tolerance
from simcheck.records.hold import HoldAim

TIMES = ("h", "d", "min", "s")
LENGTHS = ("km", "m")
_SPEEDS = ("m/s", "mm/s")
_ERRORS = {
    "thrust_bias": ("thrust_bias", "share", ("%",)),
    "isp_bias": ("isp_bias", "share", ("%",)),
    "magnitude_proportional": ("magnitude_proportional", "share", ("%",)),
    "magnitude_fixed": ("magnitude_fixed_m_s", "speed", _SPEEDS),
    "pointing_proportional": ("pointing_proportional_rad", "angle", ("deg", "rad")),
    "pointing_fixed": ("pointing_fixed_m_s", "speed", _SPEEDS),
    "ignition_time": ("ignition_time_s", "time", ("s",)),
    "initial_position": ("initial_position_m", "length", ("m", "km")),
    "initial_velocity": ("initial_velocity_m_s", "speed", _SPEEDS),
    "navigation_position": ("navigation_position_m", "length", ("m", "km")),
    "navigation_velocity": ("navigation_velocity_m_s", "speed", _SPEEDS),
    "missed_burn": ("missed_burn", "share", ("%",)),
    "accelerometer_scale": ("accelerometer_scale", "share", ("%",)),
}

Keys = Iterator[tuple[str, str]]


def quantity(value: float, kind: str, units: tuple[str, ...], base: float = 0.0) -> str:
    """The shortest text that `units.parse` reads as this SI value, with one of the units.

    base, where given, is added by the reader, as the radius to an altitude. Where no unit gives the
    value back it is written in SI; a share, which has no SI unit, to its last bit but one.
    """
    found = [in_unit(value, kind, unit, base) for unit in units]
    default = f"{float(100 * value)!r} %" if kind == "share" else f"{float(value)!r} {_SI[kind]}"
    return min(filter(None, found), key=len, default=default)


_SI = {
    "time": "s",
    "length": "m",
    "angle": "rad",
    "speed": "m/s",
    "force": "N",
    "mass": "kg",
    "gm": "m3/s2",
    "area to mass": "m2/kg",
    "irradiance": "W/m2",
    "frequency": "Hz",
    "power": "W",
    "decibels": "dB",
}


def in_unit(value: float, kind: str, unit: str, base: float) -> str:
    """The value in a unit, empty where no number of up to 17 digits gives it back."""
    size = (value - base) / parse(f"1 {unit}", kind)
    for digits in range(1, 18):
        text = f"{number_of(float(f'{size:.{digits}g}'))} {unit}"
        if parse(text, kind) + base == value:
            return text
    return ""


def number_of(value: float) -> str:
    """A number as short as can be."""
    return repr(value).removesuffix(".0")


def text_of(value: str) -> str:
    """Text in quotes, escaped as TOML wants it."""
    return json.dumps(value, ensure_ascii=False)


def quoted(value: float, kind: str, units: tuple[str, ...]) -> str:
    """A quantity in quotes."""
    return f'"{quantity(value, kind, units)}"'


def angle_of(value: float) -> str:
    """An angle in quotes, in degrees where that is exact."""
    return quoted(value, "angle", ("deg", "rad"))


def engine_keys(engine: Engine) -> Keys:
    """[engine] or [thrusters]."""
    yield "thrust", quoted(engine.thrust_n, "force", ("N", "mN", "kN"))
    yield "isp", quoted(engine.isp_s, "time", ("s",))
    if engine.min_burn_s:
        yield "min_burn", quoted(engine.min_burn_s, "time", ("s",))
    if math.isfinite(engine.max_burn_s):
        yield "max_burn", quoted(engine.max_burn_s, "time", ("min", "s"))
    if engine.cutoff != "duration":
        yield "cutoff", text_of(engine.cutoff)


def errors_keys(errors: Errors) -> Keys:
    """[errors], those that are not 0."""
    for key, (field, kind, units) in _ERRORS.items():
        value = getattr(errors, field)
        if value:
            yield key, quoted(value, kind, units)


def operations_keys(operations: Operations) -> Keys:
    """[operations]."""
    usual = Operations()
    if operations.replan != usual.replan:
        yield "replan", text_of(operations.replan)
    if operations.max_trims != usual.max_trims:
        yield "max_trims", str(operations.max_trims)
    if operations.settle_s is not None:
        yield "settle", quoted(operations.settle_s, "time", TIMES)
    elif operations.settle_revolutions != usual.settle_revolutions:
        yield "settle", f'"{number_of(operations.settle_revolutions or 0.0)} rev"'


def dispersion_keys(aim: DispersionAim) -> Keys:
    """[dispersion]."""
    usual = DispersionAim()
    if aim.samples != usual.samples:
        yield "samples", str(aim.samples)
    if aim.success != usual.success:
        yield "success", quoted(aim.success, "share", ("%",))
    if aim.confidence != usual.confidence:
        yield "confidence", quoted(aim.confidence, "share", ("%",))
    if aim.margin_share:
        yield "margin", quoted(aim.margin_share, "share", ("%",))
    elif aim.margin_m_s:
        yield "margin", quoted(aim.margin_m_s, "speed", _SPEEDS)


def tolerance_keys(tolerance: Tolerance) -> Keys:
    """[tolerance]."""
    if tolerance.phase_rad is not None:
        yield "phase", angle_of(tolerance.phase_rad)
    if tolerance.period_s is not None:
        yield "period", quoted(tolerance.period_s, "time", ("s",))
    if tolerance.eccentricity is not None:
        yield "eccentricity", repr(float(tolerance.eccentricity))
    if tolerance.plane_rad is not None:
        yield "plane", angle_of(tolerance.plane_rad)


def hold_keys(hold: HoldAim) -> Keys:
    """[hold]."""
    if hold.duration_s != HoldAim().duration_s:
        yield "duration", quoted(hold.duration_s, "time", ("yr", *TIMES))


def limits_keys(limits: Limits) -> Keys:
    """[limits]."""
    if math.isfinite(limits.duration_s):
        yield "duration", quoted(limits.duration_s, "time", ("d", "h", "s"))
    if math.isfinite(limits.dv_m_s):
        yield "dv", quoted(limits.dv_m_s, "speed", _SPEEDS)
    if limits.min_altitude_m:
        yield "min_altitude", quoted(limits.min_altitude_m, "length", LENGTHS)
    if math.isfinite(limits.max_radius_m):
        yield "max_radius", quoted(limits.max_radius_m, "length", LENGTHS)
    if limits.separation_m:
        yield "separation", quoted(limits.separation_m, "length", LENGTHS)
