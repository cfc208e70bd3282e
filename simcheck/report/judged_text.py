"""What was judged, as text: each error beside its tolerance, each limit, and the verdict."""

from __future__ import annotations

import math

from rich.console import RenderableType
from rich.padding import Padding
from rich.text import Text

from simcheck.judging import LimitUse, limit_uses
from simcheck.measuring import REVOLUTIONS
from simcheck.records.case import Case
from simcheck.records.flight import Flight, Verdict
from simcheck.records.quantities import QUANTITIES, Quantity, error_of, listed_tolerances
from simcheck.report.tables import BAD, GOOD, cell, facts, heading, note, table, word
from simcheck.report.words import (
    clean,
    count,
    duration,
    fixed,
    kilograms,
    kilometres,
    share,
    significant,
    speed,
)

CAUTION = (
    "This is an aid to planning, not a flight clearance. Screen every burn for conjunctions with"
    " the responsible service, follow the operator's own rules, the licensing authority and"
    " debris-mitigation standards, and have qualified staff approve commands."
)


def errors_text(case: Case, flight: Flight) -> list[RenderableType]:
    """The four errors with their tolerances, the drift, and how long the phase holds."""
    tolerances = listed_tolerances(case.tolerance)
    rows = [_error_row(quantity, flight, tolerances) for quantity in QUANTITIES]
    names = ("error", ">value", ">tolerance", ">share used", "")
    averaged = (
        f"Averaged over {REVOLUTIONS} whole revolutions in the ring frame, against the slot at the"
        " end of the flight; a positive phase is ahead of the slot, a positive period is longer."
    )
    drift = [
        ("phase drift", significant(flight.drift_deg_day, "deg/day", sign=True)),
        ("phase holds", _holds(flight, tolerances)),
    ]
    return [
        heading("Errors against the slot"),
        table(names, rows),
        note(averaged),
        facts(drift),
    ]


def _error_row(
    quantity: Quantity, flight: Flight, tolerances: dict[str, float]
) -> tuple[str | Text, ...]:
    error = error_of(flight.errors, quantity)
    signed = quantity.name in {"phase", "period"}
    value = significant(error, quantity.unit, sign=signed)
    if quantity.error not in tolerances:
        return quantity.name, value, "none", "", "not judged"
    tolerance = tolerances[quantity.error]
    good = abs(error) <= tolerance
    used = share(abs(error) / tolerance if tolerance > 0.0 else math.nan)
    asked = significant(tolerance, quantity.unit)
    return quantity.name, value, asked, used, word(good, "within", "OUTSIDE")


def _holds(flight: Flight, tolerances: dict[str, float]) -> str:
    if "phase_deg" not in tolerances:
        return ""
    if math.isnan(flight.drift_deg_day):
        return "not known"
    if not abs(flight.errors.phase_deg) <= tolerances["phase_deg"]:
        return "outside its tolerance already"
    if flight.holds_days is None or math.isinf(flight.holds_days):
        return "no end in sight at this drift"
    return f"{fixed(flight.holds_days, 1, 'days')} until it leaves its tolerance at this drift"


_LIMIT_NAMES = {
    "duration": "arrival time",
    "dv": "Δv",
    "propellant": "propellant",
    "altitude": "lowest altitude",
    "radius": "largest radius",
    "separation": "closest approach",
}


def limits_text(case: Case, flight: Flight) -> list[RenderableType]:
    """Every limit that stands, what was flown of it and the margin."""
    rows = [
        (
            _LIMIT_NAMES[limit.name],
            _measure(limit, limit.used),
            _measure(limit, limit.limit),
            _measure(limit, limit.margin),
            word(limit.kept, "kept", "BROKEN"),
        )
        for limit in limit_uses(case, flight)
    ]
    names = ("limit", ">flown", ">allowed", ">margin", "")
    return [heading("Limits"), table(names, rows)]


def _measure(limit: LimitUse, value: float) -> str:
    if limit.unit == "s":
        return duration(value)
    if limit.unit == "m":
        return kilometres(value)
    return kilograms(value) if limit.unit == "kg" else speed(value)


def verdict_text(case: Case, verdict: Verdict) -> list[RenderableType]:
    """The verdict in a sentence, and what it is not."""
    good = verdict.verdict == "within"
    slot = f"slot {case.craft.slot}" if "phase" in verdict.within else "the ring's orbit"
    if good:
        tolerances = count(len(verdict.within), "tolerance")
        limits = count(len(verdict.kept), "limit")
        text = f"{case.craft.name} reaches {slot}: {tolerances} and {limits} kept."
    else:
        text = f"{case.craft.name} does not reach {slot} as asked: {'; '.join(verdict.findings)}."
    sentence = cell("WITHIN." if good else "OUTSIDE.", GOOD if good else BAD)
    sentence.append(" " + clean(text), style="")
    return [heading("Verdict"), Padding(sentence, (0, 0, 0, 2)), Text(), note(CAUTION)]
