"""Lines `KEYWORD = value [unit]` of a message of the open registry, each value with its line.

Faults are collected, so that all of a file are told at once.
"""

from __future__ import annotations

import difflib
import math
import re
from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal

from simcheck.errors import InputError
from simcheck.files.epochs import Instant, read_date
from simcheck.files.records_json import shown

_LINE = re.compile(r"\s*([^=\s][^=]*?)\s*=\s*(.*?)\s*")
_UNIT = re.compile(r"(.*?)\s*\[\s*([^\[\]]*?)\s*\]")
_NUMBER = re.compile(r"[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d{1,4})?", re.ASCII)
_LARGEST = 1e24  # as for the numbers of a case
_MOST_FAULTS = 20

SCALES = {
    "km": 1e3,
    "km/s": 1e3,
    "km**3/s**2": 1e9,
    "km**2": 1e6,
    "km**2/s": 1e6,
    "km**2/s**2": 1e6,
    "m**2": 1.0,
    "deg": math.pi / 180.0,
    "kg": 1.0,
    "s": 1.0,
    "N": 1.0,
    "%": 0.01,
    "": 1.0,
}
"""Units as messages spell them, with their size in SI."""


@dataclass(frozen=True)
class Entry:
    """One line as it stands; unit is None where it has none."""

    keyword: str
    value: str
    unit: str | None
    line: int


class KvnFaults:
    """The faults of a file, each `file:line: KEYWORD: what is wrong`."""

    def __init__(self, file: str) -> None:
        self.file = file
        self._found: list[tuple[int, str]] = []

    def add(self, line: int | None, message: str) -> None:
        """Record a fault at a line, or of the file as a whole."""
        place = self.file if line is None else f"{self.file}:{line}"
        self._found.append((line or 0, f"{place}: {message}"))

    def raise_any(self) -> None:
        """Raise InputError with all faults in the order of the file, those without line last."""
        if not self._found:
            return
        ordered = [text for _, text in sorted(self._found, key=lambda at: (at[0] == 0, at[0]))]
        more = len(ordered) - _MOST_FAULTS
        rest = [f"{self.file}: and {more} more faults"] if more > 0 else []
        raise InputError(*ordered[:_MOST_FAULTS], *rest)


def kvn_entries(text: str, faults: KvnFaults, first: int = 1) -> list[Entry]:
    """The lines with a keyword, numbered from `first`; blank ones and comments are left out."""
    found = []
    for number, line in enumerate(text.splitlines(), start=first):
        if not line.strip() or re.match(r"\s*COMMENT(\s|$)", line):
            continue
        match = _LINE.fullmatch(line)
        if match is None:
            faults.add(number, f"expected KEYWORD = value, got {shown(line.strip())}")
            continue
        keyword, value = match.groups()
        unit = _UNIT.fullmatch(value)
        value, size = unit.groups() if unit else (value, None)
        found.append(Entry(keyword, value, size, number))
    return found


def read_number(text: str, unit: str) -> float:
    """The number in SI. Raises ValueError with what is wrong."""
    if not _NUMBER.fullmatch(text):
        raise ValueError(f"expected a number, got {shown(text)}")
    value = float(text) * SCALES[unit]
    if abs(value) > _LARGEST:
        raise ValueError(f"got {shown(text)}, which is too large to compute with")
    return value


class Block:
    """Keywords of one part of a message, each of which stands there once.

    units maps each keyword to its unit, "" for a bare number or text. start is the line where the
    part begins, where what is missing in it is reported; None reports it for the file.
    """

    def __init__(
        self, faults: KvnFaults, units: Mapping[str, str], start: int | None = None
    ) -> None:
        self.faults = faults
        self._units = units
        self._start = start
        self._entries: dict[str, Entry] = {}

    def add(self, entry: Entry) -> None:
        """Take a line; a fault where its keyword already stands there."""
        if entry.keyword in self._entries:
            line = self._entries[entry.keyword].line
            self.faults.add(entry.line, f"{entry.keyword}: stands there twice; see line {line}")
            return
        self._entries[entry.keyword] = entry

    def has(self, keyword: str) -> bool:
        """Whether the keyword stands there."""
        return keyword in self._entries

    def line(self, keyword: str) -> int | None:
        """The line of a keyword, None where it is missing."""
        return self._entries[keyword].line if keyword in self._entries else None

    def unit(self, keyword: str) -> str | None:
        """What stands in brackets after a keyword's value; None where nothing does."""
        return self._entries[keyword].unit if keyword in self._entries else None

    def fault(self, keyword: str, message: str) -> None:
        """Record a fault at the keyword."""
        self.faults.add(self.line(keyword), f"{keyword}: {message}")

    def text(self, keyword: str, example: str, *, required: bool = True) -> str | None:
        """The text of a keyword; None where it is missing or faulty."""
        entry = self._given(keyword, example, required)
        if entry is None:
            return None
        if not entry.value:
            self.fault(keyword, f"has no value; write {keyword} = {example}")
            return None
        return entry.value

    def number(self, keyword: str, example: str, *, required: bool = True) -> float:
        """The number of a keyword in SI; NaN where it is missing or faulty."""
        entry = self._given(keyword, example, required)
        if entry is None:
            return math.nan
        unit = self._units[keyword]
        wanted = f"{keyword} = {example}" + (f" [{unit}]" if unit else "")
        if entry.unit is not None and entry.unit != unit:
            expected = f"expected the unit [{unit}]" if unit else "expected a number without unit"
            self.fault(keyword, f"{expected}, got {shown('[' + entry.unit + ']')}; write {wanted}")
            return math.nan
        try:
            return read_number(entry.value, unit)
        except ValueError as error:
            hint = f"; write {wanted}" if str(error).startswith("expected") else ""
            self.fault(keyword, f"{error}{hint}")
            return math.nan

    def date(self, keyword: str, system: str | None, *, required: bool = True) -> Instant | None:
        """The date of a keyword; None where it is missing or faulty, or the time system unknown."""
        text = self.text(keyword, "2031-04-12T06:00:00.000", required=required)
        if text is None or system is None:
            return None
        try:
            return read_date(text, system)
        except ValueError as error:
            self.fault(keyword, f"got {shown(text)}, {error}")
            return None

    def digit(self, keyword: str) -> float:
        """Size in SI of one unit in the last digit that a number was written with."""
        exponent = Decimal(self._entries[keyword].value).as_tuple().exponent
        return float(f"1e{exponent}") * SCALES[self._units[keyword]]

    def _given(self, keyword: str, example: str, required: bool) -> Entry | None:
        if keyword not in self._entries and required:
            unit = self._units.get(keyword, "")
            self.faults.add(
                self._start,
                f"{keyword} is missing; write {keyword} = {example}"
                + (f" [{unit}]" if unit else ""),
            )
        return self._entries.get(keyword)


def nearest(keyword: str, known: list[str]) -> str:
    """A hint at the keyword that was probably meant."""
    near = difflib.get_close_matches(keyword.upper(), known, n=1, cutoff=0.6)
    return f"; did you mean {near[0]}?" if near else ""
