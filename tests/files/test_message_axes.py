"""Axes of messages: turned into the true equator and equinox of the case's epoch."""

from __future__ import annotations

import numpy as np
import pytest

from simcheck.files.epochs import read_date
from simcheck.files.message_axes import into_case_axes, local_axes, own_frame
from tests.cases_for_tests import EARTH, MARS, MOON, orbit
from tests.helpers import assert_metres, assert_metres_per_second

# One state of 2004-04-06 07:51:28.386009 UTC in all the Earth's frames: Vallado 2013, example 3-15,
# and Vallado et al. 2006 for TEME; from memory. They use IAU 1976/1980 with the measured
# corrections of the day, which agree with IAU 2006/2000A to 1 mas or so, 0.05 m here, except for
# the origin of right ascension: 2 m covers that.
_VALLADO = "Vallado 2013, example 3-15, and Vallado et al. 2006, from memory"
DATE = read_date("2004-04-06T07:51:28.386009", "UTC")
FRAMES = {
    "GCRF": (5102.5089579, 6123.0114007, 6378.1369282),
    "TEME": (5094.18016210, 6127.64465950, 6380.34453270),
    "MOD": (5094.0283745, 6127.8708164, 6380.2485164),
    "TOD": (5094.5147804, 6127.3664612, 6380.3445328),
}


@pytest.mark.reference(_VALLADO)
@pytest.mark.parametrize("frame", FRAMES)
def test_one_place_in_every_frame(frame: str) -> None:
    """The published coordinates in each frame are one place in the case's axes."""
    got = into_case_axes(frame, EARTH, DATE, DATE) @ np.array(FRAMES[frame])
    assert_metres(1e3 * got, 1e3 * np.array(FRAMES["TOD"]), within=2.0)


def test_true_of_date_is_left_as_it_is() -> None:
    """TOD at the case's epoch are the case's axes."""
    assert np.allclose(into_case_axes("TOD", EARTH, DATE, DATE), np.eye(3), atol=1e-15)


@pytest.mark.reference("IAU 2006: precession in longitude 5028.796 arcsec a century, from memory")
def test_later_dates_are_carried_to_the_epoch() -> None:
    """TOD ten years later is off by the precession, of which 0.14 deg a quarter century is tilt."""
    later = read_date("2014-04-06T07:51:28.386009", "UTC")
    turn = into_case_axes("TOD", EARTH, later, DATE)
    angle = np.degrees(np.arccos((np.trace(turn) - 1.0) / 2.0)) * 3600.0
    assert angle == pytest.approx(502.88, abs=40.0)  # nutation of the two dates: 2 x 17 arcsec
    assert_metres(turn.T @ turn, np.eye(3), within=1e-14)


def test_names_of_one_frame() -> None:
    """J2000 and EME2000 are one; they differ from GCRF by 23 mas of frame bias."""
    one, other = (into_case_axes(name, EARTH, DATE, DATE) for name in ("J2000", "EME2000"))
    assert (one == other).all()
    bias = np.abs(one - into_case_axes("GCRF", EARTH, DATE, DATE)).max()
    assert 1e-8 < bias < 2e-7


@pytest.mark.parametrize(
    ("frame", "body"), [("INERTIAL", MOON), ("MCI", MARS), ("inertial", EARTH)]
)
def test_frames_of_the_pole(frame: str, body: object) -> None:
    """A frame along the body's pole is the case's own."""
    assert (into_case_axes(frame, body, DATE, DATE) == np.eye(3)).all()  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("frame", "body", "reason"),
    [
        ("ITRF2000", EARTH, "turns with the body.*send the state in EME2000, GCRF"),
        ("FIXED_CB", MARS, "turns with the body.*send the state in MCI or INERTIAL"),
        ("EME2000", MARS, "not the pole of Mars.*write INERTIAL"),
        ("TEME", MOON, "not the pole of Moon"),
        ("MCI", EARTH, "not among the frames that are read: EME2000"),
        ("RSW", EARTH, "not among the frames"),
        ("XYZ", MOON, "not among the frames that are read: INERTIAL$"),
    ],
)
def test_frames_that_are_refused(frame: str, body: object, reason: str) -> None:
    """A frame that would be silently wrong is refused with the reason and a way out."""
    with pytest.raises(ValueError, match=reason):
        into_case_axes(frame, body, DATE, DATE)  # type: ignore[arg-type]


def test_local_axes() -> None:
    """Along the radius and the speed lie the first axes of RSW and TNW."""
    position, velocity = orbit(EARTH, 7000.0, 9000.0, 30.0, 40.0, 50.0, 60.0)
    for frame, vector, check in (
        ("RTN", position, assert_metres),
        ("RSW", position, assert_metres),
        ("TNW", velocity, assert_metres_per_second),
    ):
        turn = local_axes(frame, position, velocity)
        assert turn is not None
        check(turn @ np.array([np.linalg.norm(vector), 0.0, 0.0]), vector, 1e-7)
    assert local_axes("RSW_ROTATING", position, velocity) is None


def test_the_case_s_own_axes_have_a_name() -> None:
    """What is written under that name is read as it stands, to the last digit."""
    for body, name in ((EARTH, "TOD"), (MARS, "INERTIAL"), (MOON, "INERTIAL")):
        assert own_frame(body) == name
        assert (into_case_axes(name, body, DATE, DATE) == np.eye(3)).all()
