"""The bytes of a small file, and the text in them: what cannot be one is refused in one line."""

from __future__ import annotations

from pathlib import Path

from simcheck.errors import InputError

_LARGEST = 1_000_000  # bytes; a message or a measured state has a few thousand


def read_bytes(path: str | Path, what: str = "file") -> bytes:
    """What the file holds; `what` names it in messages.

    Raises InputError where it cannot be read or is too large.
    """
    try:
        with Path(path).open("rb") as stream:
            content = stream.read(_LARGEST + 1)
    except FileNotFoundError:
        raise InputError(f"{path}: there is no such file") from None
    except IsADirectoryError:
        raise InputError(f"{path}: expected a {what}, got a directory") from None
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise InputError(f"{path}: cannot be read: {reason}") from None
    if len(content) > _LARGEST:
        raise InputError(f"{path}: expected a {what} of less than 1 MB, got more")
    return content


def decoded(content: bytes, file: str) -> str:
    """The text of the bytes. Raises InputError where they are empty or no text."""
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = content.count(b"\n", 0, error.start) + 1
        raise InputError(f"{file}:{line}: expected text in UTF-8, got other bytes") from None
    if not text.strip():
        raise InputError(f"{file}: the file is empty")
    strange = next((c for c in text if not c.isprintable() and c not in "\t\r\n"), None)
    if strange is not None:
        line = text.count("\n", 0, text.index(strange)) + 1
        raise InputError(
            f"{file}:{line}: expected plain text, got the character U+{ord(strange):04X}"
        )
    return text
