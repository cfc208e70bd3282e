"""simcheck trim: what to do next, from a measured state."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import click

from simcheck.cli.options import (
    case_argument,
    examples,
    json_option,
    planner_option,
    prefer_option,
    running,
)
from simcheck.cli.screen import busy, show, show_json

if TYPE_CHECKING:
    from simcheck.records.wish import Preference


@click.command(
    "trim",
    epilog=examples(
        "simcheck trim relay.toml --from tracking.json",
        "simcheck trim relay.toml --from after.opm --done plan.json",
    ),
)
@case_argument
@click.option(
    "--from",
    "state_path",
    required=True,
    metavar="STATE",
    type=click.Path(),
    help="The measured state: JSON, a CCSDS OPM or OCM, or a two-line element set.",
)
@click.option(
    "--done",
    "plan_path",
    metavar="PLAN",
    type=click.Path(),
    help="The plan being flown: its burn before the state is reconstructed from the state.",
)
@click.option(
    "--before",
    "before_path",
    metavar="STATE",
    type=click.Path(),
    help="A state measured before that burn; without it the burn follows the case's craft.",
)
@click.option(
    "--write",
    "messages",
    multiple=True,
    metavar="FILE",
    type=click.Path(),
    help="Also write a CCSDS OCM (.ocm): the state, the burns to do next, and the one made.",
)
@planner_option
@prefer_option
@json_option
def command(
    *,
    case_path: str,
    state_path: str,
    plan_path: str | None,
    before_path: str | None,
    messages: tuple[str, ...],
    planner: str,
    prefer: Preference | None,
    as_json: bool,
) -> int:
    """What to do next, from a measured state.

    CASE is a case file (TOML). STATE holds time, position and velocity as tracking has them: a JSON
    object with time_s (seconds past the epoch), position_m, velocity_m_s and, if known, mass_kg and
    a 6 x 6 covariance; or a CCSDS OPM or OCM; or a two-line element set. With --done it is also
    told what the burn before the state made of its command. Exit codes: 0 burns were found or none
    is needed, 2 wrong input, 3 nothing can be done within the limits.
    """
    if before_path is not None and plan_path is None:
        raise click.UsageError("--before goes with --done")
    with running("trim", case_path, as_json) as run:
        from simcheck import api

        case = run.load()
        if messages:
            from simcheck.files.message_file import OF_ADVICE, check_targets

            check_targets(messages, case, OF_ADVICE)
        estimate = api.read_state(state_path, case)
        made = None
        if plan_path is not None:
            before = None if before_path is None else api.read_state(before_path, case)
            made = api.reconstruct(case, api.read_plan(plan_path, case), estimate, before)
            if estimate.mass_kg is None:
                estimate = replace(estimate, mass_kg=made.mass_after_kg)
        with busy("planning"):
            advice = api.trim(case, estimate, planner, prefer=prefer or "balance")
            ring = api.resolved_ring(case)
        for path in messages:
            api.write_advice(path, case, advice, made)
        if as_json:
            from simcheck.files.documents import advice_document
            from simcheck.files.records_json import write_record

            document = advice_document(case, advice, ring)
            show_json(document if made is None else document | {"made": write_record(made)})
        else:
            from simcheck.report.trim_text import trim_text

            show(trim_text(case, advice, ring, made))
    return 0
