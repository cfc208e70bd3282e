"""Dates in the time systems of messages, all on TDB."""

from __future__ import annotations

import numpy as np
import pytest
from astropy.time import Time
from hypothesis import given
from hypothesis import strategies as st

from simcheck.files.epochs import SYSTEMS, date_after, read_date, utc_day
from tests.helpers import assert_seconds

DATE = "2021-06-03T09:00:34.1"


@pytest.mark.parametrize("system", [name for name in SYSTEMS if name != "GPS"])
@pytest.mark.parametrize("date", [DATE, "1999-12-31T23:59:59.999", "2016-12-31T23:59:59"])
def test_as_astropy_has_it(system: str, date: str) -> None:
    """Each system is converted as by astropy's own Time, to a nanosecond."""
    expected = Time(date, scale=system.lower(), format="isot").tdb
    got = read_date(date, system)
    off = (got.day - expected.jd1) + (got.part - expected.jd2)
    assert abs(off) * 86400.0 < 1e-9


@pytest.mark.reference("IS-GPS-200: GPS time is TAI - 19 s, from memory")
def test_gps_time() -> None:
    """GPS time runs 19 s behind TAI."""
    behind = read_date(DATE, "GPS").seconds_since(read_date(DATE, "TAI"))
    assert behind == pytest.approx(19.0, abs=1e-8)  # TDB drifts from TAI by 3e-10 at most


def test_leap_seconds_count() -> None:
    """Through a leap second UTC takes one second more, and its 60th second is a date."""
    before, after = read_date("2016-12-31T23:59:59", "UTC"), read_date("2017-01-01T00:00:00", "UTC")
    assert after.seconds_since(before) == pytest.approx(2.0, abs=1e-7)
    leap = read_date("2016-12-31T23:59:60", "UTC")
    assert leap.seconds_since(before) == pytest.approx(1.0, abs=1e-7)


def test_both_forms_of_a_date() -> None:
    """A day of the year is the same moment as its calendar date; a Z and a bare minute are read."""
    assert read_date("2021-154T09:00:34.1") == read_date(DATE)
    assert read_date("2020-366T00:00") == read_date("2020-12-31T00:00:00")
    assert read_date(DATE + "Z", "UTC") == read_date(DATE, "UTC")
    assert utc_day(2020, 366.25).seconds_since(read_date("2020-12-31T06:00", "UTC")) == 0.0


@pytest.mark.parametrize(
    "text", ["2031-04-12T06:00:00", "2031-04-12T06:01:09.184871373", "2000-02-29T23:59:59.5"]
)
def test_text_of_a_moment(text: str) -> None:
    """A TDB date comes back as it was written, to the nanosecond."""
    assert read_date(text).text == text


@pytest.mark.parametrize(
    ("text", "system", "reason"),
    [
        ("", "TDB", "expected a date such as"),
        ("2031-04-12", "TDB", "expected a date such as"),
        ("2031-04-12 06:00:00", "TDB", "expected a date such as"),
        ("2031-04-12T06:00:00+01:00", "UTC", "expected a date such as"),
        ("0000-02-29T00:00:00", "TDB", "no date of the calendar"),
        ("2031-02-29T00:00:00", "TDB", "no date of the calendar"),
        ("2031-04-00T00:00:00", "TDB", "no date of the calendar"),
        ("2031-00-01T00:00:00", "TDB", "no date of the calendar"),
        ("2031-13-01T00:00:00", "TDB", "no date of the calendar"),
        ("2031-366T00:00:00", "TDB", "no date of the calendar"),
        ("2031-000T00:00:00", "TDB", "no date of the calendar"),
        ("2031-04-12T24:00:00", "TDB", "no date of the calendar"),
        ("2031-04-12T23:59:60", "UTC", "no leap second"),
        ("9999-12-31T23:59:60", "UTC", "no leap second"),
        ("2016-12-31T23:59:60", "TAI", "no leap second"),
        ("1969-07-20T20:17:40", "UTC", "from 1972 on only"),
        ("2031-04-12T06:00:00Z", "TAI", "Z means UTC, but the time system is TAI"),
    ],
)
def test_no_dates(text: str, system: str, reason: str) -> None:
    """What is no date is refused with a reason."""
    with pytest.raises(ValueError, match=reason):
        read_date(text, system)


@pytest.mark.parametrize(("year", "day"), [(1958, 1.0), (2021, 0.5), (2021, 366.0)])
def test_no_days_of_a_year(year: int, day: float) -> None:
    """Nor is a day that the year does not have."""
    with pytest.raises(ValueError, match=r"calendar|1972"):
        utc_day(year, day)


def test_far_dates_raise_no_warning() -> None:
    """A date beyond the table of leap seconds is read with those known."""
    seconds = read_date("2060-01-01T00:00:00", "UTC").seconds_since(read_date("2060-01-01T00:00"))
    assert np.isfinite(seconds)
    assert seconds > 60.0


@pytest.mark.parametrize(
    ("date", "seconds", "wanted"),
    [
        ("2034-09-03T00:00:00", 0.0, "2034-09-03T00:00:00"),
        ("2034-09-03T00:00:00", 86400.5, "2034-09-04T00:00:00.5"),
        ("2034-246T00:00", 1.5, "2034-09-03T00:00:01.5"),
        ("2031-04-12T06:00:00.25", -0.5, "2031-04-12T05:59:59.75"),
        ("2031-12-31T23:59:59.9", 0.1 + 4e-13, "2032-01-01T00:00:00"),
        ("2031-04-12T06:00:00", 7638.481341899142, "2031-04-12T08:07:18.481341899142"),
    ],
)
def test_dates_after(date: str, seconds: float, wanted: str) -> None:
    """A date so many seconds later, to the picosecond."""
    assert date_after(date, seconds) == wanted


@given(st.floats(0.0, 1e9))
def test_dates_after_are_read_again(seconds: float) -> None:
    """Written and read, a time is the same to the 1e-11 s that a date is kept to."""
    start = read_date("2031-04-12T06:00:00")
    found = read_date(date_after("2031-04-12T06:00:00", seconds)).seconds_since(start)
    assert_seconds(found, seconds, within=3e-11 + 2.5e-16 * seconds)
    assert len(date_after("2031-04-12T06:00:00", seconds, 6)) <= 26
