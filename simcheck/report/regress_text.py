"""Cases against their baselines as text: a line for each, a table for what moved, the verdict."""

from __future__ import annotations

import shlex

from rich.console import RenderableType
from rich.padding import Padding
from rich.text import Text

from simcheck.records.baseline import CaseRegression, Difference, Move, Regression, Standing
from simcheck.records.measures import Measure, Value, measure_at, text_of
from simcheck.report.tables import BAD, GOOD, cell, heading, note, stacked, table
from simcheck.report.words import clean, count, duration, fixed, kilograms, share, significant

_STYLES: dict[Standing, str] = {
    "same": GOOD,
    "better": GOOD,
    "worse": BAD,
    "changed": BAD,
    "no baseline": BAD,
    "failed": BAD,
}
_MOST_ROWS = 24
_CLOCK = {"arrival_time_s", "ignition_s", "duration_s"}
_LONG_S = 600.0
_ORDER: tuple[Move, ...] = ("worse", "better", "changed")


def regression_text(found: Regression) -> RenderableType:
    """Everything that `simcheck regress` says before it stores anything."""
    trial = found.trial
    dispersed = f"{trial.samples} flights of seed {trial.seed}" if trial.samples else "none"
    tried = f"planner {trial.planner}, effort {trial.effort}, dispersed: {dispersed}"
    return stacked(
        heading("Cases against their baselines"),
        note(tried),
        table(("case", "", "what"), [_row(case) for case in found.cases]),
        *(part for case in found.cases for part in case_text(case)),
        *_verdict(found),
    )


def standing_of(case: CaseRegression) -> str:
    """What a case's line says of it."""
    if case.standing == "failed":
        return case.found.failure or ""
    if case.standing == "no baseline":
        return _summary(case)
    if case.standing == "same":
        return f"all {count(len(case.differences), 'value')} as in the baseline"
    moves = [difference.move for difference in case.moved]
    named = [f"{moves.count(move)} {move}" for move in _ORDER if move in moves]
    return f"{', '.join(named)} of {count(len(case.differences), 'value')}"


def _row(case: CaseRegression) -> tuple[str | Text, ...]:
    style = _STYLES[case.standing]
    return case.path, cell(case.standing, style), standing_of(case)


def _summary(case: CaseRegression) -> str:
    values = case.found.values
    if values.get("plan.result") == "no plan":
        return f"no plan: the limit on {values['plan.limit']} binds"
    dv, burns = values["plan.commanded_dv_m_s"], values["plan.burns"]
    return (
        f"{count(int(float(burns)), 'burn')}, {fixed(float(dv), 3)} m/s, {values['flight.verdict']}"
    )


def case_text(case: CaseRegression) -> list[RenderableType]:
    """What moved in a case, by how much, and what to know about it; nothing where all is same."""
    rows = case.moved
    if not rows and not case.notes:
        return []
    parts: list[RenderableType] = [heading(case.path)]
    if rows:
        names = ("value", ">baseline", ">now", ">change", ">allowed", "")
        parts.append(table(names, [_moved(row) for row in rows[:_MOST_ROWS]]))
    if len(rows) > _MOST_ROWS:
        parts.append(note(f"and {len(rows) - _MOST_ROWS} more, all of them in --json"))
    said = [*case.notes, *_messages(case)]
    return [*parts, *(note(f"{text[:1].upper()}{text[1:]}.") for text in said)]


def _messages(case: CaseRegression) -> list[str]:
    if case.standing in {"same", "better"}:
        return []
    return [message.rstrip(".") for message in case.found.messages]


def _moved(row: Difference) -> tuple[str | Text, ...]:
    measure = measure_at(row.path)
    style = {"worse": BAD, "better": GOOD}.get(row.move, "")
    change = "" if row.change is None else amount(measure, row.change, sign=True)
    allowed = "" if row.allowed is None else amount(measure, row.allowed)
    return (
        text_of(row.path),
        shown(measure, row.baseline),
        shown(measure, row.found),
        change,
        allowed,
        cell(row.move, style),
    )


def shown(measure: Measure, value: Value | None) -> str:
    """A value as people read it, none where there is none."""
    if value is None:
        return "none"
    if isinstance(value, str):
        return value
    return duration(value) if measure.name in _CLOCK else amount(measure, value)


def amount(measure: Measure, value: float, *, sign: bool = False) -> str:
    """A size of what a measure measures."""
    if measure.name in _CLOCK and abs(value) >= _LONG_S:
        return ("+" if sign and value > 0.0 else "") + duration(value)
    texts = {
        "speed": lambda: fixed(value, 3, "m/s", sign=sign),
        "length": lambda: fixed(value / 1e3, 1, "km", sign=sign),
        "mass": lambda: fixed(value, 2, "kg", sign=sign) if sign else kilograms(value),
        "share": lambda: ("+" if sign and value > 0.0 else "") + share(value),
        "count": lambda: fixed(value, 0, sign=sign),
    }
    if measure.kind in texts:
        return texts[measure.kind]()
    return significant(value, measure.unit, sign=sign)


def _verdict(found: Regression) -> list[RenderableType]:
    word, style = _word(found)
    sentence = cell(f"{word}.", style)
    sentence.append(" " + clean(_said(found)), style="")
    parts: list[RenderableType] = [heading("Verdict"), Padding(sentence, (0, 0, 0, 2))]
    if found.left_out:
        parts.append(note(f"Interrupted: {count(found.left_out, 'case')} left out."))
    return parts


def _word(found: Regression) -> tuple[str, str]:
    standings = {case.standing for case in found.cases}
    if standings & {"failed", "worse", "changed"}:
        return "REGRESSED", BAD
    if "no baseline" in standings:
        return "NOT COMPARED", BAD
    return ("BETTER" if "better" in standings else "KEPT"), GOOD


def _said(found: Regression) -> str:
    order: tuple[Standing, ...] = ("failed", "worse", "changed", "no baseline", "better", "same")
    standings = [case.standing for case in found.cases]
    parts = [f"{standings.count(x)} {x}" for x in order if x in standings]
    return f"{count(len(found.cases), 'case')}: {', '.join(parts) or 'none tried'}."


def how_to_accept(found: Regression) -> str:
    """The command that makes what was found the baselines; empty where nothing can be accepted.

    Options that the trial was made with are in it.
    """
    open_ones = [x.path for x in found.cases if x.standing not in {"same", "failed"}]
    if not open_ones:
        return ""
    trial, words = found.trial, ["simcheck", "regress", "--accept"]
    words += ["--planner", trial.planner] if trial.planner != "ring" else []
    words += ["--effort", str(trial.effort)] if trial.effort != 1 else []
    words += ["--samples", str(trial.samples)] if trial.samples != 200 else []
    return " ".join([*words, *map(shlex.quote, open_ones)])
