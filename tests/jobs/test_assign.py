"""`simcheck assign` as a person runs it."""

from __future__ import annotations

import json
import re
from pathlib import Path
from typing import Any

import pytest

import simcheck
from simcheck.cli.main import main
from simcheck.files.case_search import find_fleets
from tests.files.fleets import HEAD, craft, member, text

SHIPPED = Path(__file__).parents[2] / "cases"
FLEETS = find_fleets([SHIPPED])
SHARE = 0.1  # of each tolerance that a perfect flight may use: the project's own bar
AGREEMENT_M = 1.0


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return written(tmp_path, text())


def written(folder: Path, content: str) -> Path:
    made = folder / "fleet.toml"
    made.write_text(content, encoding="utf-8")
    return made


def run(capsys: pytest.CaptureFixture[str], *arguments: str | Path) -> tuple[int, Any]:
    """Exit code and JSON document of a command; nothing else is on stdout."""
    code = main(["assign", *map(str, arguments), "--json", "--workers", "1"])
    return code, json.loads(capsys.readouterr().out)


def test_two_craft_are_assigned(path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Within: each has a slot of its own, a plan, a flight and a verdict; the common keys stand."""
    code, found = run(capsys, path)
    assert code == 0
    assert found["schema"] == "simcheck.assign/1"
    assert found["case"]["path"] == str(path)
    assert len(found["inputs_sha256"]) == 64
    assert found["constants"]["ring"]["period_s"] == pytest.approx(36000.0)
    assert found["minimise"] == "total-dv"
    assert found["verdict"] == "within"
    slots = [one["slot"] for one in found["assigned"]]
    assert len(set(slots)) == len(slots) == 2
    for one in found["assigned"]:
        assert one["verdict"]["verdict"] == "within"
        assert one["plan"]["commands"]
        assert one["flight"]["arcs"]
    pairs = {(pair["craft"], pair["slot"]): pair for pair in found["pairs"]}
    assert len(pairs) == 8
    total = sum(pairs[one["craft"], one["slot"]]["dv_m_s"] for one in found["assigned"])
    assert found["value"] == pytest.approx(total)
    assert found["bound"] <= found["value"]
    assert found["runner_up"]["more"] >= -1e-4 * found["value"]
    assert len(found["approaches"]) == 1
    assert simcheck.load_fleet(path).base.inputs_sha256 == found["inputs_sha256"]


def test_people_are_told_the_same(path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A table that fits the screen; what is done meanwhile goes to stderr."""
    assert main(["assign", str(path), "--minimise", "largest-share", "--workers", "1"]) == 0
    said = capsys.readouterr()
    assert "Who goes where" in said.out
    assert "the largest share of its propellant that any craft uses" in " ".join(said.out.split())
    assert "WITHIN. All 2 craft reach their slots and keep apart." in said.out
    assert max(map(len, said.out.splitlines())) <= 100
    assert said.err.splitlines()[0] == "estimating 8 ways to a slot"


def test_too_close_is_outside(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Two craft left at one place: exit code 1 whatever the output."""
    two = craft("Heron"), craft("Ibis", orbit="Heron")
    made = written(tmp_path, text(*two).replace("[limits]", '[limits]\nseparation = "20 km"'))
    code, found = run(capsys, made)
    assert code == 1
    assert found["verdict"] == "outside"
    assert found["approaches"][0]["kept"] is False
    assert re.match("Heron and Ibis come as close as ", found["findings"][0])
    assert main(["assign", str(made), "--workers", "1"]) == 1
    assert "TOO CLOSE" in capsys.readouterr().out


def test_a_wrong_file_is_told(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    made = written(tmp_path, text().replace('"10 h"', "10"))
    code, found = run(capsys, made)
    assert code == 2
    assert found["schema"] == "simcheck.error/1"
    assert "fleet.toml:7: [ring] period" in found["error"]["message"]


def test_a_held_slot_leaves_no_angle_to_look_for(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    code, found = run(
        capsys, written(tmp_path, text(member("R1", 0), craft("Heron"))), "--free-angle"
    )
    assert code == 2
    assert "the ring's angle is fixed by" in found["error"]["message"]
    assert found["inputs_sha256"]


def test_no_assignment_names_the_craft(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Exit code 3, with the limit that binds and by how much."""
    made = written(tmp_path, text(craft("Heron"), craft("Egret", propellant="40 kg")))
    code, found = run(capsys, made)
    assert code == 3
    assert "Egret can reach none of the slots open to it" in found["error"]["message"]
    assert found["error"]["limit"] == "propellant"
    assert found["error"]["excess"] > 0


@pytest.mark.parametrize("command", ["check", "plan", "fly", "disperse", "regress"])
def test_other_commands_send_it_here(
    path: Path, command: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main([command, str(path)]) == 2
    assert "`simcheck assign`" in capsys.readouterr().err


def test_regress_tells_what_it_leaves_out(path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A file with several craft has no baseline; in a folder it is passed over, not in silence."""
    assert main(["regress", str(path.parent)]) == 2
    said = capsys.readouterr().err
    assert f"{path}: left out: it has several craft" in said
    assert "there is no case file in this folder" in said


def test_more_craft_than_slots_is_wrong_input(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    made = written(tmp_path, text(head=HEAD.replace("slots = 4", "slots = 1")))
    code, found = run(capsys, made)
    assert code == 2
    assert "2 craft without a slot" in found["error"]["message"]


@pytest.mark.parametrize("shipped", FLEETS, ids=lambda path: path.stem)
def test_a_shipped_fleet_is_well_within(shipped: Path) -> None:
    """Each flight uses less than a tenth of each tolerance; two propagators end within a metre."""
    found = simcheck.assign(simcheck.load_fleet(shipped), workers=2)
    assert found.verdict == "within", found.findings
    for one in found.assigned:
        assert max(one.verdict.used.values()) < SHARE
        assert one.flight.engine_disagreement_m is not None
        assert one.flight.engine_disagreement_m < AGREEMENT_M


def test_four_craft_about_mars_are_shipped() -> None:
    """With a comment that says what the case shows, and that it is invented."""
    assert [path.stem for path in FLEETS] == ["mars_fleet"]
    header = FLEETS[0].read_text(encoding="utf-8").partition("\n[")[0]
    assert all(line.startswith("#") for line in header.strip().splitlines())
    assert "invented" in header
    assert len(simcheck.load_fleet(FLEETS[0]).craft) == 4
