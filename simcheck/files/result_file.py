"""A result read back: a JSON document that a command printed with --json, or a dispersion's folder.

The document names its case file and the digest of its bytes; the case is loaded from there, or from
a file that is given instead, and must still be the same.
"""

from __future__ import annotations

import dataclasses
from pathlib import Path
from typing import Any, TypeVar, cast, get_args

import numpy as np

from simcheck.errors import InputError
from simcheck.files.case_toml import load_case
from simcheck.files.ephemeris import built_in_perturbers
from simcheck.files.epochs import read_date
from simcheck.files.fleet_toml import load_fleet
from simcheck.files.plan_json import COMMON_KEYS, check_plan
from simcheck.files.records_json import load_json, read_record, shown
from simcheck.files.run_folder import SAMPLES, SUMMARY
from simcheck.records.case import Case
from simcheck.records.deep import DeepCheck
from simcheck.records.dispersion import Dispersion, Rows, columns_of, row_of
from simcheck.records.fleet import Assignment
from simcheck.records.flight import Flight, Verdict
from simcheck.records.hold import Hold
from simcheck.records.plan import Plan
from simcheck.records.result import Kind, Result, Seen
from simcheck.records.setback import Setback

T = TypeVar("T")

KINDS: tuple[Kind, ...] = get_args(Kind)
_NUMERICAL = ("engine_disagreement_m", "propagator")
_SHA256 = 64  # hexadecimal digits


def read_result(path: str | Path, case_path: str | Path | None = None) -> Result:
    """Read a result: a document of --json, or a folder that `disperse --out` finished.

    case_path is where the case file is, where the document does not find it. Raises InputError with
    every fault of the document, and where the case file is not the one that the result is of.
    """
    there = Path(path)
    folder = there if there.is_dir() else None
    file = there / SUMMARY if folder else there
    if folder and not file.exists():
        raise InputError(
            f"{there}: expected a folder that `simcheck disperse --out` finished, with {SUMMARY}"
        )
    document, kind = _document(file)
    made = _Document(document, str(file))
    version, digest, named = made.common()
    where = _case_path(file, named) if case_path is None else Path(case_path)
    if kind == "assign":
        return _assigned(made, version, digest, where)
    case = load_case(where)
    _same(str(file), where, digest, case.inputs_sha256)
    found = Result(kind=kind, case=case, version=version, **_parts(made, kind))
    if folder and found.dispersion:
        found = dataclasses.replace(found, rows=_rows(folder / SAMPLES, case, found.dispersion))
    return found


def bodies_seen(case: Case) -> tuple[Seen, ...]:
    """The bodies that the built-in ephemerides know about the case's body, at its epoch."""
    if case.epoch is None:
        return ()
    known = built_in_perturbers(case.body, read_date(case.epoch))
    return tuple(
        Seen(
            name=one.name,
            gm_m3_s2=one.gm_m3_s2,
            position_m=np.reshape(one.position(np.zeros(1)), 3),
            source=one.source,
        )
        for one in known
    )


def _document(file: Path) -> tuple[dict[str, Any], Kind]:
    """The document of a file, and which command wrote it."""
    document = load_json(file)
    if not isinstance(document, dict):
        raise InputError(f"{file}: expected an object, got {shown(document)}")
    schema = document.get("schema")
    for kind in KINDS:
        if schema == f"simcheck.{kind}/1":
            return document, kind
    expected = ", ".join(f"simcheck.{kind}/1" for kind in KINDS)
    got = "nothing" if schema is None else shown(schema)
    more = ""
    if schema == "simcheck.error/1":
        more = "; the command that wrote it ended in an error"
    raise InputError(f"{file}: schema: expected one of {expected}, got {got}{more}")


def _case_path(file: Path, named: str) -> Path:
    """Where the document says that its case is: as it stands, or as seen from the document."""
    there = Path(named)
    return there if there.exists() or there.is_absolute() else _beside(file, there)


def _beside(file: Path, named: Path) -> Path:
    for near in (file.parent / named, file.parent / named.name):
        if near.exists():
            return near
    raise InputError(
        f"{file}: case.path: there is no {named} here; say where the case file is: --case FILE"
    )


def _same(file: str, case: Path, expected: str, found: str) -> None:
    if found != expected:
        raise InputError(
            f"{file}: inputs_sha256: this result is of another case file: it says"
            f" {expected[:12]}..., {case} is {found[:12]}... now; give the case as it was with"
            " --case FILE, or run the command again"
        )


def _parts(made: _Document, kind: Kind) -> dict[str, Any]:
    """The records of a document, by their name in Result."""
    if kind == "plan":
        return {"plan": made.checked_plan(made.rest())}
    if kind == "disperse":
        plan = made.part("plan", Plan)
        return {"plan": plan, "dispersion": made.whole(Dispersion, ("plan", "columns"))}
    if kind == "hold":
        none = made.document.get("plan") is None
        beside = ("plan", "first_days", "verdict", "tolerance")
        flown = None if none else made.part("plan", Plan)
        return {"plan": flown, "hold": made.whole(Hold, beside)}
    return _flown(made)


def _flown(made: _Document) -> dict[str, Any]:
    """Plan, flight and verdict of `check` and `fly`, whose fields stand side by side."""
    numerical = made.document.get("numerical")
    if not isinstance(numerical, dict):
        raise InputError(f"{made.file}: numerical: expected an object, got {shown(numerical)}")
    names = {field.name for field in dataclasses.fields(Verdict)}
    verdict = {name: made.document[name] for name in names if name in made.document}
    beside = {"plan", "tolerance", "limits", "numerical", "setbacks", "deep", *names}
    flight = {key: value for key, value in made.rest().items() if key not in beside}
    flight |= {key: numerical[key] for key in _NUMERICAL if key in numerical}
    setbacks = made.document.get("setbacks", [])
    if not isinstance(setbacks, list):
        raise InputError(f"{made.file}: setbacks: expected a list, got {shown(setbacks)}")
    return {
        "plan": made.part("plan", Plan),
        "flight": read_record(Flight, flight, made.file),
        "verdict": read_record(Verdict, verdict, made.file),
        "setbacks": tuple(read_record(Setback, one, made.file) for one in setbacks),
        "deep": made.part("deep", DeepCheck) if "deep" in made.document else None,
    }


def _assigned(made: _Document, version: str, digest: str, where: Path) -> Result:
    fleet = load_fleet(where)
    _same(made.file, where, digest, fleet.base.inputs_sha256)
    found = made.whole(Assignment, ("tolerance",))
    names = [craft.name for craft in fleet.craft]
    strange = [one.craft for one in found.assigned if one.craft not in names]
    if strange:
        raise InputError(f"{made.file}: assigned: the case has no craft called {strange[0][:40]!r}")
    return Result(
        kind="assign",
        case=fleet.base,
        fleet=fleet,
        assignment=found,
        version=version,
    )


def _rows(path: Path, case: Case, found: Dispersion) -> Rows:
    """All rows of a finished run, as many as its summary speaks of."""
    import pyarrow as pa
    from pyarrow import parquet

    columns = columns_of(case)
    names = [name for name, *_ in columns]
    try:
        table = parquet.read_table(path, columns=names)
    except (OSError, pa.ArrowException) as error:
        reason = " ".join(str(error).split())[:120]
        raise InputError(f"{path}: cannot be read as the rows of a run: {reason}") from None
    if table.num_rows != found.samples or table.column_names != names:
        raise InputError(
            f"{path}: expected {found.samples} rows of {len(names)} columns, as {SUMMARY} says,"
            f" got {table.num_rows} of {table.num_columns}"
        )
    rows = np.empty(table.num_rows, dtype=row_of(columns))
    for name in names:
        rows[name] = table[name].to_numpy()
    rows.flags.writeable = False
    return cast(Rows, rows)


class _Document:
    """A document, and how its parts become records; faults name the file and the key."""

    def __init__(self, document: dict[str, Any], file: str) -> None:
        self.document, self.file = document, file

    def common(self) -> tuple[str, str, str]:
        """Version of the writer, digest of the case file and its path. Raises InputError."""
        about = self.document.get("case")
        path = about.get("path") if isinstance(about, dict) else None
        version, digest = self.document.get("simcheck"), self.document.get("inputs_sha256")
        faults = []
        if not isinstance(path, str) or not path:
            faults.append(f"case.path: expected the path of a case file, got {shown(path)}")
        if not isinstance(version, str):
            faults.append(f"simcheck: expected a version, got {shown(version)}")
        if not isinstance(digest, str) or len(digest) != _SHA256:
            faults.append(f"inputs_sha256: expected 64 hexadecimal digits, got {shown(digest)}")
        if faults:
            raise InputError(*(f"{self.file}: {fault}" for fault in faults))
        return cast(str, version), cast(str, digest), cast(str, path)

    def rest(self) -> dict[str, Any]:
        """All but the keys that every document has."""
        return {key: value for key, value in self.document.items() if key not in COMMON_KEYS}

    def whole(self, kind: type[T], beside: tuple[str, ...]) -> T:
        """The record whose fields stand in the document itself, beside these other keys."""
        own = {key: value for key, value in self.rest().items() if key not in beside}
        return read_record(kind, own, self.file)

    def part(self, key: str, kind: type[T]) -> T:
        """The record under a key."""
        if key not in self.document:
            raise InputError(f"{self.file}: {key}: missing")
        found = read_record(kind, self.document[key], f"{self.file}: {key}")
        if isinstance(found, Plan):
            self._sound(found)
        return found

    def checked_plan(self, value: object) -> Plan:
        """A plan that stands in the document itself."""
        plan = read_record(Plan, value, self.file)
        self._sound(plan)
        return plan

    def _sound(self, plan: Plan) -> None:
        faults = check_plan(plan)
        if faults:
            raise InputError(*(f"{self.file}: {fault}" for fault in faults))
