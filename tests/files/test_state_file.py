"""Measured states from files of three forms, and messages as the start of a case."""

# ruff: noqa: E501 - the tables of faults read best with a fault a line
from __future__ import annotations

import dataclasses
import hashlib
import json
import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from simcheck.errors import InputError
from simcheck.files.case_toml import load_case
from simcheck.files.epochs import read_date
from simcheck.files.opm import opm_estimate, read_opm
from simcheck.files.records_json import write_record
from simcheck.files.state_file import STATE_SCHEMA, read_state
from simcheck.records.case import Case
from simcheck.records.estimate import Estimate
from tests.cases_for_tests import EARTH, START, Tables, case, orbit, toml
from tests.files.messages import (
    BARE,
    COVARIANCE,
    G2_SOURCE,
    RIGHT,
    TLE,
    TLE_POSITION_KM,
    TLE_SOURCE,
    TLE_TDB,
)
from tests.files.test_records_json import same
from tests.helpers import assert_metres, assert_seconds

Write = Callable[[str | bytes], Path]

MARS_CASE = dataclasses.replace(case(), epoch="2031-04-12T06:00:00")
EARTH_START = orbit(EARTH, 7000.0, 9000.0, 30.0)


def earth_case(epoch: str | None, dry_kg: float = 310.0) -> Case:
    return dataclasses.replace(case(EARTH, EARTH_START, dry_kg=dry_kg), epoch=epoch)


def state(**changes: Any) -> dict[str, Any]:
    """A state file of ours, about Mars."""
    return {
        "schema": STATE_SCHEMA,
        "time_s": 86400.0,
        "position_m": START[0].tolist(),
        "velocity_m_s": START[1].tolist(),
        "mass_kg": 345.0,
        "covariance": np.diag([100.0, 100.0, 100.0, 1e-4, 1e-4, 1e-4]).tolist(),
    } | changes


@pytest.fixture
def write(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Write:
    """Write a content as the file `state` in the working folder."""
    monkeypatch.chdir(tmp_path)

    def writer(content: str | bytes) -> Path:
        path = Path("state")
        path.write_bytes(content.encode("utf-8") if isinstance(content, str) else content)
        return path

    return writer


def refused(path: Path, against: Case = MARS_CASE) -> tuple[str, ...]:
    with pytest.raises(InputError) as caught:
        read_state(path, against)
    return caught.value.faults


# ---------------------------------------------------------------- our own JSON


def test_our_own_object(write: Write) -> None:
    """Every value arrives, and the file is named as the source."""
    found = read_state(write(json.dumps(state())), MARS_CASE)
    assert (found.time_s, found.mass_kg, found.source) == (86400.0, 345.0, "state file state")
    assert (found.position_m == START[0]).all()
    assert (found.velocity_m_s == START[1]).all()
    assert found.covariance is not None
    assert found.covariance.diagonal().tolist() == [100.0, 100.0, 100.0, 1e-4, 1e-4, 1e-4]


def test_what_may_be_left_out(write: Write) -> None:
    """Time, position and velocity are enough; no epoch is needed, since the time is the case's."""
    whole = state()
    text = json.dumps({key: whole[key] for key in ("time_s", "position_m", "velocity_m_s")})
    found = read_state(write(text), case())
    assert found.mass_kg is None
    assert found.covariance is None


@given(
    st.floats(0.0, 1e8), st.none() | st.floats(310.0, 600.0), st.lists(st.floats(-9, 9), min_size=36, max_size=36)
)  # fmt: skip
def test_an_estimate_comes_back(
    tmp_path_factory: pytest.TempPathFactory, time: float, mass: float | None, numbers: list[float]
) -> None:
    """What an estimate is written as is read as the same, bit for bit."""
    root = np.reshape(numbers, (6, 6))
    spread = root @ root.T
    one = Estimate(
        time_s=time,
        position_m=START[0],
        velocity_m_s=START[1],
        mass_kg=mass,
        covariance=0.5 * (spread + spread.T),
        source="two stations, invented",
    )
    path = tmp_path_factory.getbasetemp() / "round.json"
    path.write_text(json.dumps({"schema": STATE_SCHEMA} | write_record(one)), encoding="utf-8")
    assert same(read_state(path, MARS_CASE), one)


@pytest.mark.parametrize(
    ("changes", "fault"),
    [
        ({"schema": "simcheck-state/2"}, "state: schema: expected simcheck-state/1, got \"simcheck-state/2\""),
        ({"schema": None}, "state: schema: expected simcheck-state/1, got null"),
        ({"time_s": -1.0}, "state: time_s: expected a time from the case's epoch to 1e+09 s past it, got -1 s"),
        ({"time_s": 2e9}, "got 2e+09 s"),
        ({"time_s": "1 d"}, "state: time_s: expected a number, got \"1 d\""),
        ({"time_s": None}, "state: time_s: expected a number, got null"),
        ({"position_m": [1.0, 2.0]}, "state: position_m: expected three numbers, got a list of 2"),
        ({"position_m": [[1.0, 2.0, 3.0]]}, "state: position_m: expected three numbers, got a list of 1 with rows of 3"),
        ({"position_m": 7.0e6}, "state: position_m: expected a list of numbers, got 7000000.0"),
        ({"velocity_m_s": [0.0, "3 km/s", 0.0]}, "state: velocity_m_s[1]: expected a number, got \"3 km/s\""),
        ({"position_m": [4000.0, 0.0, 0.0]}, "state: position_m: expected a place above the surface of Mars, got one 3392.19 km below it; it is in metres"),
        ({"position_m": [0, 0, 0]}, "below it; it is in metres"),
        ({"position_m": [1e300, 0, 0]}, "state: position_m: this state is too large to compute with"),
        ({"velocity_m_s": [9000.0, 0.0, 0.0]}, "state: velocity_m_s: expected an orbit about Mars: 9000.000 m/s is not below the escape speed"),
        ({"velocity_m_s": [0.0, 0.0, 0.0]}, "state: velocity_m_s: expected an orbit: this motion runs through the body's centre"),
        ({"mass_kg": 309.0}, "state: mass_kg: expected no less than the craft's dry mass, 310 kg, got 309 kg"),
        ({"mass_kg": "345 kg"}, "state: mass_kg: expected a number, got \"345 kg\""),
        ({"mas_kg": 345.0}, "state: mas_kg: unknown key; did you mean mass_kg?"),
        ({"covariance": [[1.0] * 6] * 5}, "state: covariance: expected six rows of six numbers, got a list of 5 with rows of 6"),
        ({"covariance": [[1.0] * 6] * 5 + [[1.0]]}, "state: covariance: expected six rows of six numbers, got a list of 6 with rows of 1 and 6"),
        ({"covariance": np.diag([1.0, 1, 1, 1, 1, -1]).tolist()}, "state: covariance: expected variances of 0 or more, got -1 for z velocity"),
        ({"covariance": (np.eye(6) + np.eye(6, k=1) / 2).tolist()}, "state: covariance: expected a symmetric matrix, got 0.5 for x with y above the diagonal and 0 below it"),
        ({"covariance": (np.eye(6) + np.eye(6, k=1) + np.eye(6, k=-1)).tolist()}, "state: covariance: expected a positive semidefinite matrix; as correlations it has an eigenvalue of -0.802"),
        ({"covariance": [[0.0, 1.0, 0, 0, 0, 0], [1.0, 1.0, 0, 0, 0, 0], *np.eye(6)[2:].tolist()]}, "state: covariance: expected correlations from -1 to 1, but the covariance 1 of x with y"),
    ],
)  # fmt: skip
def test_wrong_states(write: Write, changes: dict[str, Any], fault: str) -> None:
    """Each mistake is one fault with its key."""
    (found,) = refused(write(json.dumps(state(**changes))))
    assert fault in found


def test_all_faults_at_once(write: Write) -> None:
    """Schema, shapes, types and missing keys are told together; so are times and masses."""
    wrong = {"schema": "x", "position_m": [1.0], "mass_kg": "345 kg", "covariance": [[1.0]]}
    assert len(refused(write(json.dumps(wrong)))) == 6
    assert len(refused(write(json.dumps(state(time_s=-1, mass_kg=1.0))))) == 2


# ---------------------------------------------------------------- the other two forms


@pytest.mark.reference(G2_SOURCE)
def test_an_orbit_message_is_told_by_its_content(write: Write) -> None:
    """A message is read whatever its name, its time counting from the case's epoch."""
    found = read_state(write(RIGHT), earth_case("2021-06-02T00:01:09.184871"))
    assert_seconds(found.time_s, 86400.0, within=1e-5)
    assert_metres(found.position_m, [6655994.2, -40218575.1, -82917.7], within=60.0)  # precession
    assert found.mass_kg == 1913.0


@pytest.mark.reference(TLE_SOURCE)
def test_a_two_line_set_is_told_by_its_content(write: Write) -> None:
    """So is a two-line set, with or without a name."""
    for text in (TLE, "VANGUARD 1\n" + TLE):
        found = read_state(write(text), earth_case("2000-06-27T18:51:23.917778"))
        assert_seconds(found.time_s, 0.0, within=1e-6)
        assert_metres(found.position_m, 1e3 * np.array(TLE_POSITION_KM), within=600.0)  # of TEME


@pytest.mark.parametrize(
    ("content", "fault"),
    [
        ("", "state: the file is empty"),
        (b"\x7fELF\x02\x01\x01\x00\xff", "state:1: expected text in UTF-8, got other bytes"),
        (b"\x00" * 100, "state:1: expected plain text, got the character U+0000"),
        ("x" * 1_000_001, "state: expected a file of less than 1 MB, got more"),
        ("hello", "state: expected a state as a JSON object, an orbit parameter message (CCSDS_OPM_VERS = 3.0, ...) or comprehensive one (CCSDS_OCM_VERS), or a two-line element set, got text that begins \"hello\""),
        ("NaN", "got text that begins \"NaN\""),
        ("<?xml version=\"1.0\"?>", "got XML; send the message in its keyword form"),
        ("CCSDS_OEM_VERS = 3.0", "got another message, OEM"),
        ("[1, 2]", "state: expected an object, got a list of 2"),
        ("{\"time_s\": NaN}", "NaN is not a JSON number"),
        ("{\"time_s\": 1, \"time_s\": 2}", "the key \"time_s\" stands twice"),
        ("{", "state:1:2: expected JSON"),
        ("[" * 100_000, "state: too deeply nested"),
        ("X = 1", "state: expected an orbit parameter message, which begins with CCSDS_OPM_VERS = 3.0, got \"X\""),
        (TLE[:-2], "state:2: expected 69 columns, got 68"),
        (TLE, "state: a two-line element set is an orbit about the Earth, but the case is about Mars"),
        (BARE.replace("EARTH", "VENUS").replace("TOD", "INERTIAL"), "state:7: CENTER_NAME: expected the case's body, Mars, got \"VENUS\""),
        (BARE.replace("EARTH", "MARS").replace("TOD", "INERTIAL").replace("3.1154", "0.3"), "state: epoch: expected a time from the case's epoch"),
    ],
)  # fmt: skip
def test_nonsense(write: Write, content: str | bytes, fault: str) -> None:
    """Whatever the file, one clear message says what it is and what was expected."""
    (found,) = refused(write(content))
    assert fault in found


def test_files_that_are_not_there(write: Write) -> None:
    """A missing file and a folder are told apart."""
    assert refused(Path("nowhere")) == ("nowhere: there is no such file",)
    assert refused(Path()) == (".: expected a file, got a directory",)


@pytest.mark.parametrize("text", [RIGHT, TLE])
def test_messages_need_the_epoch_of_the_case(write: Write, text: str) -> None:
    """Without an epoch a message cannot be placed in the case's time."""
    (found,) = refused(write(text), earth_case(None))
    assert found.startswith("state: the case has no epoch")
    assert found.endswith("write epoch under [case], in TDB")


def test_mass_of_a_message(write: Write) -> None:
    """A mass below the dry mass is refused in a message too."""
    against = earth_case("2021-06-03T00:00:00", dry_kg=2000.0)
    (found,) = refused(write(RIGHT), against)
    assert "MASS: expected no less than the craft's dry mass, 2000 kg, got 1913 kg" in found


@given(st.one_of(st.binary(max_size=60), st.text(max_size=60).map(str.encode)), st.data())
def test_any_bytes_are_read_or_refused(
    tmp_path_factory: pytest.TempPathFactory, new: bytes, data: st.DataObject
) -> None:
    """No bytes raise anything but lines that name the file."""
    base = data.draw(
        st.sampled_from([b"", TLE.encode(), RIGHT.encode(), json.dumps(state()).encode()])
    )
    at, gone = data.draw(st.integers(0, len(base))), data.draw(st.integers(0, 60))
    path = tmp_path_factory.getbasetemp() / "any"
    path.write_bytes(base[:at] + new + base[at + gone :])
    try:
        read_state(path, data.draw(st.sampled_from([MARS_CASE, earth_case("2000-01-01T00:00:00")])))
    except InputError as error:
        for fault in error.faults:
            assert fault.startswith(str(path))
            assert fault.isprintable()


# ---------------------------------------------------------------- the start of a case

EARTH_TABLES: Tables = {
    "body": {"name": "Earth"},
    "ring": {"period": "24 h", "inclination": "1 deg"},
}


def case_text(form: str, **craft: str) -> str:
    """A case about the Earth that takes the craft's state from a file in a folder beside it."""
    keys = {form: f"data/r4.{form}"} | craft
    return toml(EARTH_TABLES | {"craft": keys}, drop=("craft.orbit",))


@pytest.fixture
def load(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Callable[..., Case]:
    """Write a case and its message, and load it from another folder."""
    folder = tmp_path / "cases"
    (folder / "data").mkdir(parents=True)
    monkeypatch.chdir(tmp_path)

    def loader(text: str, form: str, message: str | bytes, epoch: str = "") -> Case:
        if epoch:
            text = text.replace("[case]\n", f'[case]\nepoch = "{epoch}"\n')
        content = message.encode() if isinstance(message, str) else message
        (folder / "data" / f"r4.{form}").write_bytes(content)
        (folder / "relay.toml").write_text(text, encoding="utf-8")
        return load_case("cases/relay.toml")

    return loader


MASSES = {"dry_mass": "1613 kg", "propellant": "300 kg"}


@pytest.mark.reference(G2_SOURCE)
def test_a_case_takes_its_start_and_epoch_from_a_message(load: Callable[..., Case]) -> None:
    """The message's epoch becomes the case's, its state the craft's, its bytes count."""
    text = case_text("opm", **MASSES)
    found = load(text, "opm", RIGHT)
    assert found.epoch == "2021-06-03T00:01:09.184871373"
    assert_metres(found.craft.position_m, [6655994.2, -40218575.1, -82917.7], within=1e-6)
    both = text.encode() + b"\0" + RIGHT.encode()
    assert found.inputs_sha256 == hashlib.sha256(both).hexdigest()
    again = read_opm(RIGHT.encode(), "x")
    assert abs(again.epoch.seconds_since(read_date(found.epoch))) < 1e-9
    state = opm_estimate(again, found.body, read_date(found.epoch), "x")
    assert_metres(state.position_m, found.craft.position_m, within=1e-6)


def test_a_change_of_the_message_changes_the_digest(load: Callable[..., Case]) -> None:
    """The digest covers the message, and only where there is one."""
    text = case_text("opm", **MASSES)
    one, other = load(text, "opm", RIGHT), load(text, "opm", RIGHT.replace("GSOC", "GSIC"))
    assert one.inputs_sha256 != other.inputs_sha256
    plain = toml()
    assert load(plain, "opm", RIGHT).inputs_sha256 == hashlib.sha256(plain.encode()).hexdigest()


@pytest.mark.reference(TLE_SOURCE)
def test_a_case_takes_its_start_from_a_two_line_set(load: Callable[..., Case]) -> None:
    """The same of a two-line set; an epoch within a millisecond of it may stand there."""
    for epoch, want in (("", "2000-06-27T18:51:23.917778"), (f"{TLE_TDB}", TLE_TDB)):
        found = load(case_text("tle"), "tle", TLE, epoch)
        assert str(found.epoch).startswith(want)
        assert_metres(found.craft.position_m, 1e3 * np.array(TLE_POSITION_KM), within=600.0)


@pytest.mark.parametrize(
    ("form", "message", "epoch", "fault"),
    [
        ("opm", RIGHT, "2021-06-03T00:00:00", "expected a state at the case's epoch, 2021-06-03T00:00:00; that of cases/data/r4.opm is at 2021-06-03T00:01:09.184871373 TDB, 69.1849 s after it; leave [case] epoch out, or write epoch = \"2021-06-03T00:01:09.184871373\""),
        ("tle", TLE, "2000-06-27T18:51:23.920", "TDB, 0.00222179 s before it"),
        ("opm", TLE, "", "cases/data/r4.opm: expected an orbit parameter message, which begins with CCSDS_OPM_VERS"),
        ("tle", RIGHT, "", "cases/data/r4.tle: expected one two-line element set"),
        ("opm", "", "", "cases/data/r4.opm: the file is empty"),
        ("opm", b"\xff", "", "cases/data/r4.opm:1: expected text in UTF-8"),
        ("opm", RIGHT.replace("EARTH", "MARS"), "", "CENTER_NAME: expected the case's body, Earth, got \"MARS\""),
        ("opm", RIGHT.replace("1913.000", "1900.000"), "", "the message says 1900 kg, but dry_mass and propellant make 1913 kg; make them agree"),
        ("opm", BARE.replace("0.47042605", "0.0").replace("3.11548208", "9.9"), "", "expected an orbit about Earth: 9900.000 m/s is not below the escape speed"),
        ("opm", BARE.replace("3.11548208", "0.5"), "", "the orbit runs into Earth: its periapsis lies"),
    ],
)  # fmt: skip
def test_wrong_starts(
    load: Callable[..., Case], form: str, message: str | bytes, epoch: str, fault: str
) -> None:
    """Each mistake in or about the message is one fault at the key of the case."""
    with pytest.raises(InputError) as caught:
        load(case_text(form, **MASSES), form, message, epoch)
    (found,) = caught.value.faults
    assert re.match(rf"cases/relay\.toml:\d+: \[craft\] {form}: ", found)
    assert fault in found


def test_exactly_one_form(load: Callable[..., Case]) -> None:
    """A message beside another form is refused; a missing file is told once."""
    with pytest.raises(
        InputError, match="exactly one of orbit, state, opm, ocm and tle, got opm and tle"
    ):
        load(case_text("opm", tle="data/r4.opm", **MASSES), "opm", RIGHT)
    with pytest.raises(InputError) as caught:
        load(case_text("opm", opm="data/none.opm"), "opm", RIGHT)
    (found,) = caught.value.faults
    assert found.endswith("[craft] opm: cases/data/none.opm: there is no such file")


def test_faults_of_the_message_come_with_those_of_the_case(load: Callable[..., Case]) -> None:
    """All faults of both files come at once; a faulty body or epoch adds none of its own."""
    text = case_text("opm").replace('name = "Earth"', 'name = "Erth"')
    with pytest.raises(InputError) as caught:
        load(text, "opm", RIGHT.replace("X = 6655.9942", "X = x"), "yesterday")
    assert len(caught.value.faults) == 3


def test_covariances_are_accepted_with_a_start(load: Callable[..., Case]) -> None:
    """A covariance in the message does no harm."""
    load(case_text("opm"), "opm", BARE + COVARIANCE)
