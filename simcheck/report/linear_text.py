"""Linear covariance as text: the spread it gives beside that of the flights, and what drives it."""

from __future__ import annotations

from rich.console import RenderableType
from rich.text import Text

from simcheck.records.linear import Comparison, Linear, LinearBeside
from simcheck.report.tables import cell, facts, heading, note, table, word
from simcheck.report.words import count, share, significant

_NAMES = {
    "phase_deg": "phase, deg",
    "period_s": "period, s",
    "eccentricity": "eccentricity",
    "plane_deg": "plane, deg",
    "dv_used_m_s": "Δv, m/s",
    "propellant_used_kg": "propellant, kg",
}
_DRIVERS = 4
_LEAST = 5e-4  # of the variance: less would read 0.0 %
_OPEN = "Linear covariance beside the flights"
_CLOSED = "Linear covariance, flown without corrections"


def linear_text(found: LinearBeside) -> list[RenderableType]:
    """The section of `simcheck disperse` on linear covariance."""
    title = heading(_CLOSED if found.closed_loop else _OPEN)
    if found.linear is None:
        return [title, note(f"None: {found.why_not}.")]
    if not found.linear.sources:
        return [title, note("None: no error varies.")]
    return [title, _table(found.linear, found), note(_said(found)), facts(_drivers(found.linear))]


def _table(linear: Linear, found: LinearBeside) -> RenderableType:
    names = ["", "", ">without errors", ">linear"]
    flown = {part.outcome: part for part in found.comparisons}
    if flown:
        names += [">flights", ">at least", ">at most", ""]
    rows = []
    for of in linear.outcomes:
        row = [_NAMES[of.outcome], of.kind, significant(of.nominal), significant(of.spread)]
        rows.append([*map(cell, row), *(_flown(flown[of.outcome]) if flown else [])])
    return table(names, rows)


def _flown(part: Comparison) -> list[Text]:
    numbers = [cell(significant(x)) for x in (part.flown, part.low, part.high)]
    return [*numbers, word(not part.parts, "agree", "part")]


def _said(found: LinearBeside) -> str:
    """One sentence on what the columns are, and what is to be known about these."""
    said = (
        "Linear: all errors at once, carried along the flight without errors by the derivatives of "
        "its arcs; sigma is about the mean, rms the root mean square of a length."
    )
    if found.closed_loop:
        return (
            f"{said} Flown without corrections these would be the spreads; the flights above have "
            f"a team that corrects, so the two are not compared.{_left_out(found, '')}"
        )
    if not found.comparisons:
        return f"{said} {_few(found)}{_left_out(found, '')}"
    return (
        f"{said} Beside them the spread of {count(found.flights, 'flight')} with its "
        f"{found.method}. The two part where the linear one lies outside it and is more than 5 % "
        "off: errors too large for straight lines."
        f"{_left_out(found, ', and so are the flights that missed one')}"
    )


def _few(found: LinearBeside) -> str:
    return f"There are too few flights to compare with: {found.flights}."


def _left_out(found: LinearBeside, flights: str) -> str:
    if found.linear is None or not found.linear.left_out:
        return ""
    return f" Missed burns have no derivative and are left out{flights}."


def _drivers(linear: Linear) -> list[tuple[str, str]]:
    rows = []
    for outcome, shares in linear.drivers.items():
        named = [f"{source} {share(part)}" for source, part in shares.items() if part >= _LEAST]
        rows.append((_NAMES[outcome], ", ".join(named[:_DRIVERS])))
    return rows
