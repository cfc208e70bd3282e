"""Where in a TOML text each key stands."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterator
from pathlib import Path

import pytest

from simcheck.files.case_lines import key_lines

_TEXT = '''# a comment = "not a key"
title = "x # not a comment = 1"
[a]
b = 1 # = 2
c.d = 2
"quoted [key]" = 3
[[list.of]]
x = 1
[[list.of]]
x = 2
[list.of.inner]
y = """
z = 4
[no.table]
"""
w = [ # a bracket ]
  {k = 1},
  {k = 2, m = {n = "}"}}, ]
v = \'\'\'
u = 5\'\'\'\'
t = 2031-04-12T06:00:00
[last]
'''


@pytest.mark.parametrize(
    ("path", "line"),
    [
        (("title",), 2),
        (("a",), 3),
        (("a", "b"), 4),
        (("a", "c", "d"), 5),
        (("a", "quoted [key]"), 6),
        (("list", "of", 0), 7),
        (("list", "of", 0, "x"), 8),
        (("list", "of", 1, "x"), 10),
        (("list", "of", 1, "inner"), 11),
        (("list", "of", 1, "inner", "y"), 12),
        (("list", "of", 1, "inner", "w", 0, "k"), 17),
        (("list", "of", 1, "inner", "w", 1, "m", "n"), 18),
        (("list", "of", 1, "inner", "v"), 19),
        (("list", "of", 1, "inner", "t"), 21),
        (("last",), 22),
    ],
)
def test_line_of_each_key(path: tuple[str | int, ...], line: int) -> None:
    """Dotted, quoted, inline and nested keys and lists of tables are found at their lines."""
    tomllib.loads(_TEXT)
    assert key_lines(_TEXT)[path] == line


def test_nothing_else_is_taken_for_a_key() -> None:
    """What stands in strings and comments is not a key."""
    paths = key_lines(_TEXT)
    assert not any("z" in path or "u" in path or "no" in path for path in paths)


def _paths(value: object, path: tuple[str | int, ...]) -> Iterator[tuple[str | int, ...]]:
    items = value.items() if isinstance(value, dict) else ()
    items = enumerate(value) if isinstance(value, list) else items
    for key, item in items:
        yield (*path, key)
        yield from _paths(item, (*path, key))


def test_every_key_of_a_whole_case_is_found_at_its_line() -> None:
    """Each path that tomllib reads has a line, and that line holds the key."""
    text = Path(__file__).with_name("every_key.toml").read_text(encoding="utf-8")
    lines, rows = key_lines(text), text.splitlines()
    paths = list(_paths(tomllib.loads(text), ()))
    assert len(paths) > 60
    for path in paths:
        word = next(part for part in reversed(path) if isinstance(part, str))
        assert re.search(rf"\b{word}\b", rows[lines[path] - 1])
