"""Finished chunks of a dispersion on disk: written whole or not at all, read only when whole.

A folder holds run.json, which says what is flown, and one file a chunk: a line of JSON with the
number of rows and the digest of their bytes, then the bytes. A killed run leaves whole files only;
what a crash of the machine may still leave is found out by its digest and flown again.
"""

from __future__ import annotations

import hashlib
import json
from pathlib import Path
from typing import Any

import numpy as np

from simcheck.dispersing.flights import Job
from simcheck.errors import InputError
from simcheck.files.records_json import write_record
from simcheck.files.whole_file import write_whole
from simcheck.records.dispersion import COLUMNS, Columns, Rows, row_of
from simcheck.version import VERSION

_RUN = "run.json"
_LONGEST_HEADER = 1000


class ChunkStore:
    """Chunks of one run in one folder. Raises InputError where the folder holds another run's."""

    def __init__(
        self, folder: str | Path, about: dict[str, Any], columns: Columns = COLUMNS
    ) -> None:
        self.folder, self.row = Path(folder), row_of(columns)
        run = {
            "schema": "simcheck.run/1",
            "simcheck": VERSION,
            **about,
            "columns": [list(column[:3]) for column in columns],
        }
        try:
            self.folder.mkdir(parents=True, exist_ok=True)
            self._claim(run)
        except OSError as error:
            raise InputError(f"{self.folder}: cannot be used: {error.strerror}") from None

    def _claim(self, run: dict[str, Any]) -> None:
        path = self.folder / _RUN
        if not path.exists():
            write_whole(path, (json.dumps(run, indent=2) + "\n").encode())
            return
        try:
            found = json.loads(path.read_text(encoding="utf-8"))
        except ValueError:
            raise InputError(f"{path}: is not the record of a run; use another folder") from None
        for key, value in run.items():
            if found.get(key) != value:
                raise InputError(
                    f"{path}: belongs to another run ({key} was {found.get(key)!r} and is "
                    f"{value!r} now); use another folder"
                )

    def held(self, first: int) -> Rows | None:
        """The chunk that begins with this sample, None unless it is there and whole."""
        try:
            with self._path(first).open("rb") as stream:
                header = json.loads(stream.readline(_LONGEST_HEADER))
                data = stream.read()
        except (OSError, ValueError):
            return None
        if not isinstance(header, dict) or header.get("sha256") != _digest(data):
            return None
        if len(data) != header.get("rows", -1) * self.row.itemsize:
            return None
        return np.frombuffer(data, dtype=self.row)

    def keep(self, first: int, rows: Rows) -> None:
        """Write a chunk. Raises OSError where the disk takes no more; what is there stays."""
        data = rows.tobytes()
        header = json.dumps({"rows": len(rows), "sha256": _digest(data)}).encode() + b"\n"
        write_whole(self._path(first), header + data)

    def _path(self, first: int) -> Path:
        return self.folder / f"chunk-{first:010d}"


def _digest(data: bytes) -> str:
    return hashlib.sha256(data).hexdigest()


def about_run(job: Job) -> dict[str, Any]:
    """What makes a run the run that it is: everything that its rows depend on."""
    plan = json.dumps(write_record(job.plan), sort_keys=True).encode()
    return {
        "inputs_sha256": job.case.inputs_sha256,
        "plan_sha256": _digest(plan),
        "seed": job.seed,
        "planner": job.planner,
    }


class MemoryStore:
    """Keeps nothing: for a run without a folder."""

    def held(self, first: int) -> Rows | None:
        """Nothing."""
        return None

    def keep(self, first: int, rows: Rows) -> None:
        """Nothing either."""
