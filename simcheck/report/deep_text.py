"""A double check as text: the error bars, what moved when the flight was computed otherwise."""

from __future__ import annotations

import math

from rich.console import RenderableType
from rich.text import Text

from simcheck.records.deep import DeepCheck, Deviation, ErrorBar
from simcheck.report.tables import facts, heading, note, table, word
from simcheck.report.words import count, significant

_NAMES = {"duration": "arrival time", "dv": "Δv", "altitude": "lowest altitude"} | {
    "radius": "largest radius",
    "separation": "closest approach",
}
_DEVIATIONS = ("by", ">phase, deg", ">period, s", ">eccentricity", ">plane, deg", "verdict")


def deep_text(deep: DeepCheck) -> list[RenderableType]:
    """Everything that `--deep` says beyond the flight."""
    verdict = [("verdict", f"{'FIRM' if deep.firm else 'NOT FIRM'}. {deep.why}")]
    if not deep.variations:
        return [heading("Double check"), facts(verdict)]
    ways = count(len(deep.variations), "way")
    said = (
        f"The perfect flight was computed in {ways} more; an error bar is the largest difference"
        " that one of them makes, room the distance from the tolerance or limit in error bars."
    )
    bars = ("", ">error bar", ">tolerance or limit", ">room in bars", "largest by")
    otherwise = ("averaged over", *_DEVIATIONS[1:])
    definition = (
        "Other numbers of samples and revolutions, told at the same moment: a property of how the"
        " errors are defined, not of the numerics, and in no error bar."
    )
    return [
        heading("Double check: numerical error bars"),
        table(bars, [_bar_row(bar) for bar in (*deep.errors, *deep.limits)]),
        note(said),
        heading("Differences by each of them"),
        table(_DEVIATIONS, [_row(one) for one in deep.variations]),
        heading("The averaging itself"),
        table(otherwise, [_row(one) for one in deep.averaging]),
        note(definition),
        heading("Firmness"),
        facts(verdict),
    ]


def _bar_row(bar: ErrorBar) -> tuple[str, ...]:
    return (
        _NAMES.get(bar.name, bar.name),
        significant(bar.bar, bar.unit) if bar.bar > 0.0 else "none seen",
        "none" if bar.allowed is None else f"{bar.allowed:.6g} {bar.unit}".rstrip(),
        "" if bar.bars_of_room is None else _rooms(bar.bars_of_room),
        bar.cause or "",
    )


def _rooms(rooms: float) -> str:
    return "no end" if math.isinf(rooms) else significant(rooms)


def _row(one: Deviation) -> tuple[str | Text, ...]:
    return (
        one.name,
        significant(one.phase_deg, sign=True),
        significant(one.period_s, sign=True),
        significant(one.eccentricity),
        significant(one.plane_deg),
        word(one.verdict == "within", "within", "OUTSIDE"),
    )
