"""A two-line element set to an osculating state at its own epoch, by SGP4. About the Earth only.

SGP4 (the sgp4 package, WGS 72 constants as the sets are made with) gives the state in TEME: the
true equator of the epoch, with an x axis that differs from the true equinox by the equation of the
equinoxes, below 0.005 deg; it is turned on into the case's axes. The accuracy is that of the set,
about 1 km at its epoch; the mean elements are not kept, the state flies on in the case's forces.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

import numpy as np

from simcheck.arrays import Array, frozen_array
from simcheck.errors import InputError
from simcheck.files.epochs import Instant, utc_day
from simcheck.files.message_axes import into_case_axes, is_earth
from simcheck.files.plain_text import decoded
from simcheck.files.records_json import shown
from simcheck.records.case import Body
from simcheck.records.estimate import Estimate

WIDTH = 69
_CENTURY = 57  # two-digit years from here on are of 1900, those before of 2000


@dataclass(frozen=True)
class _Column:
    """Columns first to last, counted from 1 as the format does, and what stands there."""

    first: int
    last: int
    pattern: str
    what: str


_NUMBER = _Column(3, 7, "[A-HJ-NP-Z0-9 ][0-9 ]{3}[0-9]", "a catalogue number such as 00005")
_ANGLE = "[0-9 ]{2}[0-9][.][0-9]{4}"
_POWER = "[-+ ][0-9 ]{4}[0-9][-+][0-9]"
_FIRST = (
    _Column(1, 2, "1 ", "1 and a blank"),
    _NUMBER,
    _Column(8, 9, "[A-Z ] ", "a classification such as U and a blank"),
    _Column(10, 18, "[^\t]{8} ", "an international designator and a blank"),
    _Column(19, 20, "[0-9]{2}", "a year of two digits"),
    _Column(21, 32, "[0-9 ]{2}[0-9][.][0-9]{8}", "a day of the year such as 179.78495062"),
    _Column(33, 44, " [-+ ][.][0-9]{8} ", "a rate such as .00000023 between blanks"),
    _Column(45, 53, _POWER + " ", "a rate such as 00000-0 and a blank"),
    _Column(54, 62, _POWER + " ", "a drag term such as 28098-4 and a blank"),
    _Column(63, 64, "[0-9 ] ", "an ephemeris type, 0, and a blank"),
    _Column(65, 68, "[0-9 ]{3}[0-9]", "a set number"),
)
_SECOND = (
    _Column(1, 2, "2 ", "2 and a blank"),
    _NUMBER,
    _Column(8, 17, f" {_ANGLE} ", "an inclination such as 34.2682 between blanks"),
    _Column(18, 26, f"{_ANGLE} ", "a node such as 348.7242 and a blank"),
    _Column(27, 34, "[0-9]{7} ", "an eccentricity such as 1859667 and a blank"),
    _Column(35, 43, f"{_ANGLE} ", "an argument of perigee such as 331.7664 and a blank"),
    _Column(44, 52, f"{_ANGLE} ", "a mean anomaly such as 19.3264 and a blank"),
    _Column(53, 63, "[0-9 ][0-9][.][0-9]{8}", "revolutions a day such as 10.82419157"),
    _Column(64, 68, "[0-9 ]{4}[0-9]", "a revolution number"),
)


@dataclass(frozen=True)
class TwoLineSet:
    """The two lines, checked, with the name of a line before them and the epoch."""

    name: str
    first: str
    second: str
    epoch: Instant


def read_tle(content: bytes, file: str) -> TwoLineSet:
    """The one set in the bytes of a file: two lines, or three with a name before them.

    Raises InputError with the faults of both lines, each with its line and column.
    """
    text = decoded(content, file)
    lines = [(n, line.rstrip()) for n, line in enumerate(text.splitlines(), 1) if line.strip()]
    if len(lines) not in {2, 3}:
        raise InputError(
            f"{file}: expected one two-line element set, its two lines and perhaps a name before "
            f"them, got {len(lines)} line{'s' if len(lines) != 1 else ''}"
        )
    name = lines[0][1].removeprefix("0 ").strip() if len(lines) == 3 else ""
    (at, first), (below, second) = lines[-2:]
    faults = [*_faults(first, _FIRST, f"{file}:{at}"), *_faults(second, _SECOND, f"{file}:{below}")]
    if not faults:
        faults = _sense(first, second, (f"{file}:{at}", f"{file}:{below}"))
    if faults:
        raise InputError(*faults)
    try:
        epoch = utc_day(_year(first), float(first[20:32]))
    except ValueError as error:
        raise InputError(f"{file}:{at}:19: got {shown(first[18:32])}, {error}") from None
    return TwoLineSet(name or first[2:7], first, second, epoch)


def teme_state(elements: TwoLineSet, file: str) -> tuple[Array, Array]:
    """Position (3,) m and velocity (3,) m/s at the set's epoch, TEME axes.

    Raises InputError with what SGP4 says where it cannot compute them.
    """
    from sgp4.api import SGP4_ERRORS, WGS72, Satrec

    satellite = Satrec.twoline2rv(elements.first, elements.second, WGS72)
    code, position, velocity = satellite.sgp4_tsince(0.0)
    if code or not np.isfinite([position, velocity]).all():
        reason = SGP4_ERRORS.get(code, "the state is not finite")
        raise InputError(f"{file}: SGP4 cannot compute a state from these elements: {reason}")
    metres = frozen_array(np.multiply(position, 1e3), (3,), "position")
    return metres, frozen_array(np.multiply(velocity, 1e3), (3,), "velocity")


def tle_estimate(elements: TwoLineSet, body: Body, epoch: Instant, file: str) -> Estimate:
    """The osculating state at the set's epoch in the inertial axes of a case of that epoch.

    Raises InputError where the case is about another body than the Earth.
    """
    if not is_earth(body):
        raise InputError(
            f"{file}: a two-line element set is an orbit about the Earth, "
            f"but the case is about {body.name}"
        )
    position, velocity = teme_state(elements, file)
    turn = into_case_axes("TEME", body, elements.epoch, epoch)
    return Estimate(
        time_s=elements.epoch.seconds_since(epoch),
        position_m=turn @ position,
        velocity_m_s=turn @ velocity,
        source=f"two-line element set {file}, {elements.name}",
    )


def _faults(line: str, columns: tuple[_Column, ...], place: str) -> list[str]:
    """Faults of one line: its length, its columns, and where these are right its checksum."""
    if len(line) != WIDTH:
        return [f"{place}: expected {WIDTH} columns, got {len(line)}: {shown(line)}"]
    faults = []
    for column in columns:
        got = line[column.first - 1 : column.last]
        if not re.fullmatch(column.pattern, got):
            faults.append(f"{place}:{column.first}: expected {column.what}, got {shown(got)}")
    if not faults and line[-1] != str(checksum(line)):
        faults.append(
            f"{place}:{WIDTH}: expected the checksum {checksum(line)}, got {shown(line[-1])}; "
            "some character of the line is wrong"
        )
    return faults


def checksum(line: str) -> int:
    """Last digit of the sum of a line's digits, each minus sign counting as 1, columns 1 to 68."""
    body = line[: WIDTH - 1]
    return (sum(int(c) for c in body if c in "0123456789") + body.count("-")) % 10


def _sense(first: str, second: str, places: tuple[str, str]) -> list[str]:
    """Faults of numbers that are well written but cannot be."""
    faults = []
    if first[2:7] != second[2:7]:
        faults.append(
            f"{places[1]}:3: expected the catalogue number of the line before, {first[2:7]}, "
            f"got {second[2:7]}"
        )
    if first[62] not in "02 ":
        faults.append(
            f"{places[0]}:63: expected a set for SGP4, ephemeris type 0, got {first[62]}, "
            "another theory's"
        )
    most = ((9, 16, 180.0), (18, 25, 360.0), (35, 42, 360.0), (44, 51, 360.0))
    for start, end, limit in most:
        if float(second[start - 1 : end]) > limit:
            got = second[start - 1 : end].strip()
            faults.append(f"{places[1]}:{start}: expected at most {limit:g} deg, got {got}")
    if float(second[52:63]) <= 0.0:
        faults.append(f"{places[1]}:53: expected more than 0 revolutions a day")
    return faults


def _year(first: str) -> int:
    year = int(first[18:20])
    return year + (1900 if year >= _CENTURY else 2000)
