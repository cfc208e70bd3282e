"""simcheck regress: every case planned and flown anew, and compared with its baseline."""

from __future__ import annotations

import os
import sys
from pathlib import Path
from typing import TYPE_CHECKING

import click

from simcheck.cli.options import examples, json_option, planner_option, running
from simcheck.cli.screen import show, show_json, tell

if TYPE_CHECKING:
    from simcheck.records.baseline import CaseRegression, Regression

KEPT, REGRESSED, INTERRUPTED = 0, 1, 130


@click.command(
    "regress",
    epilog=examples(
        "simcheck regress cases",
        "simcheck regress relay.toml --samples 0 --junit results.xml",
        "simcheck regress relay.toml --accept",
    ),
)
@click.argument("paths", metavar="PATHS", nargs=-1, required=True, type=click.Path())
@click.option("--accept", is_flag=True, help="Show the difference, then store it as baselines.")
@click.option(
    "--samples",
    type=click.IntRange(min=0),
    default=200,
    show_default=True,
    metavar="N",
    help="Flights dispersed with each plan, of seed 0, where the case has errors.",
)
@click.option(
    "--workers",
    type=click.IntRange(min=1),
    metavar="N",
    help="Processes; as many as there are cores without it. The results do not depend on it.",
)
@click.option(
    "--effort",
    type=click.IntRange(1, 100),
    default=1,
    show_default=True,
    help="Search this many times as hard.",
)
@click.option(
    "--junit",
    metavar="FILE",
    type=click.Path(dir_okay=False),
    help="Write JUnit XML here, a test a case and group of values.",
)
@planner_option
@json_option
def command(
    *,
    paths: tuple[str, ...],
    accept: bool,
    samples: int,
    workers: int | None,
    effort: int,
    junit: str | None,
    planner: str,
    as_json: bool,
) -> int:
    """Plan and fly cases anew, and compare them with their baselines.

    PATHS are case files, or folders that hold some. NAME.baseline.toml beside NAME.toml holds what
    was accepted, and how far each value may drift where that is not simcheck's own allowance. Exit
    codes: 0 nothing got worse (better is told), 1 something did, changed, failed or has no
    baseline, 2 wrong input, 130 interrupted. With --accept: 0 all stored, 1 something failed.
    """
    with running("regress", paths[0], as_json):
        from simcheck import api
        from simcheck.regressing.running import Interrupted

        _check_folder(junit)
        _tell_left_out(paths)
        code = None
        try:
            found = api.regress(
                paths,
                planner,
                effort=effort,
                samples=samples,
                workers=workers or os.cpu_count() or 1,
                watcher=_Ticker(),
            )
        except Interrupted as broken:
            found, code = broken.partial, INTERRUPTED
            tell(f"simcheck: interrupted; {found.left_out} cases left out")
        if junit is not None:
            from simcheck.files.junit import write_junit

            write_junit(junit, found)
        accept = accept and code is None
        stored = _print(found, accept=accept, as_json=as_json)
        failed = any(case.standing == "failed" for case in found.cases)
        kept = not failed if accept else found.kept
        _hint(found, stored, accept=accept)
    return code if code is not None else KEPT if kept else REGRESSED


def _print(found: Regression, *, accept: bool, as_json: bool) -> tuple[str, ...]:
    """Show what was found and store it if asked to. Returns the baselines stored."""
    from simcheck import api

    if as_json:
        from simcheck.files.regression_json import regression_document

        stored = api.accept(found) if accept else ()
        show_json(regression_document(found, stored))
        return stored
    from simcheck.report.regress_text import regression_text

    show(regression_text(found))
    return api.accept(found) if accept else ()


def _hint(found: Regression, stored: tuple[str, ...], *, accept: bool) -> None:
    from simcheck.report.regress_text import how_to_accept

    if accept:
        for path in stored:
            tell(f"stored {path}")
        if not stored:
            tell("nothing to store: the baselines stand as they are")
        return
    hint = how_to_accept(found)
    if hint:
        tell(f"to keep this as the new baseline: {hint}")


def _tell_left_out(paths: tuple[str, ...]) -> None:
    """Say which files of the folders are not compared."""
    from simcheck.files.case_search import find_fleets

    for path in find_fleets(paths):
        tell(f"{path}: left out: it has several craft, which `simcheck assign` is for")


def _check_folder(junit: str | None) -> None:
    """Complain before the work, not after it."""
    if junit is not None and not Path(junit).absolute().parent.is_dir():
        from simcheck.errors import InputError

        raise InputError(f"--junit {junit}: there is no such folder to write to")


class _Ticker:
    """Says on stderr what became of each case: a line each, one that changes on a terminal."""

    def __init__(self) -> None:
        self.live = sys.stderr.isatty()

    def __call__(self, case: CaseRegression, done: int, cases: int) -> None:
        """Called after each case."""
        text = f"{done} of {cases}: {case.path}: {case.standing} ({case.found.seconds:.1f} s)"
        if not self.live:
            tell(text)
            return
        end = "\n" if done == cases else ""
        sys.stderr.write(f"\r{text[:79]:<79}{end}")
        sys.stderr.flush()
