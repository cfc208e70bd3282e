"""simcheck report: one self-contained page of a result, for people."""

from __future__ import annotations

from pathlib import Path

import click

from simcheck.cli.options import examples
from simcheck.cli.screen import busy, tell

_IN_A_FOLDER = "report.html"


@click.command(
    "report",
    epilog=examples(
        "simcheck report check.json",
        "simcheck report flights --output page.html",
    ),
)
@click.argument("result_path", metavar="RESULT", type=click.Path())
@click.option(
    "--output",
    metavar="FILE",
    type=click.Path(),
    help="Where the page goes; beside RESULT without it. What is there is replaced.",
)
@click.option(
    "--case",
    "case_path",
    metavar="FILE",
    type=click.Path(),
    help="The case file, where it is not where RESULT says.",
)
def command(*, result_path: str, output: str | None, case_path: str | None) -> int:
    """One self-contained HTML page of a result, with figures.

    RESULT is a document that check, fly, plan, disperse, hold or assign printed with --json, or the
    folder of `simcheck disperse --out`. Its case file must still be the same. Exit codes: 0 the
    page was written, 2 wrong input.
    """
    from simcheck import api
    from simcheck.files.page_file import check_page_target

    target = _beside(Path(result_path)) if output is None else Path(output)
    check_page_target(target)
    with busy("drawing"):
        api.write_report(target, result_path, case=case_path)
    tell(f"{target} written")
    return 0


def _beside(result: Path) -> Path:
    """The page of a result where no other place is asked for."""
    return result / _IN_A_FOLDER if result.is_dir() else result.with_suffix(".html")
