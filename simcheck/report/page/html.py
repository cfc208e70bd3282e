"""Pieces of HTML. Text is escaped wherever it comes from; only a `Markup` is taken as it is."""

from __future__ import annotations

import html
from collections.abc import Iterable, Sequence
from typing import NamedTuple, TypeAlias

_LONG = 24  # characters from which a cell is no narrower than a few words
_VOID = frozenset({"br", "input", "meta", "hr"})


class Markup(str):
    """Text that is HTML already."""

    __slots__ = ()


Piece: TypeAlias = "str | Markup | Iterable[Piece] | None"
"""Text, markup, or several of them; None is nothing."""


class Column(NamedTuple):
    """A column of a table: its name, unit included, and whether it holds numbers."""

    name: str
    number: bool = False


def element(name: str, /, *content: Piece, **attributes: str | int | float | bool | None) -> Markup:
    """An element. Attributes: class_ and for_ lose their dash, other _ become -; None is none."""
    given = "".join(_attribute(key, value) for key, value in attributes.items())
    if name in _VOID:
        return Markup(f"<{name}{given}>")
    return Markup(f"<{name}{given}>{joined(*content)}</{name}>")


def _attribute(key: str, value: str | int | float | bool | None) -> str:
    if value is None or value is False:
        return ""
    name = key.rstrip("_").replace("_", "-")
    return f" {name}" if value is True else f' {name}="{html.escape(shown(str(value)))}"'


def joined(*pieces: Piece) -> Markup:
    """Pieces one after the other."""
    return Markup("".join(_text(piece) for piece in pieces))


def _text(piece: Piece) -> str:
    if piece is None:
        return ""
    if isinstance(piece, Markup):
        return piece
    if isinstance(piece, str):
        return html.escape(shown(piece), quote=False)
    return "".join(_text(one) for one in piece)


def shown(text: str) -> str:
    """Text without control characters, which no page may hold."""
    return "".join(c if c.isprintable() or c in "\n\t" else "\ufffd" for c in text)


def paragraph(*content: Piece, class_: str | None = None) -> Markup:
    """A paragraph."""
    return element("p", *content, class_=class_)


def table(
    columns: Sequence[Column],
    rows: Iterable[Sequence[Piece]],
    *,
    name: str,
    cards: bool = False,
) -> Markup:
    """A table whose first column names the rows; it may scroll within the page.

    name is told, not shown: a heading says already what stands below. cards are rows that a narrow
    screen shows as one block each.
    """
    head = [element("th", one.name, scope="col", class_=_kind(one)) for one in columns]
    body = [
        element(
            "tr",
            [_cell(k, *pair) for k, pair in enumerate(zip(columns, row, strict=True))],
        )
        for row in rows
    ]
    made = element(
        "table",
        element("thead", element("tr", [_named(one) for one in head])),
        element("tbody", body),
        class_="cards" if cards else None,
    )
    return scrolling(made, name)


def _named(head: Markup) -> Markup:
    """A column's head; one without a name heads nothing."""
    return Markup("<td></td>") if head.endswith("></th>") else head


def _cell(place: int, column: Column, content: Piece) -> Markup:
    heads = place == 0 and bool(content)
    if heads:
        return element("th", content, scope="row", class_=_kind(column))
    words = isinstance(content, str) and not isinstance(content, Markup)
    long = words and len(joined(content)) > _LONG and not column.number
    kind = "long" if long else _kind(column)
    return element("td", content, class_=kind, data_name=column.name or None)


def _kind(column: Column) -> str | None:
    return "number" if column.number else None


def scrolling(content: Markup, name: str) -> Markup:
    """Content that may be wider than the page, scrolled by keyboard too."""
    return element("div", content, class_="wide", tabindex=0, role="group", aria_label=name)


def facts(pairs: Iterable[tuple[str, Piece]], name: str) -> Markup:
    """Names on the left, what they are on the right; pairs without a text are left out."""
    rows = [
        element(
            "tr",
            element("th", title, scope="row") if title else element("td"),
            element("td", content),
        )
        for title, content in pairs
        if content
    ]
    return element("table", element("tbody", rows), class_="facts", aria_label=name)


def verdict_word(good: bool | None, text: str, mark: str | None = None) -> Markup:
    """A judgement: a mark, a word and a colour, of which the first two are enough."""
    kind, usual = {True: ("good", "✓"), False: ("bad", "✗"), None: ("open", "?")}[good]
    return element(
        "span", element("span", mark or usual, aria_hidden="true"), " ", text, class_=f"word {kind}"
    )


def section(identity: str, title: str, *content: Piece) -> Markup:
    """A section with its heading, an anchor of its own."""
    heading = element("h2", title, id=f"section-{identity}")
    return element("section", heading, *content, id=identity, aria_labelledby=f"section-{identity}")
