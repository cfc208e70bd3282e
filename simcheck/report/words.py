"""Numbers, times and angles as people read them; every text is short whatever the value."""

from __future__ import annotations

import datetime
import math

_UNKNOWN = "not known"
_LARGEST_FIXED = 1e8  # beyond it a number is written with an exponent
_DAY_S = 86400


def fixed(value: float | None, decimals: int, unit: str = "", *, sign: bool = False) -> str:
    """A number with this many decimals, or with an exponent where that would be too long."""
    if value is None or math.isnan(value):
        return _UNKNOWN
    form = f".{decimals}f" if abs(value) < _LARGEST_FIXED else ".4g"
    return f"{value:{'+' if sign else ''}{form}}" + (f" {unit}" if unit else "")


def significant(value: float | None, unit: str = "", *, sign: bool = False) -> str:
    """A number with three significant digits."""
    if value is None or math.isnan(value):
        return _UNKNOWN
    return f"{value:{'+' if sign else ''}.3g}" + (f" {unit}" if unit else "")


def speed(value: float | None, *, sign: bool = False) -> str:
    """A speed in m/s."""
    return fixed(value, 3, "m/s", sign=sign)


def kilometres(metres: float | None, *, sign: bool = False) -> str:
    """A length in km."""
    return fixed(None if metres is None else metres / 1e3, 1, "km", sign=sign)


def kilograms(value: float | None) -> str:
    """A mass in kg."""
    return fixed(value, 2, "kg")


def degrees(value: float | None, *, sign: bool = False) -> str:
    """An angle in degrees."""
    return fixed(value, 2, "deg", sign=sign)


def share(value: float | None) -> str:
    """A share of one in per cent."""
    return fixed(None if value is None else 100.0 * value, 1, "%")


def duration(seconds: float | None) -> str:
    """A time as days and hh:mm:ss.s, the days left out where there are none."""
    if seconds is None or math.isnan(seconds):
        return _UNKNOWN
    if not abs(seconds) < _LARGEST_FIXED * _DAY_S:
        return f"{seconds:.4g} s"
    tenths = round(abs(seconds) * 10)
    sign = "-" if seconds < 0.0 and tenths else ""
    days, tenths = divmod(tenths, _DAY_S * 10)
    hours, tenths = divmod(tenths, 36000)
    minutes, tenths = divmod(tenths, 600)
    text = f"{hours:02d}:{minutes:02d}:{tenths // 10:02d}.{tenths % 10}"
    return sign + (f"{days} d " if days else "") + text


def calendar(epoch: str | None, seconds: float) -> str:
    """Date and time of day in TDB, empty where the case has no epoch or no calendar goes so far."""
    if epoch is None:
        return ""
    try:
        start = datetime.datetime.fromisoformat(epoch)
        moment = start + datetime.timedelta(seconds=round(seconds, 1))
    except (ValueError, OverflowError):
        return ""
    moment = moment.replace(tzinfo=None)
    return f"{moment:%Y-%m-%d %H:%M:%S}.{moment.microsecond // 100000} TDB"


def count(number: int, noun: str) -> str:
    """A number with its noun: 1 burn, 2 burns."""
    return f"{number} {noun}{'' if number == 1 else 's'}"


def clean(text: str) -> str:
    """Text of a file fit for a screen: one line, no control characters, degrees as in tables."""
    line = " ".join(text.replace("°", " deg").split())
    return "".join(c if c.isprintable() else "?" for c in line)
