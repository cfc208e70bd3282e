"""What the figures' tests share: results to draw, an axis to draw on, and what is read back."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from functools import cache
from pathlib import Path
from typing import NamedTuple

import numpy as np
from matplotlib.artist import Artist
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.text import Text

import simcheck
from simcheck import api
from simcheck.flying.tracing import trace
from simcheck.measuring import RingMotion
from simcheck.records.case import Case
from simcheck.records.flight import Flight, Verdict
from simcheck.records.plan import Plan
from simcheck.records.trace import Trace
from simcheck.report.figures.picture import Picture
from simcheck.report.figures.style import styled

CASES = Path(__file__).parents[3] / "cases"


class Flown(NamedTuple):
    """A case of the shipped ones, planned and flown."""

    case: Case
    plan: Plan
    flight: Flight
    verdict: Verdict
    ring: RingMotion
    trace: Trace


@cache
def flown(name: str = "mars_ring", sample: int | None = None) -> Flown:
    case = simcheck.load_case(CASES / f"{name}.toml")
    plan = simcheck.plan(case)
    flight = simcheck.fly(case, plan, sample=sample, reference=False)
    ring = api.resolved_ring(case)
    verdict = simcheck.judge(case, flight)
    return Flown(case, plan, flight, verdict, ring, trace(case, flight, ring))


@contextmanager
def on_axis(draw: Callable[[Axes], None], size: tuple[float, float] = (7.2, 3.2)) -> Iterator[Axes]:
    """An axis with something drawn on it, as a picture does."""
    with styled():
        figure = Figure(figsize=size)
        FigureCanvasAgg(figure)
        axis = figure.add_subplot()
        draw(axis)
        yield axis


def found(axis: Axes, gid: str) -> Artist:
    """The one artist with this name."""
    some = [child for child in axis.get_children() if child.get_gid() == gid]
    assert len(some) == 1, f"{gid}: {len(some)} of {[c.get_gid() for c in axis.get_children()]}"
    return some[0]


def line(axis: Axes, gid: str) -> np.ndarray:
    """The data (n, 2) of the line with this name."""
    artist = found(axis, gid)
    assert isinstance(artist, Line2D)
    return np.asarray(artist.get_xydata(), dtype=float)


def texts(axis: Axes) -> list[Text]:
    """All that is written: names, ticks that are seen, names of the axes."""
    axis.get_figure().draw_without_rendering()  # type: ignore[union-attr]
    written = [child for child in axis.get_children() if isinstance(child, Text)]
    for side, (low, high) in (
        (axis.xaxis, sorted(axis.get_xlim())),
        (axis.yaxis, sorted(axis.get_ylim())),
    ):
        room = 1e-9 * (high - low)
        ticks = side.get_major_ticks()
        written += [t.label1 for t in ticks if low - room <= t.get_loc() <= high + room]
        written.append(side.label)
    return [text for text in written if text.get_visible() and text.get_text().strip()]


def overlaps(picture: Picture) -> list[tuple[str, str]]:
    """Pairs of texts of a picture that lie on each other by more than a pixel or two."""
    with on_axis(picture.draw, picture.size) as axis:
        written = texts(axis)
        boxes = [
            Text.get_window_extent(text).padded(-1.5)  # not its leader
            for text in written
        ]
        return [
            (a.get_text(), b.get_text())
            for k, (a, box) in enumerate(zip(written, boxes, strict=True))
            for b, other in zip(written[k + 1 :], boxes[k + 1 :], strict=True)
            if box.overlaps(other)
        ]


def outside(picture: Picture) -> list[str]:
    """Texts of a picture that its edges cut."""
    with on_axis(picture.draw, picture.size) as axis:
        written = texts(axis)
        whole = axis.get_figure().bbox.padded(1.5)  # type: ignore[union-attr]
        return [
            text.get_text()
            for text in written
            if not (
                whole.x0 <= text.get_window_extent().x0
                and text.get_window_extent().x1 <= whole.x1
                and whole.y0 <= text.get_window_extent().y0
                and text.get_window_extent().y1 <= whole.y1
            )
        ]
