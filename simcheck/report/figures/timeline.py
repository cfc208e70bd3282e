"""What a flight does to its errors: each over time, with its tolerance and the burns."""

from __future__ import annotations

import numpy as np
from matplotlib.axes import Axes
from matplotlib.ticker import LogLocator, NullLocator

from simcheck.arrays import Array
from simcheck.records.quantities import QUANTITIES, Quantity
from simcheck.records.trace import Trace
from simcheck.report.figures.picture import Picture
from simcheck.report.figures.style import (
    BLUE,
    DASHES,
    GREEN,
    SERIES,
    VERMILION,
    around,
    at_ends,
    days_or_hours,
    labels,
    number,
)
from simcheck.report.words import clean

NAMES = {
    "phase": "phase against the slot, deg",
    "period": "period less the slot's, s",
    "eccentricity": "eccentricity against the slot's",
    "plane": "angle to the slot's plane, deg",
}
SIGNED = {"phase", "period"}
_LABEL_ROWS = 2
_APART = 0.035  # of the axis: names of burns nearer to each other go into another row


def phase(trace: Trace, axis: Axes) -> None:
    """Phase against the slot over time."""
    _error(trace, axis, QUANTITIES[0])


def period(trace: Trace, axis: Axes) -> None:
    """Osculating period less that of a relay on the slot, over time."""
    _error(trace, axis, QUANTITIES[1])


def eccentricity(trace: Trace, axis: Axes) -> None:
    """Osculating eccentricity against a relay on the slot, over time."""
    _error(trace, axis, QUANTITIES[2])


def plane(trace: Trace, axis: Axes) -> None:
    """Angle between the orbit's plane and that of a relay on the slot, over time."""
    _error(trace, axis, QUANTITIES[3])


def distances(trace: Trace, axis: Axes) -> None:
    """Distance to each member over time, and the separation asked for."""
    unit, name = days_or_hours(float(trace.time_s[-1] - trace.time_s[0]))
    times = trace.time_s / unit
    ends = []
    for k, member in enumerate(trace.members):
        colour = SERIES[k % len(SERIES)]
        axis.plot(
            times,
            member.distance_m / 1e3,
            color=colour,
            ls=DASHES[k % len(DASHES)],
            gid=f"member {member.name}",
        )
        at = int(np.argmin(member.distance_m))
        axis.plot(times[at], member.distance_m[at] / 1e3, "o", color=colour, ms=4)
        ends.append((float(member.distance_m[-1]) / 1e3, clean(member.name), colour))
    axis.set_yscale("log")
    least = min(float(np.min(member.distance_m)) for member in trace.members) / 1e3
    if trace.separation_m > 0:
        axis.axhline(trace.separation_m / 1e3, color=VERMILION, lw=1.0, ls=(0, (5, 2)))
        ends.append((trace.separation_m / 1e3, "separation asked for", VERMILION))
        least = min(least, trace.separation_m / 1e3)
    most = max(float(np.max(member.distance_m)) for member in trace.members) / 1e3
    axis.set_ylim(0.7 * least, 1.5 * most)
    axis.set_xlim(times[0], times[-1])
    wide = most > 100 * least
    axis.yaxis.set_major_locator(LogLocator(subs=(1.0,) if wide else (1.0, 2.0, 5.0)))
    axis.yaxis.set_minor_locator(NullLocator())
    axis.yaxis.set_major_formatter(lambda value, _: number(value))
    labels(axis, f"time past the epoch, {name}", "distance, km")
    mark_burns(axis, [(b.label, (b.start_s + b.end_s) / 2 / unit) for b in trace.burns])
    at_ends(axis, float(times[-1]), ends)


def mark_burns(axis: Axes, burns: list[tuple[str, float]]) -> None:
    """A line at each burn, (label, time) each, with its name above the axis."""
    low, high = axis.get_xlim()
    last = [-np.inf] * _LABEL_ROWS
    for label, time in burns:
        axis.axvline(time, color=VERMILION, lw=0.9, alpha=0.8, zorder=1.5)
        place_ = (time - low) / (high - low)
        row = next((r for r in range(_LABEL_ROWS) if place_ - last[r] > _APART), None)
        if row is None:
            continue  # its line is there; a name would lie on another
        last[row] = place_
        axis.annotate(
            label,
            (time, 1.0),
            xycoords=("data", "axes fraction"),
            xytext=(0, 3 + 10 * row),
            textcoords="offset points",
            ha="center",
            va="bottom",
            color=VERMILION,
            annotation_clip=False,
        )


def broken(times: Array, values: Array, jump: float) -> tuple[Array, Array]:
    """A line with a gap where it leaps by more than `jump`, as a wrapped angle does."""
    leaps = np.flatnonzero(np.abs(np.diff(values)) > jump) + 1
    return np.insert(times, leaps, np.nan), np.insert(values, leaps, np.nan)


def _error(trace: Trace, axis: Axes, quantity: Quantity) -> None:
    unit, name = days_or_hours(float(trace.time_s[-1] - trace.time_s[0]))
    values = np.asarray(getattr(trace, quantity.error), dtype=np.float64)
    jump = 180.0 if quantity.name == "phase" else np.inf
    axis.plot(*broken(trace.time_s / unit, values, jump), color=BLUE, gid=quantity.name)
    tolerance = trace.tolerances.get(quantity.error)
    axis.set_xlim(trace.time_s[0] / unit, trace.time_s[-1] / unit)
    labels(axis, f"time past the epoch, {name}", NAMES[quantity.name])
    if tolerance:
        signed = quantity.name in SIGNED
        around(axis, tolerance, values, signed=signed)
        axis.axhspan(
            -tolerance if signed else 0.0, tolerance, color=GREEN, alpha=0.16, lw=0, gid="tolerance"
        )
        sign = "±" if signed else "up to "
        axis.annotate(
            f"tolerance\n{sign}{number(tolerance)}{_of(quantity)}",
            (1.0, 0.0 if signed else tolerance / 2),
            xycoords=("axes fraction", "data"),
            xytext=(6, 0),
            textcoords="offset points",
            va="center",
            color=GREEN,
            annotation_clip=False,
        )
    mark_burns(axis, [(b.label, (b.start_s + b.end_s) / 2 / unit) for b in trace.burns])


def _of(quantity: Quantity) -> str:
    return {"deg": "°", "": ""}.get(quantity.unit, f" {quantity.unit}")


def pictures(trace: Trace) -> list[Picture]:
    """An error each that the case has a tolerance for, and the distances to members."""
    draws = {"phase": phase, "period": period, "eccentricity": eccentricity, "plane": plane}
    made = []
    for quantity in QUANTITIES:
        if quantity.error not in trace.tolerances:
            continue
        if not np.isfinite(getattr(trace, quantity.error)).any():
            continue  # no orbit, no error
        draw = draws[quantity.name]
        made.append(
            Picture(
                f"timeline_{quantity.name}",
                f"{quantity.name.capitalize()} over the flight",
                f"{NAMES[quantity.name].capitalize()}: osculating, against a relay flown on the"
                " slot. The scale is linear within the tolerance (the band) and logarithmic"
                " beyond; lines at the burns.",
                _words(trace, quantity),
                lambda axis, draw=draw: draw(trace, axis),  # type: ignore[misc]
                (7.2, 2.7),
            )
        )
    if trace.members:
        made.append(
            Picture(
                "timeline_distances",
                "Distance to each member over the flight",
                "At the times of the trace; a dot at the closest of them. Logarithmic.",
                _near(trace),
                lambda axis: distances(trace, axis),
                (7.2, 3.0),
            )
        )
    return made


def _words(trace: Trace, quantity: Quantity) -> str:
    values = np.asarray(getattr(trace, quantity.error), dtype=np.float64)
    unit = f" {quantity.unit}" if quantity.unit else ""
    burns = ", ".join(f"{b.label} at {b.start_s / 3600:.2f} h" for b in trace.burns)
    return clean(
        f"{NAMES[quantity.name]}: {_said(values[0], 6)}{unit} at the start,"
        f" {_said(values[-1], 3)}{unit} at the end, after"
        f" {trace.time_s[-1] / 86400:.2f} days;"
        f" tolerance {trace.tolerances[quantity.error]:g}{unit}."
        f" Burns: {burns or 'none'}."
    )


def _said(value: float, digits: int) -> str:
    return f"{value:.{digits}g}" if np.isfinite(value) else "not known"


def _near(trace: Trace) -> str:
    parts = []
    for member in trace.members:
        at = int(np.argmin(member.distance_m))
        parts.append(
            f"{member.name} comes as close as {member.distance_m[at] / 1e3:.1f} km at"
            f" {trace.time_s[at] / 3600:.2f} h"
        )
    asked = f"; separation asked for {trace.separation_m / 1e3:g} km" if trace.separation_m else ""
    return clean("; ".join(parts) + asked + ".")
