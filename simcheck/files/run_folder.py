"""What a finished dispersion leaves in its folder: every row as Parquet, the summary as JSON."""

from __future__ import annotations

import json
from collections.abc import Iterable
from pathlib import Path
from typing import Any

import numpy as np

from simcheck.dispersing.flights import Job
from simcheck.files.chunk_store import about_run
from simcheck.files.documents import dispersion_document
from simcheck.files.whole_file import whole_file, write_whole
from simcheck.measuring import RingMotion
from simcheck.records.dispersion import COLUMNS, Columns, Dispersion, Rows, columns_of
from simcheck.version import VERSION

SAMPLES = "samples.parquet"
"""All rows, in order of samples."""

SUMMARY = "summary.json"
"""What `disperse --json` prints."""


def write_results(
    folder: Path, job: Job, found: Dispersion, blocks: Iterable[Rows], ring: RingMotion
) -> None:
    """Write both files; see `write_samples`."""
    about = {"simcheck": VERSION, "case": job.case.title, **about_run(job)}
    write_samples(folder / SAMPLES, blocks, about, columns_of(job.case))
    document = dispersion_document(job.case, job.plan, found, ring)
    text = json.dumps(document, indent=2, ensure_ascii=False, allow_nan=False)
    write_whole(folder / SUMMARY, (text + "\n").encode())


def write_samples(
    path: Path, blocks: Iterable[Rows], about: dict[str, Any], columns: Columns = COLUMNS
) -> None:
    """Write blocks of rows, a row group each; whole or not at all, the same bytes for the same.

    Each column carries its unit and meaning; the file carries `about` and the name of its schema.
    NaN stays NaN. Raises OSError where the disk takes no more.
    """
    import pyarrow as pa  # a quarter of a second of start-up, for this only
    from pyarrow import parquet

    fields = [
        pa.field(
            name,
            pa.from_numpy_dtype(np.dtype(kind)),
            nullable=False,
            metadata={"unit": unit, "meaning": meaning},
        )
        for name, kind, unit, meaning in columns
    ]
    of_file = {"schema": "simcheck.samples/1"} | {key: str(value) for key, value in about.items()}
    schema = pa.schema(fields, metadata=of_file)
    repeating = ["outcome", "within", "burns", "decisions"]
    with (
        whole_file(path) as beside,
        parquet.ParquetWriter(
            beside, schema, compression="zstd", use_dictionary=repeating
        ) as writer,
    ):
        for rows in blocks:
            parts = [pa.array(rows[name].copy()) for name in schema.names]
            writer.write_batch(pa.record_batch(parts, schema=schema), row_group_size=len(rows))
