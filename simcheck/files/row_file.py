"""Rows of many flights on disk while they are flown and summed up, so that memory stays flat."""

from __future__ import annotations

import tempfile
from collections.abc import Iterator
from pathlib import Path
from types import TracebackType

import numpy as np

from simcheck.records.dispersion import BLOCK, ROW, Rows


class RowFile:
    """A file without a name, gone with the process, in a folder or where the system keeps such.

    Raises OSError where the disk takes no more.
    """

    def __init__(self, folder: str | Path | None = None) -> None:
        self._row = ROW  # as the rows put in have it, which are all alike
        self._stream = tempfile.TemporaryFile(dir=folder)  # noqa: SIM115

    def put(self, first: int, rows: Rows) -> None:
        """Put the rows of samples first, first + 1, ... in their place, in any order."""
        self._row = rows.dtype
        self._stream.seek(first * self._row.itemsize)
        self._stream.write(rows.tobytes())

    def blocks(self, count: int) -> Iterator[Rows]:
        """The rows of samples 0 to count - 1, some at a time."""
        for first in range(0, count, BLOCK):
            self._stream.seek(first * self._row.itemsize)
            size = min(BLOCK, count - first)
            yield np.frombuffer(self._stream.read(size * self._row.itemsize), dtype=self._row)

    def __enter__(self) -> RowFile:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self._stream.close()
