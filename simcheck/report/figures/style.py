"""How every picture looks: few colours that differ for everyone, thin lines, names at the lines.

The colours of data are those of Okabe and Ito (2008), Color Universal Design; none is ever the only
thing that tells two lines apart. `COLOURS` names every colour used, so that a page may replace it.
"""

from __future__ import annotations

import warnings
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from itertools import product
from typing import Any, NamedTuple, cast

import matplotlib as mpl
import numpy as np
from matplotlib.axes import Axes
from matplotlib.text import Annotation
from matplotlib.transforms import Bbox
from numpy.typing import ArrayLike

INK, MUTED, GRID, PAPER = "#1b1f24", "#5c6570", "#dfe3e8", "#ffffff"
BLUE, VERMILION, GREEN, ORANGE = "#0072b2", "#d55e00", "#009e73", "#e69f00"
SKY, PURPLE, YELLOW = "#56b4e9", "#cc79a7", "#f0e442"
SERIES = (BLUE, VERMILION, GREEN, ORANGE, SKY, PURPLE, YELLOW)
COLOURS = {
    "ink": INK,
    "muted": MUTED,
    "grid": GRID,
    "paper": PAPER,
    **{f"c{number}": colour for number, colour in enumerate(SERIES, start=1)},
}
"""Each colour by the name of the variable that a page gives it."""

_PALE = {ORANGE, SKY, PURPLE, YELLOW}
DASHES = ("-", (0, (5, 1.5)), (0, (1.2, 1.2)), (0, (6, 1.5, 1.2, 1.5)), (0, (9, 3)))
SMALL = 8.0
"""Size of all text but titles, in points."""

_RC: dict[str, Any] = {
    "font.family": "sans-serif",
    "font.sans-serif": ["DejaVu Sans"],
    "font.size": SMALL,
    "mathtext.default": "regular",
    "axes.edgecolor": MUTED,
    "axes.labelcolor": INK,
    "axes.labelsize": SMALL,
    "axes.linewidth": 0.6,
    "axes.facecolor": "none",
    "axes.spines.top": False,
    "axes.spines.right": False,
    "axes.axisbelow": True,
    "axes.unicode_minus": True,
    "figure.facecolor": PAPER,
    "figure.titlesize": 9.5,
    "figure.titleweight": "bold",
    "figure.constrained_layout.use": True,
    "grid.color": GRID,
    "grid.linewidth": 0.6,
    "lines.linewidth": 1.4,
    "lines.solid_capstyle": "round",
    "patch.linewidth": 0.0,
    "path.simplify_threshold": 0.2,
    "text.color": INK,
    "xtick.color": MUTED,
    "ytick.color": MUTED,
    "xtick.labelcolor": INK,
    "ytick.labelcolor": INK,
    "xtick.labelsize": SMALL,
    "ytick.labelsize": SMALL,
    "xtick.major.width": 0.6,
    "ytick.major.width": 0.6,
    "xtick.major.size": 3.0,
    "ytick.major.size": 3.0,
    "xtick.minor.size": 0.0,
    "ytick.minor.size": 0.0,
    "svg.fonttype": "none",
}


@contextmanager
def styled(**more: Any) -> Iterator[None]:
    """matplotlib's settings for a picture, put back afterwards.

    A sign that the font lacks is drawn as a box in a PNG; an SVG keeps it as text.
    """
    with warnings.catch_warnings(), mpl.rc_context(cast(Any, _RC | more)):
        warnings.filterwarnings("ignore", message="Glyph .* missing")
        yield


def labels(axis: Axes, x: str, y: str) -> None:
    """Name both axes, units included, with quiet lines behind."""
    axis.set_xlabel(x)
    axis.set_ylabel(y)
    axis.grid(visible=True)


def days_or_hours(seconds: float) -> tuple[float, str]:
    """Seconds of the unit that suits a span, and its name."""
    return (86400.0, "days") if seconds > 2 * 86400.0 else (3600.0, "hours")


def metres_or_km(metres: float) -> tuple[float, str]:
    """Metres of the unit that suits a distance, and its name."""
    if metres >= 2e7:
        return 1e6, "1000 km"
    return (1e3, "km") if metres >= 2e3 else (1.0, "m")


def number(value: float) -> str:
    """A number in three digits as people write it."""
    if value == 0 or not np.isfinite(value):
        return f"{value:g}"
    text = f"{value:.3g}"
    text = f"{value:,.0f}".replace(",", "\u2009") if "e+" in text else text
    return text.replace("-", "\u2212")


def around(axis: Axes, tolerance: float, values: ArrayLike, *, signed: bool) -> None:
    """A scale that is linear within a tolerance and logarithmic beyond, so that both are seen.

    values are what the scale must hold; signed tells whether there are any below zero.
    """
    data = np.asarray(values, dtype=np.float64)
    data = data[np.isfinite(data)]
    most = max(float(np.max(np.abs(data), initial=0.0)), 1.3 * tolerance)
    axis.set_yscale("symlog", linthresh=tolerance, linscale=1.0)
    decade = 10.0 ** np.arange(np.ceil(np.log10(2.5 * tolerance)), np.log10(most) + 1e-9)
    step = max(1, -(-len(decade) // 3))
    beyond = [tolerance, *(float(d) for d in decade[step - 1 :: step])]
    if not len(decade) and most > 1.8 * tolerance:
        beyond.append(float(f"{most:.1g}"))
    up = not signed or float(np.max(data, initial=0.0)) > tolerance
    down = signed and float(np.min(data, initial=0.0)) < -tolerance
    above = beyond if up else [tolerance]
    below = beyond if down else [tolerance]
    ticks = [*(-b for b in reversed(below)), 0.0, *above] if signed else [0.0, *above]
    axis.set_yticks(ticks, [number(t) for t in ticks])
    top = 1.6 * most if up else 1.6 * tolerance
    bottom = (-1.6 * most if down else -1.6 * tolerance) if signed else -0.06 * tolerance
    axis.set_ylim(bottom, top)


def at_ends(axis: Axes, x: float, ends: Sequence[tuple[float, str, str]]) -> list[Annotation]:
    """Names at the right ends of lines, (y, text, colour) each, moved apart where they are close.

    x is where the lines end. The axis must have its limits.
    """
    to_points = 72.0 / _laid_out(axis)
    gap = 1.25 * SMALL
    low, high = (to_points * edge for edge in (axis.bbox.y0, axis.bbox.y1))
    room = max(1, int((high - low) / gap))
    if len(ends) > room:  # names would leave the frame: every second one, or third ...
        ends = sorted(ends, key=lambda end: end[0])[:: -(-len(ends) // room)]
    wanted = [to_points * axis.transData.transform((x, y))[1] for y, _, _ in ends]
    order = np.argsort(wanted, kind="stable")
    placed = _apart(np.array(wanted)[order], gap, low, high)
    made = []
    for rank, index in enumerate(order):
        y, text, colour = ends[index]
        made.append(
            axis.annotate(
                text,
                (x, y),
                xytext=(16.0, float(placed[rank] - wanted[index])),
                textcoords="offset points",
                color=readable(colour),
                va="center",
                annotation_clip=False,
                arrowprops={
                    "arrowstyle": "-",
                    "color": colour,
                    "lw": 0.9,
                    "relpos": (0.0, 0.5),
                    "shrinkA": 2.0,
                    "shrinkB": 1.0,
                },
            )
        )
    return made


def _laid_out(axis: Axes) -> float:
    """Put an axis where it will be drawn, and tell how many dots an inch has."""
    figure = axis.get_figure(root=True)
    if figure is None:
        raise ValueError("the axis has no figure")
    figure.draw_without_rendering()
    return float(figure.dpi)


def _apart(wanted: Any, gap: float, low: float, high: float) -> Any:
    """Sorted places at least `gap` apart, as near as may be to those wanted, within the bounds."""
    if not len(wanted):
        return wanted
    steps = gap * np.arange(len(wanted))
    level = np.array(wanted) - steps  # the nearest that does not fall is a running mean in blocks
    blocks: list[list[float]] = []
    for value in level:
        blocks.append([value, 1.0])
        while len(blocks) > 1 and blocks[-2][0] > blocks[-1][0]:
            mean, size = blocks.pop()
            before, count = blocks[-1]
            blocks[-1] = [(before * count + mean * size) / (count + size), count + size]
    flat = np.concatenate([np.full(int(size), mean) for mean, size in blocks])
    return np.clip(flat, low, max(low, high - steps[-1])) + steps


def readable(colour: str) -> str:
    """A colour for text: that of a line where it is dark enough on paper, ink elsewhere."""
    return INK if colour in _PALE else colour


class Name(NamedTuple):
    """A name for a point, or for whichever of several points (n, 2) suits it best."""

    text: str
    points: ArrayLike
    colour: str


def place(axis: Axes, names: Sequence[Name], avoid: ArrayLike = ()) -> list[Annotation]:
    """Write names beside their points where they hide neither one another nor data.

    avoid (n, 2) are further points of the data. The axis must have its limits.
    """
    scale = _laid_out(axis) / 72.0
    data = axis.transData.transform(np.reshape(np.asarray(avoid, dtype=np.float64), (-1, 2)))
    taken: list[Bbox] = []
    made = []
    for name in names:
        points = np.reshape(np.asarray(name.points, dtype=np.float64), (-1, 2))
        note = axis.annotate(
            name.text,
            tuple(points[0]),
            xytext=(0, 0),
            textcoords="offset points",
            color=readable(name.colour),
            annotation_clip=False,
            zorder=8,
        )
        note.set_in_layout(False)
        size = np.asarray(note.get_window_extent().size) + 3.0
        best = (np.inf, _Spot(points[0], 0.0, _SIDES[0]), Bbox.unit())
        for far, point, side in product(_FAR, points, _SIDES):
            if far >= best[0]:
                break
            middle = axis.transData.transform(point) + far * scale * np.array(side)
            middle += size * np.sign(np.round(side, 1)) / 2
            box = Bbox([middle - size / 2, middle + size / 2])
            cost = _cost(box, taken, data, axis.bbox) + far
            if cost < best[0]:
                best = (cost, _Spot(point, far, side), box)
        _stand(note, best[1])
        taken.append(best[2])
        made.append(note)
    return made


class _Spot(NamedTuple):
    """A point, how far from it a name stands, in points, and on which side."""

    point: Any
    far: float
    side: tuple[float, float]


_FAR = (7.0, 12.0, 18.0, 27.0, 38.0, 50.0)
_SIDES = ((1, 0), (-1, 0), (0.7, 0.7), (-0.7, 0.7), (0.7, -0.7), (-0.7, -0.7), (0, 1), (0, -1))


def _stand(note: Annotation, spot: _Spot) -> None:
    """Put a name beside its point."""
    across, up = spot.side
    note.xy = (float(spot.point[0]), float(spot.point[1]))
    note.set_position((spot.far * across, spot.far * up))
    note.set_horizontalalignment("left" if across > 0.1 else "right" if across < -0.1 else "center")
    note.set_verticalalignment("bottom" if up > 0.1 else "top" if up < -0.1 else "center")


def _cost(box: Bbox, taken: Sequence[Bbox], points: Any, frame: Bbox) -> float:
    """How bad a place is: on another name, beyond the frame, on data."""
    cost = sum(1e4 for other in taken if box.overlaps(other))
    out = max(frame.x0 - box.x0, box.x1 - frame.x1, frame.y0 - box.y0, box.y1 - frame.y1, 0.0)
    inside = np.all((points > box.min) & (points < box.max), axis=-1)
    return float(cost + 30.0 * out + 25.0 * np.count_nonzero(inside))


def along(axis: Axes, line: ArrayLike, every: float = 5.0) -> Any:
    """Points of a line (n, 2) in data's units, some `every` pixels, for `place` to avoid."""
    data = np.asarray(line, dtype=np.float64)
    data = data[np.isfinite(data).all(axis=-1)]
    if len(data) < 2:
        return data
    there = axis.transData.transform(data)
    length = np.append(0.0, np.cumsum(np.hypot(*np.diff(there, axis=0).T)))
    count = int(min(length[-1] / every, 4000)) + 2
    at = np.linspace(0.0, length[-1], count)
    even = np.stack([np.interp(at, length, there[:, k]) for k in (0, 1)], axis=-1)
    return axis.transData.inverted().transform(even)
