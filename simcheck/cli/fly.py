"""simcheck fly: fly a plan, ours or one from a file, perfectly or with one sample's errors."""

from __future__ import annotations

import click

from simcheck.cli.options import (
    Asked,
    case_argument,
    deep_option,
    examples,
    json_option,
    plot_option,
    report_option,
    running,
    search_options,
    write_option,
)


@click.command(
    "fly",
    epilog=examples(
        "simcheck fly relay.toml",
        "simcheck fly relay.toml plan.json --sample 3",
        "simcheck fly relay.toml plan.opm --write flight.oem",
    ),
)
@case_argument
@click.argument("plan_path", metavar="[PLAN]", required=False, type=click.Path())
@click.option(
    "--sample",
    type=click.IntRange(min=0),
    metavar="N",
    help="Fly with the errors drawn for this sample; without it the flight is perfect.",
)
@deep_option
@write_option
@report_option
@plot_option
@search_options
@json_option
def command(
    *,
    case_path: str,
    plan_path: str | None,
    sample: int | None,
    deep: bool,
    messages: tuple[str, ...],
    page_path: str | None,
    plot_folder: str | None,
    asked: Asked,
    as_json: bool,
) -> int:
    """Fly a plan and judge the flight.

    CASE is a case file (TOML), PLAN a document that `simcheck plan --json` (or check, or fly)
    wrote, or a CCSDS OPM or OCM with manoeuvres; without it the plan is made here. With --sample
    the flight team replans and trims as [operations] says; with --deep the numbers of a perfect
    flight are double-checked. Exit codes: 0 within tolerance, 1 outside, 2 wrong input, 3 no plan
    within the limits.
    """
    with running("fly", case_path, as_json) as run:
        from simcheck import api
        from simcheck.cli.judged import fly_and_judge

        case = run.load(messages)
        plan = run.plan(case, asked) if plan_path is None else api.read_plan(plan_path, case)
        if sample is not None and asked.seed is None:
            asked = asked._replace(seed=0)
        return fly_and_judge(
            "fly",
            case,
            plan,
            asked=asked,
            sample=sample,
            as_json=as_json,
            deep=deep,
            messages=messages,
            page_path=page_path,
            plot_folder=plot_folder,
        )
