"""Orbit parameter messages: the standard's examples, and every way to get one wrong."""

# ruff: noqa: E501 - the tables of faults read best with a fault a line
from __future__ import annotations

import re

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from simcheck.errors import InputError
from simcheck.files.epochs import Instant, read_date
from simcheck.files.opm import OrbitMessage, opm_estimate, read_opm
from simcheck.kernels.elements import classical_from_state
from simcheck.kernels.kepler import mean_from_true
from simcheck.kernels.vectors import rsw_frame
from simcheck.records.case import Body
from simcheck.records.estimate import Estimate
from tests.cases_for_tests import EARTH, MARS, MOON, orbit
from tests.files.messages import BARE, COVARIANCE, G2, G2_SOURCE, G3_SOURCE, G3_STATE, RIGHT
from tests.helpers import assert_metres, assert_metres_per_second, assert_seconds

EPOCH = read_date("2021-06-03T00:00:00", "UTC")


def read(text: str | bytes) -> OrbitMessage:
    return read_opm(text.encode() if isinstance(text, str) else text, "r4.opm")


def faults(text: str | bytes) -> tuple[str, ...]:
    with pytest.raises(InputError) as caught:
        read(text)
    return caught.value.faults


def estimate(text: str, body: Body = EARTH, epoch: Instant = EPOCH) -> Estimate:
    return opm_estimate(read(text), body, epoch, "r4.opm")


def refused(text: str, body: Body = EARTH) -> tuple[str, ...]:
    with pytest.raises(InputError) as caught:
        estimate(text, body)
    return caught.value.faults


def changed(keyword: str, line: str, text: str = RIGHT) -> str:
    """The text with the first line of a keyword replaced; an empty line takes it out."""
    new, count = re.subn(rf"(?m)^{keyword} = .*$", lambda _: line, text, count=1)
    assert count == 1
    return new


def message(
    position: np.ndarray,
    velocity: np.ndarray,
    center: str = "EARTH",
    frame: str = "TOD",
    extra: str = "",
) -> str:
    """A message with every digit of a state in m and m/s, at EPOCH."""
    text = changed("CENTER_NAME", f"CENTER_NAME = {center}", BARE)
    text = changed("REF_FRAME", f"REF_FRAME = {frame}", text)
    for keyword, value in zip(("X", "Y", "Z"), position, strict=True):
        text = changed(keyword, f"{keyword} = {value / 1e3!r}", text)
    for keyword, value in zip(("X_DOT", "Y_DOT", "Z_DOT"), velocity, strict=True):
        text = changed(keyword, f"{keyword} = {value / 1e3!r}", text)
    return text.replace("np.float64(", "").replace(")", "") + extra


# ---------------------------------------------------------------- the standard's examples


@pytest.mark.reference(G2_SOURCE)
def test_every_value_of_the_example() -> None:
    """State, mass and both manoeuvres of the standard's example, in SI."""
    found = read(RIGHT)
    assert (found.name, found.center, found.frame) == ("EUTELSAT W4", "EARTH", "TOD")
    assert_metres(found.position_m, [6655994.2, -40218575.1, -82917.7], within=1e-6)
    assert_metres_per_second(found.velocity_m_s, [3115.48208, 470.42605, -1.01495], within=1e-9)
    assert found.mass_kg == 1913.0
    assert found.covariance is None
    first, second = found.manoeuvres  # in 9 h TDB drifts from UTC by 11 us at most
    assert (first.frame, first.duration_s, first.delta_mass_kg) == ("EME2000", 132.6, -18.418)
    assert_seconds(first.ignition.seconds_since(found.epoch), 9 * 3600 + 34.1, within=2e-5)
    assert np.linalg.norm(first.dv_m_s) == pytest.approx(30.066843, abs=1e-6)
    assert (second.frame, second.duration_s, second.delta_mass_kg) == ("RTN", 0.0, -1.469)
    assert_metres_per_second(second.dv_m_s, [1.015, -1.873, 0.0], within=1e-12)


@pytest.mark.reference(G2_SOURCE)
def test_the_anomaly_of_the_example_is_a_slip() -> None:
    """As printed, the example calls a mean anomaly a true one: 1157 km, which is told."""
    (fault,) = faults(G2)
    assert fault.startswith("r4.opm:24: TRUE_ANOMALY: the Keplerian elements are not the orbit of")
    assert "1157.47 km and 88.1304 m/s away from it" in fault
    assert "they agree if TRUE_ANOMALY is meant as MEAN_ANOMALY: correct the keyword" in fault


@pytest.mark.reference(G3_SOURCE)
def test_covariance_of_the_example() -> None:
    """The example's covariance, symmetric in m and m/s."""
    found = read(G3_STATE + COVARIANCE).covariance
    assert found is not None
    assert (found == found.T).all()
    assert found[0, 0] == pytest.approx(333.1349476038534, rel=1e-15)
    assert found[4, 2] == pytest.approx(0.1798098699846038, rel=1e-15)
    assert found[5, 5] == pytest.approx(6.2244443386355e-4, rel=1e-15)


@pytest.mark.reference(G3_SOURCE)
def test_the_earth_fixed_example_is_refused() -> None:
    """The examples in ITRF are refused by name, with the reason."""
    (fault,) = refused(G3_STATE)
    assert fault.startswith('r4.opm:9: REF_FRAME: got "ITRF1997", which turns with the body')


# ---------------------------------------------------------------- what becomes of it


@pytest.mark.parametrize("frame", ["TOD", "INERTIAL"])
def test_a_state_comes_back(frame: str) -> None:
    """A state written in the case's axes is read back as it was."""
    position, velocity = orbit(EARTH, 7000.0, 20000.0, 50.0, 40.0, 30.0, 20.0)
    found = estimate(message(position, velocity, frame=frame))
    assert found.time_s == 0.0
    assert_metres(found.position_m, position, within=1e-7)
    assert_metres_per_second(found.velocity_m_s, velocity, within=1e-10)
    assert found.source == f"orbit parameter message r4.opm, {frame} axes"


def test_equator_of_2000_is_turned() -> None:
    """EME2000 lies 0.12 deg off the pole of 2021; read as it stands it would tilt the plane so."""
    position, velocity = orbit(EARTH, 7000.0, 20000.0, 50.0, 40.0, 30.0, 20.0)
    found = estimate(message(position, velocity, frame="EME2000"))
    turned = found.position_m - position
    assert 0.002 < np.linalg.norm(turned) / np.linalg.norm(position) < 0.006
    still = estimate(message(position, velocity, frame="MOD"))
    assert 1e-6 < np.linalg.norm(still.position_m - position) / np.linalg.norm(position) < 2e-4


def test_epoch_of_the_frame() -> None:
    """REF_FRAME_EPOCH says of which date the true equator is."""
    position, velocity = orbit(EARTH, 7000.0, 20000.0, 50.0, 40.0, 30.0, 20.0)
    text = message(position, velocity, frame="TOD\nREF_FRAME_EPOCH = 2000-01-01T12:00:00")
    off = np.linalg.norm(estimate(text).position_m - position) / np.linalg.norm(position)
    assert 0.002 < off < 0.006  # 21 years of precession


def test_other_bodies() -> None:
    """About another body the axes are those of its pole, by name; any case of letters serves."""
    position, velocity = orbit(MARS, 4000.0, 9000.0, 50.0)
    for frame in ("MCI", "INERTIAL"):
        found = estimate(message(position, velocity, "mars", frame), MARS)
        assert_metres(found.position_m, position, within=1e-7)
    both = refused(message(position, velocity, "MARS", "EME2000"), MOON)
    assert 'CENTER_NAME: expected the case\'s body, Moon, got "MARS"' in both[0]
    assert 'REF_FRAME: got "EME2000", whose z axis is not the pole of Moon' in both[1]


@pytest.mark.parametrize(
    ("system", "ahead_s"), [("UTC", 0.0), ("TAI", -37.0), ("GPS", -18.0), ("TT", -69.184)]
)
@pytest.mark.reference("IERS Bulletin C: TAI - UTC = 37 s since 2017, from memory")
def test_time_systems(system: str, ahead_s: float) -> None:
    """One reading of the clock is another moment in each time system."""
    found = estimate(changed("TIME_SYSTEM", f"TIME_SYSTEM = {system}"))
    assert_seconds(found.time_s, ahead_s, within=1e-7)


@pytest.mark.parametrize("frame", ["RTN", "RSW", "TNW"])
def test_covariance_in_local_axes(frame: str) -> None:
    """A spread of 1 km along the track and 1 m/s along the radius lies so in inertial axes."""
    position, velocity = orbit(EARTH, 7000.0, 7000.0, 50.0, 40.0, 0.0, 20.0)
    sizes = {"X": 1e-12, "Y": 1e-12, "Z": 1e-12, "X_DOT": 1e-12, "Y_DOT": 1e-12, "Z_DOT": 1e-12}
    along, up = ("Y", "X_DOT") if frame != "TNW" else ("X", "Y_DOT")
    sizes |= {along: 1.0, up: 1e-6}
    names = list(sizes)
    lines = [
        f"C{row}_{column} = {sizes[row] if row == column else 0.0}"
        for j, row in enumerate(names)
        for column in names[: j + 1]
    ]
    extra = "\n".join([f"COV_REF_FRAME = {frame}", *lines, ""])
    found = estimate(message(position, velocity, extra=extra)).covariance
    assert found is not None
    axes = rsw_frame(position, velocity)
    assert axes[1] @ found[:3, :3] @ axes[1] == pytest.approx(1e6, rel=1e-9)
    assert axes[0] @ found[3:, 3:] @ axes[0] == pytest.approx(1.0, rel=1e-9)
    assert np.trace(found) == pytest.approx(1e6 + 1.0 + 2e-6 + 2e-6, rel=1e-9)
    assert (found == found.T).all()


def test_covariance_without_frame_has_that_of_the_state() -> None:
    """Left out, the covariance's frame is the message's, and is turned along with it."""
    position, velocity = orbit(EARTH, 7000.0, 7000.0, 50.0, 40.0, 0.0, 20.0)
    one = estimate(message(position, velocity, frame="EME2000", extra=COVARIANCE))
    named = f"COV_REF_FRAME = EME2000\n{COVARIANCE}"
    other = estimate(message(position, velocity, frame="EME2000", extra=named))
    plain = estimate(message(position, velocity, extra=COVARIANCE))
    assert one.covariance is not None
    assert other.covariance is not None
    assert plain.covariance is not None
    assert (one.covariance == other.covariance).all()
    assert abs(one.covariance - plain.covariance).max() > 1e-4
    assert np.linalg.eigvalsh(one.covariance[:3, :3]) == pytest.approx(
        np.linalg.eigvalsh(plain.covariance[:3, :3]), rel=1e-6
    )
    (fault,) = refused(message(position, velocity, extra=named.replace("EME2000", "RSW_ROTATING")))
    assert 'COV_REF_FRAME: got "RSW_ROTATING", which is not among the frames' in fault


# ---------------------------------------------------------------- elements beside the state


def elements(nu: float, digits: int, keyword: str = "TRUE_ANOMALY", hyperbola: bool = False) -> str:
    """A message whose elements are those of its state, written with so many digits."""
    position, velocity = orbit(EARTH, 7000.0, 20000.0, 50.0, 40.0, 30.0, nu)
    if hyperbola:
        velocity = 1.5 * velocity
    p, e, i, raan, argp, true = (float(x) for x in classical_from_state(position, velocity, GM))
    anomaly = true if keyword == "TRUE_ANOMALY" else float(mean_from_true(true, e))
    lines = [
        f"SEMI_MAJOR_AXIS = {p / (1.0 - e**2) / 1e3:.{digits}f} [km]",
        f"ECCENTRICITY = {e:.{digits}f}",
        f"INCLINATION = {np.degrees(i):.{digits}f} [deg]",
        f"RA_OF_ASC_NODE = {np.degrees(raan):.{digits}f} [deg]",
        f"ARG_OF_PERICENTER = {np.degrees(argp):.{digits}f} [deg]",
        f"{keyword} = {np.degrees(anomaly):.{digits}f} [deg]",
        "GM = 398600.4415 [km**3/s**2]\n",
    ]
    return message(position, velocity, extra="\n".join(lines))


GM = 398600.4415e9


@pytest.mark.parametrize("keyword", ["TRUE_ANOMALY", "MEAN_ANOMALY"])
@pytest.mark.parametrize("hyperbola", [False, True])
@given(st.floats(0.0, 150.0), st.integers(2, 9))
def test_elements_that_agree(keyword: str, hyperbola: bool, nu: float, digits: int) -> None:
    """The elements of the state are accepted however few their digits."""
    read(elements(nu, digits, keyword, hyperbola and nu < 20.0))


@pytest.mark.parametrize(
    ("keyword", "factor"),
    [
        ("SEMI_MAJOR_AXIS", 1.00001),
        ("ECCENTRICITY", 1.00001),
        ("INCLINATION", 1.00001),
        ("RA_OF_ASC_NODE", 1.00001),
        ("ARG_OF_PERICENTER", 1.00001),
        ("TRUE_ANOMALY", 1.00001),
        ("GM", 1.00001),
    ],
)
def test_elements_that_do_not(keyword: str, factor: float) -> None:
    """An element off by a hundred-thousandth is found."""
    text = elements(70.0, 8)
    old = re.search(rf"(?m)^{keyword} = (\S+)", text)
    assert old is not None
    (fault,) = faults(text.replace(old[1], f"{float(old[1]) * factor:.8f}"))
    assert "TRUE_ANOMALY: the Keplerian elements are not the orbit of the state vector" in fault
    assert "meant as" not in fault


# ---------------------------------------------------------------- every way to get one wrong


@pytest.mark.parametrize(
    ("text", "fault"),
    [
        ("", "r4.opm: the file is empty"),
        ("  \n", "r4.opm: the file is empty"),
        (b"\x89PNG\r\n\x1a\n\x00", "r4.opm:1: expected text in UTF-8, got other bytes"),
        ("CCSDS_OPM_VERS = 3.0\n\x00", "r4.opm:2: expected plain text, got the character U+0000"),
        ("{}", "r4.opm: expected an orbit parameter message, which begins with CCSDS_OPM_VERS = 3.0, got no keyword at all"),
        ("CCSDS_OEM_VERS = 3.0", "which begins with CCSDS_OPM_VERS = 3.0, got \"CCSDS_OEM_VERS\""),
        ("COMMENT nothing else", "got no keyword at all"),
        (changed("CCSDS_OPM_VERS", "CCSDS_OPM_VERS = 4.0"), "r4.opm:1: CCSDS_OPM_VERS: expected 3.0, 2.0 or 1.0, got \"4.0\""),
        (changed("ORIGINATOR", "ORIGINATOR ="), "r4.opm:4: ORIGINATOR: has no value; write ORIGINATOR = OPERATIONS"),
        (changed("OBJECT_NAME", ""), "r4.opm: OBJECT_NAME is missing; write OBJECT_NAME = R4"),
        (changed("X", ""), "r4.opm: X is missing; write X = 6655.9942 [km]"),
        (changed("EPOCH", ""), "r4.opm: EPOCH is missing; write EPOCH = 2031-04-12T06:00:00.000"),
        (changed("EPOCH", "EPOCH = tomorrow"), "r4.opm:11: EPOCH: got \"tomorrow\", expected a date such as"),
        (changed("EPOCH", "EPOCH = 2021-02-30T00:00:00"), "r4.opm:11: EPOCH: got \"2021-02-30T00:00:00\", which is no date"),
        (changed("TIME_SYSTEM", "TIME_SYSTEM = UT1"), "r4.opm:9: TIME_SYSTEM: expected one of UTC, TAI, TT, TDB, GPS, got \"UT1\""),
        (changed("X", "X = 6655.9942 [m]"), "r4.opm:12: X: expected the unit [km], got \"[m]\"; write X = 6655.9942 [km]"),
        (changed("ECCENTRICITY", "ECCENTRICITY = 0.02 [deg]"), "r4.opm:20: ECCENTRICITY: expected a number without unit, got \"[deg]\""),
        (changed("X", "X = NaN [km]"), "r4.opm:12: X: expected a number, got \"NaN\"; write X = 6655.9942 [km]"),
        (changed("X", "X = 1e999"), "r4.opm:12: X: got \"1e999\", which is too large to compute with"),
        (changed("X", "X = 6655,9942"), "r4.opm:12: X: expected a number, got \"6655,9942\""),
        (changed("X", "X = "), "r4.opm:12: X: expected a number, got \"\""),
        (changed("Y", "X = 1.0 [km]\nY = -40218.5751"), "r4.opm:13: X: stands there twice; see line 12"),
        (changed("Y", "a line of words\nY = -40218.5751"), "r4.opm:13: expected KEYWORD = value, got \"a line of words\""),
        (changed("Z_DOT", "ZDOT = 1.0\nZ_DOT = -0.00101495"), "r4.opm:17: ZDOT: no keyword of an orbit parameter message; did you mean Z_DOT?"),
        (changed("Z_DOT", "FUEL = 1.0\nZ_DOT = -0.00101495"), "r4.opm:17: FUEL: no keyword of an orbit parameter message"),
        (changed("MEAN_ANOMALY", "MEAN_ANOMALY = 41.922339\nTRUE_ANOMALY = 43.5"), "r4.opm:24: MEAN_ANOMALY: stands beside TRUE_ANOMALY; give one of them"),
        (changed("GM", ""), "r4.opm: GM is missing; write GM = 398600.4415 [km**3/s**2]"),
        (changed("ECCENTRICITY", "ECCENTRICITY = 1.2"), "r4.opm:19: SEMI_MAJOR_AXIS: with this ECCENTRICITY and GM there is no such orbit"),
        (changed("MASS", "MASS = 0 [kg]"), "r4.opm:27: MASS: expected more than 0 kg"),
        (changed("MASS", ""), "r4.opm:35: MASS is missing, which a message with manoeuvres must have"),
        (changed("MAN_EPOCH_IGNITION", "MAN_DURATION = 1 [s]\nMAN_EPOCH_IGNITION = 2021-06-03T09:00:34.1"), "r4.opm:35: MAN_DURATION: a manoeuvre begins with MAN_EPOCH_IGNITION"),
        (changed("MAN_DURATION", "MAN_DURATION = -1 [s]"), "r4.opm:36: MAN_DURATION: expected 0 s, which is an impulse, or more"),
        (changed("MAN_DELTA_MASS", "MAN_DELTA_MASS = 1 [kg]"), "r4.opm:37: MAN_DELTA_MASS: expected less than 0 kg"),
        (changed("MAN_DV_1", ""), "r4.opm: MAN_DV_1 is missing; write MAN_DV_1 = 0.001015 [km/s]"),
        (BARE + "COV_REF_FRAME = RTN", "r4.opm:18: COV_REF_FRAME: there is no covariance that it would be the frame of"),
        (BARE + COVARIANCE.replace("CZ_Z = 3", "CZ_Z = -3"), "r4.opm:18: CX_X: expected variances of 0 or more, got -323.193 for z"),
        (BARE + COVARIANCE.replace("CY_X = 4", "CY_X = 9"), "r4.opm:18: CX_X: expected correlations from -1 to 1, but the covariance 961.893 of x with y is more"),
        (BARE + COVARIANCE.replace("CZ_X = -3", "CZ_X = 3"), "r4.opm:18: CX_X: expected a positive semidefinite matrix; as correlations it has an eigenvalue of -"),
        (BARE + COVARIANCE.replace("CZ_X =", "USER_DEFINED_CZ_X ="), "r4.opm: CZ_X is missing; write CZ_X = 1.0e-04 [km**2]"),
    ],
)  # fmt: skip
def test_faults(text: str | bytes, fault: str) -> None:
    """Each mistake is one fault with its line and keyword, and says what to write."""
    (found,) = faults(text)
    assert fault in found


def test_all_faults_at_once() -> None:
    """Faults come together, in the order of the file, and not without end."""
    text = changed("X", "X = one", changed("MASS", "MASS = two", changed("EPOCH", "EPOCH = three")))
    assert [re.sub(r"^r4.opm:(\d+): .*", r"\1", fault) for fault in faults(text)] == [
        "11",
        "12",
        "27",
    ]
    many = faults("CCSDS_OPM_VERS = 3.0\n" + "".join(f"K{k} = 1\n" for k in range(1000)))
    assert len(many) == 21
    assert re.fullmatch(r"r4.opm: and \d+ more faults", many[-1])


def test_what_may_stand_there_besides() -> None:
    """Comments, blank lines, CRLF, a byte order mark, spaces and user keywords change nothing."""
    text = RIGHT.replace("\n", "\r\n\r\nCOMMENT X = 7\r\n").replace(" = ", "   =  ")
    found = read(b"\xef\xbb\xbf" + (text + "USER_DEFINED_MODEL = WGS-84\n").encode())
    assert (found.position_m == read(RIGHT).position_m).all()
    assert len(found.manoeuvres) == 2


LINES = (RIGHT + COVARIANCE).splitlines()
VALUES = st.one_of(
    st.sampled_from(
        ["", "0", "-1", "1e999", "1e-999", "NaN", "[km]", "1 [m]", "1e300 [km]", "1e20"]
    ),
    st.floats(allow_nan=False).map(repr),
    st.text(max_size=12),
)


@given(st.lists(st.tuples(st.integers(0, len(LINES) - 1), VALUES), max_size=4), st.data())
def test_any_file_is_read_or_refused(changes: list[tuple[int, str]], data: st.DataObject) -> None:
    """Whatever the values, it ends in finite numbers or in lines that name the file."""
    lines = list(LINES)
    for at, value in changes:
        lines[at] = lines[at].partition(" = ")[0] + " = " + value
    for at in sorted(data.draw(st.sets(st.integers(0, len(lines) - 1), max_size=2)), reverse=True):
        del lines[at]
    try:
        found = estimate("\n".join(lines))
    except InputError as error:
        for fault in error.faults:
            assert fault.startswith("r4.opm")
            assert fault.isprintable()
            assert len(fault) < 400
    else:
        assert np.isfinite([*found.position_m, *found.velocity_m_s, found.time_s]).all()
