# ruff: noqa: E501 - the table of faults reads best with a fault a line
"""A plan from a file: what it holds says what it is, and garbage ends in one message."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from simcheck.errors import InputError
from simcheck.files.plan_file import read_plan
from simcheck.files.records_json import write_record
from simcheck.records.plan import Plan
from tests.cases_for_tests import IMPULSIVE
from tests.files.test_message_plan import mars, ocm, opm
from tests.files.test_message_write import ERRORS, MARS_CASE, PLAN, written

AT = mars()


@pytest.mark.parametrize("name", ["plan.json", "plan.opm", "plan"])
def test_the_content_says_what_it_is(name: str, tmp_path: Path) -> None:
    """JSON, OPM and OCM are told apart by what they hold, whatever the file is called."""
    row = "7200.0 150.0 0.03 0.09 -0.04"
    messages = [opm(AT, duration=150.0), ocm(AT, "RTN", row)]
    path = tmp_path / name
    for text in messages:
        path.write_text(f"\ufeff{text}", encoding="utf-8")
        found = read_plan(path, AT)
        assert len(found.commands) == 1
        with pytest.raises(InputError, match="is read for a case; give the case too"):
            read_plan(path)
    document = {"schema": "simcheck.plan/1", **write_record(found)}
    path.write_text(json.dumps(document), encoding="utf-8")
    assert read_plan(path, AT).commands[0].dv_m_s == found.commands[0].dv_m_s
    assert read_plan(path).planner == "message"


@pytest.mark.parametrize(
    ("content", "fault"),
    [
        (b"", "expected JSON"),
        (b"<opm>", "got XML; send the message in its keyword form"),
        (b"CCSDS_OEM_VERS = 3.0\n", "got another message, OEM"),
        (b"[case]\ntitle = 'x'\n", "expected JSON"),
        (b"hello\n", 'or an orbit comprehensive message (CCSDS_OCM_VERS = 3.0, ...), got text that begins "hello"'),
        (b"\x89PNG\r\n\x1a\n\x00", ":1: expected text in UTF-8, got other bytes"),
        (b"CCSDS_OPM_VERS = 3.0\n\x00", ":2: expected plain text, got the character U+0000"),
        (b"CCSDS_OPM_VERS = 3.0\n" + b"COMMENT x\n" * 200_000, "expected a message of less than 1 MB"),
    ],
)  # fmt: skip
def test_what_is_no_plan(content: bytes, fault: str, tmp_path: Path) -> None:
    """Another file is refused with what it looks like."""
    path = tmp_path / "x"
    path.write_bytes(content)
    with pytest.raises(InputError) as caught:
        read_plan(path, AT)
    assert fault in str(caught.value)
    assert str(caught.value).startswith(str(path))


def test_a_file_that_is_not_there(tmp_path: Path) -> None:
    """No file, or a folder, is one message."""
    for path in (tmp_path, tmp_path / "none"):
        with pytest.raises(InputError, match="cannot be read"):
            read_plan(path, AT)


# ---------------------------------------------------------------- garbage

CASE = replace(MARS_CASE, engine=IMPULSIVE, errors=ERRORS, forces=())
TEXTS = {
    "opm": written("opm", MARS_CASE, PLAN).splitlines(),
    "ocm": written("ocm", MARS_CASE, PLAN).splitlines(),
}
VALUES = st.one_of(
    st.sampled_from(
        ["", "0", "-1", "1e999", "1e-999", "NaN", "[km]", "1 [m]", "1e300", "1e20", "2031-04-12"]
    ),
    st.sampled_from(["TNW", "RSW_INERTIAL", "EME2000", "MAN_START", "DV_X", "2031-04-12T07:00:00"]),
    st.floats(allow_nan=False).map(repr),
    st.text(max_size=12),
)
LINES = st.one_of(
    st.sampled_from(
        ["MAN_START", "MAN_STOP", "META_STOP", "TRAJ_START", "COV_START", "1 2 3", "="]
    ),
    st.text(max_size=30),
)


@pytest.mark.parametrize("kind", ["opm", "ocm"])
@settings(max_examples=60)
@given(data=st.data())
def test_any_message_is_read_or_refused(
    kind: str, data: st.DataObject, tmp_path_factory: pytest.TempPathFactory
) -> None:
    """Whatever the values, lines and rows, it ends in a plan or in lines that name the file."""
    lines = list(TEXTS[kind])
    places = st.integers(0, len(lines) - 1)
    for at in data.draw(st.lists(places, max_size=3)):
        keyword, equals, _ = lines[at].partition(" = ")
        if equals:
            lines[at] = f"{keyword} = {data.draw(VALUES)}"
        else:
            words = lines[at].split() or [""]
            words[data.draw(st.integers(0, len(words) - 1))] = data.draw(VALUES)
            lines[at] = " ".join(words)
    for at in sorted(data.draw(st.sets(places, max_size=2)), reverse=True):
        lines[at] = data.draw(LINES)
    path = tmp_path_factory.getbasetemp() / f"fuzz.{kind}"
    path.write_text("\n".join(lines), encoding="utf-8", errors="replace", newline="")
    try:
        found = read_plan(path, CASE)
    except InputError as error:
        for fault in error.faults:
            assert fault.startswith(str(path))
            assert fault.isprintable()
            assert len(fault) < 500
    else:
        assert isinstance(found, Plan)
