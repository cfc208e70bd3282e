"""Files that are in their place whole or not at all, whatever kills the process on the way."""

from __future__ import annotations

import os
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path


@contextmanager
def whole_file(path: Path) -> Iterator[Path]:
    """A path beside `path` to write to; moved to its place once all of it is on the disk.

    Left alone where the block raises; what was in its place before then stays. Raises OSError where
    the disk takes no more.
    """
    beside = path.with_name(f".{path.name}.{os.getpid()}")
    try:
        yield beside
        with beside.open("rb+") as stream:
            os.fsync(stream.fileno())
        beside.replace(path)
    finally:
        beside.unlink(missing_ok=True)


def write_whole(path: Path, data: bytes) -> None:
    """Put bytes in their place; as `whole_file`."""
    with whole_file(path) as beside:
        beside.write_bytes(data)
