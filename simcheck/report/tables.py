"""The shapes that every text output is made of: headings, facts, tables, wrapped notes.

Cells are `Text`, so nothing that a file holds is taken for markup.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from rich.console import Group, RenderableType
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from simcheck.report.words import clean

GOOD, BAD = "green", "bold red"
_HEADING = "bold"
_LONGEST_NAME = 30

Fact = tuple[str, str]


def cell(text: str, style: str = "") -> Text:
    """Text of a cell, stripped of what a screen cannot show."""
    return Text(clean(text), style=style, overflow="fold")


def word(good: bool, yes: str, no: str) -> Text:
    """A judgement in one word, coloured where there are colours."""
    return cell(yes, GOOD) if good else cell(no, BAD)


def heading(text: str) -> Text:
    """A section's title, with an empty line before it."""
    return Text("\n" + clean(text), style=_HEADING)


def note(text: str) -> RenderableType:
    """A paragraph, wrapped."""
    return Padding(cell(text), (0, 0, 0, 2))


def facts(pairs: Iterable[Fact]) -> RenderableType:
    """Names on the left, what they are on the right, wrapped; pairs without a text are left out."""
    grid = Table.grid(padding=(0, 2, 0, 0))
    grid.add_column(max_width=_LONGEST_NAME, overflow="fold")
    grid.add_column(overflow="fold")
    for name, text in pairs:
        if text:
            grid.add_row(cell(name), cell(text))
    return Padding(grid, (0, 0, 0, 2))


def table(columns: Sequence[str], rows: Iterable[Sequence[str | Text]]) -> RenderableType:
    """A table; a column whose name starts with ">" is aligned to the right."""
    made = Table(box=None, padding=(0, 2, 0, 0), header_style="underline", pad_edge=False)
    for name in columns:
        made.add_column(
            cell(name.removeprefix(">")),
            justify="right" if name.startswith(">") else "left",
            overflow="fold",
        )
    for row in rows:
        made.add_row(*(item if isinstance(item, Text) else cell(item) for item in row))
    return Padding(made, (0, 0, 0, 2))


def stacked(*parts: RenderableType | None) -> RenderableType:
    """Parts one below the other; None is left out."""
    return Group(*(part for part in parts if part is not None))
