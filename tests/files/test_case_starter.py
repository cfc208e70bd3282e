"""The starter case: any answers that the reader takes make a file that it takes."""

from __future__ import annotations

import math
import re
import tomllib
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

import simcheck
from simcheck.bodies import NAMES
from simcheck.files.case_starter import (
    QUESTIONS,
    UNASKED,
    completed,
    starter_faults,
    starter_text,
)
from simcheck.files.case_toml import read_case
from simcheck.kernels.elements import classical_from_state
from tests.helpers import assert_degrees, assert_relative

ALL = {
    "body": "Moon",
    "ring_altitude": "4000 km",
    "inclination": "50 deg",
    "raan": "20 deg",
    "slots": "3",
    "slot": "1",
    "members": "0 2",
    "craft": 'Ke"stre\\l',
    "periapsis_altitude": "150 km",
    "apoapsis_altitude": "5000 km",
    "craft_inclination": "44 deg",
    "craft_raan": "25 deg",
    "argp": "10 deg",
    "true_anomaly": "170 deg",
    "dry_mass": "200 kg",
    "propellant": "60 kg",
    "thrust": "0.1 kN",
    "isp": "300 s",
    "duration": "240 h",
    "epoch": "2035-01-02T03:04:05",
    "title": "A title # with = signs",
}


def loaded(text: str) -> Any:
    return read_case(text.encode("utf-8"), "relay.toml")


def switched_on(text: str) -> str:
    """The text with every key that is switched off switched on."""
    return re.sub(r"(?m)^#(?=[a-z\[])", "", text)


@pytest.mark.parametrize("body", NAMES)
def test_the_defaults_of_every_body_load(body: str) -> None:
    """With no answer but the body, above its surface and inside its own limits."""
    assert starter_faults({"body": body}) == []
    case = loaded(starter_text({"body": body}))
    assert case.body.name == body
    assert [member.slot for member in case.members] == [0, 1, 2]
    assert case.limits.min_altitude_m > 0.0


@pytest.mark.parametrize("given", [{}, {"body": "Earth"}, {"slots": "1"}, {"slot": "0"}, ALL])
def test_what_is_switched_off_loads_when_it_is_on(given: dict[str, str]) -> None:
    """Every optional table and key is one of the format's, with a value that it takes."""
    text = starter_text({**given, "members": "none"})
    tables = tomllib.loads(switched_on(text))
    assert {"errors", "operations", "dispersion", "network", "hold", "site", "thrusters"} <= set(
        tables
    )
    assert not {"errors", "operations", "dispersion", "network", "hold", "site"} & set(
        tomllib.loads(text)
    )
    assert loaded(switched_on(text)).errors.thrust_bias == 0.008


def test_every_table_has_its_comment() -> None:
    """A line of prose stands above each table; lists of tables have it above the first."""
    lines = starter_text({}).split("\n")
    for k, line in enumerate(lines):
        header = re.fullmatch(r"#?\[\[?([a-z_.]+)\]\]?", line)
        if header and lines.index(line) == k:
            assert lines[k - 1].startswith("# "), line
    assert max(map(len, lines)) <= 100


def test_every_answer_reaches_the_case() -> None:
    """Each of the answers stands in the loaded case, in SI."""
    assert set(ALL) | {"ring_period"} == {*QUESTIONS, *UNASKED}
    case = loaded(starter_text(ALL))
    assert (case.title, case.epoch) == (ALL["title"], ALL["epoch"])
    assert case.ring.size == "radius"
    assert_relative(case.ring.size_value, 5_737_400.0, 1e-12)  # 4000 km above 1737.4 km
    assert (case.ring.slots, case.craft.slot, case.craft.name) == (3, 1, ALL["craft"])
    assert [(member.name, member.slot) for member in case.members] == [("R0", 0), ("R2", 2)]
    orbit = classical_from_state(case.craft.position_m, case.craft.velocity_m_s, case.body.gm_m3_s2)
    for found, key in zip(
        orbit[2:], ("craft_inclination", "craft_raan", "argp", "true_anomaly"), strict=True
    ):
        assert_degrees(math.degrees(found), float(ALL[key].split()[0]), 1e-9)  # rounding
    assert_relative(orbit.p / (1.0 + orbit.e), 1_887_400.0, 1e-9)  # rounding
    assert_relative(orbit.p / (1.0 - orbit.e), 6_737_400.0, 1e-9)
    assert (case.craft.dry_mass_kg, case.craft.propellant_kg) == (200.0, 60.0)
    assert (case.engine.thrust_n, case.engine.isp_s) == (100.0, 300.0)
    assert case.limits.duration_s == 864_000.0
    assert_degrees(math.degrees(case.ring.inclination_rad), 50.0, 1e-9)
    assert_degrees(math.degrees(case.ring.raan_rad), 20.0, 1e-9)


SOME = st.fixed_dictionaries(
    {},
    optional={
        "body": st.sampled_from(NAMES),
        "ring_period": st.integers(4, 400).map(lambda k: f"{k} h"),
        "inclination": st.integers(0, 180).map(lambda k: f"{k} deg"),
        "raan": st.integers(-720, 720).map(lambda k: f"{k} deg"),
        "slots": st.integers(1, 40).map(str),
        "craft_inclination": st.integers(0, 180).map(lambda k: f"{k} deg"),
        "periapsis_altitude": st.integers(0, 10**6).map(lambda k: f"{k} km"),
        "dry_mass": st.integers(1, 10**6).map(lambda k: f"{k / 10} kg"),
        "isp": st.integers(1, 10**5).map(lambda k: f"{k / 10} s"),
        "craft": st.sampled_from(["R0", "R2", "Tern", "Ünal", 'a"b', "a\\b"]),
    },
)


@given(SOME)
def test_defaults_suit_what_is_given(some: dict[str, str]) -> None:
    """Whatever is answered, what is filled in beside it never makes a fault."""
    assert starter_faults(some) == []
    case = loaded(starter_text(some))
    assert case.ring.slots == int(completed(some)["slots"])
    assert len(case.members) == case.ring.slots - 1


@given(st.lists(st.integers(0, 30), max_size=6, unique=True), st.integers(0, 30))
def test_slots_follow_from_what_is_taken(taken: list[int], own: int) -> None:
    """The ring is made large enough, and the craft gets a slot that is free."""
    members = ", ".join(map(str, taken)) or "none"
    case = loaded(starter_text({"members": members}))
    assert case.craft.slot not in taken
    if own not in taken:
        assert loaded(starter_text({"members": members, "slot": str(own)})).craft.slot == own


@pytest.mark.parametrize(
    ("given", "question", "message"),
    [
        ({"ring_period": "12"}, "ring_period", 'which has no unit; write period = "12 h"'),
        ({"ring_altitude": "-5 km"}, "ring_altitude", "below the surface of Mars"),
        ({"body": "Mras"}, "body", "did you mean Mars?"),
        ({"slots": "four"}, "slots", 'expected a whole number, got "four"'),
        ({"slots": "4", "slot": "4"}, "slot", "slots 0 to 3, got 4"),
        ({"members": "0, 3", "slot": "3"}, "members", "slot 3 is the one that the craft"),
        ({"members": "0, 0"}, "members", "is taken"),
        ({"members": "x", "slots": "4"}, "members", 'expected a whole number, got "x"'),
        ({"periapsis_altitude": "-1 km"}, "periapsis_altitude", "runs into Mars"),
        ({"inclination": "200 deg"}, "inclination", "at most 180 deg"),
        ({"propellant": "3 km"}, "propellant", "which is a length"),
        ({"thrust": "0 N"}, "thrust", "expected more than 0 N"),
        ({"isp": "0 s"}, "isp", "expected more than 0 s"),
        ({"duration": "nan d"}, "duration", "which is not a finite number"),
        ({"epoch": "tomorrow"}, "epoch", "expected a date and time in TDB"),
        ({"craft": " "}, "craft", "expected a line of text"),
        ({"craft": "a\nb"}, "craft", "expected a line of text"),
    ],
)
def test_a_wrong_answer_is_told_as_the_reader_tells_it(
    given: dict[str, str], question: str, message: str
) -> None:
    """One wrong answer is one fault, of that answer, in the words of the case file's reader."""
    faults = starter_faults(given)
    assert [fault.question for fault in faults] == [question]
    assert message in faults[0].message


@pytest.mark.parametrize("text", ["\x7f", "\udcff", "\x00", '"""', "'''", "\\", "#", "{body}"])
@pytest.mark.parametrize("question", ["title", "craft", "body", "ring_period", "members", "slot"])
def test_no_answer_breaks_the_file(text: str, question: str) -> None:
    """Whatever an answer holds it is taken as it stands, or refused in words."""
    faults = starter_faults({question: text})
    if not faults:
        case = loaded(starter_text({question: text}))
        assert {"title": case.title, "craft": case.craft.name}[question] == text
    assert all(fault.message and "\n" not in fault.message for fault in faults)


@pytest.mark.parametrize("file", ["a b.toml", "a\nthrust = 1.toml", "ü.toml"])
def test_the_file_name_cannot_break_the_file(file: str, tmp_path: Path) -> None:
    """The name stands in comments only, as a shell takes it."""
    path = tmp_path / "relay.toml"
    path.write_text(starter_text({}, file), encoding="utf-8")
    assert simcheck.load_case(path).title
