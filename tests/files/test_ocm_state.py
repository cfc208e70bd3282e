"""The state of an orbit comprehensive message: as a start, and as what tracking says."""

from __future__ import annotations

import dataclasses
from pathlib import Path

import numpy as np
import pytest

from simcheck.errors import InputError
from simcheck.files.case_toml import load_case
from simcheck.files.epochs import read_date
from simcheck.files.kvn import KvnFaults
from simcheck.files.message_axes import into_case_axes
from simcheck.files.message_file import write_message
from simcheck.files.ocm import read_ocm
from simcheck.files.ocm_state import Placed, ocm_estimate, placed
from simcheck.files.state_file import read_state
from simcheck.kernels.elements import classical_from_state
from simcheck.planning.planner import plan_ring
from simcheck.records.case import Case
from simcheck.records.wish import Wish
from tests.cases_for_tests import EARTH
from tests.files.messages import G2_SOURCE
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
    bare = dataclasses.replace(message, states=())
    assert bare.epoch.seconds_since(message.zero) == 0.0
    assert np.isclose(message.epoch.seconds_since(message.zero), 3600.5)
    with pytest.raises(InputError, match="got no TRAJ section"):
        ocm_estimate(bare, case.body, message.zero, "r4.ocm")


# ---------------------------------------------------------------- elements

ELEMENTS = """CCSDS_OCM_VERS = 3.0
CREATION_DATE = 2021-06-03T05:33:00
ORIGINATOR = GSOC
META_START
TIME_SYSTEM = UTC
EPOCH_TZERO = 2021-06-03T00:00:00
META_STOP
{sections}PERT_START
GRAVITY_MODEL = POINT
GM = 398600.4415 [km**3/s**2]
PERT_STOP
"""
SECTION = """TRAJ_START
TRAJ_BASIS = {basis}
CENTER_NAME = EARTH
TRAJ_REF_FRAME = {frame}
TRAJ_TYPE = {kind}
{row}
TRAJ_STOP
"""
VECTOR = "0.0 6655.9942 -40218.5751 -82.9177 3.11548208 0.47042605 -0.00101495"
KEPLER = "0.0 41399.5123 0.020842611 0.117746 17.604721 218.242943 41.922339"
"""Those of figure G-2, whose last is the mean anomaly of the vector."""


def section(kind: str, row: str, basis: str = "DETERMINED", frame: str = "TOD_EARTH") -> str:
    return SECTION.format(kind=kind, row=row, basis=basis, frame=frame)


def seen(*sections: str) -> tuple[Placed | None, list[str], tuple[str, ...]]:
    """State, what is told and the faults, for a case about the Earth with the message's epoch."""
    message = read_ocm(ELEMENTS.format(sections="".join(sections)).encode(), "r4.ocm")
    faults = KvnFaults("r4.ocm")
    found, told = placed(message, EARTH, message.zero, faults)
    try:
        faults.raise_any()
    except InputError as error:
        return found, told, error.faults
    return found, told, ()


@pytest.mark.reference(G2_SOURCE)
def test_elements_beside_a_state() -> None:
    """The published pair is one orbit with a mean anomaly; called true it is told what is meant."""
    state = section("CARTPV", VECTOR)
    assert seen(state, section("KEPLERIANMEAN", KEPLER))[1:] == ([], ())
    assert seen(section("KEPLERIANMEAN", KEPLER), state)[1:] == ([], ())
    _, told, (fault,) = seen(state, section("KEPLERIAN", KEPLER))
    assert told == []
    assert fault.startswith(
        "r4.ocm:20: the KEPLERIAN elements are not the orbit of the state in line 13: they put the "
        "craft 1157.47 km"
    )
    assert fault.endswith("they agree if KEPLERIAN is meant as KEPLERIANMEAN: correct TRAJ_TYPE")


@pytest.mark.reference(G2_SOURCE)
def test_elements_alone_are_the_state() -> None:
    """Without a state in Cartesian coordinates the elements are one: the published one."""
    found, told, faults = seen(section("KEPLERIANMEAN", KEPLER))
    assert (told, faults) == ([], ())
    assert found is not None
    assert_metres(found.position_m, [6655994.2, -40218575.1, -82917.7], 1.0)  # 1e-6 deg: 0.7 m
    assert_metres_per_second(found.velocity_m_s, [3115.48208, 470.42605, -1.01495], 1e-4)


@pytest.mark.parametrize(
    ("column", "by", "wrong"),
    [(k, by, wrong) for k in range(1, 7) for by, wrong in ((0.4, False), (300.0, True))],
)
def test_each_element_counts(column: int, by: float, wrong: bool) -> None:
    """An element off within its last digit passes, one off by hundreds of them does not."""
    words = KEPLER.split()
    digits = len(words[column].partition(".")[2])
    step = {2: 50.0, 3: 50.0}.get(column, 1.0)  # the plane and shape may be off by 1e-7 first
    change = by * 10.0**-digits * (step if wrong else 1.0)
    words[column] = f"{float(words[column]) + change:.{digits + 1}f}"
    *_, faults = seen(section("CARTPV", VECTOR), section("KEPLERIANMEAN", " ".join(words)))
    assert bool(faults) == wrong


def test_two_solutions_are_told_apart() -> None:
    """Elements of another TRAJ_BASIS or time are no contradiction; how far they are off is told."""
    state = section("CARTPV", VECTOR)
    _, (told,), faults = seen(state, section("KEPLERIAN", KEPLER, basis="PREDICTED"))
    assert faults == ()
    assert told.startswith("line 20: the KEPLERIAN elements are not the orbit of the state")
    assert told.endswith("it is another solution, PREDICTED")
    later = KEPLER.replace("0.0 ", "60.0 ", 1)
    assert seen(state, section("KEPLERIAN", later))[1:] == ([], ())


def test_elements_in_other_axes() -> None:
    """Turned into the axes of the state, by another route, elements of one orbit agree."""
    zero = read_date("2021-06-03T00:00:00", "UTC")
    turn = into_case_axes("J2000", EARTH, zero, zero)
    numbers = np.array([float(word) for word in VECTOR.split()[1:]]) * 1e3
    r, v = turn.T @ numbers[:3], turn.T @ numbers[3:]
    found = classical_from_state(r, v, 3.986004415e14)
    angles = np.degrees([found.i, found.raan, found.argp, found.nu])
    row = f"0.0 {found.a / 1e3:.4f} {found.e:.9f} " + " ".join(f"{x:.6f}" for x in angles)
    state = section("CARTPV", VECTOR)
    assert seen(state, section("KEPLERIAN", row, frame="J2000"))[1:] == ([], ())
    _, _, (fault,) = seen(state, section("KEPLERIAN", row))
    assert "KEPLERIAN elements are not the orbit" in fault


def test_trajectories_that_are_not_read() -> None:
    """Beside a state they are named as not compared; alone there is no state, and why is said."""
    state, mean = section("CARTPV", VECTOR), section("KEPLERIANMEAN", KEPLER)
    mean = mean.replace("TRAJ_TYPE", "ORB_AVERAGING = BROUWER\nTRAJ_TYPE")
    equinoctial = section("EQUINOCTIAL", KEPLER)
    short = section("KEPLERIAN", "0.0 1.0")
    turning = section("KEPLERIANMEAN", KEPLER, frame="ITRF2000")
    _, (told,), faults = seen(state, mean, equinoctial, short)
    assert faults == ()
    assert told == (
        "not compared with its state: TRAJ_TYPE = KEPLERIANMEAN, ORB_AVERAGING = BROUWER in line "
        "20, TRAJ_TYPE = EQUINOCTIAL in line 27, TRAJ_TYPE = KEPLERIAN in line 34"
    )
    assert seen(state, turning)[1][0].startswith(
        "not compared with its state: line 20, in ITRF2000, which turns with the body"
    )
    message = read_ocm(ELEMENTS.format(sections=mean + equinoctial).encode(), "r4.ocm")
    assert message.states == ()
    with pytest.raises(InputError) as caught:
        ocm_estimate(message, EARTH, message.zero, "r4.ocm")
    assert str(caught.value) == (
        "r4.ocm: expected a state, got no TRAJ section with TRAJ_TYPE = CARTPV or KEPLERIAN, got "
        "TRAJ_TYPE = KEPLERIANMEAN, ORB_AVERAGING = BROUWER in line 13, TRAJ_TYPE = EQUINOCTIAL in "
        "line 20; add one"
    )


@pytest.mark.parametrize(
    ("text", "fault"),
    [
        (section("KEPLERIAN", KEPLER.replace("0.0208", "-0.0208")), "KEPLERIAN: with this ECC"),
        (section("KEPLERIAN", KEPLER.rpartition(" ")[0]), "expected a time and 6 numbers, got 6"),
        (
            section("KEPLERIAN", KEPLER).replace("TRAJ_TYPE", "TRAJ_UNITS = [m]\nTRAJ_TYPE"),
            "TRAJ_UNITS: expected [km, n/a, deg, deg, deg, deg], got",
        ),
    ],
)
def test_wrong_elements(text: str, fault: str) -> None:
    """Elements that are the only state must be one."""
    try:
        *_, faults = seen(text)
    except InputError as error:
        faults = error.faults
    assert any(fault in one for one in faults), faults
