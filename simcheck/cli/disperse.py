"""simcheck disperse: Monte Carlo, how likely it works and what to hold back."""

from __future__ import annotations

import os
from pathlib import Path

import click

from simcheck.cli.hints import after_dispersion, suggest
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
from simcheck.cli.plotting import FirstRows, plotted
from simcheck.cli.progress import Ticker
from simcheck.cli.screen import busy, show, show_json, tell

CODES = {"met": 0, "not met": 1, "inconclusive": 4}
INTERRUPTED = 130


@click.command(
    "disperse",
    epilog=examples(
        "simcheck disperse relay.toml --samples 200",
        "simcheck disperse relay.toml plan.json --out flights --until-decided",
    ),
)
@case_argument
@click.argument("plan_path", metavar="[PLAN]", required=False, type=click.Path())
@click.option(
    "--samples",
    type=click.IntRange(min=1),
    metavar="N",
    help="Flights; without it what [dispersion] of the case says.",
)
@click.option(
    "--workers",
    type=click.IntRange(min=1),
    metavar="N",
    help="Processes; as many as there are cores without it. The results do not depend on it.",
)
@click.option(
    "--out",
    "folder",
    metavar="DIR",
    type=click.Path(file_okay=False),
    help="Keep finished flights here, and go on from what is kept; all end in samples.parquet.",
)
@click.option("--until-decided", is_flag=True, help="Stop as soon as the question is settled.")
@click.option("--dask", metavar="ADDRESS", help="Fly on the Dask cluster of this scheduler.")
@report_option
@plot_option
@search_options
@json_option
def command(
    *,
    case_path: str,
    plan_path: str | None,
    samples: int | None,
    workers: int | None,
    folder: str | None,
    until_decided: bool,
    dask: str | None,
    page_path: str | None,
    plot_folder: str | None,
    asked: Asked,
    as_json: bool,
) -> int:
    """How likely it works, and how much propellant to hold back.

    Flies the plan many times with the case's [errors] drawn, and with the flight team of its
    [operations]. CASE is a case file (TOML), PLAN a document that `simcheck plan --json` wrote;
    without it the plan is made here. The same case, plan and seed give the same results to the
    last byte, whatever the workers and however often it was interrupted. Exit codes: 0 the
    success asked for is shown, 1 it is ruled out, 2 wrong input, 3 no plan within the limits, 4
    neither (it says how many more samples may settle it), 130 interrupted.
    """
    with running("disperse", case_path, as_json) as run:
        from simcheck import api
        from simcheck.dispersing.dispersal import Interrupted
        from simcheck.records.result import Result

        case = run.load()
        plan = run.plan(case, asked) if plan_path is None else api.read_plan(plan_path, case)
        ticker, rows = Ticker(), FirstRows()
        try:
            found = api.disperse(
                case,
                plan,
                samples=samples,
                seed=asked.seed or 0,
                workers=workers or os.cpu_count() or 1,
                out=folder,
                until_decided=until_decided,
                planner=asked.planner,
                dask=dask,
                watcher=ticker,
                rows=rows if plot_folder or page_path else None,
            )
        except Interrupted as broken:
            ticker.close()
            _say_interrupted(folder, broken.flown)
            if broken.partial is None:
                return INTERRUPTED
            found, code = broken.partial, INTERRUPTED
        else:
            ticker.close()
            code = CODES[found.decision]
        ring = api.resolved_ring(case)
        if plot_folder is not None or page_path is not None:
            drawn = Result(kind="disperse", case=case, plan=plan, dispersion=found, rows=rows.kept)
            plotted(plot_folder, drawn)
            if page_path is not None:
                with busy("drawing"):
                    api.write_report(page_path, drawn)
        if as_json:
            from simcheck.files.documents import dispersion_document

            show_json(dispersion_document(case, plan, found, ring))
        else:
            from simcheck.report.dispersion_text import dispersion_text

            show(dispersion_text(case, plan, found, ring))
        if code != INTERRUPTED:
            suggest(after_dispersion(case, found), as_json=as_json)
    return code


def _say_interrupted(folder: str | None, flown: int) -> None:
    if folder is None:
        tell(f"simcheck: interrupted after {flown} flights; with --out DIR they would be kept")
    else:
        tell(
            f"simcheck: interrupted; finished flights are kept in {Path(folder)}: the same command "
            "goes on from there"
        )
