"""A finished ring over months and years as text: what `simcheck hold` says."""

from __future__ import annotations

import math

from rich.console import RenderableType
from rich.padding import Padding
from rich.text import Text

from simcheck.measuring import RingMotion
from simcheck.records.case import Case, Tolerance
from simcheck.records.hold import EndError, Hold, Leaving, RelayHold
from simcheck.records.plan import Plan
from simcheck.report.flight_text import constants
from simcheck.report.judged_text import CAUTION
from simcheck.report.network_text import network_parts, network_warning
from simcheck.report.plan_text import ring_words
from simcheck.report.tables import BAD, GOOD, Fact, cell, facts, heading, note, stacked, table
from simcheck.report.words import clean, count, duration, fixed, kilometres, significant

_DAY, _YEAR_DAYS = 86400.0, 365.25
_ROWS = 13  # of the errors over time, at most


def hold_text(case: Case, plan: Plan | None, hold: Hold, ring: RingMotion) -> RenderableType:
    """Everything that `simcheck hold` says."""
    return stacked(
        _header(case, plan, hold, ring),
        *_lasting(case, hold),
        *_over_time(hold),
        *_upkeep(case, hold),
        *_end_errors(case, hold),
        *_network(case, hold),
        *_numerical(hold),
        *constants(case, ring),
        *_verdict(hold),
    )


def _header(case: Case, plan: Plan | None, hold: Hold, ring: RingMotion) -> RenderableType:
    begins = f"{duration(hold.start_s)} after the epoch"
    pairs: list[Fact] = [
        ("ring", ring_words(case, ring)),
        ("body", f"{case.body.name}; forces: {', '.join(case.forces) or 'two-body only'}"),
        ("transfer", "none: every relay begins on its slot" if plan is None else plan.summary),
        ("followed", f"{_days(hold.duration_s / _DAY)} from {begins}"),
    ]
    warning = network_warning(case, ring)
    if warning:
        pairs.append(("WARNING", warning))
    pairs += [("note", text) for text in hold.notes]
    return stacked(heading(f"The finished ring: {case.title}"), facts(pairs))


def _lasting(case: Case, hold: Hold) -> list[RenderableType]:
    """When each tolerance is left, nothing being done."""
    several = len(hold.relays) > 1
    names = ("relay", ">slot", *_leaving_names(case.tolerance, spacing=several), ">drift, deg/day")
    rows = [
        (
            relay.name,
            str(relay.slot),
            *_leaving_cells(case.tolerance, relay.leaving, spacing=several),
            significant(relay.drift_deg_day, sign=True),
        )
        for relay in hold.relays
    ]
    said = (
        "Days until the error leaves its tolerance, nothing being done; a dash means not within the"
        " time followed."
    )
    if several and case.tolerance.phase_rad is not None:
        said += " Spacing is the angle to the next relay ahead, held to the tolerance of the phase."
    low, high = hold.wander_deg
    parts = [heading("How long it holds by itself"), table(names, rows), note(said)]
    if low or high:
        parts.append(
            note(
                f"Other bodies move all slots together by {_swing(low)} to {_swing(high)} deg"
                " beside their mean motion: that moves the ring as a whole and is no error."
            )
        )
    return parts


def _swing(value: float) -> str:
    return f"{round(value, 2) + 0.0:+.2f}"


def _leaving_names(tolerance: Tolerance, *, spacing: bool) -> list[str]:
    names = []
    if tolerance.phase_rad is not None:
        names += [">phase", ">spacing"] if spacing else [">phase"]
    if tolerance.period_s is not None:
        names.append(">period")
    if tolerance.eccentricity is not None:
        names.append(">eccentricity")
    if tolerance.plane_rad is not None:
        names.append(">plane")
    return names


def _leaving_cells(tolerance: Tolerance, leaving: Leaving, *, spacing: bool) -> list[str]:
    days: list[float | None] = []
    if tolerance.phase_rad is not None:
        days += [leaving.phase_days, leaving.spacing_days] if spacing else [leaving.phase_days]
    if tolerance.period_s is not None:
        days.append(leaving.period_days)
    if tolerance.eccentricity is not None:
        days.append(leaving.eccentricity_days)
    if tolerance.plane_rad is not None:
        days.append(leaving.plane_days)
    return ["-" if day is None else f"{day:.1f}" for day in days]


def _over_time(hold: Hold) -> list[RenderableType]:
    """The largest errors of any relay as time goes on."""
    series = hold.series
    n = len(series.time_days)
    if n < 2:
        return []
    step = max(math.ceil((n - 1) / (_ROWS - 1)), 1)
    rows = [
        (
            f"{series.time_days[i]:.1f}",
            significant(float(abs(series.phase_deg[:, i]).max())),
            significant(float(abs(series.spacing_deg[:, i]).max())),
            significant(float(abs(series.period_s[:, i]).max())),
            significant(float(series.eccentricity[:, i].max())),
            significant(float(series.plane_deg[:, i].max())),
        )
        for i in [*range(0, n - 1, step), n - 1]
    ]
    names = (">day", ">phase, deg", ">spacing, deg", ">period, s", ">eccentricity", ">plane, deg")
    return [heading("Largest error of any relay, nothing being done"), table(names, rows)]


def _upkeep(case: Case, hold: Hold) -> list[RenderableType]:
    rows = [_upkeep_row(relay) for relay in hold.relays if relay.upkeep is not None]
    if not rows:
        return []
    names = ("relay", ">Δv, m/s a year", ">burns a year", ">largest use", "")
    said = (
        "Each relay trimmed as an error comes near its tolerance, with the case's engines, the"
        " burns flown perfectly. The largest use is the largest share of a tolerance on the way."
    )
    parts = [heading("Upkeep"), table(names, rows), note(said)]
    if hold.tank_years is not None:
        years = "more than 1000" if hold.tank_years > 1000 else fixed(hold.tank_years, 1)
        text = f"What {case.craft.name} has left on arrival makes its upkeep for {years} years."
        parts.append(note(text))
    return parts


def _upkeep_row(relay: RelayHold) -> tuple[str | Text, ...]:
    upkeep = relay.upkeep
    if upkeep is None:
        return (relay.name, "", "", "", "")
    use = f"{100 * upkeep.largest_use:.0f} %" if math.isfinite(upkeep.largest_use) else "lost"
    trouble = f"no trim at {count(upkeep.untrimmed, 'look')}" if upkeep.untrimmed else ""
    return (
        relay.name,
        fixed(upkeep.dv_m_s_year, 2),
        fixed(upkeep.burns_year, 1),
        cell(use, BAD if upkeep.largest_use > 1.0 else ""),
        trouble,
    )


def _end_errors(case: Case, hold: Hold) -> list[RenderableType]:
    if not hold.end_errors:
        return []
    names = ("arrival", *_leaving_names(case.tolerance, spacing=False), ">drift, deg/day")
    rows = [_end_row(case, one) for one in hold.end_errors]
    said = (
        f"Days until {case.craft.name} leaves a tolerance, by how it arrives; nothing being done."
        " A tighter tolerance on what drives it buys the difference."
    )
    return [heading("What the errors on arrival do"), table(names, rows), note(said)]


def _end_row(case: Case, one: EndError) -> tuple[str, ...]:
    cells = _leaving_cells(case.tolerance, one.leaving, spacing=False)
    return (one.what, *cells, significant(one.drift_deg_day, sign=True))


def _network(case: Case, hold: Hold) -> list[RenderableType]:
    if hold.network is None:
        return []
    parts = network_parts(case, hold.network)
    end = hold.network_end
    if end is None:
        return parts
    first = hold.network
    rows = []
    if first.links.links:
        longest = [max(x.longest_m for x in one.links.links) for one in (first, end)]
        rows.append(("longest link", kilometres(longest[0]), kilometres(longest[1])))
    if first.links.closed_share is not None:
        shares = (_share(first.links.closed_share), _share(end.links.closed_share))
        rows.append(("full ring closed", *shares))
    rows += [
        (
            "surface covered at once, mean",
            _share(first.coverage.instant_mean),
            _share(end.coverage.instant_mean),
        ),
        (
            "surface covered at once, least",
            _share(first.coverage.instant_least),
            _share(end.coverage.instant_least),
        ),
    ]
    names = ("", ">at the start", ">at the end, nothing being done")
    parts += [heading("The network at the start and at the end"), table(names, rows)]
    if hold.ring_closed_share is not None:
        parts.append(note(_closed_words(hold)))
    return parts


def _closed_words(hold: Hold) -> str:
    """For what share of the whole hold the ring is closed."""
    if hold.ring_opens_days is None:
        return "Nothing being done, the full ring is closed at every look over the whole time."
    share = fixed(100.0 * (hold.ring_closed_share or 0.0), 1, "%")
    day = hold.ring_opens_days
    opens = f"first seen open on day {day:.0f}" if day > 0.0 else "open now and then from the start"
    return (
        f"Nothing being done, the full ring is closed for {share} of the whole time; it is {opens}."
    )


def _share(value: float | None) -> str:
    return "-" if value is None else fixed(100.0 * value, 1, "%")


def _numerical(hold: Hold) -> list[RenderableType]:
    gap = significant(hold.numerical_deg, "deg")
    return [
        heading("Numerics"),
        facts(
            [
                (
                    "full integration",
                    "nothing is averaged over; a series of full accuracy differs by at most"
                    f" {gap} in a phase at the end",
                )
            ]
        ),
    ]


def _verdict(hold: Hold) -> list[RenderableType]:
    followed = _days(hold.duration_s / _DAY)
    first = hold.first_days
    if first is None:
        word, text = "HOLDS.", f"Every relay stays within its tolerances for {followed}."
    else:
        text = f"The first tolerance is left after {_days(first)}, nothing being done"
        if first == 0.0:
            text = "A tolerance is exceeded from the start"
        if hold.kept:
            most = max(x.upkeep.dv_m_s_year for x in hold.relays if x.upkeep is not None)
            word = "KEPT."
            text += f"; trims of at most {fixed(most, 2)} m/s a year and relay keep it."
        else:
            trims = any(relay.upkeep is not None for relay in hold.relays)
            word = "DOES NOT HOLD."
            text += ", and the trims do not keep it." if trims else "."
    sentence = cell(word, GOOD if hold.stays else BAD)
    sentence.append(" " + clean(text), style="")
    return [heading("Verdict"), Padding(sentence, (0, 0, 0, 2)), Text(), note(CAUTION)]


def _days(days: float) -> str:
    if days >= 2 * _YEAR_DAYS:
        return f"{days / _YEAR_DAYS:.4g} years"
    return f"{days:.1f} days"
