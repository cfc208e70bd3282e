"""What many flights of one plan say together: how likely it works, what it takes, and why."""

from __future__ import annotations

import math

import numpy as np
from matplotlib.axes import Axes

from simcheck.records.dispersion import Dispersion
from simcheck.report.figures.columns import meaning, number4, scaled
from simcheck.report.figures.picture import Picture
from simcheck.report.figures.style import BLUE, GREEN, INK, MUTED, PAPER, labels
from simcheck.report.words import share

_DRIVERS = 3  # sources of an outcome that are drawn, beside the rest


def cumulative(found: Dispersion, column: str, axis: Axes) -> None:
    """Percentiles of a column, each with the interval that holds it."""
    part = found.percentiles[column]
    scale, unit = scaled(column)
    spots = range(len(part.levels))
    values, low, high = (np.array(x) / scale for x in (part.values, part.low, part.high))
    for k in spots:
        if math.isfinite(low[k]) and math.isfinite(high[k]):
            axis.plot([low[k], high[k]], [k, k], color=BLUE, lw=5, alpha=0.3, solid_capstyle="butt")
    axis.plot(values, list(spots), "o", color=BLUE, ms=5, gid="percentiles")
    axis.axvline(part.mean / scale, color=MUTED, lw=1.0, ls=(0, (4, 2)), gid="mean")
    axis.set_yticks(list(spots), [f"{level:g} %" for level in part.levels])
    axis.set_ylim(-0.6, len(part.levels) - 0.2)
    labels(axis, f"{meaning(column)}, {unit}", "percentile")
    axis.annotate(
        f"mean {number4(part.mean / scale)}",
        (part.mean / scale, 1.0),
        xycoords=("data", "axes fraction"),
        xytext=(0, 3),
        textcoords="offset points",
        ha="center",
        va="bottom",
        color=MUTED,
        annotation_clip=False,
    )
    for k in spots:
        right = high[k] if math.isfinite(high[k]) else values[k]
        text = number4(values[k]) if math.isfinite(values[k]) else "too few flights to say"
        at = right if math.isfinite(right) else part.mean / scale
        axis.annotate(
            text,
            (at, k),
            xytext=(7, 0),
            textcoords="offset points",
            va="center",
            color=INK,
            annotation_clip=False,
            bbox={"facecolor": PAPER, "edgecolor": "none", "pad": 0.6},
        )
    axis.margins(x=0.18)


def success(found: Dispersion, axis: Axes) -> None:
    """Share of flights within, with its interval, against the one asked for."""
    part = found.within
    axis.plot(
        [100 * part.low, 100 * part.high],
        [0, 0],
        color=BLUE,
        lw=9,
        alpha=0.3,
        solid_capstyle="butt",
        gid="interval",
    )
    axis.plot(100 * part.probability, 0, "o", color=BLUE, ms=7, gid="probability")
    axis.axvline(100 * found.asked, color=GREEN, lw=1.4, ls=(0, (5, 2)), gid="asked")
    least = min(part.low, found.asked, part.probability)
    room = max(1.0 - least, 1e-3)
    axis.set_xlim(100 * max(0.0, least - 0.35 * room), 100 * (1.0 + 0.05 * room))
    axis.set_ylim(-1, 1)
    axis.set_yticks([])
    axis.spines["left"].set_visible(False)
    labels(axis, "share of the flights within every tolerance and limit, %", "")
    for text, x, y, colour in (
        (f"asked {share(found.asked)}", 100 * found.asked, 0.72, GREEN),
        (f"seen {share(part.probability)}", 100 * part.probability, -0.42, BLUE),
    ):
        middle = sum(axis.get_xlim()) / 2
        axis.annotate(
            text,
            (x, y),
            xytext=(6 if x < middle else -6, 0),
            textcoords="offset points",
            ha="left" if x < middle else "right",
            va="center",
            color=colour,
            bbox={"facecolor": PAPER, "edgecolor": "none", "pad": 1.5},
        )


def drivers(found: Dispersion, axis: Axes) -> None:
    """The largest shares of error sources in the variance of each outcome, as bars."""
    ticks, names, row = [], [], 0
    for outcome, parts in _of_outcomes(found).items():
        axis.annotate(
            meaning(outcome),
            (0.0, row),
            xytext=(3, 0),
            textcoords="offset points",
            va="center",
            fontweight="bold",
        )
        row += 1
        for source, part in parts:
            rest = source == "rest"
            axis.barh(
                row,
                100 * part,
                height=0.62,
                color=MUTED if rest else BLUE,
                alpha=0.35 if rest else 0.6,
                gid=f"{outcome} {source}",
            )
            axis.annotate(
                f"{100 * part:.0f} %" if part >= 0.01 else "below 1 %",
                (100 * part, row),
                xytext=(4, 0),
                textcoords="offset points",
                va="center",
                annotation_clip=False,
            )
            ticks.append(row)
            names.append("what no line explains" if rest else source.replace("_", " "))
            row += 1
    axis.set_yticks(ticks, names)
    axis.tick_params(axis="y", length=0)
    axis.set_ylim(row - 0.4, -0.6)
    axis.set_xlim(0, 108)
    labels(axis, "share of the variance, %", "")
    axis.grid(visible=False, axis="y")


def _of_outcomes(found: Dispersion) -> dict[str, list[tuple[str, float]]]:
    """The few largest sources of each outcome with their shares, and the rest last."""
    parts: dict[str, list[tuple[str, float]]] = {}
    for one in sorted(found.drivers, key=lambda one: (one.source == "rest", -one.share)):
        listed = parts.setdefault(one.outcome, [])
        if one.source == "rest" or len(listed) < _DRIVERS:
            listed.append((one.source, one.share))
    order = list(dict.fromkeys(one.outcome for one in found.drivers))
    return {outcome: parts[outcome] for outcome in order}


def pictures(found: Dispersion) -> list[Picture]:
    """The probability of success, the percentiles of the Δv, and the drivers."""
    made = [_success(found), *_percentiles(found)]
    return [*made, _drivers(found)] if found.drivers else made


def _success(found: Dispersion) -> Picture:
    part = found.within
    return Picture(
        "success",
        "How likely it works",
        f"Dot: share of the {found.samples} flights; bar: its interval at {part.confidence:.0%}"
        f" confidence ({part.interval}); dashed: what is asked for.",
        f"{part.count} of {found.samples} flights within, {share(part.probability)}; with"
        f" {part.confidence:.0%} confidence between {share(part.low)} and {share(part.high)}; asked"
        f" {share(found.asked)}: {found.decision}.",
        lambda axis: success(found, axis),
        (7.2, 1.6),
    )


def _percentiles(found: Dispersion) -> list[Picture]:
    part = found.percentiles.get("dv_used_m_s")
    if part is None or not math.isfinite(part.mean):
        return []
    if not np.nanmax(part.values) > (1 + 1e-9) * np.nanmin(part.values):
        return []  # every flight is the same one
    values = ", ".join(
        f"{level:g} % {value:.1f} m/s"
        for level, value in zip(part.levels, part.values, strict=True)
        if math.isfinite(value)
    )
    return [
        Picture(
            "dv_percentiles",
            "Percentiles of the Δv flown",
            "Dots: percentiles over the flights; bars: the order statistics that hold each with"
            f" {found.within.confidence:.0%} confidence, where there are enough flights.",
            f"Δv flown: mean {part.mean:.1f} m/s; {values}.",
            lambda axis: cumulative(found, "dv_used_m_s", axis),
            (7.2, 2.6),
        )
    ]


def _drivers(found: Dispersion) -> Picture:
    listed = _of_outcomes(found)
    words = "; ".join(
        f"{meaning(outcome)}: " + ", ".join(f"{source} {share(part)}" for source, part in parts)
        for outcome, parts in listed.items()
    )
    rows = sum(1 + len(parts) for parts in listed.values())
    return Picture(
        "drivers",
        "What drives the outcome",
        f"The {_DRIVERS} largest error sources of each outcome; grey: what no line explains. Found"
        f" from {found.method}.",
        words + ".",
        lambda axis: drivers(found, axis),
        (7.2, 0.7 + 0.165 * rows),
    )
