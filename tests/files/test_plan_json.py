"""Plans from files: what simcheck wrote is read, what could not be flown is refused."""

from __future__ import annotations

import contextlib
import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from simcheck.errors import InputError
from simcheck.files.documents import flight_document, plan_document
from simcheck.files.plan_json import check_plan, read_plan
from simcheck.judging import judge
from simcheck.records.plan import Plan, Watch
from tests.cli import samples
from tests.files.test_records_json import same


def documents() -> dict[str, dict[str, Any]]:
    case, plan, flight = samples.case(), samples.plan(), samples.flight()
    ring, verdict = samples.ring(case), judge(case, flight)
    parts: dict[str, Any] = {"plan": plan, "flight": flight, "verdict": verdict, "ring": ring}
    return {
        "plan": plan_document(case, plan, ring),
        "check": flight_document("check", case, **parts),
        "fly": flight_document("fly", case, **parts),
    }


def read(document: object, folder: Path) -> Plan:
    path = folder / "plan.json"
    path.write_text(json.dumps(document), encoding="utf-8")
    return read_plan(path)


@pytest.mark.parametrize("command", ["plan", "check", "fly"])
def test_every_document_with_a_plan_is_read(command: str, tmp_path: Path) -> None:
    """The plan that any command wrote comes back the same, bit for bit."""
    assert same(read(documents()[command], tmp_path), samples.plan())


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"schema": "simcheck.plan/2"}, "schema: expected simcheck.plan/1, simcheck.check/1"),
        ({"schema": None}, "got nothing"),
        ({"schema": "simcheck.check/1"}, "plan: missing"),
        ({"schema": ["simcheck.plan/1"]}, "got a list of 1"),
        ({"verdict": "within"}, "verdict: unknown key"),
        ({"burns": None}, "burns: expected a list, got null"),
        ({"total_dv_m_s": 801.0}, "total_dv_m_s: expected the burns' sum, 800, got 801"),
        ({"arrival_time_s": 1.0}, "expected a time not before the last burn, 200000 s, got 1"),
        ({"arrival_time_s": 1e300}, "expected seconds past the epoch, from 0 to 1e+09"),
        ({"commanded_dv_m_s": -1.0}, "commanded_dv_m_s: expected zero or more"),
    ],
)
def test_wrong_documents(change: dict[str, Any], message: str, tmp_path: Path) -> None:
    """A wrong schema, version, key or total is refused with its key."""
    with pytest.raises(InputError) as caught:
        read(documents()["plan"] | change, tmp_path)
    assert message in str(caught.value)
    assert "plan.json: " in str(caught.value)


@pytest.mark.parametrize("document", [[], 1, "x", None, {}])
def test_documents_of_another_kind(document: object, tmp_path: Path) -> None:
    """JSON that is no document of ours is refused."""
    with pytest.raises(InputError, match="expected"):
        read(document, tmp_path)


@pytest.mark.parametrize(
    ("fields", "message"),
    [
        ({"time_s": -1.0}, "burns[0].time_s: expected seconds past the epoch"),
        ({"time_s": 200_001.0}, "burns[1].time_s: expected burns in order of time"),
        ({"label": "B2"}, "burns[1].label: expected a label that no other burn has"),
        ({"label": " "}, "burns[0].label: expected a label"),
        ({"position_m": np.zeros(3)}, "burns[0].position_m: expected a place away"),
        ({"dv_m_s": np.ones(3)}, "burns[0].dv_m_s: expected a vector of length magnitude_m_s"),
        ({"dv_rsw_m_s": np.ones(3)}, "burns[0].dv_rsw_m_s: expected a vector of length"),
    ],
)
def test_wrong_burns(fields: dict[str, Any], message: str) -> None:
    """Burns in the past, out of order, without a name or at odds with themselves are refused."""
    plan = samples.plan()
    wrong = samples.changed(plan, burns=(samples.changed(plan.burns[0], **fields), plan.burns[1]))
    assert any(message in fault for fault in check_plan(wrong))


@pytest.mark.parametrize(
    ("fields", "message"),
    [
        ({"burn": "B9"}, "commands[0].burn: expected the label of one of the burns, got 'B9'"),
        ({"ignition_s": -5.0}, "commands[0].ignition_s: expected seconds past the epoch"),
        ({"ignition_s": 3e5}, "commands[1].ignition_s: expected commands in order of time"),
        ({"duration_s": -1.0}, "commands[0].duration_s: expected a time above zero, got -1"),
        ({"duration_s": 0.0}, "commands[0].duration_s: expected a time above zero"),
        ({"duration_s": 2e5}, "commands[1].ignition_s: expected a time after the cutoff"),
        ({"direction": np.ones(3)}, "commands[0].direction: expected a vector of length 1"),
        ({"direction": np.zeros(3)}, "commands[0].direction: expected a vector of length 1"),
        ({"dv_m_s": -1.0}, "commands[0].dv_m_s: expected a speed of zero or more"),
        ({"cutoff": "orbit"}, "commands[0].watch: expected what to watch"),
        ({"watch": Watch(quantity="tilt", target=0.1)}, "watch.direction: expected the direction"),
        ({"watch": Watch(quantity="period_s", target=0.0)}, "target: expected a number above zero"),
        (
            {"watch": Watch(quantity="tilt", target=2.0, direction=np.array([0, 0, 2.0]))},
            "watch.target: expected a sine",
        ),
    ],
)
def test_wrong_commands(fields: dict[str, Any], message: str) -> None:
    """Commands that no engine could follow, or that belong to no burn, are refused."""
    plan = samples.plan()
    first = samples.changed(plan.commands[0], **fields)
    faults = check_plan(samples.changed(plan, commands=(first, plan.commands[1])))
    assert any(message in fault for fault in faults)


def test_a_good_plan_has_no_faults() -> None:
    """The sample that the wrong ones are made from is right."""
    assert check_plan(samples.plan()) == []
    empty = samples.plan(
        burns=(), commands=(), total_dv_m_s=0.0, commanded_dv_m_s=0.0, arrival_time_s=0.0
    )
    assert check_plan(empty) == []


def test_warnings_come_back(tmp_path: Path) -> None:
    """What a plan warns of is written and read; older documents have none; empty words are none."""
    case, plan = samples.case(), samples.plan(warnings=("its mass is another's", "B1: it lasts"))
    document = plan_document(case, plan, samples.ring(case))
    assert read(document, tmp_path).warnings == plan.warnings
    assert read({k: v for k, v in document.items() if k != "warnings"}, tmp_path).warnings == ()
    assert check_plan(samples.plan(warnings=("fine", " "))) == [
        "warnings[1]: expected words, got ' '"
    ]
    with pytest.raises(InputError, match=r"warnings\[0\]: expected text, got 1"):
        read(document | {"warnings": [1]}, tmp_path)


def test_a_plan_must_fit_the_case(tmp_path: Path) -> None:
    """A plan for thrusters is refused where the case has none."""
    path = tmp_path / "plan.json"
    path.write_text(json.dumps(documents()["plan"]), encoding="utf-8")
    assert read_plan(path, samples.case())
    with pytest.raises(InputError, match=r"commands\[1\].engine: the case has no thrusters"):
        read_plan(path, samples.case(thrusters=None))


def test_a_plan_of_another_case_says_so(tmp_path: Path) -> None:
    """Of another body it is refused, of another title it warns; of the case itself it does not."""
    path = tmp_path / "plan.json"
    path.write_text(json.dumps(documents()["plan"]), encoding="utf-8")
    assert read_plan(path, samples.case()).warnings == ()
    other = read_plan(path, samples.case(title="Another ring"))
    assert other.warnings == (f'{path} was made for another case, "A fourth relay for the ring"',)
    moon = samples.changed(samples.case().body, name="Moon", gm_m3_s2=4.9e12)
    with pytest.raises(InputError, match=r'a plan about Moon, got one about "Mars"'):
        read_plan(path, samples.case(body=moon))


@given(st.data())
def test_any_change_to_a_document_is_read_or_refused(
    tmp_path_factory: pytest.TempPathFactory, data: st.DataObject
) -> None:
    """Whatever a file holds, read_plan gives a plan or an InputError."""
    document = documents()[data.draw(st.sampled_from(["plan", "check"]))]
    samples.alter(document, data)
    path = tmp_path_factory.getbasetemp() / "any.json"
    path.write_text(json.dumps(document), encoding="utf-8")
    with contextlib.suppress(InputError):
        assert check_plan(read_plan(path)) == []
