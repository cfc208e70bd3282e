"""A starter case from the first question to its verdict, as a new user goes."""

from __future__ import annotations

import os
import pty
import re
import select
import subprocess
import sys
import time
from pathlib import Path

import pytest

import simcheck
from simcheck.bodies import NAMES
from simcheck.cli.main import main
from simcheck.files.case_starter import QUESTIONS

QUICK = ("Mars", "Moon")
PATIENCE_S = 120.0


def assert_within(path: Path) -> None:
    """The case is planned and flown, and the ring is reached with room and propellant left."""
    case = simcheck.load_case(path)
    plan = simcheck.plan(case)
    flight = simcheck.fly(case, plan)
    verdict = simcheck.judge(case, flight)
    assert verdict.verdict == "within", verdict.findings
    assert max(verdict.used.values()) < 0.1  # the project's own bar
    assert flight.propellant_used_kg < 0.95 * case.craft.propellant_kg
    assert flight.arrival_time_s < 0.5 * case.limits.duration_s


@pytest.mark.parametrize(
    "body",
    [name if name in QUICK else pytest.param(name, marks=pytest.mark.slow) for name in NAMES],
)
def test_the_defaults_reach_the_slot(body: str, tmp_path: Path) -> None:
    """About every built-in body the case that `new --yes` writes flies within."""
    path = tmp_path / "relay.toml"
    assert main(["new", str(path), "--body", body, "--yes"]) == 0
    assert_within(path)


@pytest.mark.slow
@pytest.mark.parametrize(
    "options",
    [
        ["--body", "Earth", "--ring-period", "12 h", "--inclination", "55 deg", "--slots", "24"],
        ["--body", "Mars", "--inclination", "0 deg", "--slots", "1"],
        ["--body", "Moon", "--ring-altitude", "200 km", "--inclination", "90 deg"],
        ["--body", "Titan", "--dry-mass", "40 kg", "--thrust", "5 N", "--isp", "220 s"],
    ],
)
def test_what_is_filled_in_suits_other_answers(options: list[str], tmp_path: Path) -> None:
    """Propellant, orbit and time follow from the ring and the engine, and are enough."""
    path = tmp_path / "relay.toml"
    assert main(["new", str(path), *options, "--yes"]) == 0
    assert_within(path)


def at_a_terminal(folder: Path, words: list[str], typed: str) -> tuple[int, str]:
    """Exit code of a command and what the terminal shows, with what is typed there."""
    first, second = pty.openpty()
    project = str(Path(__file__).parents[2])
    command = [sys.executable, "-m", "simcheck.cli.main", *words]
    environment = os.environ | {"PYTHONPATH": project, "TERM": "dumb", "NO_COLOR": "1"}
    with subprocess.Popen(
        command, stdin=second, stdout=second, stderr=second, cwd=folder, env=environment
    ) as run:
        os.close(second)
        os.write(first, typed.encode())
        shown, until = b"", time.monotonic() + PATIENCE_S
        while time.monotonic() < until:
            if select.select([first], [], [], 0.2)[0]:
                try:
                    shown += os.read(first, 4096)
                except OSError:  # the other end is closed
                    break
            elif run.poll() is not None:
                break
        else:
            run.kill()
        os.close(first)
    return run.returncode, re.sub(r"\x1b\[[0-9;?]*[A-Za-z]", "", shown.decode())


def test_the_questions_at_a_terminal(tmp_path: Path) -> None:
    """A body is typed, a wrong period is told at once, Enter does the rest."""
    typed = "Moon\n12\n10 h\n" + "\n" * (len(QUESTIONS) - 2)
    code, shown = at_a_terminal(tmp_path, ["new"], typed)
    assert code == 0
    assert "Planet or moon [Mars]:" in shown
    assert 'got "12", which has no unit; write period = "12 h"' in shown
    assert "next: simcheck check relay.toml" in shown
    case = simcheck.load_case(tmp_path / "relay.toml")
    assert (case.body.name, case.ring.size_value) == ("Moon", 36000.0)


def test_the_next_step_at_a_terminal(tmp_path: Path) -> None:
    """A case that is not there leads to `new`, one that is there to what comes after."""
    code, shown = at_a_terminal(tmp_path, ["check", "relay.toml"], "")
    assert code == 2
    assert "next: simcheck new FILE.toml" in shown
    assert main(["new", str(tmp_path / "relay.toml"), "--yes"]) == 0
    code, shown = at_a_terminal(tmp_path, ["plan", "relay.toml"], "")
    assert code == 0
    assert shown.split("\n")[-2].startswith("next: simcheck check relay.toml")
