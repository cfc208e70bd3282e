"""simcheck hold: the finished ring over months and years."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from simcheck.cli.hints import after_hold, suggest
from simcheck.cli.options import (
    Asked,
    case_argument,
    examples,
    json_option,
    plot_option,
    report_option,
    running,
    search_options,
)
from simcheck.cli.plotting import plotted
from simcheck.cli.screen import busy, show, show_json
from simcheck.errors import InputError

if TYPE_CHECKING:
    from simcheck.records.plan import Plan

HOLDS, LOST = 0, 1


@click.command(
    "hold",
    epilog=examples(
        'simcheck hold relay.toml --for "2 yr"',
        "simcheck hold relay.toml --as-planned",
    ),
)
@case_argument
@click.argument("plan_path", metavar="[PLAN]", required=False, type=click.Path())
@click.option(
    "--for",
    "length",
    metavar="TIME",
    help='How long, with its unit, such as "2 yr"; without it what [hold] of the case says.',
)
@click.option(
    "--as-planned",
    is_flag=True,
    help="Plan no transfer: take the craft as exactly on its slot, at the epoch.",
)
@click.option(
    "--sample",
    type=click.IntRange(min=0),
    metavar="N",
    help="Let the craft arrive with the errors drawn for this sample, from --seed.",
)
@report_option
@plot_option
@search_options
@json_option
def command(
    *,
    case_path: str,
    plan_path: str | None,
    length: str | None,
    as_planned: bool,
    sample: int | None,
    page_path: str | None,
    plot_folder: str | None,
    asked: Asked,
    as_json: bool,
) -> int:
    """The finished ring: its service, how long it lasts, its upkeep.

    Flies the transfer, and then every relay together in the case's forces, nothing being done: the
    time until each tolerance is left. The same again with trims: the upkeep. Links, coverage,
    contacts and eclipses at both ends of it. PLAN is a plan file as `simcheck fly` takes it;
    without it the plan is made here. Exit codes: 0 the ring stays within its tolerances, by itself
    or with the upkeep, 1 it does not, 2 wrong input, 3 no plan within the limits.
    """
    with running("hold", case_path, as_json) as run:
        from simcheck import api
        from simcheck.records.result import Result

        seconds = None if length is None else _seconds(length)
        if as_planned and (plan_path is not None or sample is not None):
            raise InputError("--as-planned flies no transfer: leave out it, or PLAN and --sample")
        case = run.load()
        plan: Plan | None = None
        if not as_planned:
            plan = run.plan(case, asked) if plan_path is None else api.read_plan(plan_path, case)
        with busy("holding"):
            found = api.hold(
                case,
                plan,
                seed=asked.seed if sample is None else asked.seed or 0,
                sample=sample,
                planner=asked.planner,
                duration_s=seconds,
            )
        ring = api.resolved_ring(case)
        result = Result(kind="hold", case=case, plan=plan, hold=found)
        plotted(plot_folder, result)
        if page_path is not None:
            with busy("drawing"):
                api.write_report(page_path, result)
        if as_json:
            from simcheck.files.documents import hold_document

            show_json(hold_document(case, plan, found, ring))
        else:
            from simcheck.report.hold_text import hold_text

            show(hold_text(case, plan, found, ring))
        suggest(after_hold(case, found, planned=plan is not None), as_json=as_json)
    return HOLDS if found.stays else LOST


def _seconds(text: str) -> float:
    """The time that --for gives. Raises InputError."""
    from simcheck.files.case_settings import LONGEST_HOLD_S, SHORTEST_HOLD_S
    from simcheck.files.units import UnitError, parse

    try:
        value = parse(text, "time")
    except UnitError as error:
        reason = f", {error.reason}" if error.reason else ""
        got = f'expected a time with its unit, got "{text}"{reason}'
        raise InputError(f'--for: {got}; write --for "2 yr"') from None
    if not SHORTEST_HOLD_S <= value <= LONGEST_HOLD_S:
        raise InputError(f'--for: expected 1 day to 20 years, got "{text}"; write --for "2 yr"')
    return value
