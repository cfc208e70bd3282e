"""Options that commands share, and how a command reports an error where JSON was asked for."""

from __future__ import annotations

import functools
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any, NamedTuple, TypeVar

import click

from simcheck.cli.completing import case_files, planners
from simcheck.cli.screen import busy, show_json
from simcheck.errors import SimcheckError

if TYPE_CHECKING:
    from simcheck.records.case import Case
    from simcheck.records.plan import Plan
    from simcheck.records.wish import Preference

F = TypeVar("F", bound=Callable[..., Any])


def examples(*commands: str) -> str:
    """The end of a command's help: commands as they are typed, one a line, kept as they are."""
    return "\n".join(["\b", "Examples:", *(f"  {command}" for command in commands)])


def case_argument(function: F) -> F:
    """The case file."""
    return click.argument(
        "case_path", metavar="CASE", type=click.Path(), shell_complete=case_files
    )(function)


def json_option(function: F) -> F:
    """--json."""
    text = "Print one JSON document on stdout and nothing else there."
    return click.option("--json", "as_json", is_flag=True, help=text)(function)


def deep_option(function: F) -> F:
    """--deep."""
    text = "Double-check: compute the perfect flight by other means and give numerical error bars."
    return click.option("--deep", is_flag=True, help=text)(function)


def write_option(function: F) -> F:
    """--write."""
    text = "Also write a CCSDS message: .opm or .ocm (the burns), .oem (the states of a flight)."
    return click.option(
        "--write", "messages", multiple=True, metavar="FILE", type=click.Path(), help=text
    )(function)


def report_option(function: F) -> F:
    """--report."""
    text = "Also write one self-contained HTML page with figures, as `simcheck report` does."
    return click.option(
        "--report", "page_path", metavar="FILE", type=click.Path(), help=text, callback=_page_target
    )(function)


def _page_target(ctx: click.Context, parameter: click.Parameter, value: str | None) -> str | None:
    """Refuse where no page can be written, before anything is computed."""
    if value is not None:
        from simcheck.files.page_file import check_page_target

        check_page_target(value)
    return value


def plot_option(function: F) -> F:
    """--plot."""
    text = "Also draw the result: pictures as PNG and SVG, written into this folder."
    kind = click.Path(file_okay=False, writable=True)
    return click.option("--plot", "plot_folder", metavar="DIR", type=kind, help=text)(function)


class Asked(NamedTuple):
    """What the options of a search ask for."""

    planner: str
    prefer: Preference
    effort: int
    seed: int | None


def planner_option(function: F) -> F:
    """--planner."""
    text = "Planner registered under this name: see `simcheck planners`."
    return click.option(
        "--planner",
        default="ring",
        show_default=True,
        metavar="NAME",
        help=text,
        shell_complete=planners,
    )(function)


def prefer_option(function: F) -> F:
    """--prefer."""
    text = "The earliest plan or the cheapest, instead of the earliest of the nearly cheapest."
    return click.option("--prefer", type=click.Choice(["time", "dv"]), help=text)(function)


def search_options(function: Callable[..., int]) -> Callable[..., int]:
    """--planner, --prefer, --effort and --seed, handed on together as `asked`."""

    @functools.wraps(function)
    def collected(
        *, planner: str, prefer: Preference | None, effort: int, seed: int | None, **rest: Any
    ) -> int:
        return function(asked=Asked(planner, prefer or "balance", effort, seed), **rest)

    made = click.option(
        "--seed",
        type=click.IntRange(min=0),
        metavar="N",
        help="Fixes every random draw, of the search and of the flight.",
    )(collected)
    made = click.option(
        "--effort",
        type=click.IntRange(1, 100),
        default=1,
        show_default=True,
        help="Search this many times as hard.",
    )(made)
    return planner_option(prefer_option(made))


class Run:
    """What is known of a command's run when it fails."""

    def __init__(self, command: str, path: str, as_json: bool) -> None:
        self.command = command
        self.path = path
        self.as_json = as_json
        self.case: Case | None = None

    def load(self, messages: tuple[str, ...] = (), *, flown: bool = True) -> Case:
        """Load the case file, and see that the messages to write of it can be.

        flown: whether the command flies, which an ephemeris needs.
        """
        from simcheck import api

        self.case = api.load_case(self.path)
        if messages:
            from simcheck.files.message_file import OF_FLIGHTS, OF_PLANS, check_targets

            check_targets(messages, self.case, OF_FLIGHTS if flown else OF_PLANS)
        return self.case

    def plan(self, case: Case, asked: Asked) -> Plan:
        """Plan the case as the options ask."""
        from simcheck import api

        with busy("planning"):
            return api.plan(
                case,
                asked.planner,
                prefer=asked.prefer,
                effort=asked.effort,
                seed=asked.seed or 0,
            )


@contextmanager
def running(command: str, path: str, as_json: bool) -> Iterator[Run]:
    """Run a command's body; with --json its error becomes the document that stdout gets."""
    run = Run(command, path, as_json)
    try:
        yield run
    except SimcheckError as error:
        if as_json:
            from simcheck.files.documents import error_document

            show_json(error_document(command, path, error, run.case))
        raise
