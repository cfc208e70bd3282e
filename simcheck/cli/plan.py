"""simcheck plan: the burns, each with its reason, and what the alternatives would cost."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from simcheck.cli.options import (
    case_argument,
    json_option,
    planner_option,
    running,
    search_options,
    seed_option,
)
from simcheck.cli.screen import busy, show, show_json

if TYPE_CHECKING:
    from simcheck.records.wish import Preference


@click.command("plan")
@case_argument
@planner_option
@search_options
@seed_option
@json_option
def command(
    *,
    case_path: str,
    planner: str,
    prefer: Preference | None,
    effort: int,
    seed: int | None,
    as_json: bool,
) -> int:
    """The burns only, each with its reason and its alternatives.

    CASE is a case file (TOML). Exit codes: 0 a plan was found, 2 wrong input, 3 no plan within
    the limits.
    """
    with running("plan", case_path, as_json) as run:
        from simcheck import api

        case = run.load()
        with busy("planning"):
            plan = api.plan(
                case, planner, prefer=prefer or "balance", effort=effort, seed=seed or 0
            )
            ring = api.resolved_ring(case)
        if as_json:
            from simcheck.files.documents import plan_document

            show_json(plan_document(case, plan, ring))
        else:
            from simcheck.report.plan_text import plan_text

            show(plan_text(case, plan, ring))
    return 0
