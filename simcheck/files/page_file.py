"""Where a page goes: a file that may be there already, in a folder that must be."""

from __future__ import annotations

from pathlib import Path

from simcheck.errors import InputError
from simcheck.files.whole_file import write_whole

_SUFFIXES = (".html", ".htm")


def check_page_target(path: str | Path) -> None:
    """See that a page can be written there, before anything is computed for it.

    Raises InputError where the name is not that of a page or the folder is missing.
    """
    there = Path(path)
    if there.suffix.lower() not in _SUFFIXES:
        raise InputError(f"{there}: expected the name of a page, such as {there.stem}.html")
    if there.is_dir() or not there.absolute().parent.is_dir():
        what = "it is a folder" if there.is_dir() else "its folder is not there"
        raise InputError(f"{there}: cannot be written: {what}")


def write_page(path: str | Path, page: str) -> None:
    """Write a page, whole or not at all. Raises InputError where that cannot be."""
    check_page_target(path)
    try:
        write_whole(Path(path), page.encode())
    except OSError as error:
        raise InputError(f"{path}: cannot be written: {error.strerror}") from None
