"""Text with a unit to a float in SI units (radians for angles, shares of one for percentages).

`parse` is all that the readers of files use. The usual units are looked up here, because
importing astropy.units costs 0.13 to 0.16 s of a fresh process; every other one is parsed by
astropy, which a test also sets against the table.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass


@dataclass(frozen=True)
class Kind:
    """What a value measures: its name in a message, astropy's SI unit, a unit to say limits in."""

    article: str
    si: str
    usual: str


KINDS = {
    "time": Kind("a time", "s", "s"),
    "length": Kind("a length", "m", "km"),
    "angle": Kind("an angle", "rad", "deg"),
    "speed": Kind("a speed", "m/s", "m/s"),
    "force": Kind("a force", "N", "N"),
    "mass": Kind("a mass", "kg", "kg"),
    "share": Kind("a share", "", "%"),
    "gm": Kind("a gravitational parameter", "m3/s2", "km3/s2"),
    "frequency": Kind("a frequency", "Hz", "Hz"),
    "power": Kind("a power", "W", "W"),
    "decibels": Kind("a number of decibels", "dB", "dB"),
    "area to mass": Kind("an area to mass", "m2/kg", "m2/kg"),
    "irradiance": Kind("an irradiance", "W/m2", "W/m2"),
}

_USUAL: dict[str, tuple[str, float]] = {
    "s": ("time", 1.0),
    "min": ("time", 60.0),
    "h": ("time", 3600.0),
    "d": ("time", 86400.0),
    "day": ("time", 86400.0),
    "m": ("length", 1.0),
    "km": ("length", 1e3),
    "deg": ("angle", math.pi / 180.0),
    "rad": ("angle", 1.0),
    "m/s": ("speed", 1.0),
    "m / s": ("speed", 1.0),
    "km/s": ("speed", 1e3),
    "km / s": ("speed", 1e3),
    "mm/s": ("speed", 1e-3),
    "mm / s": ("speed", 1e-3),
    "N": ("force", 1.0),
    "mN": ("force", 1e-3),
    "kN": ("force", 1e3),
    "kg": ("mass", 1.0),
    "%": ("share", 1e-2),
    "m3/s2": ("gm", 1.0),
    "m3 / s2": ("gm", 1.0),
    "km3/s2": ("gm", 1e9),
    "km3 / s2": ("gm", 1e9),
    "Hz": ("frequency", 1.0),
    "MHz": ("frequency", 1e6),
    "GHz": ("frequency", 1e9),
    "W": ("power", 1.0),
    "dB": ("decibels", 1.0),
    "m2/kg": ("area to mass", 1.0),
    "m2 / kg": ("area to mass", 1.0),
    "W/m2": ("irradiance", 1.0),
    "W / m2": ("irradiance", 1.0),
}

_NUMBER = re.compile(r"\s*([+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:[eE][+-]?[0-9]+)?)\s*(.*?)\s*", re.S)
_NOT_FINITE = re.compile(r"\s*[+-]?(nan|inf|infinity)\b.*", re.I | re.S)
_LONGEST_UNIT = 40
_LARGEST = 1e24  # in SI; beyond the Sun's GM, and its fourth power is still a float


class UnitError(ValueError):
    """The text is no such quantity. `reason` completes "expected a time with its unit, got X"."""

    def __init__(self, reason: str = "", number: str = "") -> None:
        super().__init__(reason)
        self.reason = reason
        self.number = number


def parse(text: str, kind: str) -> float:
    """Value of `text`, such as "12 h", in the SI unit of `kind` (a key of KINDS).

    Raises UnitError with a reason fit to be printed, and with the bare number where it had one.
    """
    if _NOT_FINITE.fullmatch(text):
        raise UnitError("which is not a finite number")
    match = _NUMBER.fullmatch(text)
    if match is None:
        raise UnitError()
    number, unit = match.groups()
    if not unit:
        raise UnitError("which has no unit", number)
    if unit.startswith(","):
        raise UnitError("whose decimal comma should be a point")
    value = float(number) * _factor(unit, kind, number)
    if not abs(value) <= _LARGEST:
        raise UnitError("which is too large to compute with")
    if 0.0 < abs(value) < 1.0 / _LARGEST:
        raise UnitError("which is too small to compute with")
    return value


def split_revolutions(value: object) -> float | None:
    """Number of revolutions of text such as "1 rev", None where it is no such text."""
    match = _NUMBER.fullmatch(value) if isinstance(value, str) else None
    if match is None or match.group(2) not in {"rev", "revs", "revolution", "revolutions"}:
        return None
    revolutions = float(match.group(1))
    return revolutions if abs(revolutions) <= _LARGEST else None


def _factor(unit: str, kind: str, number: str) -> float:
    """Size of `unit` in the SI unit of `kind`."""
    if unit in _USUAL:
        measures, factor = _USUAL[unit]
        if measures != kind:
            raise UnitError(f"which is {KINDS[measures].article}")
        return factor
    return _astropy_factor(unit, kind, number)


def _astropy_factor(unit: str, kind: str, number: str) -> float:
    """Size of any unit that astropy knows. Raises UnitError for all others."""
    from astropy import units

    # astropy multiplies a number inside the unit: "5 3 km" would be 15 km.
    inner_number = re.search(r"(^|[\s*/(])[0-9.]", unit)
    try:
        if inner_number or len(unit) > _LONGEST_UNIT:
            raise ValueError
        parsed = units.Unit(unit, parse_strict="raise")
        if not isinstance(parsed, units.UnitBase):
            raise ValueError  # a level such as dB(mW), which a factor does not turn into SI
        parsed.decompose()
    except (ValueError, TypeError, ArithmeticError, AttributeError, LookupError):
        raise UnitError(f'whose unit "{unit[:_LONGEST_UNIT]}" is unknown', number) from None
    try:
        return float(parsed.to(units.Unit(KINDS[kind].si)))
    except (units.UnitConversionError, units.UnitTypeError, ValueError, ArithmeticError):
        raise UnitError(_measures(parsed.physical_type)) from None


def _measures(physical_type: object) -> str:
    """Say what a unit measures, where astropy has a name for it."""
    name = str(physical_type).split("/")[0]
    if name in {"unknown", "dimensionless"}:
        return "which measures something else"
    article = "an" if name[0] in "aeiou" else "a"
    return f"which is {article} {name}"
