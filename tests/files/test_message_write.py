"""Plans and flights written as messages: read back, by us and by an independent reader."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import simcheck
from simcheck.engines.base import G0
from simcheck.errors import InputError
from simcheck.files.epochs import date_after, read_date
from simcheck.files.message_content import Content, content_from, content_of
from simcheck.files.message_file import check_targets, write_message
from simcheck.files.message_plan import read_ocm_plan, read_opm_plan
from simcheck.files.message_text import Lines, number, plain
from simcheck.files.ocm import read_ocm
from simcheck.files.ocm_state import ocm_estimate
from simcheck.files.ocm_write import ocm_text
from simcheck.files.opm import opm_estimate, read_opm
from simcheck.files.opm_write import opm_text
from simcheck.kernels.vectors import unit
from simcheck.planning.burns import burn_seconds
from simcheck.planning.later import shifted
from simcheck.records.case import Case, Engine, Errors
from simcheck.records.estimate import Estimate
from simcheck.records.flight import Flight, Verdict
from simcheck.records.plan import Command, Plan, State
from simcheck.records.reconstruction import Reconstruction
from tests.cases_for_tests import EARTH, MARS, OPEN, case, orbit, ring
from tests.helpers import assert_seconds, assert_vectors

CREATED = "2031-04-01T00:00:00"
EPOCH = "2031-04-12T06:00:00.25"
THRUSTERS = Engine(name="thrusters", thrust_n=20.0, isp_s=220.0)
MARS_CASE = replace(
    case(
        MARS, orbit(MARS, 5000.0, 9000.0, 28.0, 40.0, 75.0, 200.0), forces=("j2",), tolerance=OPEN
    ),
    epoch=EPOCH,
    thrusters=THRUSTERS,
    title="Δv – für R4",
)
EARTH_CASE = replace(
    case(EARTH, orbit(EARTH, 7000.0, 20000.0, 50.0), ring(radius_km=26000.0), tolerance=OPEN),
    epoch=EPOCH,
    thrusters=THRUSTERS,
)
ERRORS = Errors(
    thrust_bias=0.01,
    isp_bias=0.003,
    magnitude_proportional=0.005,
    magnitude_fixed_m_s=0.01,
    pointing_proportional_rad=0.01,
    pointing_fixed_m_s=0.02,
    initial_position_m=150.0,
    initial_velocity_m_s=0.03,
    accelerometer_scale=0.002,
)


def plan_of(at: Case, *burns: tuple[float, float, str, list[float], str]) -> Plan:
    """A plan of commands alone: gap in s, Δv in m/s, steering, direction, and who burns."""
    time, mass, commands = 0.0, at.craft.mass_kg, []
    for k, (gap, size, steering, direction, who) in enumerate(burns, start=1):
        engine = THRUSTERS if who == "thrusters" else at.engine
        length = burn_seconds(size, mass, engine)
        commands.append(
            Command(
                burn=f"B{k}",
                engine=engine.name,
                ignition_s=time + gap,
                duration_s=length,
                steering=steering,  # type: ignore[arg-type]
                direction=unit(np.array(direction)),
                dv_m_s=size,
                cutoff="duration",
            )
        )
        time += gap + length
        mass *= math.exp(-size / (G0 * engine.isp_s))
    state = State(position_m=at.craft.position_m, velocity_m_s=at.craft.velocity_m_s)
    return Plan(
        planner="test",
        summary="invented",
        burns=(),
        total_dv_m_s=0.0,
        arrival_time_s=time,
        arrival_state=state,
        lower_bound_dv_m_s=None,
        alternatives=(),
        commands=tuple(commands),
        commanded_dv_m_s=0.0,
    )


def content(at: Case, plan: Plan) -> Content:
    return content_of(at, plan, None, None)


def written(kind: str, at: Case, plan: Plan) -> str:
    text_of = opm_text if kind == "opm" else ocm_text
    return text_of(content(at, plan), EPOCH, CREATED)


def back(kind: str, text: str, at: Case) -> Plan:
    read = read_opm_plan if kind == "opm" else read_ocm_plan
    return read(text.encode("ascii"), f"r4.{kind}", at)


PLAN = plan_of(
    MARS_CASE,
    (7123.4567890123456, 123.456789012345678, "inertial", [0.3, -0.5, 0.2], "engine"),
    (9876.54321, 77.7, "rsw", [-0.1, 0.9, 0.3], "engine"),
    (3333.3, 0.123, "inertial", [0.0, 1.0, 0.0], "thrusters"),
)

# ---------------------------------------------------------------- and back


gaps = st.floats(1.0, 1e5)
sizes = st.floats(0.5, 150.0)
parts = st.floats(-1.0, 1.0)
directions = st.lists(parts, min_size=3, max_size=3).filter(lambda v: math.hypot(*v) > 0.01)
burns = st.tuples(gaps, sizes, st.sampled_from(["inertial", "rsw"]), directions, st.just("engine"))


@pytest.mark.parametrize("at", [MARS_CASE, EARTH_CASE], ids=["Mars", "Earth"])
@pytest.mark.parametrize("kind", ["opm", "ocm"])
@settings(max_examples=15)
@given(st.lists(burns, min_size=1, max_size=4))
def test_commands_come_back(kind: str, at: Case, burns: list[Any]) -> None:
    """What is written is read again: times to 0.1 ns, all else to its last digits, no warning."""
    plan = plan_of(at, *burns)
    found = back(kind, written(kind, at, plan), at)
    assert found.warnings == ()
    for ours, theirs in zip(plan.commands, found.commands, strict=True):
        assert (ours.burn, ours.engine, ours.steering) == (
            theirs.burn,
            theirs.engine,
            theirs.steering,
        )
        assert_seconds(theirs.ignition_s, ours.ignition_s, within=1e-10)
        assert theirs.duration_s == pytest.approx(ours.duration_s, rel=1e-15)
        assert theirs.dv_m_s == pytest.approx(ours.dv_m_s, rel=2e-15)
        assert_vectors(theirs.direction, ours.direction, within=2e-15)


@pytest.mark.parametrize("kind", ["opm", "ocm"])
def test_thrusters_come_back(kind: str) -> None:
    """Who burns is named in an OCM, and shows in the duration in an OPM."""
    found = back(kind, written(kind, MARS_CASE, PLAN), MARS_CASE)
    assert [command.engine for command in found.commands] == ["engine", "engine", "thrusters"]


@pytest.mark.parametrize("at", [MARS_CASE, EARTH_CASE], ids=["Mars", "Earth"])
def test_the_state_comes_back(at: Case) -> None:
    """State, mass and the covariance of the initial errors, in the case's own axes."""
    at = replace(at, errors=ERRORS)
    text = written("opm", at, PLAN)
    found = opm_estimate(read_opm(text.encode(), "x"), at.body, read_date(EPOCH), "x")
    assert found.time_s == 0.0
    assert_vectors(found.position_m, at.craft.position_m, within=1e-15)
    assert_vectors(found.velocity_m_s, at.craft.velocity_m_s, within=1e-15)
    assert found.mass_kg == at.craft.mass_kg
    assert found.covariance is not None
    sigma = np.sqrt(found.covariance.diagonal())
    assert sigma.tolist() == pytest.approx([150.0] * 3 + [0.03] * 3)


# ---------------------------------------------------------------- an independent reader


def test_an_independent_reader_of_the_opm() -> None:
    """Another reader of the standard finds the same state, mass, covariance and manoeuvres."""
    ndm = pytest.importorskip("ccsds_ndm")
    at = replace(MARS_CASE, errors=ERRORS)
    message = ndm.from_str(written("opm", at, PLAN))
    data, meta = message.segment.data, message.segment.metadata
    assert (meta.center_name, meta.ref_frame, meta.time_system) == ("MARS", "INERTIAL", "TDB")
    state = data.state_vector
    found = np.array([state.x, state.y, state.z])
    assert_vectors(1e3 * found, at.craft.position_m, within=1e-15)
    assert data.spacecraft_parameters.mass == at.craft.mass_kg
    assert data.covariance_matrix.cx_x == pytest.approx(0.0225)
    assert data.covariance_matrix.cz_dot_z_dot == pytest.approx(9e-10)
    for theirs, ours in zip(data.maneuver_parameters, PLAN.commands, strict=True):
        assert theirs.man_duration == pytest.approx(ours.duration_s, rel=1e-15)
        dv = np.array([theirs.man_dv_1, theirs.man_dv_2, theirs.man_dv_3])
        assert_vectors(1e3 * dv, ours.dv_m_s * ours.direction, within=1e-15)
        assert theirs.man_ref_frame == ("RTN" if ours.steering == "rsw" else "INERTIAL")
        assert theirs.man_epoch_ignition.startswith("2031-04-12T")
    lost = [man.man_delta_mass for man in data.maneuver_parameters]
    left = at.craft.mass_kg + math.fsum(lost)
    wanted = at.craft.mass_kg * math.exp(-(123.456789012345678 + 77.7) / (G0 * 318.0))
    assert left == pytest.approx(wanted * math.exp(-0.123 / (G0 * 220.0)), rel=1e-13)


def test_an_independent_reader_of_the_ocm() -> None:
    """Another reader finds the same manoeuvres, with thrust, sigmas and basis."""
    ndm = pytest.importorskip("ccsds_ndm")
    at = replace(EARTH_CASE, errors=ERRORS)
    plan = plan_of(
        at,
        (7000.0, 100.0, "inertial", [1, 2, 2], "engine"),
        (9e3, 10.0, "rsw", [0, 1, 0], "engine"),
    )
    data = ndm.from_str(written("ocm", at, plan)).segment.data
    assert [man.man_ref_frame for man in data.man] == ["TOD_EARTH", "RSW_ROTATING"]
    assert [man.man_basis.upper() for man in data.man] == ["CANDIDATE", "CANDIDATE"]
    assert [man.man_id for man in data.man] == ["B1", "B2"]
    assert data.phys.wet_mass == at.craft.mass_kg
    (spread,) = data.cov
    assert (spread.cov_type, spread.cov_ordering.upper()) == ("CARTPV", "LTM")
    values = [float(value) for value in spread.cov_lines[0].values]
    assert [values[k * (k + 3) // 2] for k in range(6)] == pytest.approx([0.0225] * 3 + [9e-10] * 3)
    assert math.fsum(values) == pytest.approx(3 * 0.0225 + 3 * 9e-10, rel=1e-12)
    told = content(at, plan).burns
    for man, ours, burn in zip(data.man, plan.commands, told, strict=True):
        columns = [name.strip() for name in man.man_composition.split(",")]
        (line,) = man.man_lines
        row = dict(zip(columns, [line.epoch, *line.values], strict=True))
        assert float(row["TIME_RELATIVE"]) == pytest.approx(ours.ignition_s, rel=1e-15)
        assert float(row["MAN_DURA"]) == pytest.approx(ours.duration_s, rel=1e-15)
        dv = np.array([float(row[f"DV_{x}"]) for x in "XYZ"])
        assert_vectors(1e3 * dv, ours.dv_m_s * ours.direction, within=1e-15)
        thrust = np.array([float(row[f"THR_{x}"]) for x in "XYZ"])
        assert_vectors(thrust, 400.0 * ours.direction, within=1e-15)
        assert float(row["THR_ISP"]) == 318.0
        assert burn.sigma is not None
        assert burn.sigma.size is not None
        assert float(row["DV_MAG_SIGMA"]) == pytest.approx(100.0 * burn.sigma.size)
        across = math.degrees(burn.sigma.angle_rad)
        assert float(row["DV_DIR_SIGMA"]) == pytest.approx(across)
    assert data.traj[0].traj_ref_frame == "TOD_EARTH"


def test_we_read_what_another_writer_writes() -> None:
    """An independent writer's text of the same message gives the same plan."""
    ndm = pytest.importorskip("ccsds_ndm")
    ours = written("opm", MARS_CASE, PLAN)
    theirs = ndm.from_str(ours).to_str("kvn")
    assert theirs != ours
    one, two = (back("opm", text, MARS_CASE) for text in (ours, theirs))
    for a, b in zip(one.commands, two.commands, strict=True):
        assert_seconds(a.ignition_s, b.ignition_s, within=1e-6)  # it may cut dates
        assert a.dv_m_s == pytest.approx(b.dv_m_s, rel=1e-9)


# ---------------------------------------------------------------- sigmas and bases


@pytest.mark.parametrize(
    ("cutoff", "size"),
    [
        # 100 m/s takes a share of 0.0316 of 610 kg: the thrust counts 1.0162 fold, Isp -0.0162
        ("duration", math.hypot(0.005, 1e-4, 0.01 * 1.016207, 0.003 * 0.016207)),
        ("velocity", math.hypot(0.005, 1e-4, 0.002)),
        ("orbit", None),
    ],
)
def test_sigmas_of_a_burn(cutoff: str, size: float | None) -> None:
    """One-sigma errors of a Δv: Gates' terms, and the biases that its cutoff lets through."""
    engine = replace(MARS_CASE.engine, cutoff=cutoff)  # type: ignore[arg-type]
    at = replace(MARS_CASE, errors=ERRORS, engine=engine)
    plan = plan_of(at, (7000.0, 100.0, "inertial", [1, 0, 0], "engine"))
    (burn,) = content(at, plan).burns
    assert burn.sigma is not None
    assert burn.sigma.size == (None if size is None else pytest.approx(size, rel=1e-5))
    assert burn.sigma.angle_rad == pytest.approx(math.hypot(0.01, 2e-4))


def test_sigma_of_thrust_by_differences() -> None:
    """The biases' exponents are those of the rocket equation, by differences."""
    at = replace(MARS_CASE, errors=Errors(thrust_bias=1.0))
    before = (500.0, 200.0, "inertial", [0.0, 1.0, 0.0], "engine")
    plan = plan_of(at, before, (7000.0, 900.0, "inertial", [1.0, 0.0, 0.0], "engine"))
    mass = 610.0 * math.exp(-200.0 / (G0 * 318.0))
    *_, burn = content(at, plan).burns

    def dv(thrust: float, isp: float) -> float:
        burnt = thrust * burn.duration_s / (G0 * isp)
        return G0 * isp * math.log(mass / (mass - burnt))

    rise = (dv(400.4, 318.0) - dv(399.6, 318.0)) / 900.0 / 0.002
    assert burn.sigma is not None
    assert burn.sigma.size == pytest.approx(rise, rel=1e-5)
    by_isp = replace(MARS_CASE, errors=Errors(isp_bias=1.0))
    *_, burn = content(by_isp, plan).burns
    assert burn.sigma is not None
    rise = (dv(400.0, 318.318) - dv(400.0, 317.682)) / 900.0 / 0.002
    assert burn.sigma.size == pytest.approx(abs(rise), rel=1e-4)


def test_a_perfect_engine_has_no_sigmas() -> None:
    """Without errors there is no covariance and no sigma."""
    text = written("ocm", MARS_CASE, PLAN)
    assert "SIGMA" not in text
    assert "COV_" not in text
    assert "CX_X" not in written("opm", MARS_CASE, PLAN)


@pytest.fixture(scope="module")
def flown() -> tuple[Case, Plan, Flight, Flight]:
    """A case with errors, a plan for it, its perfect flight and one with errors."""
    at = replace(MARS_CASE, errors=ERRORS)
    perfect = simcheck.fly(at, PLAN, reference=False)
    return at, PLAN, perfect, simcheck.fly(at, PLAN, seed=1, sample=2, reference=False)


def test_the_basis_through_a_plan_s_life(flown: tuple[Case, Plan, Flight, Flight]) -> None:
    """Computed, flown and within, flown and outside, or made with errors: the basis says which."""
    at, plan, flight, drawn = flown
    outside = simcheck.judge(at, flight)
    within = Verdict(verdict="within", within={}, kept={}, used={}, margins={}, findings=())
    assert content_of(at, plan, None, None).basis == "CANDIDATE"
    assert content_of(at, plan, flight, outside).basis == "CANDIDATE"
    assert content_of(at, plan, flight, within).basis == "PLANNED"
    assert content_of(at, plan, drawn, within).basis == "SIMULATED"


def test_burns_as_made(flown: tuple[Case, Plan, Flight, Flight]) -> None:
    """Of a flight with errors the burns are those made: Δv, mass, thrust and direction as flown."""
    at, plan, _, drawn = flown
    told = content_of(at, plan, drawn, None).burns
    arcs = [arc for arc in drawn.arcs if arc.kind == "burn"]
    assert [burn.device for burn in told] == ["engine", "engine", "thrusters"]
    for burn, arc, command in zip(told, arcs, plan.commands, strict=True):
        assert burn.sigma is None
        assert np.linalg.norm(burn.dv_m_s) == pytest.approx(arc.dv_m_s)
        assert abs(arc.dv_m_s / command.dv_m_s - 1.0) > 1e-6
        assert burn.delta_mass_kg == arc.end.mass_kg - arc.start.mass_kg
        assert burn.thrust_n == arc.thrust_n
    text = ocm_text(content_of(at, plan, drawn, None), EPOCH, CREATED)
    assert text.count("MAN_BASIS = SIMULATED") == 3
    assert "sample 2 of seed 1" in text


# ---------------------------------------------------------------- from a tracked state on


def tracked(at: Case) -> tuple[Estimate, Reconstruction]:
    """An invented state after a burn, and that burn; its Δv known to 0.3, 0.4 and 0.1 m/s."""
    spread = np.diag([900.0, 1600.0, 2500.0, 1e-4, 4e-4, 9e-4])
    spread[0, 4] = spread[4, 0] = 0.2
    estimate = Estimate(
        time_s=86400.125,
        position_m=at.craft.position_m + np.array([1e3, -2e3, 300.0]),
        velocity_m_s=at.craft.velocity_m_s + np.array([1.0, 2.0, -3.0]),
        mass_kg=590.75,
        covariance=spread,
        source="tracking",
    )
    made = Reconstruction(
        burn="B0",
        purpose="plane change",
        engine="engine",
        start_s=7123.456789012345,
        duration_s=123.45678901234567,
        steering="rsw",
        dv_m_s=np.array([60.0, 0.0, 80.0]),
        commanded_m_s=np.array([60.0, 1.0, 80.0]),
        covariance=np.diag([0.09, 0.16, 0.01]),
        thrust_n=395.5,
        isp_s=318.0,
        mass_before_kg=610.0,
        mass_after_kg=590.75,
        misfit=0.9,
    )
    return estimate, made


@pytest.mark.parametrize("at", [MARS_CASE, EARTH_CASE], ids=["Mars", "Earth"])
def test_burns_of_the_past_by_an_independent_reader(at: Case) -> None:
    """Another reader finds the burn made as DETERMINED, and the state that all begins with."""
    ndm = pytest.importorskip("ccsds_ndm")
    estimate, made = tracked(at)
    plan = shifted(plan_of(at, (500.0, 3.0, "inertial", [1, 2, 2], "engine")), estimate.time_s)
    text = ocm_text(content_from(at, estimate, plan, made), EPOCH, CREATED)
    message = ndm.from_str(text).segment
    data = message.data
    zero = read_date(message.metadata.epoch_tzero)
    assert_seconds(zero.seconds_since(read_date(EPOCH)), 86400.125, within=1e-9)
    over, to_come = data.man
    assert [over.man_basis.upper(), to_come.man_basis.upper()] == ["DETERMINED", "CANDIDATE"]
    assert [over.man_id, over.man_next_id, to_come.man_prev_id] == ["B0", None, None]
    columns = [name.strip() for name in over.man_composition.split(",")]
    (line,) = over.man_lines
    row = dict(zip(columns, map(float, [line.epoch, *line.values]), strict=True))
    assert row["TIME_RELATIVE"] == pytest.approx(7123.456789012345 - 86400.125, rel=1e-15)
    assert row["MAN_DURA"] == pytest.approx(made.duration_s, rel=1e-15)
    assert row["DELTA_MASS"] == 590.75 - 610.0
    assert [1e3 * row[f"DV_{x}"] for x in "XYZ"] == pytest.approx([60.0, 0.0, 80.0], rel=1e-15)
    force = [row[f"THR_{x}"] for x in "XYZ"]
    assert force == pytest.approx([395.5 * 0.6, 0.0, 395.5 * 0.8], rel=1e-15)
    along = math.sqrt(0.36 * 0.09 + 0.64 * 0.01)  # of (0.6, 0, 0.8) with these variances
    across = math.sqrt((0.26 - along**2) / 2.0)
    assert row["DV_MAG_SIGMA"] == pytest.approx(along)  # per cent of 100 m/s
    assert row["DV_DIR_SIGMA"] == pytest.approx(math.degrees(across / 100.0))
    (trajectory,), (spread,) = data.traj, data.cov
    assert trajectory.traj_basis.upper() == "DETERMINED"
    state = np.array([float(x) for x in trajectory.traj_lines[0].values])
    assert_vectors(1e3 * state[:3], estimate.position_m, within=1e-15)
    assert_vectors(1e3 * state[3:], estimate.velocity_m_s, within=1e-15)
    lower = np.array([float(value) for value in spread.cov_lines[0].values])
    assert 1e6 * lower == pytest.approx(np.asarray(estimate.covariance)[np.tril_indices(6)])
    assert data.phys.wet_mass == 590.75


@pytest.mark.parametrize("at", [MARS_CASE, EARTH_CASE], ids=["Mars", "Earth"])
def test_what_follows_a_tracked_state_comes_back(at: Case) -> None:
    """State, mass and burns to come are read again to their digits; the past burn is named."""
    estimate, made = tracked(at)
    begun = replace(
        at,
        epoch=date_after(EPOCH, estimate.time_s),
        craft=replace(
            at.craft,
            position_m=estimate.position_m,
            velocity_m_s=estimate.velocity_m_s,
            propellant_kg=590.75 - at.craft.dry_mass_kg,
        ),
    )
    burns = plan_of(begun, (500.0, 3.0, "inertial", [1, 2, 2], "engine"))
    plan = shifted(burns, estimate.time_s)
    text = ocm_text(content_from(at, estimate, plan, made), EPOCH, CREATED)
    found = ocm_estimate(read_ocm(text.encode(), "x"), at.body, read_date(EPOCH), "x")
    assert_seconds(found.time_s, estimate.time_s, within=1e-9)
    assert_vectors(found.position_m, estimate.position_m, within=1e-15)
    assert_vectors(found.velocity_m_s, estimate.velocity_m_s, within=1e-15)
    assert found.mass_kg == estimate.mass_kg
    over, away, *_ = back("ocm", text, at).warnings
    assert over == "1 manoeuvre that is over, B0 (DETERMINED): not flown again"
    assert "from the case's craft at that time" in away  # which knows nothing of the burn made
    if at is EARTH_CASE:  # the axes of a case about the Earth are those of its epoch
        return
    again = back("ocm", text, begun)
    (ours,), (theirs,) = burns.commands, again.commands
    assert again.warnings == (over,)
    assert_seconds(theirs.ignition_s, 500.0, within=1e-9)
    assert theirs.duration_s == pytest.approx(ours.duration_s, rel=1e-15)
    assert theirs.dv_m_s == pytest.approx(ours.dv_m_s, rel=2e-15)
    assert_vectors(theirs.direction, ours.direction, within=2e-15)


def test_nothing_made_is_not_written() -> None:
    """A burn that did not happen, or none that was looked for, leaves no manoeuvre."""
    estimate, made = tracked(MARS_CASE)
    missed = replace(made, dv_m_s=np.zeros(3))
    for burn in (None, missed):
        text = ocm_text(content_from(MARS_CASE, estimate, None, burn), EPOCH, CREATED)
        assert "MAN_START" not in text
        assert "no burn to do" in text
    text = ocm_text(
        content_from(MARS_CASE, replace(estimate, mass_kg=None, covariance=None), None, made),
        EPOCH,
        CREATED,
    )
    assert "COV_START" not in text
    assert f"WET_MASS = {MARS_CASE.craft.mass_kg}" in text
    assert text.count("MAN_BASIS = DETERMINED") == 1


# ---------------------------------------------------------------- text


@given(st.floats(allow_nan=False, allow_infinity=False), st.sampled_from([0, -3, -6, -9]))
def test_numbers_come_back(value: float, power: int) -> None:
    """16 digits at most bring a number back to half a unit in the sixteenth."""
    text = number(value, power)
    mantissa = text.upper().partition("E")[0].lstrip("+-").replace(".", "").strip("0")
    assert len(mantissa) <= 16
    if 1e-280 < abs(value) < 1e280:
        assert float(text) == pytest.approx(value * 10.0**power, rel=1e-15)


@given(st.text(max_size=300))
def test_text_is_plain(text: str) -> None:
    """Whatever a title holds, a message has printable ASCII in lines of 254 characters at most."""
    lines = Lines()
    lines.comment(text)
    lines.words("OBJECT_NAME", text)
    for line in lines.text.splitlines():
        assert line.isascii()
        assert len(line) <= 254
        assert line.isprintable()
        assert line.startswith(("COMMENT", "OBJECT_NAME = "))


def test_plain_letters() -> None:
    """Accents fall off, signs have words."""
    assert plain(" Δv für\nÉmile – 3° ") == "dv fur Emile - 3 deg"


# ---------------------------------------------------------------- files


def test_targets_are_seen_before_the_work(tmp_path: Any) -> None:
    """A file that is there, a wrong suffix, no folder, no epoch: told at once, all together."""
    there = tmp_path / "there.opm"
    there.write_text("precious")
    names = [there, tmp_path / "a.oem", tmp_path / "no" / "b.ocm", tmp_path / "c.txt"]
    with pytest.raises(InputError) as caught:
        check_targets(names, replace(MARS_CASE, epoch=None), (".opm", ".ocm"))
    text = str(caught.value)
    assert f"{there}: is there already; remove it or name another file" in text
    assert "a.oem: expected a file that ends in .opm or .ocm; an ephemeris needs a flight" in text
    assert "b.ocm: there is no folder" in text
    assert "c.txt: expected a file that ends in .opm or .ocm" in text
    assert "the case has no epoch; write epoch under [case], in TDB" in text
    with pytest.raises(InputError, match="is there already"):
        write_message(there, MARS_CASE, PLAN)
    assert there.read_text() == "precious"
    with pytest.raises(InputError, match="named twice"):
        check_targets([tmp_path / "a.opm"] * 2, MARS_CASE, (".opm",))
