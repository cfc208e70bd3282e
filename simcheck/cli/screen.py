"""The only module that writes to the screen: tables and JSON to stdout, all else to stderr."""

from __future__ import annotations

import json
import os
import re
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any, TextIO

if TYPE_CHECKING:
    from rich.console import Console, RenderableType

WIDTH = 100
"""Columns of a table where the output is no terminal, and at most where it is."""

_PLAIN = str.maketrans({"Δ": "d", "–": "-", "—": "-", "…": "~", "±": "~", "×": "x", "’": "'"})

_FLAT_LIST = re.compile(r'\[\n[^\[\]{}"]*\]')  # lists of numbers, which go on one line


def show(renderable: RenderableType) -> None:
    """Write tables and text to stdout, coloured only on a terminal and without NO_COLOR."""
    console = console_for(sys.stdout)
    with console.capture() as caught:
        console.print(renderable)
    lines = (line.rstrip() for line in caught.get().strip("\n").split("\n"))
    write("\n".join(lines) + "\n")


def show_json(document: dict[str, Any]) -> None:
    """Write one JSON document to stdout."""
    text = json.dumps(document, indent=2, allow_nan=False)
    write(_FLAT_LIST.sub(lambda list_: " ".join(list_[0].split()), text) + "\n")


def write(text: str) -> None:
    """Write to stdout whatever its encoding; a reader that has gone away is not an error."""
    try:
        # By lines: an unbuffered stdout (python -u) hides that a single write was cut short.
        sys.stdout.writelines(encodable(text, sys.stdout).splitlines(keepends=True))
        sys.stdout.flush()
    except BrokenPipeError:
        discard_output()


def tell(text: str) -> None:
    """Write a line to stderr."""
    try:
        sys.stderr.write(encodable(text, sys.stderr) + "\n")
        sys.stderr.flush()
    except OSError:
        pass  # nobody is left to be told


def encodable(text: str, stream: TextIO) -> str:
    """Text with what the stream's encoding lacks replaced, each character by one character."""
    encoding = getattr(stream, "encoding", None) or "utf-8"
    try:
        text.encode(encoding)
        return text
    except UnicodeEncodeError:
        return text.translate(_PLAIN).encode(encoding, "replace").decode(encoding)


def discard_output() -> None:
    """Send what is still to be flushed at exit nowhere."""
    try:
        null = os.open(os.devnull, os.O_WRONLY)
        os.dup2(null, sys.stdout.fileno())
        os.close(null)
    except (OSError, ValueError):
        pass


def console_for(stream: TextIO) -> Console:
    """A console as wide as the terminal, WIDTH at most, that takes no text for markup."""
    from rich.console import Console

    console = Console(
        file=stream,
        markup=False,
        emoji=False,
        highlight=False,
        color_system=None if os.environ.get("NO_COLOR") else "auto",
    )
    console.width = min(console.width, WIDTH) if stream.isatty() else WIDTH
    return console


@contextmanager
def busy(text: str) -> Iterator[None]:
    """Say on stderr what takes its time, while it does, where stderr is a terminal."""
    if not sys.stderr.isatty():
        yield
        return
    with console_for(sys.stderr).status(text):
        yield
