"""Lines of a message as text: keywords, numbers with their digits, comments in plain letters."""

from __future__ import annotations

import unicodedata
from decimal import Context, Decimal

ORIGINATOR = "SIMCHECK"
UNKNOWN = "UNKNOWN"
"""What stands where a message must have an identification that a case does not know."""

_DIGITS = Context(prec=16)  # the most that the standard allows
_SMALLEST = Decimal("1e-4")  # below it in powers of ten
_LARGEST = Decimal("1e16")
_LINE = 254  # characters, the longest line that the standard allows
_PLAIN = {"Δ": "d", "–": "-", "—": "-", "°": " deg", "×": "x", "±": "+-", "’": "'"}


def number(value: float, power: int = 0) -> str:
    """A number times a power of ten, in 16 digits at most, which bring it back to rounding."""
    shifted = _DIGITS.plus(Decimal(repr(float(value))).scaleb(power))
    if not shifted:
        return "0.0"
    if not _SMALLEST <= abs(shifted) < _LARGEST:
        return f"{shifted.normalize(_DIGITS):E}"
    text = f"{shifted:f}"
    text = text.rstrip("0") if "." in text else f"{text}."
    return f"{text}0" if text.endswith(".") else text


def plain(text: str) -> str:
    """Text in printable ASCII on one line; letters lose their accents, others become `?`."""
    swapped = "".join(_PLAIN.get(c, c) for c in " ".join(text.split()))
    letters = (c for c in unicodedata.normalize("NFKD", swapped) if not unicodedata.combining(c))
    return "".join(c if " " <= c <= "~" else "?" for c in letters).strip()


class Lines:
    """A message in the making."""

    def __init__(self) -> None:
        self._lines: list[str] = []

    def comment(self, text: str) -> None:
        """A comment, on as many lines as it takes."""
        words, line = plain(text).split(), "COMMENT"
        for word in words:
            if len(line) + 1 + len(word) > _LINE and line != "COMMENT":
                self._lines.append(line)
                line = "COMMENT"
            line += f" {word}"
        self._lines.append(line[:_LINE])

    def edge(self, name: str) -> None:
        """The start or stop of a section, or a row of values."""
        self._lines.append(name)

    def words(self, keyword: str, text: str) -> None:
        """A keyword with text, which must not be empty."""
        self._lines.append(f"{keyword} = {plain(text) or UNKNOWN}"[:_LINE])

    def number(self, keyword: str, value: float, unit: str, power: int = 0) -> None:
        """A keyword with a number in a unit, `power` of ten from SI to it."""
        self._lines.append(f"{keyword} = {number(value, power)} [{unit}]")

    @property
    def text(self) -> str:
        """All lines."""
        return "\n".join(self._lines) + "\n"
