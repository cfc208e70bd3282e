"""The [network] and [[site]] tables: values in SI, faults with their sentence, the way back."""

# ruff: noqa: E501 - the table of faults reads best with a fault a line
from __future__ import annotations

import dataclasses
import math
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from simcheck.errors import InputError
from simcheck.files.case_text import as_toml
from simcheck.files.records_json import write_record
from simcheck.records.network import LinkBudget, NetworkAim, Site
from tests.cases_for_tests import case, load, toml

NETWORK = """[network]
grazing_height = "100 km"
max_range = "40000 km"
min_elevation = "10 deg"
[network.link]
frequency = "2.2 GHz"
power = "5 W"
transmit_gain = "6 dB"
receive_gain = "4 dB"
losses = "1 dB"
sensitivity = "-130 dBm"
margin = "3 dB"
[[site]]
name = "Base"
latitude = "18.4 deg"
longitude = "77.5 deg"
altitude = "1.5 km"
min_elevation = "15 deg"
[[site]]
name = "Pole"
latitude = "-90 deg"
longitude = "-180 deg"
"""


def read(text: str, folder: Path) -> NetworkAim:
    return load(toml() + text, folder).network


def fault_of(text: str, folder: Path) -> tuple[str, ...]:
    with pytest.raises(InputError) as caught:
        read(text, folder)
    return tuple(fault.partition(": ")[2] for fault in caught.value.faults)


def test_every_value_arrives_in_si(tmp_path: Path) -> None:
    """Metres, radians, hertz, watts and decibels; a site has the network's elevation for its own."""
    aim = read(NETWORK, tmp_path)
    assert (aim.grazing_height_m, aim.max_range_m) == (100e3, 40000e3)
    assert aim.min_elevation_rad == pytest.approx(math.radians(10), rel=1e-15)
    link = aim.link
    assert link is not None
    assert (link.frequency_hz, link.power_w) == (2.2e9, 5.0)
    assert link.sensitivity_w == pytest.approx(1e-16, rel=1e-14)
    assert (link.transmit_gain_db, link.receive_gain_db) == (6.0, 4.0)
    assert (link.losses_db, link.margin_db) == (1.0, 3.0)
    base, pole = aim.sites
    assert (base.name, base.altitude_m) == ("Base", 1500.0)
    assert base.latitude_rad == pytest.approx(math.radians(18.4), rel=1e-15)
    assert base.longitude_rad == pytest.approx(math.radians(77.5), rel=1e-15)
    assert base.min_elevation_rad == pytest.approx(math.radians(15), rel=1e-15)
    assert (pole.altitude_m, pole.min_elevation_rad) == (0.0, aim.min_elevation_rad)


def test_a_silent_case_asks_for_sight_alone(tmp_path: Path) -> None:
    """No range, no budget, no sites, the horizon and the surface itself."""
    silent = write_record(NetworkAim())
    assert write_record(read("", tmp_path)) == silent
    assert write_record(read("[network]\n", tmp_path)) == silent


def test_sites_need_no_network(tmp_path: Path) -> None:
    """Their elevation is then the horizon."""
    aim = read('[[site]]\nname = "S"\nlatitude = "0 deg"\nlongitude = "0 deg"\n', tmp_path)
    assert aim.sites[0].min_elevation_rad == 0.0


@pytest.mark.parametrize(
    ("text", "watts"),
    [
        ("5 W", 5.0),
        ("200 mW", 0.2),
        ("1e-14 W", 1e-14),
        ("30 dBm", 1.0),
        ("-110 dBm", 1e-14),
        ("-110 dB(mW)", 1e-14),
        ("-110dBm", 1e-14),
        ("-140 dBW", 1e-14),
        ("-140 dB(W)", 1e-14),
        ("+7 dBW", 5.011872336272722),
    ],
)
def test_powers_and_levels(text: str, watts: float, tmp_path: Path) -> None:
    """A power in watts, or a level over a milliwatt or a watt."""
    link = read(NETWORK.replace('"-130 dBm"', f'"{text}"'), tmp_path).link
    assert link is not None
    assert link.sensitivity_w == pytest.approx(watts, rel=1e-13)


@pytest.mark.parametrize(
    ("old", "new", "fault"),
    [
        ('"100 km"', "100", '[network] grazing_height: expected a length with its unit, got 100; write grazing_height = "100 km"'),
        ('"100 km"', '"-1 km"', '[network] grazing_height: expected at least 0 km, got "-1 km"; write grazing_height = "100 km"'),
        ('"40000 km"', '"0 km"', '[network] max_range: expected more than 0 km, got "0 km"; write max_range = "40000 km"'),
        ('"10 deg"', '"90 deg"', '[network] min_elevation: expected at least 0 deg and less than 90 deg, got "90 deg"; write min_elevation = "10 deg"'),
        ('frequency = "2.2 GHz"\n', "", '[network.link]: frequency is missing; write frequency = "2.2 GHz"'),
        ('"2.2 GHz"', '"2.2 s"', '[network.link] frequency: expected a frequency with its unit, got "2.2 s", which is a time; write frequency = "2.2 GHz"'),
        ('power = "5 W"\n', "", '[network.link]: power is missing; write power = "5 W"'),
        ('"5 W"', '"5"', '[network.link] power: expected a power in W, dBm or dBW with its unit, got "5", which has no unit; write power = "5 W"'),
        ('"5 W"', '"5 dB"', '[network.link] power: expected a power in W, dBm or dBW with its unit, got "5 dB", which is a number of decibels; write power = "5 W"'),
        ('"5 W"', '"0 W"', '[network.link] power: expected more than 0 W, got "0 W"; write power = "5 W"'),
        ('"-130 dBm"', '"-400 dBm"', '[network.link] sensitivity: expected a power in W, dBm or dBW from -240 to 240 dBW, got "-400 dBm"; write sensitivity = "-130 dBm"'),
        ('"-130 dBm"', '"-130 dB(m)"', '[network.link] sensitivity: expected a power in W, dBm or dBW with its unit, got "-130 dB(m)", whose unit "dB(m)" is unknown; write sensitivity = "-130 dBm"'),
        ('"6 dB"', '"6 dBm"', '[network.link] transmit_gain: expected a number of decibels with its unit, got "6 dBm", whose unit "dBm" is unknown; write transmit_gain = "6 dB"'),
        ('"6 dB"', '"201 dB"', '[network.link] transmit_gain: expected at least -200 dB and at most 200 dB, got "201 dB"; write transmit_gain = "6 dB"'),
        ('"1 dB"', '"-1 dB"', '[network.link] losses: expected at least 0 dB and at most 200 dB, got "-1 dB"; write losses = "1 dB"'),
        ("margin", "margins", "[network.link] margins: unknown key; did you mean margin?"),
        ("max_range", "maximum_range", "[network] maximum_range: unknown key; did you mean max_range?"),
        ('"Pole"', '"Base"', '[[site]] #2 name: "Base" is taken; give each site a name of its own'),
        ('"-90 deg"', '"-91 deg"', '[[site]] #2 latitude: expected at least -90 deg and at most 90 deg, got "-91 deg"; write latitude = "18.4 deg"'),
        ('longitude = "-180 deg"\n', "", '[[site]] #2: longitude is missing; write longitude = "77.5 deg"'),
        ('"1.5 km"', '"-4000 km"', '[[site]] #1 altitude: expected more than -3396.19 km, got "-4000 km"; write altitude = "0 km"'),
    ],
)  # fmt: skip
def test_a_fault_and_its_sentence(old: str, new: str, fault: str, tmp_path: Path) -> None:
    """Each fault names its table and key and shows what to write."""
    assert NETWORK.count(old) >= 1
    assert fault_of(NETWORK.replace(old, new, 1), tmp_path) == (fault,)


def test_all_faults_at_once_with_their_lines(tmp_path: Path) -> None:
    """Three faults in three tables."""
    text = NETWORK.replace('"100 km"', "1").replace('"5 W"', "5").replace('"1.5 km"', "1.5")
    with pytest.raises(InputError) as caught:
        read(text, tmp_path)
    first = toml().count("\n")
    for fault, line in zip(caught.value.faults, (2, 7, 17), strict=True):
        assert f":{first + line}: " in fault


def test_one_site_in_single_brackets(tmp_path: Path) -> None:
    """A site is one of a list."""
    (fault,) = fault_of('[site]\nname = "S"\n', tmp_path)
    assert fault == "[site]: expected a list of tables, got a table; write [[site]]"


def test_sites_need_a_body_that_turns(tmp_path: Path) -> None:
    """A body of the file's own must say how it turns."""
    own = 'name = "X"\ngm = "42828.37 km3/s2"\nradius = "3396.19 km"'
    text = toml().replace('name = "Mars"', own) + NETWORK
    with pytest.raises(InputError) as caught:
        load(text, tmp_path)
    (fault,) = caught.value.faults
    assert "[[site]] #1: the surface of X turns at a rate that is not known" in fault
    assert load(text.replace(own, f'{own}\nrotation_period = "1 d"'), tmp_path).network.sites


# ------------------------------------------------------------------------------- the way back


def assert_comes_back(aim: NetworkAim, folder: Path) -> str:
    text = as_toml(dataclasses.replace(case(), network=aim))
    assert write_record(load(text, folder).network) == write_record(aim)
    return text


def test_it_reads_as_it_was_written(tmp_path: Path) -> None:
    """Round numbers come back as people write them, levels as watts, defaults stay out."""
    text = as_toml(load(toml() + NETWORK, tmp_path))
    written = text[text.index("[network]") :]
    lines = NETWORK.splitlines()
    assert [line for line in lines if line not in written.splitlines()] == [
        'sensitivity = "-130 dBm"'
    ]
    assert_comes_back(read(NETWORK, tmp_path), tmp_path)


def test_nothing_is_written_of_a_silent_network(tmp_path: Path) -> None:
    """Nor an empty table where there are only sites."""
    assert "network" not in assert_comes_back(NetworkAim(), tmp_path)
    site = Site(name="S", latitude_rad=0.1, longitude_rad=7.0)
    assert "[network]" not in assert_comes_back(NetworkAim(sites=(site,)), tmp_path)


positive = st.floats(1e-20, 1e20)
levels = st.floats(-200.0, 200.0).filter(lambda x: x == 0.0 or abs(x) > 1e-20)
sizes = st.floats(0.0, 200.0).filter(lambda x: x == 0.0 or x > 1e-20)
elevations = st.floats(0.0, 1.57).filter(lambda x: x == 0.0 or x > 1e-20)
budgets = st.builds(
    LinkBudget,
    frequency_hz=positive,
    power_w=positive,
    sensitivity_w=positive,
    transmit_gain_db=levels,
    receive_gain_db=levels,
    losses_db=sizes,
    margin_db=sizes,
)


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], max_examples=50)
@given(
    st.floats(0.0, 1e9).filter(lambda x: x == 0.0 or x > 1e-20),
    positive | st.just(math.inf),
    elevations,
    st.none() | budgets,
    elevations,
)
def test_any_numbers_come_back(
    tmp_path: Path,
    grazing: float,
    reach: float,
    elevation: float,
    link: LinkBudget | None,
    other: float,
) -> None:
    """Number for number, to the last bit."""
    sites = (
        Site(name='S "1"', latitude_rad=-other, longitude_rad=other, min_elevation_rad=elevation),
        Site(name="S2", latitude_rad=other, longitude_rad=-6.0, min_elevation_rad=other),
    )
    aim = NetworkAim(
        grazing_height_m=grazing,
        max_range_m=reach,
        min_elevation_rad=elevation,
        link=link,
        sites=sites,
    )
    assert_comes_back(aim, tmp_path)
