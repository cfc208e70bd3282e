"""JUnit XML: well-formed whatever a case is called, a test a case and group."""

from __future__ import annotations

from pathlib import Path
from xml.etree import ElementTree as ET

import pytest
from hypothesis import given
from hypothesis import strategies as st

from simcheck.errors import InputError
from simcheck.files.junit import junit_xml, write_junit
from simcheck.records.baseline import Found, Trial
from simcheck.records.measures import GROUPS
from simcheck.regressing.comparing import compare
from tests.cli.samples import changed
from tests.regressing.bench import CASE, baseline, compared, found, regression


def parsed(*cases: object) -> ET.Element:
    return ET.fromstring(junit_xml(regression(*cases)))  # type: ignore[arg-type]


def test_a_test_for_each_case_and_group() -> None:
    """All pass where nothing moved; the time of a case is told once."""
    root = parsed(compared(), compared())
    tests = root.findall("testsuite/testcase")
    assert [test.get("name") for test in tests] == [*GROUPS] * 2
    assert {test.get("classname") for test in tests} == {"cases.relay"}
    assert (root.get("tests"), root.get("failures"), root.get("errors")) == ("12", "0", "0")
    assert sum(float(test.get("time", "")) for test in tests) == 2.5
    assert not root.findall(".//failure")


def test_what_got_worse_fails_its_group() -> None:
    """With the line that says what, from what to what, by how much."""
    root = parsed(compared({"plan.total_dv_m_s": 900.0, "plan.commanded_dv_m_s": 902.0}))
    (failure,) = root.findall(".//failure")
    assert failure.get("type") == "worse"
    assert "800 m/s -> 900 m/s" in str(failure.get("message"))
    assert str(failure.text).count("\n") == 1
    assert root.get("failures") == "1"


def test_a_change_fails_and_one_that_is_excused_does_not() -> None:
    """As the exit code has it; what is excused is told all the same."""
    elsewhere = {"burn.B1.ignition_s": 90_000.0}
    root = parsed(compared({**elsewhere}))
    assert [x.get("type") for x in root.findall(".//failure")] == ["changed"]
    root = parsed(compared({**elsewhere, "plan.total_dv_m_s": 700.0}))
    assert not root.findall(".//failure")
    assert len(root.findall(".//system-out")) == 2


def test_what_was_not_compared_is_an_error() -> None:
    """A failure with its reason, and a case without a baseline."""
    failed = compare(CASE, Found(values={}, failure="it's <broken> & gone"), baseline(), Trial())
    lone = compare(CASE, found(), None, Trial())
    root = parsed(failed, lone)
    assert [x.get("type") for x in root.findall(".//error")] == ["failed", "no baseline"]
    assert root.findall(".//error")[0].get("message") == "it's <broken> & gone"
    assert root.get("errors") == "2"


@given(text=st.text(st.characters(codec="utf-8"), max_size=20))
def test_any_name_is_well_formed(text: str) -> None:
    """What XML cannot hold is replaced, the rest comes back."""
    failed = compare(changed(CASE, path=text), Found(values={}, failure=text), baseline(), Trial())
    root = parsed(failed)
    message = str(root.findall(".//error")[0].get("message"))
    assert len(message.replace("failed", "")) <= max(len(text), 40)
    if text.isprintable() and text:
        assert message == text


def test_it_is_written_whole(tmp_path: Path) -> None:
    """To a file; a folder that is not there is wrong input."""
    path = tmp_path / "junit.xml"
    write_junit(path, regression(compared()))
    assert ET.parse(path).getroot().tag == "testsuites"
    with pytest.raises(InputError, match="cannot be written"):
        write_junit(tmp_path / "gone" / "junit.xml", regression(compared()))
