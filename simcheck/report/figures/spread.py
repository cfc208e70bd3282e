"""Many flights of one plan: where they end, what they use, how likely they succeed, and why."""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from matplotlib.axes import Axes
from matplotlib.patches import Circle, Rectangle

from simcheck.arrays import Array
from simcheck.records.case import Case
from simcheck.records.dispersion import Dispersion, Percentiles, Rows
from simcheck.records.quantities import listed_tolerances
from simcheck.report.figures.columns import UNITS, meaning, number4, scaled
from simcheck.report.figures.picture import Picture
from simcheck.report.figures.style import (
    BLUE,
    GREEN,
    MUTED,
    VERMILION,
    Name,
    labels,
    place,
)

MOST_ROWS = 20_000
"""Flights in a picture of single flights at most; the first ones, which are like all others."""

_ROOM = 3.0  # tolerances to either side that a picture shows at most


class Plane(NamedTuple):
    """Two columns of a row against each other, and the tolerance that is round them."""

    name: str
    title: str
    columns: tuple[str, str]
    says: tuple[str, str]
    tolerances: tuple[str, ...]


PLANES = (
    Plane(
        "spread_phase_period",
        "Where the flights end: phase and period",
        ("phase_deg", "period_s"),
        ("phase against the slot, deg", "period less the slot's, s"),
        ("phase_deg", "period_s"),
    ),
    Plane(
        "spread_eccentricity",
        "Where the flights end: eccentricity",
        ("eccentricity_k", "eccentricity_h"),
        ("eccentricity towards the node", "eccentricity 90° ahead of it"),
        ("eccentricity",),
    ),
    Plane(
        "spread_plane",
        "Where the flights end: plane",
        ("plane_x_deg", "plane_y_deg"),
        ("lean of the normal to the node, deg", "lean 90° ahead of it, deg"),
        ("plane_deg",),
    ),
)


def scatter(rows: Rows, plane: Plane, tolerances: dict[str, float], axis: Axes) -> None:
    """Each flight by two of its errors: within (dots) or not (crosses), and the tolerance."""
    x, y = (np.asarray(rows[name], dtype=np.float64) for name in plane.columns)
    good = np.asarray(rows["within"], dtype=bool)
    for inside, colour, marker, name in (
        (True, BLUE, "o", "within"),
        (False, VERMILION, "x", "outside"),
    ):
        some = good == inside
        axis.plot(
            x[some],
            y[some],
            ls="none",
            marker=marker,
            color=colour,
            ms=2.6 if inside else 4.5,
            mew=0.0 if inside else 1.1,
            alpha=0.55 if inside else 0.9,
            gid=name,
            zorder=3,
            rasterized=len(rows) > 3000,
        )
    limits = [tolerances.get(name, math.inf) for name in plane.tolerances]
    _bounds(axis, (x, y), limits if len(limits) == 2 else limits * 2)
    if len(limits) == 1:
        axis.add_patch(Circle((0, 0), limits[0], fc="none", ec=GREEN, lw=1.4, gid="tolerance"))
        axis.set_aspect("equal", adjustable="box")
    else:
        width, height = (limit if math.isfinite(limit) else 1e9 for limit in limits)
        axis.add_patch(
            Rectangle(
                (-width, -height),
                2 * width,
                2 * height,
                fc="none",
                ec=GREEN,
                lw=1.4,
                gid="tolerance",
            )
        )
    labels(axis, *plane.says)
    beyond = _beyond(axis, x, y)
    said = f"{len(x)} flights" + (f", {beyond} beyond the frame" if beyond else "")
    axis.annotate(
        said + "; green: tolerance",
        (1.0, 1.0),
        xycoords="axes fraction",
        xytext=(0, 4),
        textcoords="offset points",
        ha="right",
        va="bottom",
        color=MUTED,
        annotation_clip=False,
    )


def _bounds(axis: Axes, values: tuple[Array, Array], limits: list[float]) -> None:
    """Both tolerances whole, and the flights as far as three tolerances."""
    edges = []
    for part, limit in zip(values, limits, strict=True):
        most = 1.1 * float(np.nanmax(np.abs(part), initial=0.0))
        if math.isfinite(limit):
            most = max(1.2 * limit, min(most, _ROOM * limit))
        edges.append(most or 1.0)
    axis.set_xlim(-edges[0], edges[0])
    axis.set_ylim(-edges[1], edges[1])


def _beyond(axis: Axes, x: Array, y: Array) -> int:
    (left, right), (low, high) = axis.get_xlim(), axis.get_ylim()
    with np.errstate(invalid="ignore"):
        seen = (x >= left) & (x <= right) & (y >= low) & (y <= high)
    return int(np.count_nonzero(~seen))


def histogram(rows: Rows, column: str, percentiles: Percentiles | None, axis: Axes) -> None:
    """How often a column has which value, with its median and its high percentiles."""
    values = np.asarray(rows[column], dtype=np.float64)
    values = values[np.isfinite(values)]
    scale, unit = scaled(column)
    counts, edges = np.histogram(values / scale, bins=_bins(values))
    axis.stairs(counts, edges, fill=True, color=BLUE, alpha=0.35, gid="histogram")
    axis.stairs(counts, edges, color=BLUE, lw=1.0)
    labels(axis, f"{meaning(column)}{f', {unit}' if unit else ''}", "flights")
    top = 1.32 * float(np.max(counts, initial=1))
    axis.set_ylim(0, top)
    if percentiles is None:
        return
    names = []
    low = column.startswith("closest")  # of which the small ones matter
    given = zip(percentiles.levels, percentiles.values, strict=True)
    wanted = [(p, v / scale) for p, v in given if (p <= 50 if low else p >= 50)]
    for level, value in ((p, v) for p, v in wanted if math.isfinite(v)):
        axis.axvline(value, color=VERMILION, lw=1.0, ls="-" if level == 50 else (0, (4, 2)))
        names.append(Name(f"{level:g} %: {number4(value)}", (value, 0.93 * top), VERMILION))
    bars = [
        [x, y] for x, height in zip(edges, counts, strict=False) for y in np.linspace(0, height, 4)
    ]
    place(axis, names, bars)


def _bins(values: Array) -> int:
    return int(np.clip(2.0 * len(values) ** (1 / 3), 8, 60))


def pictures(case: Case, found: Dispersion, rows: Rows) -> list[Picture]:
    """The errors of every flight, and what each used."""
    return _planes(case, rows[:MOST_ROWS]) + _histograms(found, rows[:MOST_ROWS])


def _planes(case: Case, rows: Rows) -> list[Picture]:
    tolerances = listed_tolerances(case.tolerance)
    made = []
    for plane in PLANES:
        if not all(name in tolerances for name in plane.tolerances):
            continue
        x, y = (np.asarray(rows[name], dtype=np.float64) for name in plane.columns)
        if not np.isfinite(x).any():
            continue
        asked = ", ".join(
            f"{tolerances[name]:g} {UNITS[name]}".strip() for name in plane.tolerances
        )
        made.append(
            Picture(
                plane.name,
                plane.title,
                "A dot each flight within, a cross each one outside; green: the tolerance."
                " A flight may be outside for another reason than these two errors.",
                f"{len(rows)} flights; {plane.says[0]}: {_range(x)}; {plane.says[1]}: {_range(y)};"
                f" tolerance {asked}; {int(np.sum(rows['within'] == 0))} not within.",
                lambda axis, plane=plane: scatter(rows, plane, tolerances, axis),  # type: ignore[misc]
                (4.6, 4.2),
            )
        )
    return made


def _histograms(found: Dispersion, rows: Rows) -> list[Picture]:
    made = []
    for column in ("dv_used_m_s", "propellant_used_kg", "arrival_time_s", "closest_approach_m"):
        values = np.asarray(rows[column], dtype=np.float64)
        values = values[np.isfinite(values)]
        if not len(values) or not np.ptp(values) > 1e-9 * abs(values[0]):
            continue
        scale, unit = scaled(column)
        part = found.percentiles.get(column)
        made.append(
            Picture(
                f"histogram_{column.rsplit('_', 1)[0].removesuffix('_m')}",
                f"{meaning(column).capitalize() if column[0] != 'd' else 'Δv flown'}, flight by"
                " flight",
                f"Of {len(values)} flights. Lines: the median (whole) and percentiles.",
                f"{meaning(column)} of {len(values)} flights: {_range(values / scale)} {unit},"
                f" median {np.median(values) / scale:.5g} {unit}.",
                lambda axis, column=column, part=part: histogram(rows, column, part, axis),  # type: ignore[misc]
                (7.2, 2.6),
            )
        )
    return made


def _range(values: Array) -> str:
    return f"from {np.nanmin(values):.4g} to {np.nanmax(values):.4g}"
