"""What `check` and `fly` share: fly a plan, judge it, print it, and end with its exit code."""

from __future__ import annotations

import os
from typing import Literal

from simcheck import api
from simcheck.cli.options import Asked
from simcheck.cli.screen import busy, show, show_json
from simcheck.records.case import Case
from simcheck.records.plan import Plan
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
) -> int:
    """Fly the plan and print the verdict. Returns the exit code, whatever the output format."""
    with busy("flying"):
        flight = api.fly(case, plan, seed=asked.seed, sample=sample, planner=asked.planner)
        verdict = api.judge(case, flight)
        ring = api.resolved_ring(case)
    lost: tuple[Setback, ...] = ()
    if command == "check":
        # No spinner here: its thread and a fork of this process do not go together.
        lost = api.setbacks(case, plan, asked.planner, workers=min(os.cpu_count() or 1, _WORKERS))
    if as_json:
        from simcheck.files.documents import flight_document

        document = flight_document(
            command, case, plan=plan, flight=flight, verdict=verdict, ring=ring, setbacks=lost
        )
        show_json(document)
    else:
        from simcheck.report.flight_text import flight_text

        show(flight_text(case, plan, flight, verdict, ring, lost))
    return WITHIN if verdict.verdict == "within" else OUTSIDE
