"""A finished ring over months and years: its errors by themselves, and the price of its upkeep."""

from __future__ import annotations

import numpy as np
from matplotlib.axes import Axes

from simcheck.records.case import Case
from simcheck.records.hold import Hold
from simcheck.records.quantities import listed_tolerances
from simcheck.report.figures.picture import Picture
from simcheck.report.figures.style import (
    BLUE,
    DASHES,
    GREEN,
    INK,
    MUTED,
    SERIES,
    around,
    at_ends,
    labels,
    number,
)
from simcheck.report.figures.timeline import broken
from simcheck.report.words import clean

SERIES_OF = {
    "phase_deg": ("phase", "phase against the slot, deg", "deg"),
    "spacing_deg": ("spacing", "spacing less the even one, deg", "deg"),
    "period_s": ("period", "period less the slot's, s", "s"),
    "eccentricity": ("eccentricity", "eccentricity", ""),
    "plane_deg": ("plane", "angle to the ring's plane, deg", "deg"),
}
"""Series of a hold: short name, what is on the axis, unit."""

_SIGNED = {"phase_deg", "spacing_deg", "period_s"}


def errors(hold: Hold, field: str, tolerance: float | None, axis: Axes) -> None:
    """One error of every relay over the hold, nothing being done, with its tolerance."""
    days = hold.series.time_days
    values = getattr(hold.series, field)
    jump = 180.0 if field == "phase_deg" else np.inf
    for k, relay in enumerate(hold.relays):
        axis.plot(
            *broken(days, values[k], jump),
            color=SERIES[k % len(SERIES)],
            ls=DASHES[k % len(DASHES)],
            lw=1.2,
            gid=relay.name,
        )
    axis.set_xlim(days[0], days[-1])
    labels(axis, "days from the start of the hold", SERIES_OF[field][1])
    if tolerance:
        signed = field in _SIGNED
        around(axis, tolerance, values, signed=signed)
        low = -tolerance if signed else 0.0
        axis.axhspan(low, tolerance, color=GREEN, alpha=0.16, lw=0, gid="tolerance")
        sign = "±" if signed else "up to "
        axis.annotate(
            f"tolerance {sign}{number(tolerance)} {SERIES_OF[field][2]}".rstrip(),
            (0.0, 1.0),
            xycoords="axes fraction",
            xytext=(0, 4),
            textcoords="offset points",
            color=GREEN,
            annotation_clip=False,
        )
    ends = [
        (float(values[k, -1]), clean(relay.name), SERIES[k % len(SERIES)])
        for k, relay in enumerate(hold.relays)
    ]
    at_ends(axis, float(days[-1]), ends)


def upkeep(hold: Hold, axis: Axes) -> None:
    """Δv a year that keeps each relay within its tolerances."""
    kept = [(relay.name, relay.upkeep) for relay in hold.relays if relay.upkeep is not None]
    sizes = [one.dv_m_s_year for _, one in kept]
    axis.barh(range(len(kept)), sizes, height=0.55, color=BLUE, alpha=0.6, gid="upkeep")
    axis.set_yticks(range(len(kept)), [clean(name) for name, _ in kept])
    axis.set_ylim(len(kept) - 0.5, -0.5)
    axis.set_xlim(0, 1.5 * max(sizes) or 1.0)
    labels(axis, "Δv of the upkeep, m/s a year", "")
    axis.grid(visible=False, axis="y")
    for row, (_, one) in enumerate(kept):
        none = one.burns_year == 0
        text = (
            "none needed"
            if none and one.largest_use <= 1
            else (
                f"{one.dv_m_s_year:.1f} m/s, {one.burns_year:.1f} burns a year, at most"
                f" {100 * one.largest_use:.0f} % of a tolerance"
            )
        )
        axis.annotate(
            text,
            (one.dv_m_s_year, row),
            xytext=(5, 0),
            textcoords="offset points",
            va="center",
            color=INK if one.largest_use <= 1 else MUTED,
            annotation_clip=False,
        )


def pictures(case: Case, hold: Hold) -> list[Picture]:
    """The errors over time that the case has a tolerance for, and the upkeep."""
    tolerances = listed_tolerances(case.tolerance)
    if "phase_deg" in tolerances and len(hold.relays) > 1:
        tolerances["spacing_deg"] = tolerances["phase_deg"]
    made = []
    for field, (name, says, unit) in SERIES_OF.items():
        if field not in tolerances:
            continue
        tolerance = tolerances[field]
        made.append(
            Picture(
                f"hold_{name}",
                f"{name.capitalize()} over the hold, nothing being done",
                f"{says.capitalize()}, averaged over revolutions. The scale is linear within the"
                " tolerance (the band) and logarithmic beyond.",
                _words(hold, field, name, tolerance, unit),
                lambda axis, field=field, tolerance=tolerance: errors(hold, field, tolerance, axis),  # type: ignore[misc]
                (7.2, 2.9),
            )
        )
    kept = [relay for relay in hold.relays if relay.upkeep is not None]
    if kept:
        made.append(
            Picture(
                "hold_upkeep",
                "What keeping the ring costs",
                "Trims flown perfectly, each when an error is about to leave its tolerance.",
                clean(
                    "; ".join(
                        f"{relay.name} {relay.upkeep.dv_m_s_year:.3g} m/s in"
                        f" {relay.upkeep.burns_year:.1f} burns a year"
                        for relay in kept
                        if relay.upkeep is not None
                    )
                    + "."
                ),
                lambda axis: upkeep(hold, axis),
                (7.2, 0.9 + 0.32 * len(kept)),
            )
        )
    return made


def _words(hold: Hold, field: str, name: str, tolerance: float, unit: str) -> str:
    values, parts = getattr(hold.series, field), []
    for k, relay in enumerate(hold.relays):
        left = getattr(relay.leaving, f"{name}_days")
        parts.append(
            f"{relay.name} at most {float(np.nanmax(np.abs(values[k]))):.4g} {unit}".rstrip()
            + (", never leaves it" if left is None else f", leaves it after {left:.1f} days")
        )
    whole = f"{name} over {hold.duration_s / 86400:.0f} days, tolerance {tolerance:g} {unit}"
    return clean(f"{whole.rstrip()}: {'; '.join(parts)}.")
