"""A plan against its alternatives, and against Lawden's conditions."""

from __future__ import annotations

import math

import numpy as np
from matplotlib.axes import Axes

from simcheck.arrays import Array
from simcheck.records.case import Limits
from simcheck.records.plan import Plan
from simcheck.report.figures.picture import Picture
from simcheck.report.figures.style import (
    BLUE,
    GREEN,
    MUTED,
    VERMILION,
    Name,
    along,
    days_or_hours,
    labels,
    place,
)
from simcheck.report.figures.timeline import mark_burns
from simcheck.report.words import clean, count


def alternatives(plan: Plan, axis: Axes, limits: Limits | None = None) -> None:
    """Δv against arrival of the plan and of all that were costed beside it, with the floor."""
    times = np.array([one.arrival_time_s for one in plan.alternatives])
    sizes = np.array([one.total_dv_m_s for one in plan.alternatives])
    unit, name = days_or_hours(float(np.max(times, initial=plan.arrival_time_s)))
    x, y = plan.arrival_time_s / unit, plan.total_dv_m_s
    axis.plot(times / unit, sizes, "o", mfc="none", mec=MUTED, ms=6, mew=1.1, gid="alternatives")
    axis.plot(x, y, "D", color=BLUE, ms=7, gid="chosen")
    floor = plan.lower_bound_dv_m_s
    values = [*sizes, y, *([] if floor is None else [floor])]
    if floor is not None:
        axis.axhline(floor, color=GREEN, lw=1.1, ls=(0, (5, 2)), gid="floor")
    asked = _limits(axis, limits, unit, values, [*(times / unit), x])
    labels(axis, f"arrival past the epoch, {name}", "Δv of the impulses, m/s")
    names = [Name(f"chosen: {y:.1f} m/s, {count(len(plan.burns), 'burn')}", (x, y), BLUE)]
    for one in plan.alternatives:
        text = f"{one.total_dv_m_s:.1f}, {count(one.burns, 'burn')}"
        names.append(Name(text, (one.arrival_time_s / unit, one.total_dv_m_s), MUTED))
    low, high = axis.get_xlim()
    avoid = [np.array([name.points for name in names])]
    avoid += [along(axis, line) for line in asked.values()]
    if floor is not None:
        avoid.append(along(axis, [[low, floor], [high, floor]]))
        names.append(Name(f"floor {floor:.1f} m/s", _spots([[low, floor], [high, floor]]), GREEN))
    names += [Name(text, _spots(line), VERMILION) for text, line in asked.items()]
    place(axis, names, np.concatenate(avoid))


def _limits(
    axis: Axes, limits: Limits | None, unit: float, values: list[float], times: list[float]
) -> dict[str, list[list[float]]]:
    """Room around the points, and the lines of the case's limits by their names."""
    wide = max(max(times) - min(times), 0.15 * max(times))
    tall = max(max(values) - min(values), 0.02 * max(values))
    axis.set_xlim(max(0.0, min(times) - 0.2 * wide), max(times) + 0.3 * wide)
    axis.set_ylim(min(values) - 0.18 * tall, max(values) + 0.18 * tall)
    (left, right), (low, high) = axis.get_xlim(), axis.get_ylim()
    lines = {}
    if limits is not None and limits.dv_m_s < high:
        axis.axhline(limits.dv_m_s, color=VERMILION, lw=1.0, gid="limit of Δv")
        lines[f"limit {limits.dv_m_s:g} m/s"] = [[left, limits.dv_m_s], [right, limits.dv_m_s]]
    if limits is not None and limits.duration_s / unit < right:
        latest = limits.duration_s / unit
        axis.axvline(latest, color=VERMILION, lw=1.0, gid="limit of time")
        lines["limit of time"] = [[latest, low], [latest, high]]
    return lines


def _spots(line: list[list[float]]) -> Array:
    """Places along a straight line (2, 2) at which its name may stand."""
    return np.linspace(line[0], line[1], 12)[1:-1]


def primer(plan: Plan, axis: Axes) -> None:
    """Length of the primer vector over the plan; at most one where no burn more would help."""
    history = plan.primer
    if history is None:
        raise ValueError("the plan has no primer history")
    unit, name = days_or_hours(float(history.time_s[-1]))
    axis.axhline(1.0, color=GREEN, lw=1.0, ls=(0, (5, 2)), gid="one")
    axis.plot(history.time_s / unit, history.length, color=BLUE, gid="primer")
    times = [burn.time_s / unit for burn in plan.burns]
    lengths = np.interp([burn.time_s for burn in plan.burns], history.time_s, history.length)
    if len(history.at_burns) == len(plan.burns):
        lengths = history.at_burns
    axis.plot(times, lengths, "o", color=VERMILION, ms=5, gid="burns", zorder=5)
    end = max(history.time_s[-1] / unit, *times)
    axis.set_xlim(history.time_s[0] / unit, end + 0.02 * (end - history.time_s[0] / unit))
    top = float(np.max(history.length, initial=1.0))
    axis.set_ylim(0.0, 1.12 * top)
    labels(axis, f"time past the epoch, {name}", "length of the primer vector")
    mark_burns(axis, [(burn.label, time) for burn, time in zip(plan.burns, times, strict=True)])


def pictures(plan: Plan, limits: Limits | None) -> list[Picture]:
    """The trade between Δv and time, and the primer's history where the plan has one."""
    made = []
    if plan.alternatives:
        made.append(
            Picture(
                "trade_dv_time",
                "What arriving sooner or later costs",
                "The chosen plan (diamond) and the others that were costed (circles), impulses in"
                " two-body motion. Dashed: the floor, the least Δv with all the time in the world.",
                _trade_words(plan, limits),
                lambda axis: alternatives(plan, axis, limits),
                (7.2, 3.4),
            )
        )
    if plan.primer is not None and plan.burns and len(plan.primer.time_s) > 1:
        found = plan.primer
        made.append(
            Picture(
                "primer",
                "The plan against Lawden's conditions",
                "Length of the primer vector; dots and lines at the burns. A plan is a local"
                " optimum where it is one at each burn and nowhere longer.",
                clean(
                    f"{found.verdict}: {found.why}. Length at the burns"
                    f" {', '.join(f'{x:.5f}' for x in found.at_burns)}; largest elsewhere"
                    f" {found.largest_between:.4f} at {found.largest_time_s / 3600:.2f} h."
                ),
                lambda axis: primer(plan, axis),
                (7.2, 2.7),
            )
        )
    return made


def _trade_words(plan: Plan, limits: Limits | None) -> str:
    parts = [
        f"Chosen: {plan.total_dv_m_s:.1f} m/s in {count(len(plan.burns), 'burn')}, arriving after"
        f" {plan.arrival_time_s / 86400:.2f} days"
    ]
    parts += [
        f"{one.total_dv_m_s:.1f} m/s in {count(one.burns, 'burn')} after"
        f" {one.arrival_time_s / 86400:.2f} days"
        for one in plan.alternatives
    ]
    if plan.lower_bound_dv_m_s is not None:
        parts.append(f"floor {plan.lower_bound_dv_m_s:.1f} m/s")
    if limits is not None and math.isfinite(limits.dv_m_s):
        parts.append(f"limit {limits.dv_m_s:g} m/s")
    return clean("; ".join(parts) + ".")
