"""The sky in a case file: what it becomes, and every fault with its message."""

from __future__ import annotations

import dataclasses
import math
import re
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from simcheck.errors import InputError
from simcheck.files.case_text import as_toml
from simcheck.files.epochs import DAY_S, read_date
from simcheck.files.orientation import orientation
from simcheck.kernels.chebyshev import positions
from simcheck.kernels.vectors import norm
from simcheck.records.case import Case
from simcheck.records.sky import AU_M, SUN_PRESSURE_N_M2
from tests.cases_for_tests import load, toml
from tests.files.messages import TLE, TLE_TDB
from tests.helpers import assert_relative

DATE = "2031-04-12T06:00:00"
OWN = {"name": "Thalassa", "gm": "42000 km3/s2", "radius": "3400 km"}  # invented
SUNLIGHT = '[sunlight]\narea_to_mass = "0.02 m2/kg"\nreflectivity = 1.3\n'
THIRD = """[[third_body]]
name = "Helios"
gm = "1.327e11 km3/s2"
semi_major_axis = "2.28e8 km"
"""
LIGHT = THIRD + 'irradiance = "590 W/m2"\n'


def text(
    forces: str = "[]", more: str = "", *, body: dict[str, Any] | None = None, epoch: str = DATE
) -> str:
    """A case about Mars, or another body, with an epoch unless it is empty."""
    head = {"case": {"epoch": epoch}} if epoch else {}
    made = toml({**head, "body": body or {}})
    return made.replace("forces = []", f"forces = {forces}") + more


def faults(written: str, folder: Path) -> tuple[str, ...]:
    """What loading it raises, one line a fault."""
    with pytest.raises(InputError) as caught:
        load(written, folder)
    return caught.value.faults


def distance(case: Case, index: int, time: float) -> float:
    """From the central body to one that pulls, m."""
    assert case.sky is not None
    track = case.sky.pulling[index]
    return float(norm(positions(track.start_s, track.step_s, track.coefficients_m, time)))


# ---------------------------------------------------------------- what a file becomes


def test_a_built_in_body_sees_the_others(tmp_path: Path) -> None:
    """The forces alone bring them; the push of sunlight has its numbers beside it."""
    forces = '["third-bodies", "sunlight-pressure"]'
    case = load(text(forces, SUNLIGHT, body={"name": "Moon"}), tmp_path)
    assert case.sky is not None
    assert [track.name for track in case.sky.pulling] == ["Earth", "Sun"]
    assert case.sky.sun is case.sky.pulling[1]
    light = case.sky.sunlight
    assert light is not None
    assert (light.area_to_mass_m2_kg, light.reflectivity) == (0.02, 1.3)
    assert (light.pressure_n_m2, light.distance_m) == (SUN_PRESSURE_N_M2, AU_M)
    assert 356e6 < distance(case, 0, 0.0) < 407e6
    assert 0.98 * AU_M < distance(case, 1, 0.0) < 1.02 * AU_M


def test_only_what_the_forces_ask_for(tmp_path: Path) -> None:
    """No sky without them; sunlight without a pull; a pull without sunlight."""
    assert load(text(), tmp_path).sky is None
    pushed = load(text('["sunlight-pressure"]', SUNLIGHT), tmp_path).sky
    assert pushed is not None
    assert pushed.pulling == ()
    assert pushed.sun is not None
    pulled = load(text('["third-bodies"]'), tmp_path).sky
    assert pulled is not None
    assert pulled.sunlight is None
    assert [track.name for track in pulled.pulling] == ["Sun"]


@pytest.mark.parametrize(
    ("limits", "days"),
    [({}, 3 * 365.25), ({"limits": {"duration": "15 d"}}, 15 + 365.25)],
)
def test_how_long_the_sky_is_known(limits: dict[str, Any], days: float, tmp_path: Path) -> None:
    """A year beyond the limit on the duration, three years where the case is silent."""
    made = toml({"case": {"epoch": DATE}, **limits})
    case = load(made.replace("forces = []", 'forces = ["third-bodies"]'), tmp_path)
    assert case.sky is not None
    (sun,) = case.sky.pulling
    assert sun.start_s <= -10.0 * DAY_S
    assert days * DAY_S <= sun.end_s < days * DAY_S + sun.step_s


def test_the_axes_of_a_built_in_body(tmp_path: Path) -> None:
    """With an epoch they are said and the prime meridian is known; a file may give its own."""
    found = orientation("Mars", read_date(DATE))
    assert found is not None
    case = load(text(), tmp_path)
    assert case.body.prime_meridian_rad == found.prime_meridian_rad
    assert case.body.axes == found.axes
    assert case.body.sources["prime_meridian"] == found.source
    own = load(text(body={"prime_meridian": "30 deg"}), tmp_path).body
    assert own.prime_meridian_rad == pytest.approx(math.radians(30.0))
    assert own.sources["prime_meridian"] == "case file"
    none = load(text(epoch=""), tmp_path).body
    assert (none.prime_meridian_rad, none.axes) == (None, "")
    assert load(text(epoch="2150-01-01T00:00:00"), tmp_path).body.axes == ""


def test_an_invented_world(tmp_path: Path) -> None:
    """Up to three bodies on orbits of their own; the one with light is the Sun."""
    moon = """[[third_body]]
name = "Despoina"
gm = "900 km3/s2"
semi_major_axis = "200000 km"
eccentricity = 0.1
inclination = "20 deg"
raan = "10 deg"
argp = "30 deg"
true_anomaly = "0 deg"
period = "25 d"
"""
    forces = '["third-bodies", "sunlight-pressure"]'
    case = load(text(forces, SUNLIGHT + LIGHT + moon, body=OWN, epoch=""), tmp_path)
    assert case.sky is not None
    assert [track.name for track in case.sky.pulling] == ["Helios", "Despoina"]
    assert case.sky.sun is case.sky.pulling[0]
    assert_relative(distance(case, 1, 0.0), 180e6, within=1e-12)  # at the periapsis
    assert_relative(distance(case, 1, 25.0 * DAY_S), 180e6, within=1e-9)  # and a period later
    assert_relative(distance(case, 1, 12.5 * DAY_S), 220e6, within=1e-9)
    light = case.sky.sunlight
    assert light is not None
    assert_relative(light.pressure_n_m2, 590.0 / 299792458.0, within=1e-15)
    assert light.distance_m == 2.28e11
    helios = case.sky.own[0]
    gm = 1.327e20 + 4.2e13
    assert_relative(helios.period_s, 2 * math.pi * math.sqrt(2.28e11**3 / gm), within=1e-12)


def test_bodies_of_a_file_replace_the_built_in_ones(tmp_path: Path) -> None:
    """About Mars with an epoch too: one third body, and the Sun is gone."""
    case = load(text('["third-bodies"]', THIRD), tmp_path)
    assert case.sky is not None
    assert [track.name for track in case.sky.pulling] == ["Helios"]
    assert case.sky.sun is None


def test_a_light_that_no_force_feels(tmp_path: Path) -> None:
    """It is known all the same, for what asks where the Sun is."""
    sky = load(text("[]", LIGHT, body=OWN, epoch=""), tmp_path).sky
    assert sky is not None
    assert sky.pulling == ()
    assert sky.sun is not None
    assert sky.sun.name == "Helios"


def test_written_and_read_it_is_the_same(tmp_path: Path) -> None:
    """Both tables and the prime meridian come back number for number."""
    body = OWN | {"rotation_period": "9.7 h", "prime_meridian": "0.3 rad"}
    forces = '["third-bodies", "sunlight-pressure"]'
    third = THIRD + 'eccentricity = 0.123456789\nraan = "1 rad"\nirradiance = "333.3 W/m2"\n'
    case = load(text(forces, SUNLIGHT + third, body=body, epoch=""), tmp_path)
    again = load(as_toml(case), tmp_path)
    assert case.sky is not None
    assert again.sky is not None
    assert again.body.prime_meridian_rad == 0.3
    assert dataclasses.astuple(again.sky.own[0]) == dataclasses.astuple(case.sky.own[0])
    first, second = case.sky.pulling[0], again.sky.pulling[0]
    assert np.array_equal(first.coefficients_m, second.coefficients_m)
    assert case.sky.sunlight is not None
    assert again.sky.sunlight is not None
    assert dataclasses.astuple(case.sky.sunlight) == dataclasses.astuple(again.sky.sunlight)


def test_an_epoch_from_a_message(tmp_path: Path) -> None:
    """Of a two-line element set, which is the case's epoch where the file gives none."""
    (tmp_path / "r.tle").write_text(TLE)
    made = text('["third-bodies"]', body={"name": "Earth"}, epoch="")
    made = re.sub(r"(?s)\[craft\.orbit\].*?(?=\[engine\])", "", made)
    case = load(made.replace("[craft]\n", '[craft]\ntle = "r.tle"\n'), tmp_path)
    assert case.epoch is not None
    assert case.epoch.startswith(TLE_TDB)
    assert case.sky is not None
    assert [track.name for track in case.sky.pulling] == ["Moon", "Sun"]


# ---------------------------------------------------------------- faults

BOTH = '["third-bodies", "sunlight-pressure"]'
PULL, PUSH = '["third-bodies"]', '["sunlight-pressure"]'


@pytest.mark.parametrize(
    ("written", "message"),
    [
        (text(PULL, epoch=""), '[case]: epoch is missing: "third-bodies" takes the places'),
        (text(PUSH, SUNLIGHT, epoch=""), 'epoch is missing: "sunlight-pressure" takes the places'),
        (
            text(PULL, epoch="1899-01-01T00:00:00"),
            "about Mars is known from 1900 to 2100 only",
        ),
        (text(PULL, epoch="2100-01-01T00:00:00"), "[case] epoch: where the other bodies are about"),
        (text(PULL, body=OWN, epoch=""), '"third-bodies" needs other bodies, which a body of your'),
        ("third_body = []\n" + text(PULL, body=OWN), '"third-bodies" needs other bodies'),
        (text(PULL, body={"name": "Ceres"}), '"third-bodies" about Ceres: its own orbit is not'),
        (text(PUSH, SUNLIGHT, body=OWN), 'and irradiance = "1361 W/m2"'),
        (text(PUSH), "[sunlight]: this table is missing; write [sunlight] with area_to_mass ="),
        (
            text(PULL, SUNLIGHT),
            '[sunlight]: has no effect: "sunlight-pressure" is not',
        ),
        (text("[]", THIRD), '[[third_body]] #1: has no effect: "third-bodies" is not among forces'),
        (
            text(BOTH, SUNLIGHT + THIRD),
            '"sunlight-pressure" needs a light source; write',
        ),
        (text(PUSH, SUNLIGHT.replace("1.3", "0.9")), "reflectivity: expected at least 1"),
        (text(PUSH, SUNLIGHT.replace("1.3", "2.1")), "reflectivity: expected at least 1 and less"),
        (text(PUSH, SUNLIGHT.replace("0.02 m2/kg", "0.02")), 'write area_to_mass = "0.02 m2/kg"'),
        (text(PUSH, SUNLIGHT.replace("0.02 m2/kg", "0 m2/kg")), "expected more than 0 m2/kg"),
        (text(PULL, THIRD.replace('name = "Helios"\n', "")), "name is missing"),
        (text(PULL, THIRD.replace("Helios", "mars")), "mars is the name of another body"),
        (text(PULL, THIRD + THIRD), "[[third_body]] #2 name: Helios is the name of another body"),
        (text(PULL, THIRD.replace("2.28e8 km", "3000 km")), "expected an orbit outside Mars"),
        (text(PULL, THIRD + "eccentricity = 0.9\n"), "expected at least 0 and less than 0.9"),
        (text(PULL, THIRD + 'period = "1 h"\n'), "period: expected a period of at least 6.57 h"),
        (
            text(PULL, THIRD + 'inclination = "200 deg"\n'),
            "expected at least 0 deg and at most",
        ),
        (text(PULL, THIRD + 'irradiance = "5 W"\n'), 'got "5 W", which is a power'),
        (text(PULL, THIRD + 'color = "red"\n'), "[[third_body]] #1 color: unknown key"),
        (text(body=OWN | {"prime_meridian": "1 deg"}), "[body] prime_meridian: has no effect: how"),
    ],
)
def test_faults(written: str, message: str, tmp_path: Path) -> None:
    """Each is one line that names its place and says what to write."""
    (fault,) = faults(written, tmp_path)
    assert message in fault
    assert "case.toml" in fault or str(tmp_path) in fault


def test_a_fourth_body_and_a_second_light(tmp_path: Path) -> None:
    """Both are told, with every other fault of the file."""
    four = "".join(LIGHT.replace("Helios", name) for name in "ABCD")
    found = faults(text(PULL, four), tmp_path)
    assert len([fault for fault in found if "expected one light source" in fault]) == 3
    assert len([fault for fault in found if "expected at most 3 third bodies" in fault]) == 1


def test_a_wrong_epoch_is_told_once(tmp_path: Path) -> None:
    """It does not count as a missing one."""
    (fault,) = faults(text(PULL, epoch="yesterday"), tmp_path)
    assert "expected a date and time in TDB" in fault
