"""Bytes of a TOML file to plain data, with the line of every key for messages."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping

from simcheck.errors import InputError
from simcheck.files.case_faults import Faults
from simcheck.files.case_lines import key_lines


def parsed(content: bytes, file: str, start: str) -> tuple[Mapping[str, object], Faults]:
    """The data, and where its faults are collected; start says how such a file begins.

    Raises InputError where the bytes are not TOML.
    """
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = content.count(b"\n", 0, error.start) + 1
        raise InputError(f"{file}:{line}: expected text in UTF-8, got other bytes") from None
    if not text.strip():
        raise InputError(f"{file}: the file is empty; {start}")
    try:
        data = tomllib.loads(text)
        lines = key_lines(text.replace("\r\n", "\n"))
    except RecursionError:
        raise InputError(f"{file}: not valid TOML: brackets nested too deeply") from None
    except ValueError as error:
        raise InputError(_syntax_fault(file, str(error))) from None
    return data, Faults(file, lines)


def _syntax_fault(file: str, message: str) -> str:
    """The message of tomllib with its line where editors look for it."""
    place = re.search(r" \(at line (\d+), column (\d+)\)$", message)
    if place is None:
        return f"{file}: not valid TOML: {message}"
    line, column = place.groups()
    return f"{file}:{line}: not valid TOML: {message[: place.start()]} (column {column})"
