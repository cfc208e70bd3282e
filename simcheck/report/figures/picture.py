"""A picture with its words, as SVG for a page and as files for slides."""

from __future__ import annotations

import io
import re
from collections.abc import Callable, Iterable
from html import escape
from pathlib import Path
from typing import NamedTuple

from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure

from simcheck.report.figures.style import COLOURS, styled

DPI = 200
"""Dots an inch of a PNG."""

_FONT = "system-ui, 'Segoe UI', 'Helvetica Neue', Arial, sans-serif"
_HEAD = re.compile(r"\A.*?(?=<svg)", re.DOTALL)
_METADATA = re.compile(r"\s*<metadata>.*?</metadata>", re.DOTALL)
_STYLE = re.compile(r"\s*<defs>\s*<style.*?</style>\s*</defs>", re.DOTALL)
_ROOT = re.compile(r'<svg [^>]*?viewBox="([^"]*)"[^>]*>', re.DOTALL)
_TAG = re.compile(r"<[^<>]+>")
_FAMILY = re.compile(r"(font: [^;\"]*?px|font-family:) [^;\"]*")  # as older and newer matplotlib
_ID = re.compile(r'\s+id="([^"]*)"')
_USED = re.compile(r'(?:href="#|url\(#)([^")]*)')
_COLOUR = re.compile(r"#[0-9a-f]{6}\b")
_COMMENT = re.compile(r"\s*<!--.*?-->", re.DOTALL)


class Picture(NamedTuple):
    """What to draw and how to say it.

    name is the stem of its files, caption what a reader needs to read it, alt what it shows with
    the main numbers, for those who do not see it. draw fills an axis; size is in inches.
    """

    name: str
    title: str
    caption: str
    alt: str
    draw: Callable[[Axes], None]
    size: tuple[float, float] = (7.2, 3.2)


def svg(picture: Picture) -> str:
    """An <svg> element for a page, sized by its viewBox.

    Colours are the page's variables --ink, --muted, --grid, --paper and --c1 to --c7. Its title is
    told, not drawn; every id begins with the picture's name and is used.
    """
    variables = {colour: f"var(--{name})" for name, colour in COLOURS.items()}

    def recoloured(found: re.Match[str]) -> str:
        return _COLOUR.sub(lambda colour: variables.get(colour[0], colour[0]), found[0])

    return _TAG.sub(recoloured, _drawn(picture, titled=False, transparent=True))


def save(pictures: Iterable[Picture], folder: str | Path) -> list[Path]:
    """Write each picture as <name>.png and <name>.svg, and return the paths.

    The folder is made where it is missing; files of the same names are overwritten, others are
    left alone. Raises OSError where they cannot be written.
    """
    there = Path(folder)
    there.mkdir(parents=True, exist_ok=True)
    written = []
    for picture in pictures:
        pixels, vectors = there / f"{picture.name}.png", there / f"{picture.name}.svg"
        with styled():
            figure = _figure(picture, titled=True)
            text = {"Title": picture.title, "Description": picture.alt}
            figure.savefig(pixels, dpi=DPI, metadata=text)
        vectors.write_text(_drawn(picture, titled=True, transparent=False), encoding="utf-8")
        written += [pixels, vectors]
    return written


def _figure(picture: Picture, *, titled: bool) -> Figure:
    figure = Figure(figsize=picture.size)
    FigureCanvasAgg(figure)
    axis = figure.add_subplot()
    if titled:
        figure.suptitle(picture.title, x=0.012, ha="left")
    picture.draw(axis)
    return figure


def _drawn(picture: Picture, *, titled: bool, transparent: bool) -> str:
    """The picture as one <svg> element in plain colours."""
    stream = io.StringIO()
    with styled(**{"svg.hashsalt": picture.name}):
        figure = _figure(picture, titled=titled)
        figure.savefig(
            stream, format="svg", dpi=DPI, transparent=transparent, metadata={"Date": None}
        )
    text = stream.getvalue()
    for part in (_HEAD, _METADATA, _STYLE, _COMMENT):
        text = part.sub("", text)
    name = picture.name.replace("_", "-")
    used = set(_USED.findall(text))

    def cleaned(found: re.Match[str]) -> str:
        """A tag with nothing that is not used, and what is used named after the picture."""
        tag = found[0].replace("xlink:href", "href")
        tag = _ID.sub(lambda of: f' id="{name}-{of[1]}"' if of[1] in used else "", tag)
        tag = re.sub(r'(href="#|url\(#)', rf"\g<1>{name}-", tag)
        return _FAMILY.sub(rf"\g<1> {_FONT}", tag)

    text = _ROOT.sub(lambda found: _head(picture, name, found[1]), text, count=1)
    head, rest = text[: text.index("</desc>")], text[text.index("</desc>") :]
    return head + _TAG.sub(cleaned, rest)


def _head(picture: Picture, name: str, view: str) -> str:
    """The opening tag, with the title and the text alternative that it names."""
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="{view}" role="img"'
        f' aria-labelledby="{name}-title {name}-desc"'
        ' style="stroke-linejoin: round; stroke-linecap: butt">\n'
        f' <title id="{name}-title">{escape(picture.title, quote=False)}</title>\n'
        f' <desc id="{name}-desc">{escape(picture.alt, quote=False)}</desc>'
    )
