"""The state of an orbit comprehensive message: as a start, and as what tracking says."""

from __future__ import annotations

import dataclasses
from pathlib import Path

import numpy as np
import pytest

from simcheck.errors import InputError
from simcheck.files.case_toml import load_case
from simcheck.files.message_file import write_message
from simcheck.files.ocm import read_ocm
from simcheck.files.ocm_state import ocm_estimate
from simcheck.files.state_file import read_state
from simcheck.planning.planner import plan_ring
from simcheck.records.case import Case
from simcheck.records.wish import Wish
from tests.helpers import assert_metres, assert_metres_per_second, assert_seconds

TEXT = """CCSDS_OCM_VERS = 3.0
CREATION_DATE = 2034-09-03T00:00:00
ORIGINATOR = TESTER
META_START
OBJECT_NAME = Tern
TIME_SYSTEM = {system}
EPOCH_TZERO = 2034-09-03T00:00:00
META_STOP
TRAJ_START
CENTER_NAME = {center}
TRAJ_REF_FRAME = {frame}
TRAJ_TYPE = CARTPV
{rows}
TRAJ_STOP
PHYS_START
WET_MASS = 385.0 [kg]
PHYS_STOP
"""
ROW = "3600.5 4000.0 -5000.0 1000.0 1.5 1.75 0.25"


def text(
    system: str = "TDB", center: str = "MARS", frame: str = "INERTIAL", rows: str = ROW
) -> str:
    return TEXT.format(system=system, center=center, frame=frame, rows=rows)


@pytest.fixture(scope="module")
def mars() -> Case:
    return load_case(Path(__file__).parents[2] / "cases" / "mars_ring.toml")


def state(content: str, case: Case, folder: Path) -> object:
    file = folder / "tracking.dat"
    file.write_text(content)
    return read_state(file, case)


def test_a_state_is_in_the_case_s_time_and_axes(mars: Case, tmp_path: Path) -> None:
    """Seconds past the epoch, SI, the mass of time zero; known by what it holds, not its name."""
    found = state(text(), mars, tmp_path)
    assert_seconds(found.time_s, 3600.5, 1e-6)  # dates to the microsecond
    assert_metres(found.position_m, [4e6, -5e6, 1e6], 1e-6)
    assert_metres_per_second(found.velocity_m_s, [1500.0, 1750.0, 250.0], 1e-9)
    assert found.mass_kg == 385.0
    assert "orbit comprehensive message" in found.source


def test_a_system_of_time_is_turned(mars: Case, tmp_path: Path) -> None:
    """TAI is 32.184 s behind terrestrial time, which is within 2 ms of TDB."""
    found = state(text(system="TAI"), mars, tmp_path)
    assert_seconds(found.time_s, 3632.684, 2e-3)  # TDB less TT


@pytest.mark.parametrize(
    ("content", "fault"),
    [
        (text(center="EARTH"), "CENTER_NAME: expected the case's body, Mars"),
        (text(frame="RTN"), "TRAJ_REF_FRAME: got"),
        (text(rows=""), "TRAJ_START: expected at least one row"),
        (TEXT[: TEXT.index("TRAJ_START")].format(system="TDB"), "add one"),
        (text(rows=ROW.replace("1.5", "9.5")), "escape"),
    ],
)
def test_wrong_states(content: str, fault: str, mars: Case, tmp_path: Path) -> None:
    """Each mistake is one message that names the file."""
    with pytest.raises(InputError, match=r"tracking\.dat") as caught:
        state(content, mars, tmp_path)
    assert any(fault in one for one in caught.value.faults)


def test_a_case_begins_with_what_was_written(mars: Case, tmp_path: Path) -> None:
    """Our own OCM under [craft] gives the same start; another epoch is refused."""
    plan = plan_ring(mars, Wish(effort=0))
    write_message(tmp_path / "tern.ocm", mars, plan)
    source = Path(mars.path).read_text()
    begin, end = source.index("[craft.orbit]"), source.index("[engine]")
    changed = source[:begin] + source[end:]
    changed = changed.replace('name = "Tern"', 'name = "Tern"\nocm = "tern.ocm"')
    (tmp_path / "case.toml").write_text(changed)
    made = load_case(tmp_path / "case.toml")
    assert_metres(made.craft.position_m, mars.craft.position_m, 1e-6)
    assert_metres_per_second(made.craft.velocity_m_s, mars.craft.velocity_m_s, 1e-9)
    (tmp_path / "case.toml").write_text(changed.replace("2034-09-03", "2034-09-04"))
    with pytest.raises(InputError, match=r"\[craft\] ocm: expected a state at the case's epoch"):
        load_case(tmp_path / "case.toml")


def test_no_state_is_told() -> None:
    """A message of manoeuvres alone is no estimate."""
    message = read_ocm(text().encode(), "r4.ocm")
    case = load_case(Path(__file__).parents[2] / "cases" / "mars_ring.toml")
    bare = dataclasses.replace(message, state=None)
    assert bare.epoch.seconds_since(message.zero) == 0.0
    assert np.isclose(message.epoch.seconds_since(message.zero), 3600.5)
    with pytest.raises(InputError, match="got no TRAJ section"):
        ocm_estimate(bare, case.body, message.zero, "r4.ocm")
