"""Case files among paths: those named, and those in the folders named."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Iterator
from pathlib import Path

from simcheck.errors import InputError

BASELINE = ".baseline.toml"
"""How the name of a baseline ends, which is no case."""

_LARGEST = 1_000_000  # bytes; no case file is longer
_CASE = re.compile(rb"^[ \t]*\[[ \t]*case[ \t]*\]", re.M)
_CRAFT = re.compile(rb"^[ \t]*\[[ \t]*(ring|craft)[ \t]*\]", re.M)
_SEVERAL = re.compile(rb"^[ \t]*\[\[[ \t]*craft[ \t]*\]\]", re.M)


def is_case_file(path: Path) -> bool:
    """Whether a TOML file means to be a case: it has [case], and [ring] or [craft]."""
    content = _content(path)
    return bool(_CASE.search(content) and _CRAFT.search(content))


def is_fleet_file(path: Path) -> bool:
    """Whether a TOML file means to be a case with several craft to assign: it has [[craft]]."""
    return is_case_file(path) and bool(_SEVERAL.search(_content(path)))


def _content(path: Path) -> bytes:
    """The bytes of a TOML file that is no baseline; none where it cannot be read."""
    if path.suffix != ".toml" or path.name.endswith(BASELINE):
        return b""
    try:
        with path.open("rb") as stream:
            return stream.read(_LARGEST)
    except OSError:
        return b""


def find_fleets(paths: Iterable[str | Path]) -> list[Path]:
    """The files with several craft in the folders named, which `find_cases` leaves out."""
    folders = (path for path in map(Path, paths) if path.is_dir())
    return [found for folder in folders for found in sorted(_within(folder, is_fleet_file))]


def find_cases(paths: Iterable[str | Path]) -> list[Path]:
    """The case files named, and those in the folders named, each once and in that order.

    Files with several craft are left out of folders: see `find_fleets`.

    Raises InputError where a path is none, or a folder holds no case.
    """
    found: dict[Path, Path] = {}
    faults = []
    for path in map(Path, paths):
        cases = sorted(_within(path, _is_one_craft)) if path.is_dir() else [path]
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


def _is_one_craft(path: Path) -> bool:
    return is_case_file(path) and not is_fleet_file(path)


def _within(folder: Path, means: Callable[[Path], bool]) -> Iterator[Path]:
    """Files of a folder and those below it that mean to be of a kind, hidden folders left out."""
    for path in folder.rglob("*.toml"):
        parts = path.relative_to(folder).parts
        if not any(part.startswith(".") for part in parts) and means(path):
            yield path
