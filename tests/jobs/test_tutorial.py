"""The tutorial runs as it stands, and says what the commands say."""

from __future__ import annotations

import os
import re
import subprocess
import sys
from pathlib import Path
from typing import NamedTuple

import pytest

TUTORIAL = Path(__file__).parents[2] / "cases" / "tutorial.md"
_BLOCK = re.compile(r"^```(sh|text)\n(.*?)^```$", re.MULTILINE | re.DOTALL)
_NUMBER = re.compile(r"[-+]?\d[\d:,.]*(e[-+]?\d+)?")
_CODE = re.compile(r"# exit code (\d+)")


class Step(NamedTuple):
    """Commands, and lines that stand in what they print, in order."""

    commands: str
    said: list[str]

    @property
    def code(self) -> int:
        """The exit code that the commands end with."""
        found = _CODE.search(self.commands)
        return int(found[1]) if found else 0


def steps() -> list[Step]:
    """The tutorial's commands in order, each with the output that follows it."""
    found: list[Step] = []
    for kind, text in _BLOCK.findall(TUTORIAL.read_text()):
        if kind == "sh":
            found.append(Step(text, []))
        else:
            found[-1].said.extend(line for line in text.splitlines() if line.strip() != "...")
    return found


def plain(line: str) -> str:
    """A line with its numbers masked and its blanks as one: those differ between machines."""
    return " ".join(_NUMBER.sub("#", line).split())


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """An empty folder, with a `simcheck` on the path that is this one."""
    made = tmp_path_factory.mktemp("tutorial")
    program = made / "bin" / "simcheck"
    program.parent.mkdir()
    program.write_text(f'#!/bin/sh\nexec {sys.executable} -m simcheck.cli.main "$@"\n')
    program.chmod(0o755)
    return made


@pytest.mark.slow
def test_the_tutorial_runs(folder: Path) -> None:
    """Every command ends as the tutorial says, and prints the lines that it shows."""
    work = folder / "work"
    work.mkdir()
    path = f"{folder / 'bin'}{os.pathsep}{Path(sys.executable).parent}{os.pathsep}"
    surroundings = os.environ | {"PATH": path + os.environ["PATH"], "COLUMNS": "100"}
    assert len(steps()) >= 9
    for step in steps():
        done = subprocess.run(
            ["bash", "-e", "-c", step.commands],
            cwd=work,
            env=surroundings,
            capture_output=True,
            text=True,
            timeout=300,
            check=False,
        )
        told = f"{step.commands}\n{done.stderr}\n{done.stdout[-2000:]}"
        assert done.returncode == step.code, told
        lines = iter(plain(line) for line in done.stdout.splitlines())
        for line in step.said:
            assert plain(line) in lines, f"not printed in its place: {line!r}"
    for report in ("osprey.html", "flights.html"):
        assert (work / report).stat().st_size < 5_000_000
    assert list((work / "pictures").glob("*.png"))
