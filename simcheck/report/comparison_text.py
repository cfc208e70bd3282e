"""Two plans side by side as text."""

from __future__ import annotations

import math

from rich.console import RenderableType
from rich.text import Text

from simcheck.records.comparison import BurnPair, BurnSide, Comparison, Figure, Group, Side
from simcheck.report.tables import BAD, GOOD, Fact, cell, facts, heading, note, stacked, table
from simcheck.report.words import clean, duration, fixed, significant

_NAMES = {
    "burns": "burns",
    "total_dv_m_s": "deterministic Δv, impulses",
    "losses_m_s": "finite-burn loss, re-aiming",
    "commanded_dv_m_s": "Δv commanded",
    "lower_bound_dv_m_s": "floor",
    "above_lower_bound_m_s": "impulses above the floor",
    "propellant_used_kg": "propellant",
    "arrival_time_s": "arrival after the epoch",
    "phase_deg": "phase",
    "period_s": "period",
    "eccentricity": "eccentricity",
    "plane_deg": "plane",
    "duration_s": "arrival time",
    "dv_m_s": "Δv",
    "propellant_kg": "propellant",
    "altitude_m": "lowest altitude",
    "radius_m": "largest radius",
    "separation_m": "closest approach",
}
_GROUPS: dict[Group, str] = {
    "cost": "Cost and time",
    "end": "Errors against the slot",
    "margin": "Margins",
}
_DECIMALS = {"m/s": 3, "kg": 2}


def comparison_text(comparison: Comparison, names: tuple[str, str]) -> RenderableType:
    """Everything that is said about two plans; `names` tells where each comes from."""
    a, b = comparison.a, comparison.b
    return stacked(
        heading(a.title if a.title == b.title else f"{a.title}  |  {b.title}"),
        facts([*_side_words("A", names[0], a), *_side_words("B", names[1], b)]),
        *_burns(comparison.burns),
        *(part for group in _GROUPS for part in _figures(comparison.figures, group)),
        heading("Verdicts"),
        table(("", "verdict", "because"), [_verdict("A", a), _verdict("B", b)]),
        Text(),
        note(comparison.summary),
    )


def _side_words(letter: str, name: str, side: Side) -> list[Fact]:
    """Where a plan comes from, what it is, and what it warns of."""
    told = [(f"{letter} WARNING", clean(warning)) for warning in side.plan.warnings]
    return [(letter, f"{name}: {side.plan.summary} (planner: {side.plan.planner})"), *told]


def _burns(pairs: tuple[BurnPair, ...]) -> list[RenderableType]:
    """A row a burn, and one with what is different where both plans have it."""
    rows: list[tuple[str, ...]] = []
    for pair in pairs:
        rows += [_burn_row(name, burn) for name, burn in (("A", pair.a), ("B", pair.b)) if burn]
        if pair.later_s is not None:
            rows.append(_difference_row(pair))
    names = ("", "burn", "purpose", ">after the epoch", ">Δv, m/s", ">lasting, s", "by")
    said = (
        "B less A where both have the burn; the angles are between their impulses, in inertial axes"
        " and in axes turning with the craft."
    )
    return [
        heading("Burns"),
        table(names, rows) if rows else note("Neither needs a burn."),
        *([note(said)] if any(pair.later_s is not None for pair in pairs) else []),
    ]


def _burn_row(name: str, burn: BurnSide) -> tuple[str, ...]:
    return (
        name,
        burn.label,
        burn.purpose,
        duration(burn.time_s),
        fixed(burn.dv_m_s, 3),
        fixed(burn.duration_s, 1),
        burn.engine,
    )


def _difference_row(pair: BurnPair) -> tuple[str, ...]:
    turned = f"turned {fixed(pair.turned_deg, 2)} and {fixed(pair.turned_rsw_deg, 2, 'deg')}"
    later = duration(pair.later_s)
    lasting = pair.b.duration_s - pair.a.duration_s if pair.a and pair.b else math.nan
    return (
        "B-A",
        "",
        turned,
        later if later.startswith("-") else f"+{later}",
        fixed(pair.more_m_s, 3, sign=True),
        fixed(lasting, 1, sign=True),
        "",
    )


def _figures(figures: tuple[Figure, ...], group: Group) -> list[RenderableType]:
    rows = [
        (
            _NAMES.get(figure.name, figure.name),
            _shown(figure, figure.a),
            _shown(figure, figure.b),
            _shown(figure, figure.difference, sign=True),
            figure.better or "",
        )
        for figure in figures
        if figure.group == group and not (figure.a is None and figure.b is None)
    ]
    return [heading(_GROUPS[group]), table(("", ">A", ">B", ">B less A", "better"), rows)]


def _shown(figure: Figure, value: float | None, *, sign: bool = False) -> str:
    """A number of a figure, in words that suit its unit."""
    if value is None or math.isnan(value):
        return "" if value is None else "not known"
    if figure.group == "end":
        signed = sign or figure.name in {"phase_deg", "period_s"}
        return significant(value, figure.unit, sign=signed)
    if figure.unit == "s":
        text = duration(value)
        return f"+{text}" if sign and not text.startswith("-") else text
    if figure.unit == "m":
        return fixed(value / 1e3, 1, "km", sign=sign)
    return fixed(value, _DECIMALS.get(figure.unit, 0), figure.unit, sign=sign)


def _verdict(name: str, side: Side) -> tuple[str | Text, ...]:
    good = side.verdict.verdict == "within"
    why = "all tolerances and limits are kept" if good else "; ".join(side.verdict.findings)
    return name, cell("WITHIN", GOOD) if good else cell("OUTSIDE", BAD), why
