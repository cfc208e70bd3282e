"""Error bars: how far variations of a flight lie from it, and whether its verdict bears that."""

from __future__ import annotations

import math

from simcheck.doublechecking.variations import Varied
from simcheck.judging import judge, limit_uses
from simcheck.records.case import Case
from simcheck.records.deep import Deviation, ErrorBar
from simcheck.records.flight import Flight, Verdict
from simcheck.records.quantities import QUANTITIES, error_of, listed_tolerances


def deviation(case: Case, flight: Flight, varied: Varied) -> Deviation:
    """How far a variation's errors lie from the flight's, and the verdict that it would give."""
    phase, period, eccentricity, plane = _differences(flight, varied.flight)
    return Deviation(
        name=varied.name,
        means=varied.means,
        phase_deg=phase,
        period_s=period,
        eccentricity=eccentricity,
        plane_deg=plane,
        verdict=judge(case, varied.flight).verdict,
    )


def error_bars(case: Case, flight: Flight, varied: list[Varied]) -> tuple[ErrorBar, ...]:
    """The bars of the four errors."""
    tolerances = listed_tolerances(case.tolerance)
    rows = [_differences(flight, one.flight) for one in varied]
    bars = []
    for index, quantity in enumerate(QUANTITIES):
        value, allowed = error_of(flight.errors, quantity), tolerances.get(quantity.error)
        bar, cause = _largest([row[index] for row in rows], varied)
        room = None if allowed is None else abs(allowed - abs(value))
        bars.append(_bar(quantity.name, quantity.unit, value, bar, cause, allowed, room))
    return tuple(bars)


def limit_bars(case: Case, flight: Flight, varied: list[Varied]) -> tuple[ErrorBar, ...]:
    """The bars of what is held against limits."""
    uses = [limit_uses(case, one.flight) for one in varied]
    bars = []
    for index, limit in enumerate(limit_uses(case, flight)):
        bar, cause = _largest([use[index].used - limit.used for use in uses], varied)
        room = abs(limit.margin)
        bars.append(_bar(limit.name, limit.unit, limit.used, bar, cause, limit.limit, room))
    return tuple(bars)


def firmness(verdict: Verdict, bars: tuple[ErrorBar, ...], changed: list[str]) -> tuple[bool, str]:
    """Whether error bars and variations leave a verdict as it is, and why.

    One that is within needs every tolerance and limit to be farther off than its bar, one that is
    outside needs one that is broken by more than its bar, or a flight that ended early.
    """
    good = verdict.verdict == "within"
    if changed:
        other = "outside" if good else "within"
        return False, f"It is {other} by other means: {', '.join(changed)}."
    broken = [name for name, kept in (verdict.within | verdict.kept).items() if not kept]
    judged = [b for b in bars if b.bars_of_room is not None and (good or b.name in broken)]
    if not judged:
        return True, "No other means changes the verdict."
    nearest = (min if good else max)(judged, key=lambda b: b.bars_of_room or 0.0)
    rooms = nearest.bars_of_room or 0.0
    away = "without any error bar" if math.isinf(rooms) else f"{rooms:.2g} of its error bars away"
    what = "is nearest to its edge" if good else "is farthest beyond its edge"
    return rooms > 1.0, f"No other means changes the verdict; the {nearest.name} {what}, {away}."


def _differences(nominal: Flight, other: Flight) -> tuple[float, float, float, float]:
    """Of phase (deg) and period (s), and the lengths of those of eccentricity and plane (deg)."""
    one, two, here, there = nominal.errors, other.errors, nominal.components, other.components
    turn = two.phase_deg - one.phase_deg
    return (
        math.remainder(turn, 360.0) if math.isfinite(turn) else math.nan,
        two.period_s - one.period_s,
        math.hypot(
            there.eccentricity_k - here.eccentricity_k, there.eccentricity_h - here.eccentricity_h
        ),
        math.hypot(there.plane_x_deg - here.plane_x_deg, there.plane_y_deg - here.plane_y_deg),
    )


def _largest(moved: list[float], varied: list[Varied]) -> tuple[float, str | None]:
    """The largest deviation and who caused it; what could not be computed counts as infinite."""
    sizes = [math.inf if math.isnan(by) else abs(by) for by in moved]
    bar = max(sizes)
    return bar, varied[sizes.index(bar)].name if bar > 0.0 else None


def _bar(
    name: str,
    unit: str,
    value: float,
    bar: float,
    cause: str | None,
    allowed: float | None,
    room: float | None,
) -> ErrorBar:
    rooms = None
    if room is not None:
        rooms = room / bar if bar > 0.0 else math.inf
    return ErrorBar(
        name=name,
        unit=unit,
        value=value,
        bar=bar,
        cause=cause,
        allowed=allowed,
        room=room,
        bars_of_room=rooms,
    )
