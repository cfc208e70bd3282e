"""Case files among paths: those named, and those in the folders named."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from pathlib import Path

from simcheck.errors import InputError

BASELINE = ".baseline.toml"
"""How the name of a baseline ends, which is no case."""

_LARGEST = 1_000_000  # bytes; no case file is longer
_CASE = re.compile(rb"^[ \t]*\[[ \t]*case[ \t]*\]", re.M)
_CRAFT = re.compile(rb"^[ \t]*\[[ \t]*(ring|craft)[ \t]*\]", re.M)


def is_case_file(path: Path) -> bool:
    """Whether a TOML file means to be a case: it has [case], and [ring] or [craft]."""
    if path.suffix != ".toml" or path.name.endswith(BASELINE):
        return False
    try:
        with path.open("rb") as stream:
            content = stream.read(_LARGEST)
    except OSError:
        return False
    return bool(_CASE.search(content) and _CRAFT.search(content))


def find_cases(paths: Iterable[str | Path]) -> list[Path]:
    """The case files named, and those in the folders named, each once and in that order.

    Raises InputError where a path is none, or a folder holds no case.
    """
    found: dict[Path, Path] = {}
    faults = []
    for path in map(Path, paths):
        cases = sorted(_within(path)) if path.is_dir() else [path]
        if not cases:
            faults.append(f"{path}: there is no case file in this folder")
        for case in cases:
            if case.name.endswith(BASELINE):
                name = case.name.removesuffix(BASELINE)
                faults.append(f"{case}: is a baseline; write its case, {name}.toml")
            found.setdefault(case.resolve(), case)
    if faults:
        raise InputError(*faults)
    return list(found.values())


def _within(folder: Path) -> Iterator[Path]:
    """Case files of a folder and those below it, hidden folders left out."""
    for path in folder.rglob("*.toml"):
        parts = path.relative_to(folder).parts
        if not any(part.startswith(".") for part in parts) and is_case_file(path):
            yield path
