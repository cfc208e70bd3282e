"""A result from a file: everything comes back, and what is wrong with it is told with its key."""

from __future__ import annotations

import dataclasses
import json
import math
from contextlib import suppress
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import simcheck
from simcheck.errors import InputError
from simcheck.files import documents
from simcheck.files.records_json import write_record
from simcheck.files.result_file import bodies_seen, read_result
from simcheck.files.run_folder import SAMPLES, SUMMARY, write_samples
from simcheck.records.case import Case
from simcheck.records.dispersion import columns_of
from simcheck.records.setback import Setback
from tests.cases_for_tests import toml
from tests.cli import samples
from tests.report.page.results import dispersion
from tests.report.test_hold_text import held

Document = dict[str, Any]
LOST = Setback(burn="B1", lost=0.5, recovered=False, dv_m_s=math.nan, days=math.nan, how="no")
CASES = Path(__file__).parents[2] / "cases"


@pytest.fixture(scope="module")
def path(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A case file with an epoch, invented."""
    path = tmp_path_factory.mktemp("result") / "case.toml"
    epoch = {"case": {"title": "a ring", "epoch": "2031-04-12T06:00:00"}}
    path.write_text(toml(epoch), encoding="utf-8")
    return path


@pytest.fixture(scope="module")
def case(path: Path) -> Case:
    return simcheck.load_case(path)


def checked(case: Case, **fields: Any) -> Document:
    """What `check --json` prints of hand-made records."""
    flight = samples.flight(**fields)
    return documents.flight_document(
        "check",
        case,
        plan=samples.plan(),
        flight=flight,
        verdict=simcheck.judge(case, flight),
        ring=samples.ring(case),
        setbacks=(LOST,),
    )


def kept(folder: Path, document: object, name: str = "result.json") -> Path:
    path = folder / name
    path.write_text(json.dumps(document), encoding="utf-8")
    return path


def same(one: Any, other: Any) -> bool:
    return json.dumps(write_record(one)) == json.dumps(write_record(other))


def test_a_check_comes_back(case: Case, tmp_path: Path) -> None:
    """Plan, flight, verdict and setbacks are what was written, to the last bit; so is the case."""
    flight = samples.flight(sample=3, seed=7, errors=samples.no_orbit())
    found = read_result(kept(tmp_path, checked(case, sample=3, seed=7, errors=flight.errors)))
    assert found.kind == "check"
    assert same(found.case, case)
    assert found.plan is not None
    assert found.flight is not None
    assert found.verdict is not None
    assert same(found.plan, samples.plan())
    assert same(found.flight, flight)
    assert same(found.verdict, simcheck.judge(case, flight))
    assert same(found.setbacks[0], LOST)


def test_the_others_come_back(case: Case, tmp_path: Path) -> None:
    """A plan, a dispersion, a hold with a plan and one without."""
    ring, plan = samples.ring(case), samples.plan()
    (many, _), hold = dispersion(case, 50), held()
    one = read_result(kept(tmp_path, documents.plan_document(case, plan, ring)))
    assert one.kind == "plan"
    assert one.flight is None
    assert one.plan is not None
    assert same(one.plan, plan)
    two = read_result(kept(tmp_path, documents.dispersion_document(case, plan, many, ring)))
    assert two.dispersion is not None
    assert same(two.dispersion, many)
    assert two.rows is None
    for of, given_plan in ((plan, True), (None, False)):
        three = read_result(kept(tmp_path, documents.hold_document(case, of, hold, ring)))
        assert three.hold is not None
        assert same(three.hold, hold)
        assert (three.plan is not None) is given_plan


def test_the_case_must_be_the_same(case: Case, path: Path, tmp_path: Path) -> None:
    """A case file that changed since is refused, wherever it is; the old one may be given."""
    document = checked(case)
    moved = tmp_path / "moved.toml"
    moved.write_text(path.read_text(encoding="utf-8"), encoding="utf-8")
    assert read_result(kept(tmp_path, document), moved).case.inputs_sha256 == case.inputs_sha256
    changed = tmp_path / "changed.toml"
    changed.write_text(path.read_text(encoding="utf-8") + "\n# a word more\n", encoding="utf-8")
    for given_path, named in ((changed, str(path)), (None, str(changed))):
        document["case"]["path"] = named
        with pytest.raises(InputError, match="inputs_sha256: this result is of another case file"):
            read_result(kept(tmp_path, document), given_path)


def test_a_case_is_found_beside_the_result(case: Case, path: Path, tmp_path: Path) -> None:
    """A relative path that leads nowhere from here is tried from the document's folder."""
    document = checked(case)
    document["case"]["path"] = "somewhere/case.toml"
    with pytest.raises(InputError, match="--case FILE"):
        read_result(kept(tmp_path, document))
    (tmp_path / "case.toml").write_bytes(path.read_bytes())
    assert read_result(kept(tmp_path, document)).kind == "check"


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"schema": "simcheck.trim/1"}, "schema: expected one of simcheck.check/1"),
        ({"schema": "simcheck.error/1"}, "the command that wrote it ended in an error"),
        ({"schema": None}, "got nothing"),
        ({"case": {"title": "x"}}, "case.path: expected the path of a case file"),
        ({"inputs_sha256": "ab"}, "inputs_sha256: expected 64 hexadecimal digits"),
        ({"simcheck": 1}, "simcheck: expected a version"),
        ({"plan": {}}, "plan: planner: missing"),
        ({"numerical": 3}, "numerical: expected an object"),
        ({"setbacks": {}}, "setbacks: expected a list"),
        ({"outcome": "landed"}, "outcome: expected one of flown"),
        ({"extra": 1}, "extra: unknown key"),
    ],
)
def test_what_is_wrong_is_told(case: Case, tmp_path: Path, change: Document, message: str) -> None:
    """Each fault names its key and what was expected."""
    with pytest.raises(InputError, match=message):
        read_result(kept(tmp_path, checked(case) | change))


@given(st.data())
@settings(max_examples=60)
def test_garbage_ends_in_one_error(
    case: Case, tmp_path_factory: pytest.TempPathFactory, data: st.DataObject
) -> None:
    """Whatever stands in place of a part of it, a document is read or refused."""
    document = json.loads(json.dumps(checked(case)))
    samples.alter(document, data)
    folder = tmp_path_factory.mktemp("garbage")
    path = kept(folder, document)
    with suppress(InputError):
        assert read_result(path, case.path).kind == "check"


def test_a_folder_has_its_rows(case: Case, tmp_path: Path) -> None:
    """Rows come back as they were written; another number than the summary's is refused."""
    found, rows = dispersion(case, 50)
    document = documents.dispersion_document(case, samples.plan(), found, samples.ring(case))
    kept(tmp_path, document, SUMMARY)
    write_samples(tmp_path / SAMPLES, [rows], {}, columns_of(case))
    read = read_result(tmp_path)
    assert read.rows is not None
    assert read.rows.tobytes() == rows.tobytes()
    write_samples(tmp_path / SAMPLES, [rows[:-1]], {}, columns_of(case))
    with pytest.raises(InputError, match=f"expected {found.samples} rows"):
        read_result(tmp_path)
    (tmp_path / SAMPLES).write_bytes(b"not parquet")
    with pytest.raises(InputError, match="cannot be read as the rows of a run"):
        read_result(tmp_path)


def test_an_unfinished_folder(tmp_path: Path) -> None:
    """A folder without a summary is none of a finished run."""
    with pytest.raises(InputError, match=r"disperse --out` finished, with summary\.json"):
        read_result(tmp_path)


@pytest.mark.reference("NASA planetary fact sheet, from memory: Mars 1.381 to 1.666 au")
def test_bodies_seen() -> None:
    """From Mars the Sun is seen, between its perihelion and aphelion; without an epoch nothing."""
    case = simcheck.load_case(CASES / "mars_ring.toml")
    (sun,) = bodies_seen(case)
    assert sun.name == "Sun"
    distance = float(np.linalg.norm(sun.position_m)) / 149597870700.0
    assert 1.381 <= distance <= 1.666
    assert bodies_seen(dataclasses.replace(case, epoch=None)) == ()
