"""simcheck assign: several craft, several slots, who goes where."""

from __future__ import annotations

import os
from typing import TYPE_CHECKING

import click

from simcheck.cli.hints import after_assignment, suggest
from simcheck.cli.options import case_argument, examples, json_option, planner_option, running
from simcheck.cli.screen import show, show_json, tell

if TYPE_CHECKING:
    from simcheck.records.fleet import Minimise

WITHIN, OUTSIDE = 0, 1


@click.command(
    "assign",
    epilog=examples(
        "simcheck assign fleet.toml",
        "simcheck assign fleet.toml --minimise time --free-angle",
    ),
)
@case_argument
@click.option(
    "--minimise",
    type=click.Choice(["total-dv", "largest-share", "time"]),
    help="What is made least: the Δv of all craft together, the largest share of its propellant "
    "that any of them uses, or the arrival of the last. Without it what [assign] says.",
)
@click.option(
    "--free-angle/--fixed-angle",
    "free_angle",
    default=None,
    help="Look for the ring's angle too, or not. Without it what [assign] says.",
)
@click.option(
    "--workers",
    type=click.IntRange(min=1),
    metavar="N",
    help="Processes; as many as there are cores without it. The results do not depend on it.",
)
@click.option(
    "--seed",
    type=click.IntRange(min=0),
    default=0,
    metavar="N",
    help="Fixes every random draw of the search.",
)
@click.option(
    "--effort",
    type=click.IntRange(1, 100),
    default=1,
    show_default=True,
    help="Search this many times as hard.",
)
@planner_option
@json_option
def command(
    *,
    case_path: str,
    minimise: Minimise | None,
    free_angle: bool | None,
    workers: int | None,
    seed: int,
    effort: int,
    planner: str,
    as_json: bool,
) -> int:
    """Several craft, several slots: who goes where.

    CASE is a case file (TOML) with several [[craft]]; one without `slot` takes any slot that nobody
    holds. Each craft is planned, flown without errors and judged, and all are seen to keep
    [limits] separation from each other. Exit codes: 0 all within tolerance and apart, 1 outside, 2
    wrong input, 3 no assignment exists within the limits.
    """
    with running("assign", case_path, as_json) as run:
        from simcheck import api

        fleet = api.load_fleet(case_path)
        run.case = fleet.base
        found = api.assign(
            fleet,
            planner,
            minimise=minimise,
            free_angle=free_angle,
            effort=effort,
            seed=seed,
            workers=workers or os.cpu_count() or 1,
            watcher=tell,
        )
        ring = api.resolved_ring(fleet.base)
        if as_json:
            from simcheck.files.documents import assignment_document

            show_json(assignment_document(fleet, found, ring))
        else:
            from simcheck.report.assign_text import assign_text

            show(assign_text(fleet, found, ring))
        suggest(after_assignment(found), as_json=as_json)
    return WITHIN if found.verdict == "within" else OUTSIDE
