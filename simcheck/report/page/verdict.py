"""The first section of a page: what it comes to, and the numbers that it rests on as bars."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import NamedTuple

from simcheck.judging import LimitUse, limit_uses
from simcheck.measuring import REVOLUTIONS
from simcheck.records.case import Case
from simcheck.records.dispersion import Dispersion
from simcheck.records.flight import Flight, Verdict
from simcheck.records.hold import Hold
from simcheck.records.quantities import QUANTITIES, Quantity, error_of, listed_tolerances
from simcheck.records.result import Result
from simcheck.report.judged_text import CAUTION
from simcheck.report.page import html
from simcheck.report.page.html import Column, Markup, Piece, element, joined
from simcheck.report.words import (
    count,
    duration,
    fixed,
    kilograms,
    kilometres,
    share,
    significant,
    speed,
)

_WIDTH, _FULL = 176, 140  # of a bar and of what is allowed, so that more than allowed is seen
_LIMITS = {
    "duration": "arrival time",
    "dv": "Δv",
    "propellant": "propellant",
    "altitude": "lowest altitude",
    "radius": "largest radius",
    "separation": "closest approach",
}
_AT_LEAST = {"altitude", "separation"}
_DECISIONS = {"met": True, "not met": False, "inconclusive": None}


class Judged(NamedTuple):
    """A craft's flight and the verdict on it: the command's own, or of the plan flown perfectly."""

    case: Case
    flight: Flight
    verdict: Verdict


def verdict_section(result: Result, judged: Sequence[Judged]) -> Markup:
    """The outcome in a sentence, errors and limits as tables with bars, and the caution."""
    tables: list[Piece] = []
    if result.hold is not None:
        tables.append(_relays(result.hold))
    else:
        if result.flight is None and result.assignment is None and judged:
            tables.append(html.paragraph(_FOR_THIS_PAGE, class_="note"))
        for case, flight, _ in judged:
            name = f"{case.craft.name}: " if len(judged) > 1 else ""
            tables += [_errors(case, flight, name), _limits(case, flight, name)]
    return html.section(
        "verdict",
        "Verdict",
        _outcome(result, judged[0].verdict if len(judged) == 1 else None),
        tables,
        html.paragraph(CAUTION, class_="caution"),
    )


_FOR_THIS_PAGE = (
    "The bars are of the plan flown perfectly, which was done for this page; the result itself"
    " holds no single flight."
)


def _outcome(result: Result, verdict: Verdict | None) -> Piece:
    """The answer to what the command was asked."""
    if result.dispersion is not None:
        return _dispersed(result.dispersion)
    if result.hold is not None:
        return _held(result.hold)
    if result.assignment is not None:
        good = result.assignment.verdict == "within"
        text = "; ".join(result.assignment.findings) or "every craft reaches its slot"
        return _sentence(good, "Within" if good else "Outside", text)
    if verdict is None:
        return html.paragraph("The plan was not flown.", class_="outcome")
    return _flown(result.case, verdict, planned=result.flight is None)


def _sentence(good: bool | None, word: str, text: str) -> Markup:
    text = f" {text[:1].upper()}{text[1:]}."
    return html.paragraph(html.verdict_word(good, word + "."), text, class_="outcome")


def _flown(case: Case, verdict: Verdict, *, planned: bool) -> Markup:
    good = verdict.verdict == "within"
    slot = f"slot {case.craft.slot}" if "phase" in verdict.within else "the ring's orbit"
    how = ", flown perfectly for this page" if planned else ""
    if good:
        kept = f"{count(len(verdict.within), 'tolerance')} and {count(len(verdict.kept), 'limit')}"
        return _sentence(True, "Within", f"{case.craft.name} reaches {slot}{how}: {kept} kept")
    found = "; ".join(verdict.findings)
    return _sentence(
        False, "Outside", f"{case.craft.name} does not reach {slot} as asked{how}: {found}"
    )


def _dispersed(found: Dispersion) -> Piece:
    within = found.within
    asked = f"{share(found.asked)} of the flights end within"
    sure = f"with {within.confidence:.0%} confidence"
    text = {
        "met": f"It is shown {sure} that {asked}",
        "not met": f"It is ruled out {sure} that {asked}",
        "inconclusive": f"It is neither shown nor ruled out {sure} that {asked}",
    }[found.decision]
    seen = (
        f"{within.count} of {found.samples} flights ended within: {share(within.probability)},"
        f" {sure} between {share(within.low)} and {share(within.high)} ({within.interval})."
    )
    word = found.decision.capitalize()
    return [_sentence(_DECISIONS[found.decision], word, text), html.paragraph(seen)]


def _held(hold: Hold) -> Piece:
    days = fixed(hold.duration_s / 86400.0, 1, "days")
    if hold.first_days is None:
        return _sentence(True, "Holds", f"no error leaves its tolerance in {days} by itself")
    first = fixed(hold.first_days, 1, "days")
    if hold.kept:
        return _sentence(
            True, "Kept", f"by itself for {first}, and by its upkeep for the {days} followed"
        )
    return _sentence(
        False, "Lost", f"the first tolerance is left after {first}, and upkeep does not prevent it"
    )


def _relays(hold: Hold) -> Piece:
    """How long each relay stays within its tolerances by itself, and with upkeep."""
    columns = (
        Column("relay"),
        Column("first error leaves after", True),
        Column("upkeep, m/s a year", True),
        Column("largest share of a tolerance used, with upkeep", True),
        Column("that share, drawn"),
    )
    rows: list[list[Piece]] = []
    for one in hold.relays:
        days, kept = one.leaving.first_days, one.upkeep
        leaves = "never" if days is None else fixed(days, 1, "days")
        if kept is None:
            rows.append([one.name, leaves, "not computed", "", ""])
            continue
        use = significant(100.0 * kept.largest_use, "%")
        rows.append([one.name, leaves, fixed(kept.dv_m_s_year, 3), use, bar(kept.largest_use)])
    said = "Never: not within the time followed. The line across a bar is the tolerance."
    return [
        element("h3", "Each relay"),
        html.table(columns, rows, name="Each relay", cards=True),
        html.paragraph(said, class_="note"),
    ]


def _errors(case: Case, flight: Flight, name: str) -> Piece:
    tolerances = listed_tolerances(case.tolerance)
    columns = (
        Column("error"),
        Column("value", True),
        Column("tolerance", True),
        Column("share used", True),
        Column("share used, drawn"),
        Column("judgement"),
    )
    said = (
        f"Averaged over {REVOLUTIONS} whole revolutions in the ring frame, against the slot at the"
        " end of the flight; a positive phase is ahead of the slot, a positive period is longer."
        " The line across a bar is the tolerance."
    )
    drift = significant(flight.drift_deg_day, "deg/day", sign=True)
    return [
        element("h3", f"{name}Errors against the slot"),
        html.table(
            columns,
            [_error(one, flight, tolerances) for one in QUANTITIES],
            name=f"{name}Errors against the slot",
            cards=True,
        ),
        html.paragraph(f"{said} Phase drift: {drift}.", class_="note"),
    ]


def _error(quantity: Quantity, flight: Flight, tolerances: dict[str, float]) -> list[Piece]:
    error = error_of(flight.errors, quantity)
    value = significant(error, quantity.unit, sign=quantity.name in {"phase", "period"})
    if quantity.error not in tolerances:
        return [quantity.name, value, "none", "", "", "not judged"]
    tolerance = tolerances[quantity.error]
    used = abs(error) / tolerance if tolerance > 0.0 else math.nan
    good = abs(error) <= tolerance
    return [
        quantity.name,
        value,
        significant(tolerance, quantity.unit),
        significant(100.0 * used, "%"),
        bar(used),
        html.verdict_word(good, "within" if good else "outside"),
    ]


def _limits(case: Case, flight: Flight, name: str) -> Piece:
    uses = limit_uses(case, flight)
    if not uses:
        return None
    columns = (
        Column("limit"),
        Column("flown", True),
        Column("allowed", True),
        Column("margin", True),
        Column("share used, drawn"),
        Column("judgement"),
    )
    rows = [
        [
            _LIMITS[one.name],
            _measure(one, one.used),
            ("at least " if one.name in _AT_LEAST else "at most ") + _measure(one, one.limit),
            _measure(one, one.margin),
            bar(_part(one)),
            html.verdict_word(one.kept, "kept" if one.kept else "broken"),
        ]
        for one in uses
    ]
    said = (
        "Of a least altitude or distance the bar is what is asked over what was flown: a short bar"
        " is much room in both kinds of limits."
    )
    return [
        element("h3", f"{name}Limits"),
        html.table(columns, rows, name=f"{name}Limits", cards=True),
        html.paragraph(said, class_="note"),
    ]


def _part(use: LimitUse) -> float:
    part, whole = (use.limit, use.used) if use.name in _AT_LEAST else (use.used, use.limit)
    if part <= 0.0:
        return 0.0
    return part / whole if whole > 0.0 else math.inf


def _measure(use: LimitUse, value: float) -> str:
    if use.unit == "s":
        return duration(value)
    if use.unit == "m":
        return kilometres(value)
    return kilograms(value) if use.unit == "kg" else speed(value)


def bar(part: float) -> Markup | None:
    """A share of what is allowed, drawn; the line is all of it. The number stands beside it."""
    if math.isnan(part):
        return None
    over = part > 1.0
    length = min(max(part, 0.0) * _FULL, float(_WIDTH))
    pieces = joined(
        element("rect", width=_FULL, height=14, class_="track"),
        element("rect", width=f"{length:.1f}", height=14, class_="over" if over else "part"),
        element("line", x1=_FULL, x2=_FULL, y1=0, y2=14, class_="edge"),
    )
    box = f"0 0 {_WIDTH} 14"
    return element("svg", pieces, viewBox=box, class_="bar", aria_hidden="true")
