"""simcheck check: plan, fly the nominal and judge it."""

from __future__ import annotations

import click

from simcheck.cli.options import Asked, case_argument, json_option, running, search_options


@click.command("check")
@case_argument
@search_options
@json_option
def command(*, case_path: str, asked: Asked, as_json: bool) -> int:
    """Plan, fly the nominal and judge it: the main job.

    CASE is a case file (TOML). Exit codes: 0 within tolerance, 1 outside, 2 wrong input, 3 no
    plan within the limits.
    """
    with running("check", case_path, as_json) as run:
        from simcheck.cli.judged import fly_and_judge

        case = run.load()
        plan = run.plan(case, asked)
        return fly_and_judge("check", case, plan, asked=asked, sample=None, as_json=as_json)
