"""`simcheck hold` as a person runs it."""

from __future__ import annotations

import io
import json
from contextlib import redirect_stdout
from pathlib import Path
from typing import Any

import pytest

import simcheck
from simcheck.cli.main import main
from tests.cases_for_tests import toml

FLEET = Path(__file__).parents[2] / "cases" / "mars_fleet.toml"
PHASE = {"tolerance": {"phase": "0.5 deg"}, "limits": {"duration": "12 d"}}
THREE = {"ring": {"slots": 3, "argument_of_latitude": "10 deg"}, "craft": {"slot": 0}}


def written(folder: Path, text: str) -> str:
    path = folder / "case.toml"
    path.write_text(text, encoding="utf-8")
    return str(path)


@pytest.fixture(scope="module")
def path(tmp_path_factory: pytest.TempPathFactory) -> str:
    """An invented ring of three about Mars in two-body motion, which holds for ever."""
    return written(tmp_path_factory.mktemp("holds"), toml(THREE | PHASE))


def planned(case: str) -> str:
    """A plan of the case, made once and kept in a file beside it."""
    plan = Path(case).with_name("plan.json")
    with redirect_stdout(io.StringIO()) as out:
        assert main(["plan", case, "--json"]) == 0
    plan.write_text(out.getvalue(), encoding="utf-8")
    return str(plan)


def run(capsys: pytest.CaptureFixture[str], *arguments: str) -> tuple[int, Any]:
    """Exit code and JSON document of a command; nothing else is on stdout."""
    code = main(["hold", *arguments, "--json"])
    return code, json.loads(capsys.readouterr().out)


def test_a_ring_that_holds(path: str, capsys: pytest.CaptureFixture[str]) -> None:
    """From plan to network: the common keys, the relays, the series and the ends."""
    code, found = run(capsys, path, "--for", "60 d")
    assert code == 0
    assert found["schema"] == "simcheck.hold/1"
    assert found["case"]["path"] == path
    assert len(found["inputs_sha256"]) == 64
    assert found["verdict"] == "holds"
    assert found["first_days"] is None
    assert found["duration_s"] == 60 * 86400.0
    last = found["plan"]["commands"][-1]  # after it the flight goes on for two revolutions
    ends = last["ignition_s"] + last["duration_s"] + 2 * 43200.0
    assert found["start_s"] == pytest.approx(ends, abs=60.0)
    assert [relay["name"] for relay in found["relays"]] == ["R", "slot 1", "slot 2"]
    assert [relay["role"] for relay in found["relays"]] == ["craft", "as planned", "as planned"]
    assert len(found["series"]["phase_deg"]) == 3
    assert len(found["series"]["phase_deg"][0]) == len(found["series"]["time_days"])
    assert found["series"]["time_days"][0] == 0.0
    assert found["network"]["links"]["closed_share"] == found["ring_closed_share"] == 1.0
    assert found["end_errors"][0]["what"] == "as it arrived"
    assert simcheck.load_case(path).inputs_sha256 == found["inputs_sha256"]


def test_people_are_told_the_same(path: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["hold", path, "--for", "60 d"]) == 0
    said = capsys.readouterr()
    assert "HOLDS. Every relay stays within its tolerances for 60.0 days." in said.out
    assert max(map(len, said.out.splitlines())) <= 100
    assert "\x1b" not in said.out


def test_as_planned_flies_no_transfer(path: str, capsys: pytest.CaptureFixture[str]) -> None:
    """From the epoch, whether or not a plan exists within the limits."""
    code, found = run(capsys, path, "--as-planned", "--for", "30 d")
    assert code == 0
    assert found["plan"] is None
    assert found["start_s"] == 0.0
    assert found["relays"][0]["role"] == "as planned"


@pytest.fixture(scope="module")
def poor(tmp_path_factory: pytest.TempPathFactory) -> tuple[str, str]:
    """A craft that arrives with errors, and an engine too coarse for any trim; and its plan."""
    changes: dict[str, Any] = {
        **THREE,
        "engine": {"min_burn": "100 s"},
        "errors": {"magnitude_fixed": "2 m/s"},
        "tolerance": {"phase": "0.5 deg"},
        "limits": {"duration": "12 d"},
    }
    made = written(tmp_path_factory.mktemp("poor"), toml(changes))
    return made, planned(made)


def test_a_ring_that_is_lost_ends_with_1_whatever_the_output(
    poor: tuple[str, str], capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """With --json, with a table, and without colours."""
    arguments = (*poor, "--sample", "1", "--seed", "5", "--for", "30 d")
    code, found = run(capsys, *arguments)
    assert code == 1
    assert found["verdict"] == "lost"
    assert found["first_days"] is not None
    assert main(["hold", *arguments]) == 1
    assert "DOES NOT HOLD." in capsys.readouterr().out
    monkeypatch.setenv("NO_COLOR", "1")
    assert main(["hold", *arguments]) == 1
    assert "\x1b" not in capsys.readouterr().out


def test_a_sample_is_drawn_from_its_seed(
    poor: tuple[str, str], capsys: pytest.CaptureFixture[str]
) -> None:
    """The same numbers give the same hold, others another."""
    first = [
        run(capsys, *poor, "--sample", number, "--seed", "5", "--for", "10 d")[1]["relays"]
        for number in ("1", "1", "2")
    ]
    assert first[0] == first[1] != first[2]


def test_a_plan_of_ones_own_is_held(path: str, capsys: pytest.CaptureFixture[str]) -> None:
    """The same as the plan that is made for the same case."""
    code, given = run(capsys, path, planned(path), "--for", "30 d")
    assert code == 0
    _, made = run(capsys, path, "--for", "30 d")
    assert given["relays"] == made["relays"]


@pytest.mark.parametrize(
    ("length", "words"),
    [
        ("1 h", 'expected 1 day to 20 years, got "1 h"'),
        ("-3 d", 'expected 1 day to 20 years, got "-3 d"'),
        ("21 yr", 'expected 1 day to 20 years, got "21 yr"'),
        ("5", 'expected a time with its unit, got "5", which has no unit'),
        ("5 km", 'expected a time with its unit, got "5 km", which is a length'),
        ("2 years", 'expected a time with its unit, got "2 years", whose unit "years" is unknown'),
        ("", 'expected a time with its unit, got ""'),
        ("nan d", 'expected a time with its unit, got "nan d", which is not a finite number'),
    ],
)
def test_a_wrong_length_is_told_with_an_example(
    path: str, length: str, words: str, capsys: pytest.CaptureFixture[str]
) -> None:
    code, found = run(capsys, path, "--for", length)
    assert code == 2
    assert found["schema"] == "simcheck.error/1"
    assert f"--for: {words}" in found["error"]["message"]
    assert 'write --for "2 yr"' in found["error"]["message"]
    assert main(["hold", path, "--for", length]) == 2
    assert words in capsys.readouterr().err


def test_what_does_not_go_together_is_told(path: str, capsys: pytest.CaptureFixture[str]) -> None:
    code, found = run(capsys, path, "--as-planned", "--sample", "1")
    assert code == 2
    assert "--as-planned flies no transfer" in found["error"]["message"]


def test_two_relays_near_one_slot_are_wrong_input(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The slot of the craft; both are named."""
    member = """[[ring.member]]
name = "Own"
[ring.member.orbit]
semi_major_axis = "12652 km"
eccentricity = 0.001
inclination = "35 deg"
raan = "60 deg"
argp = "0 deg"
true_anomaly = "10 deg"
"""
    text = toml(THREE | PHASE)
    text = text.replace("[craft]", member + "[craft]", 1)
    code, found = run(capsys, written(tmp_path, text), "--for", "30 d")
    assert code == 2
    assert "Own and R are both nearest to slot 0" in found["error"]["message"]


def test_a_hold_past_the_ephemerides_is_told(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """They end with 2100."""
    text = toml({"case": {"epoch": "2098-01-20T00:00:00"}, **THREE})
    code, found = run(capsys, written(tmp_path, text), "--as-planned", "--for", "3 yr")
    assert code == 2
    assert "is known from 1900 to 2100 only" in found["error"]["message"]


def test_no_plan_ends_with_3(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    text = toml({"craft": {"propellant": "5 kg"}} | PHASE)
    code, found = run(capsys, written(tmp_path, text), "--for", "30 d")
    assert code == 3
    assert found["error"]["limit"] == "propellant"


def test_several_craft_are_sent_to_assign(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["hold", str(FLEET)]) == 2
    assert "`simcheck assign`" in capsys.readouterr().err
