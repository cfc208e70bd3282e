"""Case files with several craft: what they mean, and every fault with its place."""

# ruff: noqa: E501 - the table of faults reads best with a fault a line
from __future__ import annotations

import hashlib
import re
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

import simcheck
from simcheck.errors import InputError
from simcheck.files.case_toml import load_case
from simcheck.files.fleet_toml import load_fleet
from simcheck.records.fleet import Fleet
from tests.files.fleets import ENGINE, HEAD, TAIL, TWO, craft, member, text

Load = Callable[[str], Fleet]

OWN = craft("Heron") + (
    '[craft.engine]\nthrust = "220 N"\nisp = "309 s"\n'
    '[craft.thrusters]\nthrust = "5 N"\nisp = "210 s"\n'
)


@pytest.fixture
def load(tmp_path: Path) -> Load:
    def loaded(content: str) -> Fleet:
        path = tmp_path / "fleet.toml"
        path.write_text(content, encoding="utf-8")
        return load_fleet(path)

    return loaded


def test_every_craft_is_read_and_shares_the_rest(load: Load) -> None:
    """Names, masses, states; slots open; the aims at their defaults."""
    fleet = load(text())
    assert [one.name for one in fleet.craft] == ["Heron", "Egret"]
    assert [one.slot for one in fleet.craft] == [None, None]
    assert fleet.open_slots == fleet.allowed(0) == (0, 1, 2, 3)
    assert (fleet.aim.minimise, fleet.aim.ring_angle) == ("total-dv", "fixed")
    assert fleet.craft[1].engine.thrust_n == 400.0
    assert fleet.base.limits.duration_s == 4 * 86400.0
    case = fleet.case(1, 3, 0.5)
    assert (case.craft.name, case.craft.slot) == ("Egret", 3)
    assert case.ring.argument_of_latitude_rad == 0.5
    assert fleet.case(1, 3).ring.argument_of_latitude_rad == 0.0


def test_a_craft_of_a_fleet_is_that_of_a_case(load: Load, tmp_path: Path) -> None:
    """The same tables as one [craft] give the same case."""
    fleet = load(text())
    single = craft("Egret", "slot = 2").replace("[[craft]]", "[craft]")
    path = tmp_path / "case.toml"
    path.write_text(text(single), encoding="utf-8")
    case, other = load_case(path), fleet.case(1, 2)
    assert np.array_equal(case.craft.position_m, other.craft.position_m)
    assert np.array_equal(case.craft.velocity_m_s, other.craft.velocity_m_s)
    assert (case.craft.dry_mass_kg, case.craft.propellant_kg) == (310.0, 300.0)
    assert (other.craft.dry_mass_kg, other.craft.propellant_kg) == (310.0, 300.0)
    assert case.epoch == other.epoch == "2036-02-17T12:00:00"


def test_one_plain_craft_makes_a_fleet_of_one(load: Load) -> None:
    """With its slot, or without, where any open one will do."""
    for lines, slot in ((("slot = 2",), 2), ((), None)):
        fleet = load(text(craft("Heron", *lines).replace("[[craft]]", "[craft]")))
        assert [(one.name, one.slot) for one in fleet.craft] == [("Heron", slot)]


def test_engines_of_its_own_stand_instead_of_the_file_s(load: Load) -> None:
    """And [engine] may be left out where every craft has one."""
    fleet = load(text(OWN, craft("Egret")))
    assert [one.engine.thrust_n for one in fleet.craft] == [220.0, 400.0]
    assert fleet.craft[0].thrusters is not None
    assert fleet.craft[0].thrusters.thrust_n == 5.0
    assert fleet.craft[1].thrusters is None
    assert fleet.case(0, 1).engine.isp_s == 309.0
    alone = load(text(OWN, engine=""))
    assert alone.base.engine.thrust_n == 220.0


def test_slots_of_members_and_own_slots_are_not_open(load: Load) -> None:
    fleet = load(text(member("R1", 1), craft("Heron", "slot = 3"), craft("Egret")))
    assert fleet.open_slots == (0, 2, 3)
    assert fleet.allowed(0) == (3,)
    assert fleet.allowed(1) == (0, 2)


def test_what_assign_asks_for(load: Load) -> None:
    fleet = load(text(*TWO, '[assign]\nminimise = "largest-share"\nring_angle = "free"\n'))
    assert (fleet.aim.minimise, fleet.aim.ring_angle) == ("largest-share", "free")


def test_the_digest_is_of_the_file(load: Load) -> None:
    content = text()
    assert load(content).base.inputs_sha256 == hashlib.sha256(content.encode()).hexdigest()


FAULTS = [
    (
        text(*TWO, craft("Ibis", orbit="Heron"), head=HEAD.replace("slots = 4", "slots = 2")),
        r":11: \[craft\]: 3 craft without a slot \(\"Heron\", \"Egret\", \"Ibis\"\), but 2 of 2 slots are open",
    ),
    (
        text(craft("Heron", "slot = 1"), craft("Egret", "slot = 1")),
        r"\[\[craft\]\] #2 slot: slot 1 is taken by \"Heron\"; leave slot out",
    ),
    (
        text(member("R1", 1), craft("Heron", "slot = 1")),
        r"\[\[craft\]\] #1 slot: slot 1 is taken by \"R1\"",
    ),
    (text(craft("Heron"), craft("Heron")), r"\[\[craft\]\] #2 name: \"Heron\" is taken"),
    (text(member("Heron", 1), craft("Heron")), r"\[\[craft\]\] #1 name: \"Heron\" is taken"),
    (text(craft("Heron", "slot = 7")), r"\[\[craft\]\] #1 slot: expected a slot of the ring"),
    (text(craft("Heron", "slit = 1")), r"\[\[craft\]\] #1 slit: unknown key; did you mean slot\?"),
    (
        text(OWN.replace("220 N", "220 m"), craft("Egret")),
        r"\[craft.engine\] #1 thrust: expected a force",
    ),
    (
        text(craft("Heron").replace("30 deg", "30")),
        r"\[craft.orbit\] #1 inclination: expected an angle",
    ),
    (text(engine=""), r"\[engine\]: this table is missing"),
    (
        text(head=HEAD + "", engine=ENGINE, tail=TAIL)
        .replace(craft("Heron"), "")
        .replace(craft("Egret"), ""),
        r"\[craft\]: this table is missing; write \[\[craft\]\]",
    ),
    ("craft = []\n" + text(), r"not valid TOML"),
    ("craft = 3\n" + HEAD + ENGINE + TAIL, r"craft\]?: expected a table, got 3"),
    ("craft = []\n" + HEAD + ENGINE + TAIL, r"expected at least one craft"),
    (
        text(*TWO, '[assign]\nminimise = "total dv"\n'),
        r"\[assign\] minimise: expected one of \"total-dv\", \"largest-share\", \"time\", got \"total dv\"; write minimise = \"total-dv\"",
    ),
    (
        text(*TWO, '[assign]\nring_angel = "free"\n'),
        r"\[assign\] ring_angel: unknown key; did you mean ring_angle",
    ),
    (
        text(member("R1", 0), *TWO, '[assign]\nring_angle = "free"\n'),
        r"\[assign\] ring_angle: the ring's angle is fixed by \"R1\", which holds slot 0",
    ),
]


@pytest.mark.parametrize(("content", "fault"), FAULTS)
def test_a_fault_is_told_with_its_place(load: Load, content: str, fault: str) -> None:
    with pytest.raises(InputError) as raised:
        load(content)
    assert any(re.search(fault, line) for line in raised.value.faults), raised.value.faults


def test_all_faults_at_once(load: Load) -> None:
    """Of every craft, and of the tables that they share."""
    content = text(craft("Heron", "slot = 9"), craft("Egret", propellant="110")).replace(
        '"10 h"', "10"
    )
    with pytest.raises(InputError) as raised:
        load(content)
    assert len(raised.value.faults) == 3


def test_other_commands_say_where_it_belongs(tmp_path: Path) -> None:
    """One message, no more."""
    path = tmp_path / "fleet.toml"
    path.write_text(text(), encoding="utf-8")
    with pytest.raises(InputError) as raised:
        simcheck.load_case(path)
    assert len(raised.value.faults) == 1
    assert "`simcheck assign`" in str(raised.value)
    assert str(raised.value).startswith(f"{path}:11: [craft]: expected one table")


def test_a_single_case_may_say_how_it_would_be_assigned(tmp_path: Path) -> None:
    """[assign] is checked and has no effect elsewhere."""
    path = tmp_path / "case.toml"
    single = craft("Heron", "slot = 2").replace("[[craft]]", "[craft]")
    path.write_text(text(single, '[assign]\nminimise = "time"\n'), encoding="utf-8")
    assert load_case(path).craft.slot == 2
    path.write_text(text(single, '[assign]\nminimise = "tide"\n'), encoding="utf-8")
    with pytest.raises(InputError, match=r"\[assign\] minimise"):
        load_case(path)
