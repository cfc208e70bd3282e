"""The line of every table and key of a TOML text, which tomllib does not tell.

The text must already have been read by tomllib without complaint: this scan only finds places and
checks nothing.
"""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from typing import TypeAlias

Path: TypeAlias = tuple[str | int, ...]

_BLANK = re.compile(r"(?:[ \t\r\n]|#[^\n]*)*")
_SPACE = re.compile(r"[ \t]*")
_BARE_KEY = re.compile(r"[A-Za-z0-9_-]+")
_STRING = re.compile(
    r'"""(?:\\.|[^\\])*?"{3,5}|'
    r"'''.*?'{3,5}|"
    r'"(?:\\.|[^"\\\n])*"|'
    r"'[^'\n]*'",
    re.S,
)
_SCALAR = re.compile(r"[^,\]}\n#]*")


def key_lines(text: str) -> dict[Path, int]:
    """Line, from 1, of every path; a table of an array of tables has its index in the path."""
    return _Scan(text).run()


class _Scan:
    """One pass over the text; `at` is the next character to read."""

    def __init__(self, text: str) -> None:
        self.text = text
        self.at = 0
        self.lines: dict[Path, int] = {}
        self.counts: dict[Path, int] = {}

    def run(self) -> dict[Path, int]:
        table: Path = ()
        while True:
            self.skip(_BLANK)
            if self.at >= len(self.text):
                return self.lines
            if self.text[self.at] == "[":
                table = self.header()
            else:
                self.pair(table)

    def header(self) -> Path:
        """Read [a.b] or [[a.b]]."""
        line, double = self.line(), self.text.startswith("[[", self.at)
        self.at += 2 if double else 1
        path = self.placed(self.keys())
        self.at = self.text.index("]", self.at) + (2 if double else 1)
        self.lines.setdefault(path, line)
        if double:
            index = self.counts.get(path, 0)
            self.counts[path] = index + 1
            path = (*path, index)
            self.lines[path] = line
        return path

    def placed(self, keys: list[str]) -> Path:
        """Path of a header: a part that is an array of tables means its last one so far."""
        path: Path = ()
        for key in keys[:-1]:
            path = (*path, key)
            if path in self.counts:
                path = (*path, self.counts[path] - 1)
        return (*path, keys[-1])

    def pair(self, table: Path) -> None:
        """Read key = value."""
        line = self.line()
        keys = self.keys()
        self.at = self.text.index("=", self.at) + 1
        path = table
        for key in keys:
            path = (*path, key)
            self.lines.setdefault(path, line)
        self.skip(_SPACE)
        self.value(path)

    def value(self, path: Path) -> None:
        """Read a value, with the places of what it holds."""
        first = self.text[self.at : self.at + 1]
        if first == "{":
            self.members("}", lambda _: self.pair(path))
        elif first == "[":
            self.members("]", lambda index: self.element((*path, index)))
        elif not self.skip(_STRING):
            self.skip(_SCALAR)

    def element(self, path: Path) -> None:
        self.lines[path] = self.line()
        self.value(path)

    def members(self, close: str, read: Callable[[int], None]) -> None:
        """Read what stands between brackets, comma by comma."""
        self.at += 1
        index = 0
        while True:
            self.skip(_BLANK)
            if self.text[self.at] == close:
                self.at += 1
                return
            if self.text[self.at] == ",":
                self.at += 1
                continue
            read(index)
            index += 1

    def keys(self) -> list[str]:
        """Read a dotted key; ends before "=" or "]"."""
        found = []
        while True:
            self.skip(_SPACE)
            start = self.at
            if self.skip(_BARE_KEY):
                found.append(self.text[start : self.at])
            elif self.skip(_STRING):
                found.append(_unquoted(self.text[start : self.at]))
            self.skip(_SPACE)
            if self.text[self.at] != ".":
                return found
            self.at += 1

    def skip(self, pattern: re.Pattern[str]) -> bool:
        """Move past the pattern; tell whether it was there."""
        match = pattern.match(self.text, self.at)
        if match is None:
            return False
        self.at = match.end()
        return match.end() > match.start()

    def line(self) -> int:
        return self.text.count("\n", 0, self.at) + 1


def _unquoted(key: str) -> str:
    """Text of a quoted key."""
    if key[0] == "'":
        return key[1:-1]
    try:
        return str(json.loads(key))
    except ValueError:  # an escape that only TOML knows; no key of ours has one
        return key[1:-1]
