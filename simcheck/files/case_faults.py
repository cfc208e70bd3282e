"""Faults of a file, collected so that all are reported at once, each with its place."""

from __future__ import annotations

import datetime
import json
import re
from collections.abc import Mapping

from simcheck.errors import InputError
from simcheck.files.case_lines import Path

_LONGEST_ECHO = 60


class Faults:
    """Collects one line a fault: `file:line: [table] key: what is wrong; what to write`."""

    def __init__(self, file: str, lines: Mapping[Path, int]) -> None:
        self.file = file
        self._lines = lines
        self._found: list[tuple[int, str]] = []
        self._at: set[Path] = set()

    def add(self, path: Path, message: str, *, table: bool = False) -> None:
        """Record a fault of the table or key at `path`, at the line of its nearest place.

        table: the path is a table's though the format knows none of that name.
        """
        line = 0
        for length in range(len(path), 0, -1):
            if path[:length] in self._lines:
                line = self._lines[path[:length]]
                break
        place = f"{self.file}:{line}" if line else self.file
        self._found.append((line, f"{place}: {_printable(f'{_name(path, table)}: {message}')}"))
        self._at.add(path)

    def at(self, path: Path) -> bool:
        """Whether a fault of exactly this path was recorded."""
        return path in self._at

    def raise_any(self) -> None:
        """Raise InputError with all faults in the order of the file, the unplaced ones last."""
        if self._found:
            ordered = sorted(self._found, key=lambda fault: (fault[0] == 0, fault[0]))
            raise InputError(*(text for _, text in ordered))


_TABLES: frozenset[tuple[str, ...]] = frozenset(
    {
        ("case",),
        ("body",),
        ("ring",),
        ("ring", "member"),
        ("ring", "member", "orbit"),
        ("ring", "member", "state"),
        ("craft",),
        ("craft", "orbit"),
        ("craft", "state"),
        ("craft", "engine"),
        ("craft", "thrusters"),
        ("assign",),
        ("engine",),
        ("thrusters",),
        ("third_body",),
        ("sunlight",),
        ("errors",),
        ("operations",),
        ("dispersion",),
        ("tolerance",),
        ("limits",),
        ("hold",),
        ("network",),
        ("network", "link"),
        ("site",),
    }
)


def _name(path: Path, table: bool) -> str:
    """Write [table] key; a member of a list of tables carries its number."""
    words = tuple(part for part in path if isinstance(part, str))
    numbers = [part + 1 for part in path if isinstance(part, int)]
    key = "" if table or words in _TABLES else _plain(words[-1])
    tables = ".".join(_plain(word) for word in (words[:-1] if key else words))
    if not tables:
        return key
    single = not numbers or tables not in {"ring.member", "craft", "third_body", "site"}
    head = f"[{tables}]" if single else f"[[{tables}]]"
    return " ".join([head, *(f"#{number}" for number in numbers), *([key] if key else [])])


def _printable(text: str) -> str:
    """The text with control characters escaped, so that a fault stays one harmless line."""
    return "".join(c if c.isprintable() else f"\\u{ord(c):04x}" for c in text)


def _plain(word: str) -> str:
    """A key as it stands in the file: quoted where it has unusual characters."""
    return word if re.fullmatch("[A-Za-z0-9_-]+", word) else _cut(json.dumps(word))


def shown(value: object) -> str:
    """A value as TOML writes it, cut short."""
    if isinstance(value, Mapping):
        return "a table"
    if isinstance(value, list):
        return _shown_list(value)
    if isinstance(value, bool | str):
        return _cut(json.dumps(value, ensure_ascii=False))
    if isinstance(value, datetime.date | datetime.time):
        return f"the unquoted date {value.isoformat()}"
    try:
        return _cut(repr(value))
    except ValueError:  # more digits than Python writes
        return "a number of thousands of digits"


def _shown_list(value: list[object]) -> str:
    if any(isinstance(item, Mapping) for item in value):
        return "a list of tables"
    more = ", ..." if len(value) > 4 else ""
    return _cut("[" + ", ".join(shown(item) for item in value[:4]) + more + "]")


def _cut(text: str) -> str:
    return text if len(text) <= _LONGEST_ECHO else text[: _LONGEST_ECHO - 4] + " ..."
