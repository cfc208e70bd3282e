"""simcheck check: plan, fly the nominal and judge it; or set two plans side by side."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, NamedTuple

import click

from simcheck.cli.options import (
    Asked,
    Run,
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
from simcheck.errors import InputError

if TYPE_CHECKING:
    from simcheck.records.case import Case
    from simcheck.records.comparison import Comparison
    from simcheck.records.plan import Plan

_MOST = 2  # of OTHER
_CASE_FILE = ".toml"


class Contender(NamedTuple):
    """One of two plans that are set side by side, the case that it is of, and where it is from."""

    source: str
    case: Case
    plan: Plan


@click.command(
    "check",
    epilog=examples(
        "simcheck check relay.toml",
        "simcheck check relay.toml --deep --write relay.ocm",
        "simcheck check relay.toml plan.json other.toml",
    ),
)
@case_argument
@click.argument("other_paths", metavar="[OTHER]...", nargs=-1, type=click.Path())
@deep_option
@write_option
@report_option
@plot_option
@search_options
@json_option
def command(
    *,
    case_path: str,
    other_paths: tuple[str, ...],
    deep: bool,
    messages: tuple[str, ...],
    page_path: str | None,
    plot_folder: str | None,
    asked: Asked,
    as_json: bool,
) -> int:
    """Plan, fly the nominal and judge it: the main job.

    CASE is a case file (TOML). With --deep the numbers are double-checked. With OTHER two plans are
    set side by side: the one made here and OTHER, or two OTHERs. OTHER is a plan of the case, from
    a file as `simcheck fly` takes it, or another case (a file that ends in .toml), planned here.

    Exit codes: 0 within tolerance (of two: both), 1 outside, 2 wrong input, 3 no plan within the
    limits.
    """
    if len(other_paths) > _MOST:
        raise click.UsageError(f"expected at most {_MOST} of OTHER, got {len(other_paths)}")
    with running("check", case_path, as_json) as run:
        if other_paths and messages:
            raise InputError("--write is for one plan; leave it out, or OTHER")
        if other_paths and page_path:
            raise InputError("--report is for one plan; leave it out, or OTHER")
        if other_paths and plot_folder:
            raise InputError("--plot is for one plan; leave it out, or OTHER")
        if other_paths:
            return _compare(run, other_paths, deep, asked, as_json)
        from simcheck.cli.judged import fly_and_judge

        case = run.load(messages)
        plan = run.plan(case, asked)
        return fly_and_judge(
            "check",
            case,
            plan,
            asked=asked,
            sample=None,
            as_json=as_json,
            deep=deep,
            messages=messages,
            page_path=page_path,
            plot_folder=plot_folder,
        )


def _compare(run: Run, paths: tuple[str, ...], deep: bool, asked: Asked, as_json: bool) -> int:
    """Set two plans side by side. Returns the worse of their exit codes."""
    from simcheck import api
    from simcheck.cli.judged import OUTSIDE, WITHIN
    from simcheck.cli.screen import busy, show, show_json

    if deep:
        raise InputError("--deep double-checks one plan; leave it out, or OTHER")
    case = run.load()
    others = [_contender(run, case, path, asked) for path in paths]
    if len(others) < _MOST:
        others.insert(0, Contender("planned here", case, run.plan(case, asked)))
    a, b = others
    with busy("flying"):
        found = api.compare(a.case, a.plan, b.plan, b.case)
    if as_json:
        show_json(_document(a, b, found))
    else:
        from simcheck.report.comparison_text import comparison_text

        show(comparison_text(found, (a.source, b.source)))
    good = all(side.verdict.verdict == "within" for side in (found.a, found.b))
    return WITHIN if good else OUTSIDE


def _contender(run: Run, case: Case, path: str, asked: Asked) -> Contender:
    """A plan from a file, or that of another case."""
    from simcheck import api

    if not path.endswith(_CASE_FILE):
        return Contender(path, case, api.read_plan(path, case))
    other = api.load_case(path)
    return Contender(path, other, run.plan(other, asked))


def _document(a: Contender, b: Contender, found: Comparison) -> dict[str, Any]:
    """What --json prints: what every document has, of either side under its name, and the rest."""
    from simcheck import api
    from simcheck.files.documents import plan_document
    from simcheck.files.plan_json import COMMON_KEYS
    from simcheck.files.records_json import write_record

    written = write_record(found)
    for name, one in (("a", a), ("b", b)):
        whole = plan_document(one.case, one.plan, api.resolved_ring(one.case))
        common = {key: whole[key] for key in COMMON_KEYS if key != "schema"}
        written[name] = {"source": one.source, **common, **written[name]}
    first = {key: written["a"][key] for key in COMMON_KEYS if key != "schema"}
    return {"schema": "simcheck.compare/1", **first, **written}
