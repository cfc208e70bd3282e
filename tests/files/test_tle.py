"""Two-line element sets: the published state, and each column that can be wrong."""

# ruff: noqa: E501 - the tables of faults read best with a fault a line
from __future__ import annotations

import importlib.resources

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from simcheck.errors import InputError
from simcheck.files.epochs import read_date
from simcheck.files.tle import WIDTH, checksum, read_tle, teme_state, tle_estimate
from tests.cases_for_tests import EARTH, MARS
from tests.files.messages import (
    TLE,
    TLE_POSITION_KM,
    TLE_SOURCE,
    TLE_TDB,
    TLE_VELOCITY_KM_S,
)
from tests.helpers import assert_metres, assert_metres_per_second, assert_seconds

FIRST, SECOND = TLE.splitlines()


def faults(text: str | bytes) -> tuple[str, ...]:
    content = text.encode() if isinstance(text, str) else text
    with pytest.raises(InputError) as caught:
        read_tle(content, "r4.tle")
    return caught.value.faults


def with_column(line: str, column: int, new: str) -> str:
    """The line with characters replaced from a column on, and its checksum put right."""
    line = line[: column - 1] + new + line[column - 1 + len(new) :]
    return line[: WIDTH - 1] + str(checksum(line))


@pytest.mark.reference(TLE_SOURCE)
def test_the_published_state() -> None:
    """At its epoch the set is where the paper has it, to the digits printed."""
    elements = read_tle(TLE.encode(), "r4.tle")
    position, velocity = teme_state(elements, "r4.tle")
    assert_metres(position, 1e3 * np.array(TLE_POSITION_KM), within=1e-5)
    assert_metres_per_second(velocity, 1e3 * np.array(TLE_VELOCITY_KM_S), within=1e-6)
    assert_seconds(elements.epoch.seconds_since(read_date(TLE_TDB)), 0.0, within=1e-6)


@pytest.mark.reference(
    "the results published with Vallado et al. 2006, as the sgp4 package has them"
)
def test_every_published_set_at_its_epoch() -> None:
    """Every set of the paper that is well formed is read, and is where the paper has it."""
    folder = importlib.resources.files("sgp4")
    expected = {}
    number = ""
    for line in (folder / "tcppver.out").read_text().splitlines():
        words = line.split()
        if len(words) == 2:
            number = words[0].zfill(5)
        elif number not in expected and float(words[0]) == 0.0:
            expected[number] = np.array(words[1:7], dtype=float) * 1e3
    lines = [
        line[:WIDTH]
        for line in (folder / "SGP4-VER.TLE").read_text().splitlines()
        if line[:2] in {"1 ", "2 "}
    ]
    read = 0
    for first, second in zip(lines[::2], lines[1::2], strict=True):
        try:
            elements = read_tle(f"{first}\n{second}\n".encode(), "r4.tle")
            position, velocity = teme_state(elements, "r4.tle")
        except InputError:
            continue
        read += 1
        assert_metres(position, expected[first[2:7]][:3], within=2e-5)
        assert_metres_per_second(velocity, expected[first[2:7]][3:], within=2e-6)
    assert read >= 25


def test_a_name_before_the_lines() -> None:
    """Three lines are read too, with the name plain or behind a 0, whatever the line ends."""
    assert read_tle(("0 VANGUARD 1\n" + TLE).encode(), "r4.tle").name == "VANGUARD 1"
    assert read_tle(("VANGUARD 1\n" + TLE).replace("\n", "\r\n").encode(), "x").name == "VANGUARD 1"
    assert read_tle(b"\xef\xbb\xbf\n" + TLE.encode() + b"\n\n", "x").name == "00005"


def test_into_the_axes_of_the_case() -> None:
    """TEME to true-of-date turns about the pole by less than 0.005 deg, and changes no length."""
    elements = read_tle(TLE.encode(), "r4.tle")
    position, velocity = teme_state(elements, "r4.tle")
    found = tle_estimate(elements, EARTH, elements.epoch, "r4.tle")
    assert found.time_s == 0.0
    assert found.mass_kg is None
    assert found.position_m[2] == pytest.approx(position[2], abs=1e-6)
    for one, other in ((found.position_m, position), (found.velocity_m_s, velocity)):
        turned = np.degrees(np.linalg.norm(one - other) / np.linalg.norm(other))
        assert 1e-4 < turned < 0.005
        assert np.linalg.norm(one) == pytest.approx(np.linalg.norm(other), rel=1e-14)


def test_time_counts_from_the_epoch_of_the_case() -> None:
    """A set a day after the case's epoch is at 86400 s."""
    elements = read_tle(TLE.encode(), "r4.tle")
    found = tle_estimate(elements, EARTH, read_date(TLE_TDB.replace("06-27", "06-26")), "x")
    assert_seconds(found.time_s, 86400.0, within=1e-6)


def test_the_earth_only() -> None:
    """About another body it is refused by name."""
    elements = read_tle(TLE.encode(), "r4.tle")
    with pytest.raises(InputError, match="orbit about the Earth, but the case is about Mars"):
        tle_estimate(elements, MARS, elements.epoch, "r4.tle")


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("", "r4.tle: the file is empty"),
        (" \n\n", "r4.tle: the file is empty"),
        (b"\x00\xff\xfe", "r4.tle:1: expected text in UTF-8, got other bytes"),
        ("1 \x07", "r4.tle:1: expected plain text, got the character U+0007"),
        (FIRST, "its two lines and perhaps a name before them, got 1 line"),
        (TLE + TLE, "got 4 lines"),
        (FIRST[:-1] + "\n" + SECOND, "r4.tle:1: expected 69 columns, got 68"),
        (f"{FIRST[:-1]}4\n{SECOND}", "r4.tle:1:69: expected the checksum 3, got \"4\""),
        (f"{FIRST}\n{SECOND[:-1]}0", "r4.tle:2:69: expected the checksum 7, got \"0\""),
        (f"{FIRST[:20]}2{FIRST[21:]}\n{SECOND}", "some character of the line is wrong"),
        (f"{FIRST}\n" + with_column(SECOND, 3, "00006"), "r4.tle:2:3: expected the catalogue number"),
        (f"{FIRST}\n" + with_column(SECOND, 9, "+34.2682"), "r4.tle:2:8: expected an inclination"),
        (f"{FIRST}\n" + with_column(SECOND, 9, "180.0001"), "r4.tle:2:9: expected at most 180 deg"),
        (f"{FIRST}\n" + with_column(SECOND, 18, "360.0001"), "r4.tle:2:18: expected at most 360"),
        (f"{FIRST}\n" + with_column(SECOND, 27, " 859667"), "r4.tle:2:27: expected an eccentricity"),
        (f"{FIRST}\n" + with_column(SECOND, 53, " 0.00000000"), "r4.tle:2:53: expected more than 0"),
        (f"{FIRST}\n" + with_column(SECOND, 53, "10,82419157"), "r4.tle:2:53: expected revolutions"),
        (with_column(FIRST, 63, "4") + f"\n{SECOND}", "r4.tle:1:63: expected a set for SGP4"),
        (with_column(FIRST, 21, "400.0000000") + f"\n{SECOND}", "r4.tle:1:19: got"),
        (with_column(FIRST, 19, "58") + f"\n{SECOND}", "UTC is converted from 1972 on only"),
        (with_column(FIRST, 21, "nan.") + f"\n{SECOND}", "r4.tle:1:21: expected a day of the year"),
    ],
)  # fmt: skip
def test_faults(text: str | bytes, message: str) -> None:
    """Each mistake is one fault with its line and column."""
    (fault,) = faults(text)
    assert message in fault


def test_both_lines_are_told_at_once() -> None:
    """Faults of the two lines come together."""
    assert len(faults(f"{FIRST[:-1]}9\n{SECOND[:-1]}9")) == 2


def test_lines_in_the_wrong_order() -> None:
    """Exchanged lines are told by their first columns."""
    found = faults(f"{SECOND}\n{FIRST}")
    assert found[0] == 'r4.tle:1:1: expected 1 and a blank, got "2 "'
    assert 'r4.tle:2:1: expected 2 and a blank, got "1 "' in found


def test_sgp4_says_what_is_wrong() -> None:
    """A set that decays at once is refused in SGP4's words."""
    second = with_column(with_column(SECOND, 53, "17.50000000"), 27, "3000000")
    elements = read_tle(f"{FIRST}\n{second}".encode(), "r4.tle")
    with pytest.raises(InputError, match="SGP4 cannot compute a state from these elements: "):
        teme_state(elements, "r4.tle")


@given(st.data())
def test_one_wrong_digit_is_always_found(data: st.DataObject) -> None:
    """No change of a single digit passes the checksum."""
    at = data.draw(st.sampled_from([k for k, c in enumerate(TLE) if c.isdigit()]))
    new = data.draw(st.sampled_from([c for c in "0123456789" if c != TLE[at]]))
    assert faults(TLE[:at] + new + TLE[at + 1 :])


@given(st.text(max_size=80), st.integers(0, len(TLE)), st.integers(0, 40))
def test_any_text_is_read_or_refused(new: str, at: int, gone: int) -> None:
    """Whatever stands in the file, it ends in a set or in lines that name the file."""
    text = TLE[:at] + new + TLE[at + gone :]
    try:
        elements = read_tle(text.encode("utf-8", "replace"), "r4.tle")
        teme_state(elements, "r4.tle")
    except InputError as error:
        for fault in error.faults:
            assert fault.startswith("r4.tle:")
            assert fault.isprintable()
