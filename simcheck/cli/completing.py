"""What a shell is offered to complete with, found without importing anything slow."""

from __future__ import annotations

import os
import shlex

import click
from click.shell_completion import CompletionItem

_SUFFIX = ".toml"
_NO_CASES = (".baseline.toml", "pyproject.toml")
_MOST = 200
_GROUP = "simcheck.planners"

BODIES = (
    "Mercury",
    "Venus",
    "Earth",
    "Moon",
    "Mars",
    "Ceres",
    "Vesta",
    "Io",
    "Europa",
    "Ganymede",
    "Callisto",
    "Titan",
    "Enceladus",
)
"""The names of `simcheck.bodies`, which cannot be asked without importing numpy."""


def case_files(
    context: click.Context, parameter: click.Parameter, incomplete: str
) -> list[CompletionItem]:
    """Case files that begin so, those one folder further down too.

    The shell completes any file by itself where there are none, or their names need quotes.
    """
    found = [] if incomplete.startswith("~") else _found(incomplete)
    if not found or any(shlex.quote(path) != path for path in found):
        return [CompletionItem(incomplete, type="file")]
    return [CompletionItem(path) for path in found]


def planners(
    context: click.Context, parameter: click.Parameter, incomplete: str
) -> list[CompletionItem]:
    """Planners that are installed."""
    from importlib.metadata import entry_points

    names = {"ring", *(point.name for point in entry_points(group=_GROUP))}
    return [CompletionItem(name) for name in sorted(names) if name.startswith(incomplete)]


def bodies(
    context: click.Context, parameter: click.Parameter, incomplete: str
) -> list[CompletionItem]:
    """Built-in bodies, upper or lower case."""
    asked = incomplete.casefold()
    return [CompletionItem(name) for name in BODIES if name.casefold().startswith(asked)]


def _found(incomplete: str) -> list[str]:
    head, _, start = incomplete.rpartition("/")
    head = f"{head}/" if "/" in incomplete else ""
    found: list[str] = []
    for name in _names(head or "."):
        if name.startswith(start) and (start or not name.startswith(".")):
            found += [head + name] if _is_case(name) else _within(f"{head}{name}")
    return found[:_MOST]


def _within(folder: str) -> list[str]:
    return [f"{folder}/{name}" for name in _names(folder) if _is_case(name)]


def _names(folder: str) -> list[str]:
    """What is in a folder, empty where it is none."""
    try:
        with os.scandir(folder) as entries:
            return sorted(entry.name for entry in entries)
    except OSError:
        return []


def _is_case(name: str) -> bool:
    return name.endswith(_SUFFIX) and not name.endswith(_NO_CASES) and not name.startswith(".")
