"""Plans from messages: which burn a manoeuvre becomes, in which axes, and what is told of it."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from simcheck.engines.base import G0, Thrust
from simcheck.engines.choosing import fast_propagator
from simcheck.engines.gravity import gravity_of
from simcheck.errors import InputError
from simcheck.files.epochs import date_after, read_date
from simcheck.files.message_axes import into_case_axes
from simcheck.files.message_plan import read_ocm_plan, read_opm_plan
from simcheck.kernels.vectors import angle_between, rsw_frame, tnw_frame
from simcheck.planning.burns import burn_seconds
from simcheck.records.case import Case, Engine
from simcheck.records.plan import Burn, Command, Plan
from tests.cases_for_tests import EARTH, IMPULSIVE, MARS, OPEN, case, orbit, ring
from tests.files.messages import G2_SOURCE, G18, G18_SOURCE, RIGHT
from tests.helpers import assert_metres, assert_metres_per_second, assert_seconds, assert_vectors

EPOCH = "2031-04-12T06:00:00"
START = orbit(MARS, 5000.0, 9000.0, 28.0, 40.0, 75.0, 200.0)
DV = np.array([0.03, 0.09, -0.04])  # km/s
THRUSTERS = Engine(name="thrusters", thrust_n=20.0, isp_s=220.0, min_burn_s=0.05)


def mars(**changes: object) -> Case:
    made = case(MARS, START, ring(12.0), forces=("j2",), tolerance=OPEN)
    return replace(made, epoch=EPOCH, **changes)  # type: ignore[arg-type]


def opm(
    at: Case,
    frame: str = "RTN",
    *,
    seconds: float = 7200.0,
    duration: float = 0.0,
    mass: float = -5.0,
    dv: np.ndarray = DV,
    more: str = "",
    state: tuple[np.ndarray, np.ndarray] | None = None,
) -> str:
    """A message with the case's state and one manoeuvre (km/s), so long after the epoch."""
    position, velocity = state or (at.craft.position_m, at.craft.velocity_m_s)
    axes = zip(("X", "Y", "Z", "X_DOT", "Y_DOT", "Z_DOT"), [*position, *velocity], strict=True)
    return f"""CCSDS_OPM_VERS = 3.0
CREATION_DATE = 2031-04-12T00:00:00
ORIGINATOR = TESTER
OBJECT_NAME = R
OBJECT_ID = UNKNOWN
CENTER_NAME = {at.body.name.upper()}
REF_FRAME = {"TOD" if at.body.name == "Earth" else "INERTIAL"}
TIME_SYSTEM = TDB
EPOCH = {EPOCH}
{chr(10).join(f"{axis} = {value / 1e3:.12f}" for axis, value in axes)}
MASS = {at.craft.mass_kg}
MAN_EPOCH_IGNITION = {date_after(EPOCH, seconds)}
MAN_DURATION = {duration}
MAN_DELTA_MASS = {mass}
MAN_REF_FRAME = {frame}
MAN_DV_1 = {dv[0]}
MAN_DV_2 = {dv[1]}
MAN_DV_3 = {dv[2]}
{more}"""


def ocm(at: Case, frame: str, rows: str, columns: str = "DV_X, DV_Y, DV_Z", more: str = "") -> str:
    """A message with manoeuvres in rows of relative time, duration and the columns."""
    return f"""CCSDS_OCM_VERS = 3.0
CREATION_DATE = 2031-04-12T00:00:00
ORIGINATOR = TESTER
META_START
TIME_SYSTEM = TDB
EPOCH_TZERO = {EPOCH}
META_STOP
MAN_START
MAN_ID = M
MAN_DEVICE_ID = ALL
MAN_REF_FRAME = {frame}
{more}MAN_COMPOSITION = TIME_RELATIVE, MAN_DURA, {columns}
{rows}
MAN_STOP
"""


def plan_of(text: str, at: Case) -> Plan:
    read = read_opm_plan if text.startswith("CCSDS_OPM") else read_ocm_plan
    return read(text.encode(), "r4.msg", at)


def only(text: str, at: Case) -> tuple[Burn, Command]:
    plan = plan_of(text, at)
    (burn,), (command,) = plan.burns, plan.commands
    return burn, command


def faults(text: str, at: Case) -> tuple[str, ...]:
    with pytest.raises(InputError) as caught:
        plan_of(text, at)
    return caught.value.faults


def coasted(at: Case, seconds: float) -> tuple[np.ndarray, np.ndarray]:
    craft = at.craft
    start = np.concatenate([craft.position_m, craft.velocity_m_s, [craft.mass_kg]])
    state = fast_propagator(gravity_of(at)).advance(0.0, start, seconds).state
    return state[:3], state[3:6]


# ---------------------------------------------------------------- axes


FRAMES = {
    "RSW": rsw_frame,
    "RTN": rsw_frame,
    "RTN_ROTATING": rsw_frame,
    "RSW_INERTIAL": rsw_frame,
    "TNW": tnw_frame,
    "TNW_INERTIAL": tnw_frame,
}


@pytest.mark.parametrize("frame", FRAMES)
def test_an_impulse_in_local_axes(frame: str) -> None:
    """An impulse acts at its date, along the axes that the craft has there."""
    at = mars(engine=IMPULSIVE)
    burn, command = only(opm(at, frame, mass=-0.06), at)
    r, v = coasted(at, 7200.0)
    assert_seconds(command.ignition_s + command.duration_s / 2, 7200.0, within=1e-6)
    assert_seconds(burn.time_s, 7200.0, within=1e-6)
    assert_metres(burn.position_m, r, within=5e-3)  # the burn lasts 7 ms
    assert_metres_per_second(burn.dv_m_s, FRAMES[frame](r, v).T @ (1e3 * DV), within=1e-4)
    assert command.steering == "inertial"


def test_an_impulse_in_inertial_axes() -> None:
    """About Mars as it stands; about the Earth turned into the true equator of the epoch."""
    at = mars(engine=IMPULSIVE)
    assert_metres_per_second(only(opm(at, "INERTIAL"), at)[0].dv_m_s, 1e3 * DV, within=1e-9)
    earth = replace(
        case(EARTH, orbit(EARTH, 7000.0, 20000.0, 50.0), ring(radius_km=26000.0)),
        epoch=EPOCH,
        engine=IMPULSIVE,
    )
    date = read_date(EPOCH)
    turn = into_case_axes("EME2000", EARTH, date, date)
    assert abs(turn - np.eye(3)).max() > 1e-3
    found = only(opm(earth, "EME2000"), earth)[0].dv_m_s
    assert_metres_per_second(found, turn @ (1e3 * DV), within=1e-9)
    same = only(opm(earth, "TOD"), earth)[0].dv_m_s
    assert_metres_per_second(same, 1e3 * DV, within=1e-9)


@pytest.mark.parametrize("frame", ["RTN", "RSW", "RSW_ROTATING", "RTN_ROTATING"])
def test_a_finite_burn_that_turns(frame: str) -> None:
    """Radial, along-track and cross-track axes turn with the craft: our steering rsw."""
    at = mars()
    _, command = only(opm(at, frame, duration=150.0), at)
    assert command.steering == "rsw"
    assert_vectors(command.direction, DV / np.linalg.norm(DV), within=1e-14)


@pytest.mark.parametrize(
    ("frame", "make"), [("RTN_INERTIAL", rsw_frame), ("TNW_INERTIAL", tnw_frame)]
)
def test_a_finite_burn_that_is_frozen(frame: str, make: object) -> None:
    """_INERTIAL axes are those of the ignition and stay as they are."""
    at = mars()
    text = ocm(at, frame, f"7200.0 400.0 {DV[0]} {DV[1]} {DV[2]}")
    _, command = only(text, at)
    assert command.steering == "inertial"
    r, v = coasted(at, 7200.0)
    wanted = make(r, v).T @ DV  # type: ignore[operator]
    assert_vectors(command.direction, wanted / np.linalg.norm(DV), within=1e-12)


def test_tangential_axes_are_held_against_rsw() -> None:
    """TNW turns against RSW as the flight path does: halfway they agree, and the turn is told."""
    at = mars()
    along = np.array([0.3, 0.0, 0.0])
    plan = plan_of(opm(at, "TNW", duration=400.0, dv=along, mass=-35.0), at)
    (command,) = plan.commands
    assert command.steering == "rsw"
    r, v = coasted(at, command.ignition_s)
    start = np.concatenate([r, v, [at.craft.mass_kg]])
    thrust = Thrust(thrust_n=400.0, isp_s=318.0, steering="rsw", direction=command.direction)
    fly = fast_propagator(gravity_of(at)).advance
    middle = fly(command.ignition_s, start, command.ignition_s + command.duration_s / 2, thrust)
    r, v = middle.state[:3], middle.state[3:6]
    off = angle_between(rsw_frame(r, v).T @ command.direction, v)
    assert np.degrees(off) < 1e-4
    assert "TNW turns by" in plan.warnings[0]


# ---------------------------------------------------------------- time


def test_a_finite_burn_is_centred() -> None:
    """The case's engine burns about the middle of the manoeuvre, as long as it takes."""
    at = mars()
    size = 1e3 * float(np.linalg.norm(DV))
    _, command = only(opm(at, duration=200.0), at)
    length = burn_seconds(size, at.craft.mass_kg, at.engine)
    assert command.duration_s == length
    assert command.dv_m_s == pytest.approx(size, rel=1e-14)
    assert_seconds(command.ignition_s + length / 2, 7300.0, within=1e-9)


def test_an_increment_of_an_ocm_acts_at_half_its_duration() -> None:
    """A Δv acts at its time + MAN_DURA/2 (6.2.8.20), in an OPM at its ignition."""
    at = mars(engine=IMPULSIVE)
    burn, _ = only(ocm(at, "RSW_ROTATING", f"7200.0 500.0 {DV[0]} {DV[1]} {DV[2]}"), at)
    assert_seconds(burn.time_s, 7450.0, within=1e-9)
    burn, _ = only(ocm(at, "RSW_ROTATING", f"7200.0 0.0 {DV[0]} {DV[1]} {DV[2]}"), at)
    assert_seconds(burn.time_s, 7200.0, within=1e-9)


def test_an_impulse_that_takes_long_turns_with_the_craft() -> None:
    """Beyond 10 deg of the orbit an impulse is spread like the planner's: turning with RSW."""
    at = mars(engine=replace(mars().engine, thrust_n=40.0))
    r, v = coasted(at, 7200.0)
    _, command = only(opm(at, "RTN"), at)
    assert command.steering == "rsw"
    halfway = v + 0.5 * rsw_frame(r, v).T @ (1e3 * DV)
    wanted = rsw_frame(r, halfway) @ rsw_frame(r, v).T @ DV
    assert_vectors(command.direction, wanted / np.linalg.norm(DV), within=1e-12)


def test_manoeuvres_in_order_of_time() -> None:
    """The mass and the axes of a burn are those that the burns before it left."""
    at = mars(engine=IMPULSIVE)
    rows = f"9000.0 0.0 0.0 0.1 0.0\n7200.0 0.0 {DV[0]} {DV[1]} {DV[2]}"
    plan = plan_of(ocm(at, "RTN_ROTATING", rows), at)
    assert [burn.label for burn in plan.burns] == ["M.2", "M.1"]
    first, second = plan.burns
    assert first.time_s < second.time_s
    r, v = coasted(at, 7200.0)
    start = np.concatenate([r, v + first.dv_m_s, [600.0]])
    there = fast_propagator(gravity_of(at)).advance(7200.0, start, 9000.0).state
    wanted = rsw_frame(there[:3], there[3:6]).T @ [0.0, 100.0, 0.0]
    assert_metres_per_second(second.dv_m_s, wanted, within=1e-3)


# ---------------------------------------------------------------- thrust


@pytest.mark.reference(G18_SOURCE)
def test_a_thrust_is_its_velocity_increment() -> None:
    """9.5 N for 200 s at 300 s from 100 kg, by the rocket equation: 19.061 m/s."""
    text = G18.replace("MAN_ID = E_W_20160305B\n", "")
    at = replace(
        case(EARTH, orbit(EARTH, 7000.0, 20000.0, 50.0), ring(radius_km=26000.0)),
        epoch="2022-12-18T14:29:24.3012",
    )
    at = replace(at, craft=replace(at.craft, dry_mass_kg=50.0, propellant_kg=50.0))
    burn, command = only(text, at)
    assert burn.label == "B1"
    assert burn.purpose == "ORBIT"
    assert_seconds(command.ignition_s + command.duration_s / 2, 600.0, within=2e-3)
    burnt = 9.5 * 200.0 / (9.80665 * 300.0)
    assert command.dv_m_s == pytest.approx(
        9.80665 * 300.0 * math.log(100 / (100 - burnt)), rel=1e-12
    )
    assert command.steering == "rsw"
    assert command.direction.tolist() == [0.0, 1.0, 0.0]
    another, away, lasts = plan_of(text, at).warnings
    assert another.startswith("line 33: the KEPLERIAN elements are not the orbit of the state in")
    assert another.endswith("it is another solution, DETERMINED")
    assert "from the case's craft at that time" in away
    assert lasts.startswith("B1: it lasts 200 s in the message")


def test_a_thrust_without_specific_impulse() -> None:
    """The mass that it takes says the specific impulse."""
    at = mars()
    flow = 400.0 / (G0 * 318.0)
    columns = "DELTA_MASS, THR_X, THR_Y, THR_Z"
    text = ocm(at, "RSW_ROTATING", f"7200.0 100.0 {-100.0 * flow} 0.0 400.0 0.0", columns)
    _, command = only(text, at)
    assert_seconds(command.ignition_s, 7200.0, within=1e-9)
    assert_seconds(command.duration_s, 100.0, within=1e-9)
    assert plan_of(text, at).warnings == ()


# ---------------------------------------------------------------- engines


def test_who_burns() -> None:
    """The device that is named, or whose duration comes nearest, or the engine if it can."""
    at = mars(thrusters=THRUSTERS)
    small = DV / 100.0

    def engine(text: str) -> str:
        return only(text, at)[1].engine

    assert engine(opm(at, dv=small)) == "engine"  # 1.5 s
    assert engine(opm(at, dv=small / 100.0)) == "thrusters"
    assert engine(opm(at, dv=small, duration=30.0)) == "thrusters"
    assert engine(opm(at, dv=small, duration=1.5)) == "engine"
    row = f"7200.0 30.0 {small[0]} {small[1]} {small[2]}"
    named = ocm(at, "RTN", row).replace("MAN_DEVICE_ID = ALL", "MAN_DEVICE_ID = engine")
    assert engine(named) == "engine"


@pytest.mark.parametrize(
    ("changes", "told"),
    [
        ({"duration": 155.0, "mass": -19.6}, None),
        ({"duration": 155.0, "mass": -21.0}, "it takes 21 kg in the message and 19.8"),
        ({"duration": 100.0, "mass": -19.6}, "it lasts 100 s in the message and 154.4"),
        ({"mass": -1.0}, "it takes 1 kg in the message and 19.8"),
    ],
)
def test_what_the_engine_makes_of_it_is_told(changes: dict[str, float], told: str | None) -> None:
    """A mass or duration that is off by more than three in a hundred is told with numbers."""
    at = mars()
    plan = plan_of(opm(at, **changes), at)  # type: ignore[arg-type]
    assert len(plan.warnings) == (told is not None)
    assert told is None or f"B1: {told}" in plan.warnings[0]
    assert plan.burns[0].reason == "As the message has it, in RTN axes."


def test_limits_of_the_engine_are_told() -> None:
    """A burn that is too long or too short for the engine is flown, and told."""
    at = mars()
    long = replace(at, engine=replace(at.engine, max_burn_s=60.0))
    short = replace(at, engine=replace(at.engine, min_burn_s=600.0))
    text = opm(at, mass=-19.6)
    assert "longer than max_burn of the engine, 60 s" in plan_of(text, long).warnings[0]
    assert "shorter than min_burn of the engine, 600 s" in plan_of(text, short).warnings[0]


# ---------------------------------------------------------------- the state with it


def test_the_state_is_the_case_s() -> None:
    """A message with the case's state and mass gives a plan without warning."""
    at = mars()
    plan = plan_of(opm(at, mass=-19.6), at)
    assert plan.summary == "1 burn of orbit parameter message r4.msg (R)"
    assert plan.warnings == ()
    assert plan.planner == "message"
    assert plan.lower_bound_dv_m_s is None


def test_another_state_is_told_by_how_much() -> None:
    """A state or mass that is not the case's is told; the flight begins at the case's."""
    at = mars()
    moved = (START[0] + [0.0, 3e3, 4e3], START[1])
    text = opm(at, mass=-19.6, state=moved).replace("MASS = 610.0", "MASS = 650.0")
    plan = plan_of(text, at)
    assert plan.summary == "1 burn of orbit parameter message r4.msg (R)"
    state, mass = plan.warnings
    assert state.startswith("its state lies 5 km and ")
    assert state.endswith("from the case's craft at that time; the flight begins at the case's")
    assert mass == "its mass of 650 kg is not the 610 kg of the case"


def test_burns_that_are_over_are_told() -> None:
    """A burn of the past is not flown again, and the plan names it; alone it makes no plan."""
    at = mars()
    text = ocm(at, "RTN", f"7200.0 0.0 {DV[0]} {DV[1]} {DV[2]}")
    burn = text[text.index("MAN_START") :]
    past = burn.replace("MAN_ID = M", "MAN_ID = OLD\nMAN_BASIS = DETERMINED")
    plan = plan_of(text + past.replace("7200.0", "60.0"), at)
    assert [one.label for one in plan.burns] == ["M"]
    assert plan.warnings == ("1 manoeuvre that is over, OLD (DETERMINED): not flown again",)
    alone = text[: text.index("MAN_START")] + past
    no_burn, over = faults(alone, at)
    assert "expected at least one manoeuvre, got none" in no_burn
    assert over.endswith("OLD (DETERMINED): not flown again")


def test_a_later_state_is_compared_there() -> None:
    """A state of another date, after the burn, is compared with the flight up to there."""
    at = mars(engine=IMPULSIVE)
    _, v = coasted(at, 7200.0)
    r = coasted(at, 7200.0)[0]
    dv = rsw_frame(r, v).T @ (1e3 * DV)
    start = np.concatenate([r, v + dv, [610.0]])
    there = fast_propagator(gravity_of(at)).advance(7200.0, start, 9000.0).state
    text = opm(at, mass=-0.06, state=(there[:3], there[3:6]))
    text = text.replace(f"\nEPOCH = {EPOCH}", f"\nEPOCH = {date_after(EPOCH, 9000.0)}")
    assert not any("its state" in warning for warning in plan_of(text, at).warnings)
    early = text.replace(date_after(EPOCH, 9000.0), date_after(EPOCH, -9000.0))
    assert plan_of(early, at).warnings[0].startswith("its state lies")


@pytest.mark.reference(G2_SOURCE)
def test_the_standard_s_example_as_a_plan() -> None:
    """The example's finite burn and impulse: Δv of 30.067 and 2.130 m/s; Isp of 317 and 280 s."""
    start = orbit(EARTH, 40500.0, 42200.0, 0.1)
    at = case(EARTH, start, ring(24.0, inclination=0.0, raan=0.0, slots=1), tolerance=OPEN)
    engine = Engine(name="engine", thrust_n=431.678, isp_s=316.913)
    at = replace(at, epoch="2021-06-03T00:01:09.184", engine=engine)
    at = replace(at, craft=replace(at.craft, dry_mass_kg=1500.0, propellant_kg=413.0))
    plan = plan_of(RIGHT, at)
    first, second = plan.commands
    assert first.dv_m_s == pytest.approx(30.066843, abs=1e-6)
    assert second.dv_m_s == pytest.approx(2.130341, abs=1e-6)
    assert_seconds(first.ignition_s, 9 * 3600 + 34.1, within=2e-3)  # printed: Isp and thrust
    assert_seconds(first.duration_s, 132.60, within=2e-3)
    assert (first.steering, second.steering) == ("inertial", "inertial")
    state, second_burn = plan.warnings
    assert state.startswith("its state lies")
    assert second_burn.startswith("B2: it takes 1.469 kg in the message and 1.2")


# ---------------------------------------------------------------- what is refused


@pytest.mark.parametrize(
    ("frame", "reason"),
    [
        ("ITRF2000", 'got the frame "ITRF2000", which turns with the body'),
        ("EME2000", 'got the frame "EME2000", whose z axis is not the pole of Mars'),
        (
            "LVLH",
            'got the frame "LVLH", which is not among the frames that are read: MCI or INERTIAL',
        ),
        ("VNC_ROTATING", "or RSW, RTN, TNW or these with _ROTATING or _INERTIAL"),
    ],
)
def test_frames_that_are_refused(frame: str, reason: str) -> None:
    """A frame that is not read is refused by its name, at its line."""
    at = mars()
    (fault,) = faults(opm(at, frame), at)
    assert fault.startswith("r4.msg:17: ")
    assert reason in fault


def test_what_cannot_be_flown() -> None:
    """No epoch, no manoeuvre, another body, before the epoch, one in another: each is told."""
    at = mars()
    text = opm(at)
    assert "the case has no epoch" in faults(text, replace(at, epoch=None))[0]
    bare = text[: text.index("MAN_EPOCH")]
    assert "expected at least one manoeuvre, got none" in faults(bare, at)[0]
    assert "expected the case's body, Mars" in faults(text.replace("= MARS", "= MOON"), at)[0]
    assert "one 60 s before it" in faults(opm(at, seconds=-60.0), at)[0]
    assert "would begin 77.2" in faults(opm(at, seconds=0.0), at)[0]
    assert "before the case's epoch" in faults(opm(at, seconds=0.0), at)[0]
    assert "a Δv above 0" in faults(opm(at, dv=0.0 * DV), at)[0]
    assert "% of the craft and take" in faults(opm(at, dv=1e3 * DV), at)[0]
    assert "times up to 1e+09 s" in faults(opm(at, duration=2e9), at)[0]
    rows = "7200.0 0.0 0.1 0 0\n7210.0 0.0 0.1 0 0"
    (fault,) = faults(ocm(at, "RTN", rows), at)
    assert fault.startswith("r4.msg:14: with the engine of the case this burn lasts")
    assert "before the manoeuvre ahead of it has ended" in fault
    thrust = ocm(at, "RTN", "7200.0 1e6 1e5 0 0 100.0", "THR_X, THR_Y, THR_Z, THR_ISP")
    assert "this thrust would burn all of the craft" in faults(thrust, at)[0]
