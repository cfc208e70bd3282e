"""Dates of cases and messages on one clock, TDB, and the time systems that messages are written in.

erfa, on which astropy.time is built, is called directly: it never looks for newer leap seconds on
a network, and costs a fresh process 0.1 s instead of 0.3 s. The leap seconds are those that it was
released with; a date in UTC some years ahead may be off by those not announced yet, 1 s each.
"""

from __future__ import annotations

import calendar
import datetime
import re
import warnings
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from decimal import ROUND_FLOOR, Context, Decimal
from typing import Any, cast

DAY_S = 86400.0
SYSTEMS = ("UTC", "TAI", "TT", "TDB", "GPS")
NO_CASE_EPOCH = (
    "the case has no epoch, so this cannot be placed in its time; write epoch under [case], in TDB"
)
_GPS_BEHIND_TAI_S = 19.0
_JULIAN_DATE_OF_ORDINAL_0 = 1721424.5
_FIRST_UTC = 1972  # before it UTC had no whole leap seconds
_DATE = re.compile(
    r"(\d{4})-(?:(\d{2})-(\d{2})|(\d{3}))T(\d{2}):(\d{2})(?::(\d{2}(?:\.\d*)?))?(Z?)", re.ASCII
)
_FORM = 'a date such as "2031-04-12T06:00:00.000"'


@dataclass(frozen=True)
class Instant:
    """A moment in TDB: the Julian date day + part, in two so that nanoseconds survive."""

    day: float
    part: float

    def seconds_since(self, other: Instant) -> float:
        """TDB seconds from the other moment to this one, to some 1e-11 s."""
        return ((self.day - other.day) + (self.part - other.part)) * DAY_S

    @property
    def text(self) -> str:
        """The date to the nanosecond, without trailing zeros."""
        with erfa_quiet() as erfa:
            year, month, day, clock = erfa.d2dtf("TDB", 9, self.day, self.part)
        hour, minute, second, fraction = (int(part) for part in clock.item())
        whole = f"{int(year):04}-{int(month):02}-{int(day):02}T{hour:02}:{minute:02}:{second:02}"
        return f"{whole}.{fraction:09}".rstrip("0").rstrip(".")


def read_date(text: str, system: str = "TDB") -> Instant:
    """The moment of a date in one of SYSTEMS, as calendar date or as year and day of the year.

    Raises ValueError with a reason that completes "got X, ".
    """
    match = _DATE.fullmatch(text)
    if match is None:
        raise ValueError(f"expected {_FORM}")
    year, month, day, ordinal = (int(part or 0) for part in match.groups()[:4])
    hour, minute, second = int(match[5]), int(match[6]), float(match[7] or 0.0)
    if match[8] and system != "UTC":
        raise ValueError(f"whose Z means UTC, but the time system is {system}; leave it out")
    if not (month or ordinal) or hour > 23 or minute > 59 or second >= 61.0:
        raise ValueError("which is no date of the calendar")
    try:
        date = datetime.date(year, month or 1, day if month else 1)
        date += datetime.timedelta(days=ordinal - 1 if ordinal else 0)
    except (ValueError, OverflowError):
        raise ValueError("which is no date of the calendar") from None
    if date.year != year:
        raise ValueError("which is no date of the calendar")
    _check_utc(system, year)
    with erfa_quiet() as erfa:
        last = system == "UTC" and (hour, minute) == (23, 59)
        if second >= 60.0 and not (last and _has_leap(erfa, date)):
            raise ValueError("but that minute has no leap second")
        scale = "UTC" if system == "UTC" else "TAI"
        parts = (date.year, date.month, date.day, hour, minute, second)
        return _tdb(erfa, erfa.dtf2d(scale, *parts), system)


def date_after(text: str, seconds: float, digits: int = 12) -> str:
    """The TDB date so many seconds after a date in TDB that `read_date` reads, as a calendar date.

    It is exact, the seconds rounded to `digits` after the point; without trailing zeros.
    """
    match = _DATE.fullmatch(text)
    if match is None:
        raise ValueError(f"expected {_FORM}")
    year, month, day, ordinal, hour, minute = (int(part or 0) for part in match.groups()[:6])
    date = datetime.datetime(year, month or 1, day or 1, hour, minute)
    date += datetime.timedelta(days=ordinal - 1 if ordinal else 0)
    total = Decimal(match[7] or 0) + Decimal(seconds)
    total = total.quantize(Decimal(1).scaleb(-digits), context=Context(prec=40))
    whole = total.to_integral_value(ROUND_FLOOR)
    date += datetime.timedelta(seconds=int(whole))
    fraction = f"{total - whole:.{digits}f}".partition(".")[2].rstrip("0")
    return f"{date.isoformat()}{'.' if fraction else ''}{fraction}"


def utc_day(year: int, day_of_year: float) -> Instant:
    """The moment of a UTC year and its day, 1.0 being the first midnight.

    Raises ValueError as `read_date` does.
    """
    _check_utc("UTC", year)
    whole = int(day_of_year)
    if not 1 <= whole <= 365 + calendar.isleap(year):
        raise ValueError("which is no date of the calendar")
    midnight = datetime.date(year, 1, 1).toordinal() + whole - 1 + _JULIAN_DATE_OF_ORDINAL_0
    with erfa_quiet() as erfa:
        return _tdb(erfa, (midnight, day_of_year - whole), "UTC")


@contextmanager
def erfa_quiet() -> Iterator[Any]:
    """The erfa module, without its warning that leap seconds may yet be announced."""
    import erfa  # type: ignore[import-untyped, unused-ignore]

    with warnings.catch_warnings():
        warnings.simplefilter("ignore", erfa.ErfaWarning)
        yield erfa


def _has_leap(erfa: Any, day: datetime.date) -> bool:
    """Whether the UTC day ends in a leap second."""
    if day == datetime.date.max:
        return False
    ends = (day, day + datetime.timedelta(days=1))
    today, tomorrow = (erfa.dat(end.year, end.month, end.day, 0.0) for end in ends)
    return bool(tomorrow - today > 0.5)


def _check_utc(system: str, year: int) -> None:
    if system == "UTC" and year < _FIRST_UTC:
        raise ValueError(f"but UTC is converted from {_FIRST_UTC} on only")


def _tdb(erfa: Any, date: Any, system: str) -> Instant:
    """TDB of a two-part date in a time system; for the Earth's centre, to some 10 us."""
    if system == "UTC":
        date = erfa.utctai(*date)
    if system == "GPS":
        date = (date[0], date[1] + _GPS_BEHIND_TAI_S / DAY_S)
    if system in {"UTC", "TAI", "GPS"}:
        date = erfa.taitt(*date)
    if system != "TDB":
        date = erfa.tttdb(*date, erfa.dtdb(*date, 0.0, 0.0, 0.0, 0.0))
    day, part = cast("tuple[float, float]", date)
    return Instant(float(day), float(part))
