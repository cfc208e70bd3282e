"""What `check` and `fly` share: fly a plan, judge it, print it, and end with its exit code."""

from __future__ import annotations

import os
from typing import Literal

from simcheck import api
from simcheck.cli.hints import after_flight, suggest
from simcheck.cli.options import Asked
from simcheck.cli.plotting import plotted
from simcheck.cli.screen import busy, show, show_json
from simcheck.records.case import Case
from simcheck.records.deep import DeepCheck
from simcheck.records.plan import Plan
from simcheck.records.result import Result
from simcheck.records.setback import Setback

WITHIN, OUTSIDE = 0, 1
_WORKERS = 4


def fly_and_judge(
    command: Literal["check", "fly"],
    case: Case,
    plan: Plan,
    *,
    asked: Asked,
    sample: int | None,
    as_json: bool,
    deep: bool = False,
    messages: tuple[str, ...] = (),
    page_path: str | None = None,
    plot_folder: str | None = None,
) -> int:
    """Fly the plan and print the verdict. Returns the exit code, whatever the output format.

    deep adds a double check of the numbers; it does not change the code. messages are files to
    write the plan or the flight to, page_path one for the page, plot_folder one for pictures.
    """
    with busy("flying"):
        flight = api.fly(case, plan, seed=asked.seed, sample=sample, planner=asked.planner)
        verdict = api.judge(case, flight)
        ring = api.resolved_ring(case)
    found: DeepCheck | None = None
    if deep:
        with busy("double-checking"):
            found = api.doublecheck(case, plan, flight)
    lost: tuple[Setback, ...] = ()
    if command == "check":
        # No spinner here: its thread and a fork of this process do not go together.
        lost = api.setbacks(case, plan, asked.planner, workers=min(os.cpu_count() or 1, _WORKERS))
    for path in messages:
        api.write_message(path, case, plan, flight, verdict)
    result = Result(
        kind=command,
        case=case,
        plan=plan,
        flight=flight,
        verdict=verdict,
        setbacks=lost,
        deep=found,
    )
    plotted(plot_folder, result)
    if page_path is not None:
        with busy("drawing"):
            api.write_report(page_path, result)
    if as_json:
        from simcheck.files.documents import flight_document
        from simcheck.files.records_json import write_record

        document = flight_document(
            command, case, plan=plan, flight=flight, verdict=verdict, ring=ring, setbacks=lost
        )
        show_json(document if found is None else document | {"deep": write_record(found)})
    else:
        from simcheck.report.flight_text import flight_text

        text = flight_text(case, plan, flight, verdict, ring, lost)
        if found is None:
            show(text)
        else:
            from simcheck.report.deep_text import deep_text
            from simcheck.report.tables import stacked

            show(stacked(text, *deep_text(found)))
    suggest(after_flight(case, flight, verdict), as_json=as_json)
    return WITHIN if verdict.verdict == "within" else OUTSIDE
