"""A case as the text of its file: read back it is the same case, number for number."""

from __future__ import annotations

import dataclasses
import math
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

import simcheck
from simcheck.files.case_search import find_cases
from simcheck.files.case_text import as_toml
from simcheck.files.records_json import write_record
from simcheck.files.settings_text import quantity
from simcheck.files.units import parse
from simcheck.kernels.elements import state_from_classical
from simcheck.records.case import Case, DispersionAim, Engine, Errors, Limits, Member, Operations
from tests.cases_for_tests import CERES, MARS, START, case, load, ring, toml

ROOT = Path(__file__).parents[2]
SHIPPED = sorted(find_cases([ROOT / "cases"]))
FILES = [*SHIPPED, ROOT / "tests/files/every_key.toml"]


def numbers(made: Case, *, spin: bool) -> dict[str, Any]:
    """All of a case but where it was read and where its constants are from."""
    record = write_record(dataclasses.replace(made, path="", inputs_sha256=""))
    record["body"].pop("sources")
    if not spin:
        record["body"].pop("rotation_period_s")
    return record


def assert_comes_back(made: Case, folder: Path) -> str:
    """Written and read it is the same; the text is returned.

    But for the rotation of a body named like a built-in one, which a file cannot leave out.
    """
    text, spin = as_toml(made), made.body.rotation_period_s is not None
    assert numbers(load(text, folder), spin=spin) == numbers(made, spin=spin)
    return text


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.stem)
def test_files_come_back(path: Path, tmp_path: Path) -> None:
    """Every shipped case, and the one with every key; sources of constants too."""
    made = simcheck.load_case(path)
    assert_comes_back(made, tmp_path)
    assert load(as_toml(made), tmp_path).body.sources == made.body.sources


def test_it_reads_as_it_was_written(tmp_path: Path) -> None:
    """Round numbers come back in the units that people use, defaults stay out."""
    text = as_toml(load(toml(), tmp_path))
    assert text == (
        '[case]\ntitle = "invented for a test"\n\n'
        '[body]\nname = "Mars"\nforces = []\n\n'
        '[ring]\nperiod = "12 h"\ninclination = "35 deg"\nraan = "60 deg"\nslots = 1\n'
        'argument_of_latitude = "0 deg"\n\n'
        '[craft]\nname = "R"\nslot = 0\ndry_mass = "310 kg"\npropellant = "300 kg"\n\n'
        '[craft.orbit]\nperiapsis_altitude = "450 km"\napoapsis_altitude = "9800 km"\n'
        'inclination = "28 deg"\nraan = "40 deg"\nargp = "75 deg"\ntrue_anomaly = "200 deg"\n\n'
        '[engine]\nthrust = "400 N"\nisp = "318 s"\n\n'
        '[tolerance]\nperiod = "5 s"\neccentricity = 0.002\nplane = "0.1 deg"\n'
    )


def test_a_state_that_is_no_round_orbit(tmp_path: Path) -> None:
    """A state moved by a hair is written as vectors, exactly; a member's too."""
    moved = (np.nextafter(START[0], 0.0), START[1])
    member = Member(name="M", slot=None, position_m=START[0] * 1.1, velocity_m_s=START[1])
    made = case(start=moved, forces=("j2",), members=(member,))
    text = assert_comes_back(made, tmp_path)
    assert "[craft.state]" in text
    assert "state = { position = [" in text


def test_a_member_on_a_round_orbit(tmp_path: Path) -> None:
    """It has its elements in a line."""
    low, e = 500e3 + MARS.radius_m, 0.0
    r, v = state_from_classical(low * (1 + e), e, 0.5, 0.0, 0.0, 0.0, MARS.gm_m3_s2)
    flat = state_from_classical(low, 0.0, 0.0, 0.0, 0.0, math.radians(30), MARS.gm_m3_s2)
    for state in ((r, v), flat):
        member = Member(name="M", slot=None, position_m=state[0], velocity_m_s=state[1])
        text = assert_comes_back(case(members=(member,)), tmp_path)
    assert 'orbit = { periapsis_altitude = "500 km", apoapsis_altitude = "500 km",' in text


@pytest.mark.parametrize(
    "body",
    [
        CERES,
        dataclasses.replace(CERES, radius_m=482e3, j2=0.0),
        dataclasses.replace(MARS, name="A world of our own", j3=-1e-5, rotation_period_s=-9e4),
        dataclasses.replace(simcheck.load_case(FILES[-1]).body, radius_m=6.4e6, axes=""),
    ],
    ids=["numbers of its own", "radius of its own", "no built-in", "built-in but for its radius"],
)
def test_bodies(body: Any, tmp_path: Path) -> None:
    """A built-in with other constants, a body that is none, zonals of another radius."""
    made = case(body, (START[0] / 3.0, np.array([0.0, 1.0, 0.0])), ring(radius_km=9e3))
    speed = 0.8 * math.sqrt(body.gm_m3_s2 / 12e6)
    start = dataclasses.replace(
        made.craft,
        position_m=np.array([12e6, 0.0, 0.0]),
        velocity_m_s=np.array([0.0, speed, 0.3 * speed]),
    )
    assert_comes_back(dataclasses.replace(made, craft=start), tmp_path)


def test_titles_and_names_of_any_kind(tmp_path: Path) -> None:
    """Quotes, backslashes and letters of any script are escaped as TOML wants."""
    made = dataclasses.replace(case(), title='A "fourth" relay \\ Δv für 中')
    assert_comes_back(made, tmp_path)


FLOATS = st.floats(1e-20, 1e20)


@given(FLOATS, st.sampled_from([("time", ("h", "d")), ("angle", ("deg",)), ("length", ("km",))]))
def test_any_number_comes_back(value: float, kind: tuple[str, tuple[str, ...]]) -> None:
    """Whatever the float, its text gives the same one back."""
    assert parse(quantity(value, *kind), kind[0]) == value


@given(st.floats(1e-9, 0.9))
def test_shares_come_back(value: float) -> None:
    """A share of no round percentage may be off in its last bit."""
    assert parse(quantity(value, "share", ("%",)), "share") == pytest.approx(value, rel=3e-16)


@given(st.integers(1, 10**5), st.integers(0, 3), st.sampled_from(["h", "min", "d"]))
def test_round_numbers_stay_round(count: int, decimals: int, unit: str) -> None:
    """What was written with few digits is written with no more."""
    text = f"{count / 10**decimals:g} {unit}"
    assert len(quantity(parse(text, "time"), "time", ("h", "min", "d", "s"))) <= len(text)


@given(st.lists(FLOATS.map(lambda x: min(x, 1e9)), min_size=6, max_size=6))
def test_settings_of_any_size(sizes: list[float]) -> None:
    """Engine, limits, operations and errors with floats of no round value at all."""
    a, b, c, d, e, f = sizes
    text = as_toml(
        dataclasses.replace(
            case(),
            engine=Engine(name="engine", thrust_n=a, isp_s=b, min_burn_s=min(c, d), max_burn_s=d),
            operations=Operations(settle_s=e, settle_revolutions=None),
            limits=Limits(duration_s=f, dv_m_s=a, separation_m=b),
            errors=Errors(pointing_proportional_rad=c, initial_position_m=d),
            dispersion=DispersionAim(margin_m_s=e),
        )
    )
    lines = dict(line.split(" = ") for line in text.splitlines() if " = " in line)

    def read(key: str, kind: str) -> float:
        return parse(lines[key].strip('"'), kind)

    assert (read("thrust", "force"), read("isp", "time")) == (a, b)
    assert (read("max_burn", "time"), read("settle", "time")) == (d, e)
    assert (read("duration", "time"), read("dv", "speed"), read("separation", "length")) == (
        f,
        a,
        b,
    )
    assert read("pointing_proportional", "angle") == c
    assert read("initial_position", "length") == d
    assert read("margin", "speed") == e
