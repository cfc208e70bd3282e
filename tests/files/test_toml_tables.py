"""Bytes of a TOML file: plain data with lines, or one message that says where it is none."""

from __future__ import annotations

import pytest

from simcheck.errors import InputError
from simcheck.files.toml_tables import parsed


def test_data_comes_with_the_lines_of_its_keys() -> None:
    """A fault of a key is told at its line, whatever ends lines."""
    data, faults = parsed(b"[a]\r\nx = 1\r\n\r\n[b]\r\ny = 2\r\n", "f.toml", "")
    assert data == {"a": {"x": 1}, "b": {"y": 2}}
    faults.add(("b", "y"), "is wrong")
    with pytest.raises(InputError, match=r"^f.toml:5: \[b\] y: is wrong$"):
        faults.raise_any()


@pytest.mark.parametrize(
    ("content", "message"),
    [
        (b"", "f.toml: the file is empty; begin"),
        (b"a = 1\n\xff", "f.toml:2: expected text in UTF-8"),
        (b"a = 1\nb =\n", "f.toml:2: not valid TOML: Invalid value"),
        (b"a = 1\na = 2\n", "f.toml:2: not valid TOML: Cannot overwrite a value"),
        (b"a = " + b"[" * 100_000, "f.toml: not valid TOML: brackets nested too deeply"),
    ],
)
def test_what_is_no_toml_is_told_with_its_line(content: bytes, message: str) -> None:
    """File, line and what is wrong there."""
    with pytest.raises(InputError) as raised:
        parsed(content, "f.toml", "begin")
    assert str(raised.value).startswith(message)
