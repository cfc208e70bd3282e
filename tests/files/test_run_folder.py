"""What a finished run leaves: Parquet that other tools read, the summary as JSON."""

from __future__ import annotations

import json
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from pyarrow import parquet

from simcheck.dispersing.dispersal import summarise
from simcheck.dispersing.flights import Job
from simcheck.files.documents import dispersion_document
from simcheck.files.row_file import RowFile
from simcheck.files.run_folder import SAMPLES, SUMMARY, write_results, write_samples
from simcheck.records.dispersion import COLUMNS, ROW, Rows
from tests.cli import samples
from tests.dispersing.rows import some

ABOUT: dict[str, Any] = {"case": "Ödland's ring", "seed": 3, "inputs_sha256": "aa"}


def blocks(rows: Rows, size: int) -> Iterator[Rows]:
    return (rows[k : k + size] for k in range(0, len(rows), size))


def test_rows_come_back_bit_for_bit(tmp_path: Path) -> None:
    """Each column with its type and all bits; NaN is a number, not a gap."""
    rows = some(100)
    assert np.isnan(rows["phase_deg"]).any()
    write_samples(tmp_path / SAMPLES, blocks(rows, 40), ABOUT)
    found = parquet.read_table(tmp_path / SAMPLES)
    assert found.column_names == list(ROW.names or ())
    for name in found.column_names:
        column = found[name]
        assert column.null_count == 0
        assert column.to_numpy().dtype == ROW[name]
        assert column.to_numpy().tobytes() == np.ascontiguousarray(rows[name]).tobytes()


def test_the_file_says_what_it_is(tmp_path: Path) -> None:
    """Units and meanings with the columns; schema, case, seed and hash with the file."""
    write_samples(tmp_path / SAMPLES, blocks(some(10), 40), ABOUT)
    schema = parquet.read_schema(tmp_path / SAMPLES)
    for name, _, unit, meaning in COLUMNS:
        about = schema.field(name).metadata
        assert (about[b"unit"].decode(), about[b"meaning"].decode()) == (unit, meaning)
    told = {key.decode(): value.decode() for key, value in schema.metadata.items()}
    expected = {key: str(value) for key, value in ABOUT.items()}
    assert told == expected | {"schema": "simcheck.samples/1"}


def test_rows_are_written_some_at_a_time(tmp_path: Path) -> None:
    """A row group a block, and the same bytes for the same rows."""
    for name in ("one", "two"):
        write_samples(tmp_path / name, blocks(some(100), 40), ABOUT)
    groups = parquet.ParquetFile(tmp_path / "one").metadata
    assert [groups.row_group(k).num_rows for k in range(groups.num_row_groups)] == [40, 40, 20]
    assert (tmp_path / "one").read_bytes() == (tmp_path / "two").read_bytes()


def test_broken_off_it_is_not_there(tmp_path: Path) -> None:
    """An error half-way leaves no file, nor a part of one."""

    def broken() -> Iterator[Rows]:
        yield some(10)
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        write_samples(tmp_path / SAMPLES, broken(), ABOUT)
    assert list(tmp_path.iterdir()) == []


def test_the_summary_is_what_the_command_prints(tmp_path: Path) -> None:
    """summary.json is the document of `disperse --json`; both files are in their place."""
    job = Job(case=samples.case(), plan=samples.plan(), seed=3, planner="ring")
    ring = samples.ring(job.case)
    rows = some(100, made=job.case)
    with RowFile(tmp_path) as table:
        table.put(0, rows)
        found = summarise(job, table, 100, "all samples flown")
        write_results(tmp_path, job, found, table.blocks(100), ring)
    document = json.loads((tmp_path / SUMMARY).read_text(encoding="utf-8"))
    assert document == json.loads(json.dumps(dispersion_document(job.case, job.plan, found, ring)))
    told = parquet.read_schema(tmp_path / SAMPLES).metadata
    closest = parquet.read_schema(tmp_path / SAMPLES).field("closest_2_m").metadata
    assert closest[b"meaning"].decode() == "closest approach to member 2, R2"
    assert document["columns"][-1]["name"] == "closest_2_m"
    assert told[b"case"].decode() == document["case"]["title"]
    assert told[b"inputs_sha256"].decode() == document["inputs_sha256"]
    assert told[b"seed"] == b"3"
    assert sorted(x.name for x in tmp_path.iterdir()) == [SAMPLES, SUMMARY]


def test_start_up_does_not_pay_for_it() -> None:
    """pyarrow is taken in where a file is written, not before."""
    code = (
        "import sys; import simcheck.files.run_folder, simcheck.api, simcheck.cli.disperse; "
        "assert 'pyarrow' not in sys.modules"
    )
    subprocess.run([sys.executable, "-c", code], check=True)
