"""The [hold] table: seconds, faults with their sentence, the way back."""

# ruff: noqa: E501 - the table of faults reads best with a fault a line
from __future__ import annotations

from pathlib import Path

import pytest

from simcheck.errors import InputError
from simcheck.files.case_text import as_toml
from tests.cases_for_tests import load, toml

YEAR_S = 365.25 * 86400.0


@pytest.mark.parametrize(
    ("text", "seconds"),
    [
        ("", YEAR_S),
        ("[hold]\n", YEAR_S),
        ('[hold]\nduration = "2 yr"\n', 2 * YEAR_S),
        ('[hold]\nduration = "400 d"\n', 400 * 86400.0),
        ('[hold]\nduration = "1 d"\n', 86400.0),
        ('[hold]\nduration = "20 yr"\n', 20 * YEAR_S),
    ],
)
def test_a_duration_is_read_and_written_back(text: str, seconds: float, tmp_path: Path) -> None:
    """A year where the file is silent; the way back gives the same number."""
    found = load(toml() + text, tmp_path)
    assert found.hold.duration_s == seconds
    written = as_toml(found)
    assert ("[hold]" in written) == (seconds != YEAR_S)
    assert load(written, tmp_path).hold.duration_s == seconds


@pytest.mark.parametrize(
    ("line", "fault"),
    [
        ('duration = "2 h"', 'duration: expected 1 day to 20 years, got "2 h"; write duration = "2 yr"'),
        ('duration = "21 yr"', 'duration: expected 1 day to 20 years, got "21 yr"'),
        ('duration = "-3 d"', 'duration: expected 1 day to 20 years, got "-3 d"'),
        ("duration = 3", "duration: expected a time with its unit, got 3"),
        ('duration = "3 km"', 'duration: expected a time with its unit, got "3 km"'),
        ('duration = "inf yr"', "duration: expected a time with its unit"),
        ('length = "3 d"', "length: unknown key; expected duration"),
    ],
)  # fmt: skip
def test_what_is_no_duration_is_told(line: str, fault: str, tmp_path: Path) -> None:
    with pytest.raises(InputError) as caught:
        load(f"{toml()}[hold]\n{line}\n", tmp_path)
    assert f"[hold] {fault}" in str(caught.value)
