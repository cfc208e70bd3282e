"""Orbit comprehensive messages: the standard's example, and every way to get one wrong."""

# ruff: noqa: E501 - the tables of faults read best with a fault a line
from __future__ import annotations

import math
import re

import numpy as np
import pytest

from simcheck.errors import InputError
from simcheck.files.epochs import read_date
from simcheck.files.message_manoeuvres import Manoeuvre
from simcheck.files.ocm import ComprehensiveMessage, read_ocm
from tests.files.messages import G18, G18_SOURCE
from tests.helpers import assert_metres, assert_metres_per_second, assert_seconds

HEAD = """CCSDS_OCM_VERS = 3.0
CREATION_DATE = 2031-04-12T00:00:00
ORIGINATOR = TESTER
META_START
TIME_SYSTEM = TDB
EPOCH_TZERO = 2031-04-12T06:00:00
META_STOP
"""
BURN = """MAN_START
MAN_ID = M1
MAN_DEVICE_ID = ALL
MAN_REF_FRAME = RSW_INERTIAL
MAN_COMPOSITION = TIME_ABSOLUTE, MAN_DURA, DELTA_MASS, DV_X, DV_Y, DV_Z
MAN_UNITS = [n/a, s, kg, km/s, km/s, km/s]
2031-04-12T07:00:00 60.0 -2.5 0.0 0.1 -2.0E-2
MAN_STOP
"""
SMALL = HEAD + BURN


def read(text: str) -> ComprehensiveMessage:
    return read_ocm(text.encode(), "r4.ocm")


def faults(text: str) -> tuple[str, ...]:
    with pytest.raises(InputError) as caught:
        read(text)
    return caught.value.faults


def changed(keyword: str, line: str, text: str = SMALL) -> str:
    """The text with the first line that begins with a word replaced, or taken out."""
    new, count = re.subn(rf"(?m)^{keyword}\b.*\n", lambda _: line and f"{line}\n", text, count=1)
    assert count == 1
    return new


def one(text: str) -> Manoeuvre:
    (found,) = read(text).manoeuvres
    return found


@pytest.mark.reference(G18_SOURCE)
def test_every_value_of_the_example() -> None:
    """State, mass and thrust of the standard's example; two slices along one line are one burn."""
    found = read(G18)
    zero = read_date("2022-12-18T14:28:15.1172", "UTC")
    assert (found.name, found.mass_kg, found.zero) == ("OSPREY 5", 100.0, zero)
    state, elements = found.states
    assert (state.kind, state.center, state.frame) == ("CARTPVA", "EARTH", "TOD_EARTH")
    assert_metres(state.values[:3], [2854500.0, -2916200.0, -5360700.0], within=1e-6)
    assert_metres_per_second(state.values[3:], [5900.0, 4860.0, 520.0], within=1e-9)
    assert (elements.kind, elements.frame, elements.basis) == (
        "KEPLERIAN",
        "J2000",
        ("DETERMINED", None),
    )
    assert elements.values.tolist() == [6.6e6, 0.03, *np.radians([28.5, 50.0, 30.0, 10.0])]
    assert elements.steps.tolist() == [100.0, 0.01, *np.radians([0.1] * 4)]
    assert found.gm_m3_s2 == (pytest.approx(3.986004415e14), pytest.approx(1e5))
    (burn,) = found.manoeuvres
    assert (burn.label, burn.device, burn.purpose) == ("E_W_20160305B", "THR_01", "ORBIT")
    assert (burn.frame, burn.starts(zero), burn.duration_s) == ("RSW_ROTATING", 500.0, 200.0)
    assert burn.thrust_n is not None
    assert burn.thrust_n.tolist() == [0.0, 9.5, 0.0]  # 10 N with an efficiency of 0.95
    assert (burn.isp_s, burn.dv_m_s) == (300.0, None)


def test_a_velocity_increment() -> None:
    """A row with an absolute date, in km/s and kg, in the frame of its section."""
    burn = one(SMALL)
    assert_seconds(burn.starts(read(SMALL).zero), 3600.0, within=1e-9)
    assert (burn.frame, burn.duration_s, burn.delta_mass_kg) == ("RSW_INERTIAL", 60.0, -2.5)
    assert burn.dv_m_s is not None
    assert burn.dv_m_s.tolist() == [0.0, 100.0, -20.0]
    assert read(SMALL).states == ()


def test_relative_times_keep_their_digits() -> None:
    """Seconds past time zero are not rounded to a date."""
    text = changed("MAN_COMPOSITION", "MAN_COMPOSITION = TIME_RELATIVE, DV_X, DV_Y, DV_Z", SMALL)
    text = changed("2031-04-12T07", "98224.89628726755 0.0 0.1 0.0", changed("MAN_UNITS", "", text))
    burn = one(text)
    assert burn.starts(read(text).zero) == 98224.89628726755
    assert burn.duration_s == 0.0
    assert math.isnan(burn.delta_mass_kg)


def test_a_row_without_burn_is_left_out() -> None:
    """Zero thrust turns an engine off; it is no manoeuvre."""
    off = changed("MAN_STOP", "2031-04-12T08:00:00 60.0 0.0 0.0 0.0 0.0\nMAN_STOP")
    assert one(off).dv_m_s is not None


def test_slices_in_other_directions_are_burns_of_their_own() -> None:
    """Rows that abut but point elsewhere stay apart, and are told apart by a number."""
    text = changed("MAN_STOP", "2031-04-12T07:01:00 60.0 -2.5 0.1 0.0 0.0\nMAN_STOP")
    first, second = read(text).manoeuvres
    assert (first.label, second.label) == ("M1.1", "M1.2")
    same = changed("MAN_STOP", "2031-04-12T07:01:00 60.0 -2.5 0.0 0.2 -4.0E-2\nMAN_STOP")
    burn = one(same)
    assert (burn.duration_s, burn.delta_mass_kg) == (120.0, -5.0)
    assert burn.dv_m_s is not None
    assert burn.dv_m_s.tolist() == pytest.approx([0.0, 300.0, -60.0])


def test_the_first_of_two_descriptions_counts() -> None:
    """The same manoeuvre in another frame is there for information (6.2.8.13)."""
    again = BURN.replace("RSW_INERTIAL", "EME2000").replace("0.0 0.1", "0.1 0.0")
    assert one(SMALL + again).frame == "RSW_INERTIAL"
    later = again.replace("T07:00", "T07:01")  # begins as the first one ends
    assert len(read(SMALL + later).manoeuvres) == 2


def test_burns_that_are_over_are_passed_over() -> None:
    """What tracking found of a past burn is not flown again; two plans at once are refused."""
    past = BURN.replace("MAN_ID = M1", "MAN_ID = M0\nMAN_BASIS = DETERMINED")
    assert one(HEAD + past + BURN).label == "M1"
    assert read(HEAD + past + BURN).over == ("M0 (DETERMINED)",)
    other = BURN.replace("MAN_ID = M1", "MAN_ID = M2\nMAN_BASIS = PLANNED")
    (fault,) = faults(SMALL + other)
    assert fault == (
        "r4.ocm:18: MAN_BASIS: expected manoeuvres of one basis, got OTHER and PLANNED; leave one "
        "of them in the message"
    )


THRUST = changed(
    "MAN_COMPOSITION",
    "MAN_COMPOSITION = TIME_ABSOLUTE, MAN_DURA, THR_X, THR_Y, THR_Z, THR_INTERP, THR_ISP",
    changed("MAN_UNITS", ""),
)


@pytest.mark.parametrize(
    ("text", "fault"),
    [
        ("CCSDS_OPM_VERS = 3.0", "r4.ocm: expected an orbit comprehensive message, which begins with CCSDS_OCM_VERS = 3.0, got \"CCSDS_OPM_VERS\""),
        ("COMMENT nothing", "got no keyword at all"),
        (changed("CCSDS_OCM_VERS", "CCSDS_OCM_VERS = 2.0"), "r4.ocm:1: CCSDS_OCM_VERS: expected 3.0, got \"2.0\""),
        (changed("ORIGINATOR", ""), "r4.ocm:1: ORIGINATOR is missing; write ORIGINATOR = OPERATIONS"),
        (changed("ORIGINATOR", "ORIGINATOR = X\nSENDER = Y"), "r4.ocm:4: SENDER: no keyword of the header"),
        (changed("TIME_SYSTEM", "TIME_SYSTEM = UT1"), "r4.ocm:5: TIME_SYSTEM: expected one of UTC, TAI, TT, TDB, GPS, got \"UT1\""),
        (changed("EPOCH_TZERO", ""), "r4.ocm:4: EPOCH_TZERO is missing; write EPOCH_TZERO = 2031"),
        (changed("EPOCH_TZERO", "EPOCH_TZERO = now"), "r4.ocm:6: EPOCH_TZERO: got \"now\", expected a date"),
        (HEAD.replace("META_START\n", "").replace("META_STOP\n", ""), "META_START: expected one section, got 0"),
        (changed("META_STOP", ""), "r4.ocm:7: MAN_START: META_STOP is missing before it"),
        (changed("MAN_STOP", ""), "r4.ocm:8: MAN_START: there is no MAN_STOP after it"),
        (changed("MAN_STOP", "TRAJ_STOP"), "r4.ocm:15: TRAJ_STOP: expected MAN_STOP here"),
        (SMALL + "X = 1\n", "r4.ocm:16: expected the start of a section, got \"X = 1\""),
        (changed("MAN_DEVICE_ID", ""), "r4.ocm:8: MAN_DEVICE_ID is missing; write MAN_DEVICE_ID = ALL"),
        (changed("MAN_REF_FRAME", "MAN_FRAME = RTN"), "r4.ocm:11: MAN_FRAME: no keyword of a manoeuvre section; did you mean MAN_REF_FRAME?"),
        (changed("MAN_ID", "MAN_ID = M1\nMAN_BASIS = HOPED"), "r4.ocm:10: MAN_BASIS: expected one of CANDIDATE, PLANNED"),
        (changed("MAN_ID", "MAN_ID = M1\nDC_TYPE = TIME"), "r4.ocm:10: DC_TYPE: a duty cycle is not flown"),
        (changed("MAN_ID", "MAN_ID = M1\nGRAV_ASSIST_NAME = MOON"), "r4.ocm:10: GRAV_ASSIST_NAME: a gravity assist is not flown"),
        (changed("MAN_COMPOSITION", ""), "r4.ocm:8: MAN_COMPOSITION is missing"),
        (changed("MAN_COMPOSITION", "MAN_COMPOSITION = TIME_RELATIVE, DEPLOY_ID, DEPLOY_DV_X"), "r4.ocm:12: MAN_COMPOSITION: DEPLOY_ID: a deployment is no burn"),
        (changed("MAN_COMPOSITION", "MAN_COMPOSITION = TIME_RELATIVE, DVX"), "MAN_COMPOSITION: \"DVX\" is no column; did you mean DV_X?"),
        (changed("MAN_COMPOSITION", "MAN_COMPOSITION = DV_X, DV_Y, DV_Z"), "expected TIME_ABSOLUTE or TIME_RELATIVE first"),
        (changed("MAN_COMPOSITION", "MAN_COMPOSITION = TIME_RELATIVE, ACC_X, ACC_Y, ACC_Z"), "expected DV_X, DV_Y, DV_Z or THR_X, THR_Y, THR_Z"),
        (changed("MAN_COMPOSITION", "MAN_COMPOSITION = TIME_RELATIVE, THR_X, THR_Y, THR_Z"), "a thrust needs MAN_DURA, and THR_ISP or DELTA_MASS"),
        (changed("MAN_UNITS", "MAN_UNITS = [s, kg, m/s, m/s, m/s]"), "r4.ocm:13: MAN_UNITS: DV_X: expected km/s, got \"m/s\""),
        (changed("MAN_UNITS", "MAN_UNITS = [s, kg]"), "r4.ocm:13: MAN_UNITS: expected 5 units, got 2"),
        (changed("2031-04-12T07", ""), "r4.ocm:8: MAN_START: expected a row for each manoeuvre, got none"),
        (changed("2031-04-12T07", "2031-04-12T07:00:00 60.0 1.0"), "r4.ocm:14: expected 6 values as in MAN_COMPOSITION, got 3"),
        (changed("2031-04-12T07", "3600.0 60.0 -2.5 0 0.1 0"), "r4.ocm:14: TIME_ABSOLUTE: got \"3600.0\", expected a date"),
        (changed("2031-04-12T07", "2031-04-12T07:00:00 -1 -2.5 0 0.1 0"), "r4.ocm:14: MAN_DURA: expected 0 s or more"),
        (changed("2031-04-12T07", "2031-04-12T07:00:00 1 2.5 0 0.1 0"), "r4.ocm:14: DELTA_MASS: expected 0 kg or less: mass is lost"),
        (changed("2031-04-12T07", "2031-04-12T07:00:00 1 -2.5 0 x 0"), "r4.ocm:14: DV_Y: expected a number, got \"x\""),
        (changed("2031-04-12T07", "2031-04-12T07:00:00 1 -2.5 0 1e99 0"), "r4.ocm:14: DV_Y: got \"1e99\", which is too large"),
        (changed("2031-04-12T07", "2031-04-12T07:00:00 0 0 1 0 OFF 300", THRUST), "MAN_DURA: expected more than 0 s for a thrust"),
        (changed("2031-04-12T07", "2031-04-12T07:00:00 9 0 1 0 OFF 0", THRUST), "THR_ISP: expected more than 0 s"),
        (changed("2031-04-12T07", "2031-04-12T07:00:00 9 0 1 0 ON 300\n2031-04-12T07:00:09 9 1 0 0 OFF 300", THRUST), "r4.ocm:13: THR_INTERP: a thrust that turns or changes"),
        (G18.replace("km,km,km,km/s,km/s,km/s,", "m,m,m,m/s,m/s,m/s,"), "r4.ocm:20: TRAJ_UNITS: expected [km, km, km, km/s, km/s, km/s], got"),
        (changed("0.0 2854.5", "0.0 2854.5", G18), "r4.ocm:21: expected a time and 9 numbers, got 2 values"),
        (changed("CENTER_NAME", "", G18), "r4.ocm:12: CENTER_NAME is missing; write CENTER_NAME = EARTH"),
        (changed("WET_MASS", "WET_MASS = 0 [kg]", G18), "WET_MASS: expected more than 0 kg"),
    ],
)  # fmt: skip
def test_faults(text: str, fault: str) -> None:
    """Each mistake is told with its line, and says what to write."""
    assert any(fault in found for found in faults(text)), faults(text)
    assert len(faults(text)) <= 3  # a section without its start is taken for the header


def test_what_may_stand_there_besides() -> None:
    """Comments, blank lines, CRLF and sections that are not used change nothing."""
    text = G18.replace("\n", "\r\n\r\nCOMMENT X = 7\r\n")
    assert read(text).manoeuvres[0].duration_s == 200.0
