"""simcheck check: plan, fly the nominal and judge it."""

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
from simcheck.cli.screen import busy

if TYPE_CHECKING:
    from simcheck.records.wish import Preference


@click.command("check")
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
    """Plan, fly the nominal and judge it: the main job.

    CASE is a case file (TOML). Exit codes: 0 within tolerance, 1 outside, 2 wrong input, 3 no
    plan within the limits.
    """
    with running("check", case_path, as_json) as run:
        from simcheck import api
        from simcheck.cli.judged import fly_and_judge

        case = run.load()
        with busy("planning"):
            plan = api.plan(
                case, planner, prefer=prefer or "balance", effort=effort, seed=seed or 0
            )
        return fly_and_judge("check", case, plan, seed=seed, sample=None, as_json=as_json)
