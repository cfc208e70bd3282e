"""The sections of a command's text as HTML: the same words and numbers, as real tables.

What `report.tables` makes is known by its shape: a heading is a bold Text, a table has a header,
facts have none, a note is a Text; everything else stands inside a Padding or a Group.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import NamedTuple

from rich.console import Group, RenderableType
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from simcheck.report.page import html
from simcheck.report.page.html import Column, Markup, Piece
from simcheck.report.tables import BAD, GOOD, heading

_HEADING = heading("").style


class Part(NamedTuple):
    """A section of a text: its heading and what stands below."""

    title: str
    content: list[Markup]


def parts_of(text: RenderableType) -> list[Part]:
    """The sections of a text in order; what stands before the first heading has no title."""
    found = [Part("", [])]
    for one in _flat(text):
        if isinstance(one, Text) and one.style == _HEADING:
            found.append(Part(one.plain.strip(), []))
        elif isinstance(one, Table):
            found[-1].content.append(_table(one, found[-1].title))
        elif isinstance(one, Text) and one.plain.strip():
            found[-1].content.append(html.paragraph(_words(one), class_="note"))
    return [part for part in found if part.title or part.content]


def _flat(text: RenderableType) -> Iterator[Table | Text]:
    if isinstance(text, Group):
        for one in text.renderables:
            yield from _flat(one)
    elif isinstance(text, Padding):
        yield from _flat(text.renderable)
    elif isinstance(text, Table | Text):
        yield text
    else:
        raise TypeError(f"a text is made of headings, tables, facts and notes, not of {text!r}")


def _table(table: Table, title: str) -> Markup:
    cells = [list(column.cells) for column in table.columns]
    rows = [[_content(cell) for cell in row] for row in zip(*cells, strict=True)]
    if not table.show_header:
        return html.facts(((_plain(name), content) for name, content in rows), title or "Facts")
    columns = [Column(_plain(one.header), one.justify == "right") for one in table.columns]
    return html.table(columns, rows, name=title or "Table")


def _content(cell: RenderableType) -> Piece:
    return _words(cell) if isinstance(cell, Text) else _plain(cell)


def _plain(cell: object) -> str:
    return cell.plain if isinstance(cell, Text) else str(cell)


def _words(text: Text) -> Piece:
    """A judgement with its mark, or the words alone."""
    style = str(text.style)
    return html.verdict_word(style == GOOD, text.plain) if style in {GOOD, BAD} else text.plain
