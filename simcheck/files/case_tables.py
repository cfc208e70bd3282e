"""Reading one table of a case file: each method takes a key, checks it and records its fault.

A value that had a fault comes back as NaN (or None), so that readers go on to find the others; a
comparison with NaN is false, which keeps the checks that follow quiet about it.
"""

from __future__ import annotations

import difflib
import math
import re
from collections.abc import Mapping
from dataclasses import dataclass

from simcheck.files.case_faults import Faults, shown
from simcheck.files.case_lines import Path
from simcheck.files.units import KINDS, UnitError, parse


class Table:
    """A table of the file. Every key asked for is known; `close` reports all the others."""

    def __init__(self, faults: Faults, path: Path, data: Mapping[str, object]) -> None:
        self.faults = faults
        self.path = path
        self._data = data
        self._known: list[str] = []

    def raw(self, key: str) -> object:
        """The value as the file has it, None where absent; nothing is checked."""
        self._know(key)
        return self._data.get(key)

    @property
    def data(self) -> Mapping[str, object]:
        """The table as the file has it; nothing is checked."""
        return self._data

    def has(self, key: str) -> bool:
        """Whether the file gives the key."""
        return key in self._data

    def fault(self, key: str | None, message: str) -> None:
        """Record a fault of a key, or of the table itself."""
        self.faults.add(self.path if key is None else (*self.path, key), message)

    def quantity(
        self,
        key: str,
        kind: str,
        example: str,
        *,
        default: float | None = None,
        above: float | None = None,
        at_least: float | None = None,
        at_most: float | None = None,
        below: float | None = None,
        what: str = "",
    ) -> float:
        """A number with its unit, in SI. Without a default the key is required.

        kind: a key of units.KINDS; example: such as "400 N"; the limits are in SI; what: says in a
        fault what is expected, where the kind alone would not.
        """
        if not self._given(key, f'"{example}"', required=default is None):
            return math.nan if default is None else default
        what = what or f"{KINDS[kind].article} with its unit"
        value = self._parsed(key, self._data[key], kind, example, what=what)
        limits = _Limits(above, at_least, at_most, below)
        if not limits.hold(value):
            self._expected(key, limits.say(kind), self._data[key], f'"{example}"')
            return math.nan
        return value

    def vector(self, key: str, kind: str, examples: tuple[str, str, str]) -> list[float]:
        """Three numbers with their units, in SI; required."""
        triple = "[" + ", ".join(f'"{example}"' for example in examples) + "]"
        if not self._given(key, triple, required=True):
            return [math.nan] * 3
        value = self._data[key]
        if not isinstance(value, list) or len(value) != 3:
            self._expected(key, "three numbers with their units", value, triple)
            return [math.nan] * 3
        return [
            self._parsed(
                key,
                item,
                kind,
                triple,
                what=f"{KINDS[kind].article} with its unit in place {place}",
            )
            for place, item in enumerate(value, start=1)
        ]

    def number(
        self,
        key: str,
        example: str,
        *,
        default: float | None = None,
        above: float | None = None,
        at_least: float | None = None,
        below: float | None = None,
    ) -> float:
        """A plain number without a unit."""
        if not self._given(key, example, required=default is None):
            return math.nan if default is None else default
        value = self._data[key]
        if isinstance(value, bool) or not isinstance(value, int | float):
            self._expected(key, "a number without unit or quotes", value, example)
            return math.nan
        number = _as_float(value)
        if not math.isfinite(number):
            self._expected(key, "a finite number", value, example)
            return math.nan
        limits = _Limits(above, at_least, None, below)
        if not limits.hold(number):
            self._expected(key, limits.say(""), value, example)
            return math.nan
        return number

    def whole(
        self,
        key: str,
        example: str,
        *,
        default: int | None = None,
        at_least: int = 0,
        at_most: int | None = None,
    ) -> int | None:
        """A whole number; None after a fault."""
        if not self._given(key, example, required=default is None):
            return default
        value = self._data[key]
        if isinstance(value, bool) or not isinstance(value, int):
            self._expected(key, "a whole number", value, example)
            return None
        if value < at_least:
            self._expected(key, f"at least {at_least}", value, example)
            return None
        if at_most is not None and value > at_most:
            self._expected(key, f"at most {at_most}", value, example)
            return None
        return value

    def text(self, key: str, example: str, *, required: bool = True) -> str | None:
        """Text that is not blank; None where it is absent or faulty."""
        if not self._given(key, f'"{example}"', required=required):
            return None
        value = self._data[key]
        if not isinstance(value, str):
            self._expected(key, "text in quotes", value, f'"{example}"')
            return None
        if not value.strip() or not value.isprintable():
            self._expected(key, "a line of text", value, f'"{example}"')
            return None
        return value

    def choice(self, key: str, options: tuple[str, ...], default: str) -> str:
        """One of a few words."""
        if not self._given(key, "", required=False):
            return default
        value = self._data[key]
        if value not in options:
            hint = _nearest(value, options) or options[0]
            self._expected(key, "one of " + _listed(options), value, f'"{hint}"')
            return default
        return str(value)

    def words(self, key: str, options: tuple[str, ...]) -> list[str]:
        """A list of some of a few words, none twice; empty where absent."""
        if not self._given(key, "", required=False):
            return []
        value = self._data[key]
        example = f'["{options[0]}"]'
        if not isinstance(value, list):
            self._expected(key, f"a list of some of {_listed(options)}", value, example)
            return []
        found: list[str] = []
        for item in value:
            if item not in options:
                hint = _nearest(item, options)
                example = f'["{hint}"]' if hint else example
                self._expected(key, f"some of {_listed(options)}", item, example)
            elif item in found:
                self.fault(key, f"{shown(item)} stands there twice; write it once")
            else:
                found.append(str(item))
        return found

    def table(self, key: str, missing: str = "") -> Table | None:
        """A table within this one. `missing` says what to write where it is required."""
        self._know(key)
        path = (*self.path, key)
        if key not in self._data:
            if missing:
                self.faults.add(path, f"this table is missing; {missing}")
            return None
        value = self._data[key]
        if isinstance(value, list):
            self.faults.add(path, f"expected one table, got {shown(value)}; write it once")
            return None
        if not isinstance(value, Mapping):
            self.faults.add(path, f"expected a table, got {shown(value)}")
            return None
        return Table(self.faults, path, value)

    def tables(self, key: str) -> list[Table]:
        """A list of tables within this one; empty where absent."""
        self._know(key)
        value = self._data.get(key, [])
        path = (*self.path, key)
        name = ".".join(str(part) for part in path)
        if not isinstance(value, list) or not all(isinstance(item, Mapping) for item in value):
            self.faults.add(
                path, f"expected a list of tables, got {shown(value)}; write [[{name}]]"
            )
            return []
        return [Table(self.faults, (*path, at), item) for at, item in enumerate(value)]

    def close(self) -> None:
        """Report every key of the table that nobody asked for."""
        for key in self._data:
            if key in self._known:
                continue
            table = not self.path and isinstance(self._data[key], Mapping | list)
            near = _nearest(key, tuple(self._known))
            hint = f"did you mean {near}?" if near else f"expected {', '.join(self._known)}"
            what = "unknown table" if table else "unknown key"
            self.faults.add((*self.path, key), f"{what}; {hint}", table=table)

    def _know(self, key: str) -> None:
        if key not in self._known:
            self._known.append(key)

    def _given(self, key: str, example: str, *, required: bool) -> bool:
        """Note the key as known and tell whether it is there; a fault where it must be."""
        self._know(key)
        if key in self._data:
            return True
        if required:
            self.fault(None, f"{key} is missing; write {key} = {example}")
        return False

    def _parsed(self, key: str, value: object, kind: str, example: str, *, what: str) -> float:
        """Value in SI, NaN after a fault. example: a quantity, or a list of three."""
        if not isinstance(value, str):
            self._expected(key, what, value, _corrected(shown(value), kind, example))
            return math.nan
        try:
            return parse(value, kind)
        except UnitError as error:
            reason = f", {error.reason}" if error.reason else ""
            got = f"expected {what}, got {shown(value)}{reason}"
            self.fault(key, f"{got}; write {key} = {_corrected(error.number, kind, example)}")
            return math.nan

    def _expected(self, key: str, what: str, value: object, example: str) -> None:
        self.fault(key, f"expected {what}, got {shown(value)}; write {key} = {example}")


def _as_float(value: float) -> float:
    """The value as a float; infinity where it is too large for one."""
    try:
        return float(value)
    except OverflowError:
        return math.inf


def _corrected(number: str, kind: str, example: str) -> str:
    """The number with the unit of the example; the example itself where that would guess.

    A share is such a case: 0.01 may be meant as 1 %.
    """
    if example.startswith("["):
        return example
    if kind == "share" or not re.fullmatch(r"[+-]?[0-9.]+(e[+-]?[0-9]+)?", number):
        return f'"{example}"'
    return f'"{number} {example.partition(" ")[2]}"'


@dataclass(frozen=True)
class _Limits:
    """Bounds of a value in SI, None where there is none."""

    above: float | None
    at_least: float | None
    at_most: float | None
    below: float | None

    def hold(self, value: float) -> bool:
        """Whether the value keeps them; NaN does."""
        return not (
            (self.above is not None and value <= self.above)
            or (self.at_least is not None and value < self.at_least)
            or (self.at_most is not None and value > self.at_most)
            or (self.below is not None and value >= self.below)
        )

    def say(self, kind: str) -> str:
        """Write them in the usual unit of the kind, as plain numbers where there is no kind."""
        unit = f" {KINDS[kind].usual}" if kind else ""
        size = parse(f"1 {KINDS[kind].usual}", kind) if kind else 1.0
        named = {
            "more than": self.above,
            "at least": self.at_least,
            "at most": self.at_most,
            "less than": self.below,
        }
        return " and ".join(
            f"{name} {limit / size:g}{unit}" for name, limit in named.items() if limit is not None
        )


def _listed(options: tuple[str, ...]) -> str:
    return ", ".join(f'"{option}"' for option in options)


def _nearest(value: object, options: tuple[str, ...]) -> str:
    """The option most like the value, empty where none is."""
    near = difflib.get_close_matches(str(value)[:80].lower(), options, n=1, cutoff=0.6)
    return near[0] if near else ""
