"""The edge that reads case files: every sentence of the format, every fault with its message.

Long because it is mostly one table: a fault of each key and the sentence that answers it.
"""

# ruff: noqa: E501 - the table of faults reads best with a fault a line
from __future__ import annotations

import hashlib
import math
import re
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from simcheck.errors import InputError
from simcheck.files.case_toml import load_case
from simcheck.records.case import Case
from tests import cases_for_tests

Load = Callable[[str], Case]
Find = Callable[[str], tuple[str, ...]]

EVERY_KEY = Path(__file__).with_name("every_key.toml").read_text(encoding="utf-8")
_LATER = (
    r"(?m)^(navigation_\w+|missed_burn|max_trims|settle|samples|success|confidence|margin"
    r"|prime_meridian) = .*\n"
)
_SKY = ', "third-bodies", "sunlight-pressure"]  #'
VALID = re.sub(_LATER, "", EVERY_KEY).replace("[dispersion]\n", "").replace("each-burn", "never")
VALID = VALID.replace(_SKY, "]  #").partition("[sunlight]")[0]

STATE = """[craft.state]
position = ["5000 km", "0 km", "0 km"]
velocity = ["0 km/s", "2.5 km/s", "1.5 km/s"]
"""
ORBIT = re.search(r"(?s)\[craft\.orbit\].*?(?=\[engine\])", VALID)
assert ORBIT is not None


def changed(key: str, line: str, text: str = VALID) -> str:
    """The text with the first line of a key replaced."""
    new, count = re.subn(rf"(?m)^{re.escape(key)} = .*$", lambda _: line, text, count=1)
    assert count == 1
    return new


def without(table: str) -> str:
    """The valid text without one table and the tables within it."""
    blocks = re.split(r"(?m)^(?=\[)", VALID)
    return "".join(block for block in blocks if not re.match(rf"\[\[?{table}[\].]", block))


def with_orbit(lines: str) -> str:
    """The valid text with other lines in [craft.orbit] or another table in its place."""
    assert ORBIT is not None
    return VALID.replace(ORBIT.group(), lines)


@pytest.fixture
def load(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Load:
    """Write a text as relay.toml and load it."""
    monkeypatch.chdir(tmp_path)

    def loader(text: str) -> Case:
        Path("relay.toml").write_text(text, encoding="utf-8")
        return load_case("relay.toml")

    return loader


@pytest.fixture
def faults(load: Load) -> Find:
    """Write a text and return the faults that loading it raises."""

    def finder(text: str) -> tuple[str, ...]:
        with pytest.raises(InputError) as caught:
            load(text)
        return caught.value.faults

    return finder


# ---------------------------------------------------------------- what a valid file becomes


def test_every_value_arrives_in_si(load: Load) -> None:
    """The whole format, as floats in SI and radians."""
    case = load(VALID)
    assert case.title == "A fourth relay for the ring"
    assert case.epoch == "2031-04-12T06:00:00"
    assert (case.body.name, case.forces) == ("Mars", ("j2",))
    assert (case.ring.size, case.ring.size_value, case.ring.slots) == ("period", 43200.0, 4)
    angles = (case.ring.inclination_rad, case.ring.raan_rad, case.ring.argument_of_latitude_rad)
    assert angles == pytest.approx(np.radians([35.0, 60.0, 10.0]), rel=1e-15)
    assert [(m.name, m.slot, m.position_m) for m in case.members] == [("R1", 0, None)]
    craft = case.craft
    assert (craft.name, craft.slot, craft.mass_kg) == ("R4", 3, 420.0)
    engine, thrusters = case.engine, case.thrusters
    assert (engine.name, engine.thrust_n, engine.isp_s) == ("engine", 400.0, 318.0)
    assert (engine.min_burn_s, engine.max_burn_s, engine.cutoff) == (0.2, 1800.0, "duration")
    assert thrusters is not None
    assert (thrusters.name, thrusters.thrust_n, thrusters.isp_s) == ("thrusters", 8.0, 220.0)
    assert (thrusters.min_burn_s, thrusters.max_burn_s) == (0.05, math.inf)
    errors = case.errors
    assert (errors.thrust_bias, errors.isp_bias) == pytest.approx((0.01, 0.003))
    assert errors.magnitude_proportional == pytest.approx(0.005)
    assert (errors.magnitude_fixed_m_s, errors.pointing_fixed_m_s) == pytest.approx((0.005, 0.003))
    assert errors.pointing_proportional_rad == pytest.approx(math.radians(0.5))
    assert (errors.ignition_time_s, errors.initial_position_m) == (0.2, 200.0)
    assert errors.initial_velocity_m_s == 0.05
    assert (case.operations.replan, case.operations.max_trims) == ("never", 0)
    tolerance = case.tolerance
    assert tolerance.phase_rad == pytest.approx(math.radians(0.5))
    assert tolerance.plane_rad == pytest.approx(math.radians(0.1))
    assert (tolerance.period_s, tolerance.eccentricity) == (5.0, 0.002)
    limits = case.limits
    assert (limits.duration_s, limits.dv_m_s) == (15 * 86400.0, 1500.0)
    assert (limits.min_altitude_m, limits.max_radius_m) == (200e3, 60000e3)
    assert limits.separation_m == 20e3
    assert case.path == "relay.toml"
    assert case.inputs_sha256 == hashlib.sha256(VALID.encode()).hexdigest()


def test_the_smallest_case(load: Load) -> None:
    """What may be left out has the defaults of the records; nothing else is assumed."""
    case = load(
        """
        [case]
        title = "A plain transfer"
        [body]
        name = "Earth"
        [ring]
        radius = "42164.17 km"
        inclination = "0 deg"
        slots = 1
        [craft]
        name = "C"
        dry_mass = "1 t"
        propellant = "800 kg"
        [craft.orbit]
        semi_major_axis = "6700 km"
        eccentricity = 0
        inclination = "0 deg"
        true_anomaly = "0 deg"
        [engine]
        thrust = "0.4 kN"
        isp = "318 s"
        [tolerance]
        period = "60 s"
        """
    )
    assert (case.epoch, case.forces, case.members, case.thrusters) == (None, (), (), None)
    assert (case.craft.slot, case.ring.raan_rad, case.ring.argument_of_latitude_rad) == (0, 0, 0)
    assert (case.engine.min_burn_s, case.engine.max_burn_s) == (0.0, math.inf)
    assert case.tolerance.phase_rad is None
    assert (case.limits.min_altitude_m, case.limits.dv_m_s) == (0.0, math.inf)
    assert case.craft.position_m == pytest.approx([6700e3, 0.0, 0.0])
    speed = math.sqrt(case.body.gm_m3_s2 / 6700e3)
    assert case.craft.velocity_m_s == pytest.approx([0.0, speed, 0.0])


@pytest.mark.parametrize(
    "size",
    [
        'periapsis_altitude = "450 km"\napoapsis_altitude = "9800 km"',
        'periapsis_radius = "3846.19 km"\napoapsis_radius = "13196.19 km"',
        'periapsis_altitude = "450 km"\napoapsis_radius = "13196.19 km"',
        'periapsis_radius = "3846.19 km"\napoapsis_altitude = "9800 km"',
        f'semi_major_axis = "8521.19 km"\neccentricity = {(13196.19 - 3846.19) / 17042.38!r}',
    ],
)
def test_ways_to_give_the_size_of_an_orbit(load: Load, size: str) -> None:
    """Altitudes, radii, a mixture of them, and axis with eccentricity mean the same state."""
    reference = load(VALID).craft
    assert ORBIT is not None
    rest = re.sub(r"(?m)^(peri|apo)apsis_\w+ = .*\n", "", ORBIT.group())
    craft = load(with_orbit(rest.replace("[craft.orbit]", "[craft.orbit]\n" + size + "\n#"))).craft
    assert craft.position_m == pytest.approx(reference.position_m, rel=1e-12)
    assert craft.velocity_m_s == pytest.approx(reference.velocity_m_s, rel=1e-12)


def test_orbit_has_the_elements_asked_for(load: Load) -> None:
    """Energy, inclination, node and radius follow from the state (two-body identities)."""
    case = load(VALID)
    r, v, gm = case.craft.position_m, case.craft.velocity_m_s, case.body.gm_m3_s2
    h = np.cross(r, v)
    a = 1.0 / (2.0 / np.linalg.norm(r) - v @ v / gm)
    assert a == pytest.approx(8521.19e3, rel=1e-12)
    assert np.degrees(np.arccos(h[2] / np.linalg.norm(h))) == pytest.approx(28.0, abs=1e-10)
    assert np.degrees(np.arctan2(h[0], -h[1])) == pytest.approx(40.0, abs=1e-10)
    e = (13196.19 - 3846.19) / (13196.19 + 3846.19)
    radius = 8521.19e3 * (1 - e**2) / (1 + e * math.cos(math.radians(200.0)))
    assert np.linalg.norm(r) == pytest.approx(radius, rel=1e-12)


def test_state_is_taken_as_it_stands(load: Load) -> None:
    """[craft.state] gives position and velocity in inertial axes."""
    craft = load(with_orbit(STATE)).craft
    assert craft.position_m.tolist() == [5000e3, 0.0, 0.0]
    assert craft.velocity_m_s.tolist() == [0.0, 2500.0, 1500.0]


def test_ring_size_in_each_form(load: Load) -> None:
    """A radius stays one, an altitude becomes one, a period stays a period."""
    ring = load(changed("period", 'radius = "12000 km"')).ring
    assert (ring.size, ring.size_value) == ("radius", 12000e3)
    ring = load(changed("period", 'altitude = "9000 km"')).ring
    assert (ring.size, ring.size_value) == ("radius", pytest.approx(12396.19e3))
    assert load(VALID).ring.size == "period"


def test_members_with_their_own_motion(load: Load) -> None:
    """A member has a slot, or an orbit, or a state."""
    orbit = re.sub(r"craft\.orbit", "ring.member.orbit", ORBIT.group())
    text = changed(
        "slot", orbit + '[[ring.member]]\nname = "R2"\n' + STATE.replace("craft", "ring.member")
    )
    case = load(text)
    assert [member.slot for member in case.members] == [None, None]
    assert case.members[0].position_m == pytest.approx(load(VALID).craft.position_m)
    assert case.members[1].velocity_m_s is not None
    assert case.members[1].velocity_m_s.tolist() == [0.0, 2500.0, 1500.0]


def test_body_by_numbers_and_with_its_own_constants(load: Load) -> None:
    """gm and radius make a body; beside a built-in name they replace its constants."""
    own = load(
        changed(
            "name", 'gm = "42828 km3/s2"\nradius = "3390 km"\nj2 = 0.002\nrotation_period = "1 d"'
        )
    ).body
    assert (own.gm_m3_s2, own.radius_m, own.j2, own.j3) == (4.2828e13, 3390e3, 0.002, 0.0)
    assert own.rotation_period_s == 86400.0
    assert own.sources == dict.fromkeys(("gm", "radius", "j2", "rotation_period"), "case file")
    mars = load(VALID).body
    other = load(changed("name", 'name = "mars"\ngm = "42828 km3/s2"\nj3 = 0.0')).body
    assert (other.name, other.gm_m3_s2, other.j2, other.j3) == ("Mars", 4.2828e13, mars.j2, 0.0)
    assert (other.sources["gm"], other.sources["j2"]) == ("case file", mars.sources["j2"])
    larger = load(changed("name", 'name = "Mars"\nradius = "3400 km"')).body
    assert larger.j2 * larger.radius_m**2 == pytest.approx(mars.j2 * mars.radius_m**2)
    assert "converted to the radius of the case file" in larger.sources["j2"]


def test_windows_text_is_the_same_case(tmp_path: Path) -> None:
    """A byte order mark and CRLF line ends change nothing, not even the line of a fault."""
    path = tmp_path / "w.toml"
    path.write_bytes(b"\xef\xbb\xbf" + VALID.replace("\n", "\r\n").encode())
    assert load_case(path).craft.slot == 3
    path.write_bytes(changed("thrust", "thrust = 1").replace("\n", "\r\n").encode())
    with pytest.raises(InputError, match=r"w\.toml:31: \[engine\] thrust"):
        load_case(path)


# ---------------------------------------------------------------- the file itself


def test_missing_file(tmp_path: Path) -> None:
    with pytest.raises(InputError, match=r"none\.toml: there is no such file"):
        load_case(tmp_path / "none.toml")


@pytest.mark.parametrize(
    ("content", "message"),
    [
        (b"", "x.toml: the file is empty; start it with [case]"),
        (b" \n\n", "x.toml: the file is empty"),
        (b"[case]\n\xff\xfe\n", "x.toml:2: expected text in UTF-8"),
        (b"\x7fELF\x02\x01\x01\x00\x00", "x.toml:1: not valid TOML"),
        (b"[case]\ntitle = \n", "x.toml:2: not valid TOML: Invalid value (column 9)"),
        (b"[case]\n[case]\n", "x.toml:2: not valid TOML: Cannot declare"),
        (b"a = " + b"[" * 100_000, "x.toml: not valid TOML: brackets nested too deeply"),
        (b"a = " + b"9" * 5000, "x.toml: not valid TOML"),
        (b"#" * 1_000_001, "x.toml: expected a case file of less than 1 MB"),
    ],
)
def test_unreadable_content(tmp_path: Path, content: bytes, message: str) -> None:
    """Whatever the bytes are, the answer is one line that names the file."""
    path = tmp_path / "x.toml"
    path.write_bytes(content)
    with pytest.raises(InputError) as caught:
        load_case(path)
    assert len(caught.value.faults) == 1
    assert message in caught.value.faults[0]


def test_directory_and_impossible_path(tmp_path: Path) -> None:
    """A directory and a name that no file can have are told, too."""
    with pytest.raises(InputError, match="expected a case file, got a directory"):
        load_case(tmp_path)
    with pytest.raises(InputError, match="cannot be read"):
        load_case("a\0b")
    with pytest.raises(InputError, match="cannot be read"):
        load_case("a" * 5000)


# ---------------------------------------------------------------- one fault, one message

FAULTS = [
    ("thrust", "thrust = 400", 31, 'expected a force with its unit, got 400; write thrust = "400 N"'),
    ("thrust", 'thrust = "400"', 31, 'got "400", which has no unit; write thrust = "400 N"'),
    ("thrust", 'thrust = "4 kg"', 31, 'got "4 kg", which is a mass; write thrust = "400 N"'),
    ("thrust", 'thrust = "9 zork"', 31, 'whose unit "zork" is unknown; write thrust = "9 N"'),
    ("thrust", 'thrust = "nan N"', 31, "which is not a finite number; write thrust"),
    ("thrust", "thrust = nan", 31, "expected a force with its unit, got nan"),
    ("thrust", "thrust = inf", 31, "expected a force with its unit, got inf"),
    ("thrust", "thrust = true", 31, "got true; write"),
    ("thrust", 'thrust = ["1 N", "2 N"]', 31, 'got ["1 N", "2 N"]; write'),
    ("thrust", 'thrust = "-400 N"', 31, 'expected more than 0 N, got "-400 N"; write'),
    ("isp", 'isp = "0 s"', 32, "expected more than 0 s"),
    ("min_burn", 'min_burn = "2 h"', 33, "is longer than max_burn, 1800 s"),
    ("max_burn", 'max_burn = "-1 s"', 34, "expected more than 0 s"),
    ("cutoff", 'cutoff = "velocty"', 35, 'write cutoff = "velocity"'),
    ("title", 'title = " "', 3, "expected a line of text"),
    ("epoch", 'epoch = "2031-04-12T06:00:00Z"', 4, "expected a date and time in TDB, without a zone"),
    ("epoch", 'epoch = "2031-02-30T06:00:00"', 4, "expected a date and time in TDB"),
    ("epoch", "epoch = 2031-04-12T06:00:00", 4, "got the unquoted date 2031-04-12T06:00:00"),
    ("name", 'name = "Marz"', 6, 'no built-in body is called "Marz"; did you mean Mars? A body of'),
    ("name", "", 5, "expected the name of a built-in body, or gm and radius"),
    ("name", 'name = "Mars"\ngm = "-1 km3/s2"', 7, "expected more than 0 km3/s2"),
    ("name", 'name = "Mars"\nj2 = "0.002"', 7, "expected a number without unit or quotes"),
    ("name", 'name = "Mars"\nrotation_period = "0 s"', 7, "expected a time other than 0"),
    ("name", 'name = "Mars"\nradius = "0 km"', 7, "expected more than 0 km"),
    ("forces", 'forces = ["J2"]', 7, 'got "J2"; write forces = ["j2"]'),
    ("forces", 'forces = ["j2", "j2"]', 7, '"j2" stands there twice'),
    ("forces", 'forces = "j2"', 7, "expected a list of some of"),
    ("forces", 'j2 = 0.0\nforces = ["j2"]', 8, "the J2 of Mars is zero or unknown; give j2"),
    ("period", 'period = "12 h"\nradius = "9000 km"', 8, "exactly one of period, radius and altitude, got period and radius"),
    ("period", "", 8, "exactly one of period, radius and altitude, got none of them"),
    ("period", 'period = "10 min"', 9, "lies below the surface of Mars, 3396.19 km"),
    ("period", 'radius = "3000 km"', 9, "the ring's radius, 3000 km, lies below the surface"),
    ("period", 'altitude = "100 km"', 9, "the ring's altitude, 100 km, is below [limits] min_altitude, 200 km"),
    ("period", 'period = "30 d"', 9, "is above [limits] max_radius, 60000 km"),
    ("inclination", 'inclination = "190 deg"', 10, "expected at least 0 deg and at most 180 deg"),
    ("inclination", 'inclination = "-1 deg"', 10, "expected at least 0 deg and at most 180 deg"),
    ("inclination", "", 8, 'inclination is missing; write inclination = "35 deg"'),
    ("slots", "slots = 0", 12, "expected at least 1, got 0; write slots = 4"),
    ("slots", "slots = 4.0", 12, "expected a whole number, got 4.0"),
    ("slots", "slots = true", 12, "expected a whole number, got true"),
    ("slots", "", 8, "slots is missing; write slots = 4"),
    ("slots", "slots = 2", 19, "which has slots 0 to 1, got 3"),
    ("slot", "slot = -1", 16, "[[ring.member]] #1 slot: expected at least 0, got -1"),
    ("slot", "slot = 4", 16, "[[ring.member]] #1 slot: expected a slot of the ring, which has slots 0 to 3"),
    ("slot", "slot = 3", 16, "slot 3 is the one that the craft is to reach"),
    ("slot", 'slot = 0\n[[ring.member]]\nname = "R2"\nslot = 0', 19, "[[ring.member]] #2 slot: slot 0 is taken by \"R1\""),
    ("slot", 'slot = 0\n[[ring.member]]\nname = "R4"\nslot = 1', 18, '"R4" is taken'),
    ("slot", "", 14, "expected exactly one of slot, orbit and state, got none of them"),
    ("dry_mass", 'dry_mass = "0 kg"', 20, "expected more than 0 kg"),
    ("propellant", 'propellant = "-1 kg"', 21, "expected at least 0 kg"),
    ("propellant", "", 17, 'propellant is missing; write propellant = "110 kg"'),
    ("periapsis_altitude", 'periapsis_altitude = "9900 km"', 23, "lies above the apoapsis"),
    ("periapsis_altitude", 'periapsis_altitude = "-10 km"', 23, "the orbit runs into Mars: its periapsis lies 10 km below the surface"),
    ("periapsis_altitude", 'periapsis_altitude = "150 km"', 23, "altitude of 150 km is below [limits] min_altitude, 200 km"),
    ("periapsis_altitude", 'semi_major_axis = "9000 km"', 22, "or semi_major_axis with eccentricity; got apoapsis_altitude and semi_major_axis"),
    ("true_anomaly", "", 22, "true_anomaly is missing"),
    ("argp", "", 22, "argp is missing"),
    ("thrust_bias", "thrust_bias = 0.01", 41, 'got 0.01; write thrust_bias = "1 %"'),
    ("thrust_bias", 'thrust_bias = "-1 %"', 41, "expected at least 0 % and less than 100 %"),
    ("magnitude_fixed", "magnitude_fixed = 7", 44, 'write magnitude_fixed = "7 mm/s"'),
    ("replan", 'replan = "often"', 51, 'expected one of "never", "each-burn", got "often"'),
    ("replan", "max_trims = -1", 51, "expected at least 0, got -1"),
    ("replan", "settle = 3", 51, 'expected a time or a number of revolutions, got 3; write settle = "3 rev"'),
    ("replan", 'settle = "-1 rev"', 51, "expected at least 0 rev"),
    ("phase", 'phase = "0 deg"', 53, "expected more than 0 deg"),
    ("eccentricity", "eccentricity = 0", 55, "expected more than 0 and less than 1"),
    ("eccentricity", "eccentricity = nan", 55, "expected a finite number, got nan"),
    ("plane", "plane = 1e999", 56, "expected an angle with its unit, got inf"),
    ("dv", 'dv = "0 m/s"', 59, "expected more than 0 m/s"),
    ("max_radius", 'max_radius = "3000 km"', 61, "leaves no room: it is below the radius of Mars plus min_altitude, 3596.19"),
    ("separation", 'separaton = "20 km"', 62, "[limits] separaton: unknown key; did you mean separation?"),
]  # fmt: skip


@pytest.mark.parametrize(("key", "line", "at", "message"), FAULTS)
def test_each_fault_names_file_line_and_key(
    faults, key: str, line: str, at: int, message: str
) -> None:
    """The message says where, what was expected, what was got and what to write."""
    matching = [fault for fault in faults(changed(key, line)) if message in fault]
    assert len(matching) == 1
    assert matching[0].startswith(f"relay.toml:{at}: ")


@pytest.mark.parametrize("table", ["case", "body", "ring", "craft", "engine", "tolerance"])
def test_missing_table(faults: Find, table: str) -> None:
    """Each required table is asked for once, with an example."""
    message = f"relay.toml: [{table}]: this table is missing; write [{table}] with "
    found = [fault for fault in faults(without(table)) if fault.startswith(message)]
    assert len(found) == 1


def test_all_faults_at_once_in_the_order_of_the_file(faults: Find) -> None:
    """Independent faults are all reported, one line each, sorted by line."""
    text = changed("thrust", "thrust = 1")
    text = changed("title", "title = 2", text)
    text = changed("phase", "phase = 3", text)
    text = changed("slots", "slots = false", text)
    found = faults(text)
    assert [int(fault.split(":")[1]) for fault in found] == [3, 12, 31, 53]
    assert all("\n" not in fault for fault in found)


def test_unknown_keys_and_tables(faults: Find) -> None:
    """Every unknown key is an error with the nearest valid one."""
    found = faults(VALID + '"a\\nb" = 1\n[engines]\nx = 1\n[tolerence]\n')
    assert found == (
        'relay.toml:63: [limits] "a\\nb": unknown key; '
        "expected duration, dv, min_altitude, max_radius, separation",
        "relay.toml:64: [engines]: unknown table; did you mean engine?",
        "relay.toml:66: [tolerence]: unknown table; did you mean tolerance?",
    )


@pytest.mark.parametrize(
    ("table", "lines"),
    [("craft", "[[craft]]"), ("ring", "[[ring]]"), ("engine", "[[engine]]")],
)
def test_one_table_only(faults: Find, table: str, lines: str) -> None:
    """A list of tables where one is expected is told."""
    text = VALID.replace(f"[{table}]", lines)
    assert any("expected one table, got a list of tables" in fault for fault in faults(text))


@pytest.mark.parametrize(
    ("velocity", "message"),
    [
        ('["0 km/s", "5 km/s", "0 km/s"]', "5000.000 m/s is not below the escape speed there, 4139."),
        ('["1 km/s", "0 km/s", "0 km/s"]', "this motion runs through the body's centre"),
        ('["0 km/s", "0 km/s", "0 km/s"]', "this motion runs through the body's centre"),
        ('["0 km/s", "1 km/s", "0 km/s"]', "the orbit runs into Mars: its periapsis lies"),
        ('["0 km/s", "2.655 km/s", "0 km/s"]', "is below [limits] min_altitude"),
        ('["0 km/s", "1 km/s"]', "expected three numbers with their units"),
        ('["0 km/s", 1, "0 km/s"]', "expected a speed with its unit in place 2, got 1"),
        ('"5 km/s"', "expected three numbers with their units"),
    ],
)  # fmt: skip
def test_state_must_be_an_orbit(faults: Find, velocity: str, message: str) -> None:
    """A state that is no closed orbit above the surface is refused with the reason in numbers."""
    text = with_orbit(re.sub(r"velocity = .*", f"velocity = {velocity}", STATE))
    assert len([fault for fault in faults(text) if message in fault]) == 1


def test_eccentric_beyond_an_orbit(faults: Find) -> None:
    """An eccentricity of one or more is no orbit to be in."""
    angles = 'inclination = "1 deg"\nraan = "0 deg"\nargp = "0 deg"\ntrue_anomaly = "0 deg"\n'
    for e, message in (("1.2", "expected an orbit, less than 1, got 1.2"), ("-0.1", "at least 0")):
        text = f'[craft.orbit]\nsemi_major_axis = "9000 km"\neccentricity = {e}\n{angles}'
        (fault,) = faults(with_orbit(text))
        assert message in fault


def test_start_is_exactly_one(faults: Find) -> None:
    """Orbit and state together, or neither, are errors."""
    assert "got orbit and state" in faults(VALID + STATE)[0]
    assert "got none of them" in faults(with_orbit(""))[0]


def test_nothing_to_judge(faults: Find) -> None:
    """An empty [tolerance] is an error."""
    (fault,) = faults(
        re.sub(
            r"(?m)^(phase|period|eccentricity|plane) = .*\n",
            "",
            VALID.replace('period = "12 h"', 'radius = "12000 km"'),
        )
    )
    assert "[tolerance]: there is nothing to judge; write at least one of" in fault


# ---------------------------------------------------------------- the whole format


def test_every_key_of_the_format_is_read(load: Load) -> None:
    """The whole format is known, and nothing of it is refused."""
    case = load(EVERY_KEY)
    assert (case.operations.replan, case.operations.max_trims) == ("each-burn", 6)
    assert (case.errors.navigation_position_m, case.errors.missed_burn) == (50.0, 0.01)
    assert (case.dispersion.samples, case.dispersion.confidence) == (2000, 0.9)
    assert (case.dispersion.margin_share, case.dispersion.margin_m_s) == (0.05, 0.0)
    assert case.hold.duration_s == 2 * 365.25 * 86400.0


def test_shares_of_a_dispersion(faults: Find) -> None:
    """A number of samples and shares that cannot be are told each."""
    found = faults(VALID + '[dispersion]\nsamples = 0\nsuccess = "100 %"\nconfidence = 0.9\n')
    assert len(found) == 3
    assert "expected at least 1, got 0" in found[0]
    assert "expected more than 0 % and less than 100 %" in found[1]
    assert 'write confidence = "90 %"' in found[2]


@pytest.mark.parametrize(
    ("margin", "share", "speed"),
    [
        ("5 %", 0.05, 0.0),
        ("0 %", 0.0, 0.0),
        ("20 m/s", 0.0, 20.0),
        ("300 mm/s", 0.0, 0.3),
        ("72 km/h", 0.0, 20.0),
    ],
)
def test_a_margin_is_a_share_or_a_speed(
    load: Load, margin: str, share: float, speed: float
) -> None:
    """Either, by its unit; silent, there is none."""
    case = load(VALID + f'[dispersion]\nmargin = "{margin}"\n')
    assert (case.dispersion.margin_share, case.dispersion.margin_m_s) == pytest.approx(
        (share, speed)
    )
    case = load(VALID + "[dispersion]\nsamples = 10\n")
    assert (case.dispersion.margin_share, case.dispersion.margin_m_s) == (0.0, 0.0)


@pytest.mark.parametrize(
    ("margin", "words"),
    [
        (
            "0.05",
            'expected a share of the plan\'s Δv, or a Δv, with its unit, got 0.05; write margin = "5 %"',
        ),
        ('"20"', "expected a share of the plan's Δv, or a Δv, with its unit"),
        ('"20 km"', "expected a share of the plan's Δv, or a Δv, with its unit"),
        ('"-1 m/s"', 'expected at least 0 m/s, got "-1 m/s"; write margin = "20 m/s"'),
        ('"120 %"', 'expected at least 0 % and at most 100 %, got "120 %"; write margin = "5 %"'),
        ("[1]", "expected a share of the plan's Δv, or a Δv, with its unit, got [1]; write"),
    ],
)
def test_what_is_no_margin(faults: Find, margin: str, words: str) -> None:
    """Neither a share nor a speed, or one that cannot be, is told with an example."""
    (fault,) = faults(VALID + f"[dispersion]\nmargin = {margin}\n")
    assert "[dispersion] margin: " in fault
    assert words in fault


def test_open_loop_operations_are_accepted(load: Load) -> None:
    """replan "never" and no trims are what this version does."""
    case = load(changed("replan", 'replan = "never"\nmax_trims = 0'))
    assert (case.operations.replan, case.operations.max_trims) == ("never", 0)


# ---------------------------------------------------------------- anything at all

_GARBAGE = st.one_of(
    st.sampled_from(
        ["1", "-1", "0", "nan", "-inf", "1e999", "true", '""', '"x"', "[]", "{}", '"nan km"',
         '"1 kg"', '"1e300 km"', '"-5 km"', '"0 s"', '"1e-30 km"', "[[1]]", "2031-01-01", "9" * 400,
         '["1 km", 2, {}]', '"1 km3/s2"', "[{a = 1}]", "12:00:00", '"1 %"', "'''\n'''", '"\\u0000"']
    ),
    st.text(max_size=12).map(lambda text: '"' + re.sub(r'[\\"\x00-\x1f\x7f]', "", text) + '"'),
    st.builds("\"{} {}\"".format, st.floats(), st.sampled_from(["km", "s", "deg", "m/s", "N", "%"])),
)  # fmt: skip
_LINES = VALID.splitlines()
_KEYED = [at for at, line in enumerate(_LINES) if re.match(r"\w+ = ", line)]


@st.composite
def mutated(draw: st.DrawFn) -> bytes:
    """The valid file with some values replaced, some lines gone, some bytes broken."""
    lines = list(_LINES)
    for at in draw(st.lists(st.sampled_from(_KEYED), max_size=4)):
        lines[at] = lines[at].partition(" = ")[0] + " = " + draw(_GARBAGE)
    for at in sorted(draw(st.sets(st.integers(0, len(lines) - 1), max_size=3)), reverse=True):
        del lines[at]
    content = "\n".join(lines).encode("utf-8", "surrogatepass")
    if draw(st.booleans()):
        at = draw(st.integers(0, len(content)))
        content = content[:at] + draw(st.binary(max_size=8)) + content[at:]
    return content


@given(mutated())
@settings(
    max_examples=300, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
def test_no_file_raises_anything_but_input_errors(tmp_path: Path, content: bytes) -> None:
    """A mutated file loads into finite numbers or is refused in lines that name the file."""
    path = tmp_path / "mutant.toml"
    path.write_bytes(content)
    try:
        case = load_case(path)
    except InputError as error:
        faults = error.faults
    else:
        numbers = (
            case.ring.size_value,
            case.engine.thrust_n,
            case.engine.isp_s,
            case.craft.mass_kg,
        )
        assert np.isfinite([*case.craft.position_m, *case.craft.velocity_m_s, *numbers]).all()
        return
    assert faults
    for fault in faults:
        assert re.match(rf"{re.escape(str(path))}(:\d+)?: .+", fault)
        assert fault.isprintable()
        assert len(fault) < 700


def test_an_accelerometers_scale_is_a_share(tmp_path: Path) -> None:
    """A key of ours beside the design's: one sigma of what an accelerometer reads wrong."""
    case = cases_for_tests.load(
        cases_for_tests.toml({"errors": {"accelerometer_scale": "0.1 %"}}), tmp_path
    )
    assert case.errors.accelerometer_scale == 0.001
