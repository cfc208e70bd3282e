"""Records to JSON and back: nothing is lost, and whatever is wrong is named."""

from __future__ import annotations

import contextlib
import dataclasses
import json
import math
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from simcheck.errors import InputError
from simcheck.files.records_json import load_json, read_record, write_record
from simcheck.records.case import Body, Case, Engine, Limits
from simcheck.records.flight import Flight, FlownErrors, Verdict
from simcheck.records.plan import Plan
from tests.cli import samples


def same(one: Any, two: Any) -> bool:
    """Whether two values are equal bit for bit, types included, NaN equal to NaN."""
    if type(one) is not type(two):
        return False
    if dataclasses.is_dataclass(one):
        names = [field.name for field in dataclasses.fields(one)]
        return all(same(getattr(one, name), getattr(two, name)) for name in names)
    if isinstance(one, np.ndarray):
        return bool(one.shape == two.shape and one.tobytes() == two.tobytes())
    if isinstance(one, tuple):
        return len(one) == len(two) and all(map(same, one, two))
    if isinstance(one, float):
        return repr(one) == repr(two)
    return bool(one == two)


def there_and_back(record: Any) -> Any:
    text = json.dumps(write_record(record), allow_nan=False)
    return read_record(type(record), json.loads(text), "record.json")


@pytest.mark.parametrize("make", [samples.case, samples.plan, samples.flight])
def test_whole_records_come_back_the_same(make: Any) -> None:
    """Arrays, tuples, None, dictionaries and nested records survive the way there and back."""
    record = make()
    assert same(there_and_back(record), record)


@given(st.floats(), st.floats(), st.floats())
def test_every_float_comes_back_with_the_same_bits(a: float, b: float, c: float) -> None:
    """Any float of a plain field survives, infinities and NaN too (all NaN are one)."""
    record = FlownErrors(phase_deg=a, period_s=b, eccentricity=c, plane_deg=0.1)
    assert same(there_and_back(record), record)


@given(st.floats())
def test_every_float_comes_back_where_null_means_something(value: float) -> None:
    """A field with an infinite default, and one that may be None, keep every value apart."""
    limits = Limits(duration_s=value)
    assert same(there_and_back(limits), limits)
    body = Body(name="x", gm_m3_s2=1.0, radius_m=1.0, rotation_period_s=value)
    assert same(there_and_back(body), body)


def test_no_limit_and_no_number_are_null() -> None:
    """The usual infinity and the usual NaN are written as null, which any reader of JSON has."""
    assert write_record(Limits())["duration_s"] is None
    assert write_record(Limits(duration_s=-math.inf))["duration_s"] == "-inf"
    errors = FlownErrors(phase_deg=math.nan, period_s=math.inf, eccentricity=0.0, plane_deg=0.0)
    assert write_record(errors)["phase_deg"] is None
    assert write_record(errors)["period_s"] == "inf"


def test_numpy_scalars_are_written_as_numbers() -> None:
    """A record that carries numpy's own scalars gives plain JSON."""
    verdict = Verdict(
        verdict="within",
        within={"phase": np.bool_(True)},  # type: ignore[dict-item]
        kept={},
        used={"phase": np.float64(0.5)},
        margins={"dv_m_s": np.float64("nan")},
        findings=(),
    )
    written = write_record(verdict)
    assert json.loads(json.dumps(written, allow_nan=False)) == written
    assert written["within"]["phase"] is True
    assert written["margins"]["dv_m_s"] is None


def test_read_arrays_are_frozen() -> None:
    """Arrays that come from a file are as read-only as all others."""
    assert not there_and_back(samples.plan()).burns[0].dv_m_s.flags.writeable


@pytest.mark.parametrize(
    ("kind", "path", "value", "message"),
    [
        (Plan, ("burns", 0, "time_s"), "5 s", 'burns[0].time_s: expected a number, got "5 s"'),
        (Plan, ("burns", 0, "time_s"), True, "burns[0].time_s: expected a number, got true"),
        (Plan, ("burns", 0, "dv_m_s"), [1.0, 2.0], "burns[0]: dv_m_s: expected an array"),
        (Plan, ("burns", 0, "dv_m_s"), 3.0, "burns[0].dv_m_s: expected a list of numbers"),
        (Plan, ("burns", 0, "dv_m_s"), [1.0, None, 0.0], "burns[0].dv_m_s[1]: expected a number"),
        (Plan, ("burns", 0, "dv_m_s"), [1.0, [], 0.0], "burns[0]: "),
        (Plan, ("burns",), {}, "burns: expected a list, got an object"),
        (Plan, ("burns", 1), 7, "burns[1]: expected an object, got 7"),
        (Plan, ("burns", 1, "label"), 7, "burns[1].label: expected text, got 7"),
        (Plan, ("summary",), "\x1b[2J", "summary: expected text that can be printed"),
        (Plan, ("commands", 0, "steering"), "lvlh", 'expected one of inertial, rsw, got "lvlh"'),
        (Plan, ("commands", 0, "steering"), ["rsw"], "expected one of inertial, rsw, got a list"),
        (Plan, ("alternatives", 0, "burns"), 1.5, "burns: expected a whole number, got 1.5"),
        (Plan, ("total_dv"), 1.0, "unknown key; did you mean total_dv_m_s?"),
        (Case, ("limits", "dv_m_s"), 10**400, "limits.dv_m_s: expected a finite number"),
        (Case, ("body", "sources"), [], "body.sources: expected an object"),
        (Flight, ("seed",), 1e3, "seed: expected a whole number"),
    ],
)
def test_faults_name_file_and_key(kind: Any, path: Any, value: Any, message: str) -> None:
    """Each fault is reported with the file, its key, what was expected and what was found."""
    record = {Plan: samples.plan, Case: samples.case, Flight: samples.flight}[kind]()
    document = write_record(record)
    path = (path,) if isinstance(path, str) else path
    place: Any = document
    for key in path[:-1]:
        place = place[key]
    place[path[-1]] = value
    with pytest.raises(InputError) as caught:
        read_record(kind, document, "relay.json")
    assert str(caught.value).startswith("relay.json: ")
    assert message in str(caught.value)


def test_a_number_that_python_does_not_write() -> None:
    """An integer of thousands of digits is refused without being printed."""
    with pytest.raises(InputError, match="got a number of thousands of digits"):
        read_record(Limits, {"dv_m_s": 10**5000}, "relay.json")


def test_all_faults_are_reported_at_once() -> None:
    """A file with several faults tells all of them, and a file with thousands not all."""
    document = write_record(samples.plan())
    del document["planner"]
    document["burns"][0]["time_s"] = None
    document["burns"][1]["purpose"] = None
    with pytest.raises(InputError) as caught:
        read_record(Plan, document, "p", finite=True)
    assert len(caught.value.faults) == 3
    document["burns"] = [1] * 5000
    with pytest.raises(InputError) as caught:
        read_record(Plan, document, "p", finite=True)
    assert len(caught.value.faults) == 21
    assert caught.value.faults[-1] == "p: and 4981 more faults"


def test_fields_with_a_default_may_be_left_out() -> None:
    """What the record has a default for need not stand in the file."""
    engine = Engine(name="engine", thrust_n=1.0, isp_s=2.0)
    document = {"name": "engine", "thrust_n": 1, "isp_s": 2}
    assert same(read_record(Engine, document, "e"), engine)


@pytest.mark.parametrize(
    ("data", "message"),
    [
        (b"", "expected JSON"),
        (b"{", "x.json:1:2: expected JSON"),
        (b"[case]\ntitle = 'x'", "expected JSON"),
        (b"\xff\xfe\x00", "UTF-8"),
        (b'{"a": NaN}', "NaN is not a JSON number"),
        (b'{"a": -Infinity}', "-Infinity is not a JSON number"),
        (b'{"a": 1, "a": 2}', 'the key "a" stands twice'),
        (b"[" * 200_000, "too deeply nested"),
        (b'{"a":' * 200_000, "too deeply nested"),
        (b"1" * 10_000, "expected JSON"),
        (b"\xef\xbb\xbf{}", "expected JSON"),
    ],
)
def test_what_is_not_json_is_an_input_error(tmp_path: Any, data: bytes, message: str) -> None:
    """Broken, hostile and recursive files end in one message, never in another exception."""
    path = tmp_path / "x.json"
    path.write_bytes(data)
    with pytest.raises(InputError, match=r"x\.json") as caught:
        load_json(path)
    assert message in str(caught.value)


def test_files_that_cannot_be_read(tmp_path: Any) -> None:
    """A missing file, a folder and a name that no file can have are input errors."""
    for path in (tmp_path / "none.json", tmp_path, "a\0b"):
        with pytest.raises(InputError, match="cannot be read"):
            load_json(path)


@given(st.data())
def test_any_value_in_any_place_is_read_or_refused(data: st.DataObject) -> None:
    """Whatever stands in place of any part of a record gives a record or an InputError."""
    document = write_record(samples.plan())
    samples.alter(document, data)
    with contextlib.suppress(InputError):
        assert isinstance(read_record(Plan, document, "x.json", finite=True), Plan)
