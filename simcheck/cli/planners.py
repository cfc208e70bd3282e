"""simcheck planners: which planners there are, and where they come from."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import click

from simcheck.cli.options import examples, json_option
from simcheck.cli.screen import show, show_json

if TYPE_CHECKING:
    from rich.console import RenderableType

    from simcheck.planning.registry import Listed


@click.command(
    "planners",
    epilog=examples(
        "simcheck planners",
        "simcheck planners --json",
    ),
)
@json_option
def command(*, as_json: bool) -> int:
    """The planners that --planner can name.

    Lists those that are installed, each with its package, its function and what it says of itself;
    one that cannot be used stands there with the reason. Exit code: 0.
    """
    from simcheck.planning.registry import listed

    found = listed()
    if as_json:
        show_json(_document(found))
    else:
        show(_text(found))
    return 0


def _document(found: list[Listed]) -> dict[str, Any]:
    from simcheck.version import VERSION

    return {
        "schema": "simcheck.planners/1",
        "case": None,
        "simcheck": VERSION,
        "inputs_sha256": None,
        "planners": [
            {
                "name": one.source.name,
                "package": one.source.package,
                "function": one.source.value,
                "about": one.about,
                "usable": not one.problem,
                "problem": one.problem or None,
            }
            for one in found
        ],
    }


def _text(found: list[Listed]) -> RenderableType:
    from simcheck.report.tables import BAD, cell, heading, stacked, table

    rows = [
        (
            one.source.name,
            one.source.package,
            one.source.value,
            cell(f"CANNOT BE USED: {one.problem}", BAD) if one.problem else one.about,
        )
        for one in found
    ]
    return stacked(heading("Planners"), table(("name", "package", "function", "about"), rows))
