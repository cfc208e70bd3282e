"""Chunks on disk: whole or not at all, one run a folder."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest

from simcheck.errors import InputError
from simcheck.files.chunk_store import ChunkStore
from simcheck.records.dispersion import COLUMNS, ROW, Rows, columns_of
from tests.cli import samples as made_up
from tests.dispersing.rows import some as dispersed

ABOUT: dict[str, Any] = {"inputs_sha256": "aa", "plan_sha256": "bb", "seed": 3, "planner": "ring"}


def some(count: int, first: int = 0) -> Rows:
    """Rows of made-up numbers."""
    rows = np.zeros(count, dtype=ROW)
    rows["sample"] = np.arange(first, first + count)
    rows["phase_deg"] = np.random.default_rng(first).normal(size=count)
    rows["closest_approach_m"] = np.nan
    return rows


def test_rows_with_members_come_back_and_do_not_mix(tmp_path: Path) -> None:
    """Columns of members are kept; a run with others, or with none, is another run."""
    made = made_up.case()
    columns = columns_of(made)
    rows = dispersed(30, made=made)
    ChunkStore(tmp_path, ABOUT, columns).keep(0, rows)
    held = ChunkStore(tmp_path, ABOUT, columns).held(0)
    assert held is not None
    assert held.dtype == rows.dtype
    assert held.tobytes() == rows.tobytes()
    for other in (COLUMNS, columns[:-1]):
        with pytest.raises(InputError, match="belongs to another run"):
            ChunkStore(tmp_path, ABOUT, other)


def test_a_chunk_comes_back_bit_for_bit(tmp_path: Path) -> None:
    """What was kept is held, NaN and all; what was not is not."""
    store = ChunkStore(tmp_path, ABOUT)
    store.keep(50, some(20, 50))
    held = ChunkStore(tmp_path, ABOUT).held(50)
    assert held is not None
    assert held.tobytes() == some(20, 50).tobytes()
    assert store.held(0) is None


@pytest.mark.parametrize("keep", [0, 1, 60, 500, -1])
def test_a_part_of_a_chunk_is_never_read(tmp_path: Path, keep: int) -> None:
    """Cut short anywhere, as a crash of the machine may leave it, a file counts as not there."""
    store = ChunkStore(tmp_path, ABOUT)
    store.keep(0, some(20))
    path = next(tmp_path.glob("chunk-*"))
    data = path.read_bytes()
    path.write_bytes(data[:keep])
    assert store.held(0) is None


def test_a_changed_chunk_is_never_read(tmp_path: Path) -> None:
    """One bit turned over is found out."""
    store = ChunkStore(tmp_path, ABOUT)
    store.keep(0, some(20))
    path = next(tmp_path.glob("chunk-*"))
    data = bytearray(path.read_bytes())
    data[-7] ^= 1
    path.write_bytes(bytes(data))
    assert store.held(0) is None


def test_a_full_disk_loses_nothing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A write that fails leaves what is there, and nothing half-written beside it."""
    store = ChunkStore(tmp_path, ABOUT)
    store.keep(0, some(20))

    def full(fd: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("os.fsync", full)
    with pytest.raises(OSError, match="No space"):
        store.keep(20, some(20, 20))
    assert store.held(0) is not None
    assert store.held(20) is None
    assert sorted(x.name for x in tmp_path.iterdir()) == ["chunk-0000000000", "run.json"]


@pytest.mark.parametrize(
    ("key", "value"), [("seed", 4), ("inputs_sha256", "cc"), ("plan_sha256", "dd")]
)
def test_another_run_is_refused(tmp_path: Path, key: str, value: object) -> None:
    """A folder of another case, plan or seed is not gone on with; the message says what differs."""
    ChunkStore(tmp_path, ABOUT)
    with pytest.raises(InputError, match=rf"run.json: belongs to another run \({key} was"):
        ChunkStore(tmp_path, ABOUT | {key: value})


def test_a_folder_that_is_none_is_refused(tmp_path: Path) -> None:
    """A file in its place, or a run.json that is none, is wrong input."""
    (tmp_path / "file").write_text("x")
    with pytest.raises(InputError, match="cannot be used"):
        ChunkStore(tmp_path / "file", ABOUT)
    (tmp_path / "run.json").write_text("x")
    with pytest.raises(InputError, match="is not the record of a run"):
        ChunkStore(tmp_path, ABOUT)
