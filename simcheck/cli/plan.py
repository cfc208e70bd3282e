"""simcheck plan: the burns, each with its reason, and what the alternatives would cost."""

from __future__ import annotations

import click

from simcheck.cli.hints import after_plan, suggest
from simcheck.cli.options import (
    Asked,
    case_argument,
    examples,
    json_option,
    plot_option,
    running,
    search_options,
    write_option,
)
from simcheck.cli.plotting import plotted
from simcheck.cli.screen import show, show_json


@click.command(
    "plan",
    epilog=examples(
        "simcheck plan relay.toml",
        "simcheck plan relay.toml --prefer time --effort 4",
        "simcheck plan relay.toml --json > plan.json",
    ),
)
@case_argument
@write_option
@plot_option
@search_options
@json_option
def command(
    *,
    case_path: str,
    messages: tuple[str, ...],
    plot_folder: str | None,
    asked: Asked,
    as_json: bool,
) -> int:
    """The burns only, each with its reason and its alternatives.

    CASE is a case file (TOML). Exit codes: 0 a plan was found, 2 wrong input, 3 no plan within
    the limits.
    """
    with running("plan", case_path, as_json) as run:
        from simcheck import api
        from simcheck.records.result import Result

        case = run.load(messages, flown=False)
        plan = run.plan(case, asked)
        for path in messages:
            api.write_message(path, case, plan)
        if plot_folder is not None:
            plotted(plot_folder, Result(kind="plan", case=case, plan=plan))
        ring = api.resolved_ring(case)
        if as_json:
            from simcheck.files.documents import plan_document

            show_json(plan_document(case, plan, ring))
        else:
            from simcheck.report.plan_text import plan_text

            show(plan_text(case, plan, ring))
        suggest(after_plan(case_path), as_json=as_json)
    return 0
