"""Rows on disk: put in any order, read in theirs, and no trace left."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from simcheck.files import row_file
from simcheck.files.row_file import RowFile
from tests.dispersing.rows import some


def test_rows_come_back_in_order(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Bit for bit, whatever the order they were put in, some at a time, as many as asked for."""
    monkeypatch.setattr(row_file, "BLOCK", 7)
    rows = some(40)
    with RowFile(tmp_path) as table:
        for first in (30, 0, 10, 20):
            table.put(first, rows[first : first + 10])
        for count in (40, 25, 7, 1):
            blocks = list(table.blocks(count))
            assert [len(x) for x in blocks[:-1]] == [7] * (len(blocks) - 1)
            assert np.concatenate(blocks).tobytes() == rows[:count].tobytes()
        assert list(table.blocks(0)) == []


def test_nothing_is_left(tmp_path: Path) -> None:
    """After it, as after a kill, the folder is as it was."""
    with RowFile(tmp_path) as table:
        table.put(0, some(10))
        assert list(tmp_path.iterdir()) == []
    assert list(tmp_path.iterdir()) == []
