"""simcheck trim: what to do next, from a measured state."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from simcheck.cli.options import (
    case_argument,
    json_option,
    planner_option,
    prefer_option,
    running,
)
from simcheck.cli.screen import busy, show, show_json

if TYPE_CHECKING:
    from simcheck.records.wish import Preference


@click.command("trim")
@case_argument
@click.option(
    "--from",
    "state_path",
    required=True,
    metavar="STATE",
    type=click.Path(),
    help="The measured state: JSON, a CCSDS OPM or OCM, or a two-line element set.",
)
@planner_option
@prefer_option
@json_option
def command(
    *,
    case_path: str,
    state_path: str,
    planner: str,
    prefer: Preference | None,
    as_json: bool,
) -> int:
    """What to do next, from a measured state.

    CASE is a case file (TOML). STATE holds time, position and velocity as tracking has them: a JSON
    object with time_s (seconds past the epoch), position_m, velocity_m_s and, if known, mass_kg and
    a 6 x 6 covariance; or a CCSDS OPM or OCM; or a two-line element set. Exit codes: 0 burns were
    found or none is needed, 2 wrong input, 3 nothing can be done within the limits.
    """
    with running("trim", case_path, as_json) as run:
        from simcheck import api

        case = run.load()
        estimate = api.read_state(state_path, case)
        with busy("planning"):
            advice = api.trim(case, estimate, planner, prefer=prefer or "balance")
            ring = api.resolved_ring(case)
        if as_json:
            from simcheck.files.documents import advice_document

            show_json(advice_document(case, advice, ring))
        else:
            from simcheck.report.trim_text import trim_text

            show(trim_text(case, advice, ring))
    return 0
