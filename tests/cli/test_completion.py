"""Shell completion: what is offered, that it costs no import, and that bash takes the script."""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest
from click.shell_completion import BashComplete

from simcheck.bodies import NAMES
from simcheck.cli.completing import BODIES
from simcheck.cli.main import COMMANDS, main, simcheck
from tests.planning.test_registry import HERE, register

SHELLS = ("bash", "zsh", "fish")
SLOW = {"numpy", "scipy", "astropy", "heyoka", "pydantic", "rich", "matplotlib", "simcheck.api"}


def offered(*words: str) -> list[str]:
    """What is offered for the last word, after the others."""
    complete = BashComplete(simcheck, {}, "simcheck", "_SIMCHECK_COMPLETE")
    return [item.value for item in complete.get_completions(list(words[:-1]), words[-1])]


def kinds(*words: str) -> set[str]:
    complete = BashComplete(simcheck, {}, "simcheck", "_SIMCHECK_COMPLETE")
    return {item.type for item in complete.get_completions(list(words[:-1]), words[-1])}


@pytest.fixture
def here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder with cases in it and in one further down, and with what is none."""
    monkeypatch.chdir(tmp_path)
    names = ("relay.toml", "ring.toml", "ring.baseline.toml", "pyproject.toml", "notes.txt")
    for name in (*names, ".hidden.toml"):
        (tmp_path / name).touch()
    (tmp_path / "cases" / "deep").mkdir(parents=True)
    (tmp_path / "cases" / "moon.toml").touch()
    (tmp_path / "cases" / "deep" / "io.toml").touch()
    return tmp_path


def test_commands(here: Path) -> None:
    """All commands, those that begin so, and the group's own options."""
    assert offered("") == list(COMMANDS)
    assert offered("pl") == ["plan", "planners"]
    assert offered("zz") == []
    assert set(offered("--")) == {"--version", "--help"}


@pytest.mark.parametrize("name", COMMANDS)
def test_options_of_every_command(name: str) -> None:
    """Every option of a command is offered after it."""
    command = simcheck.get_command(None, name)  # type: ignore[arg-type]
    assert command is not None
    found = offered(name, "--")
    for parameter in command.params:
        if parameter.param_type_name == "option":
            assert set(parameter.opts) <= set(found)
    assert "--help" in found


def test_case_files(here: Path) -> None:
    """TOML files but for baselines and project files, one folder further down too."""
    assert offered("check", "") == ["cases/moon.toml", "relay.toml", "ring.toml"]
    assert offered("disperse", "r") == ["relay.toml", "ring.toml"]
    assert offered("plan", "cases/") == ["cases/deep/io.toml", "cases/moon.toml"]
    assert offered("hold", f"{here}/cases/m") == [f"{here}/cases/moon.toml"]
    assert offered("plan", "./re") == ["./relay.toml"]


def test_the_shell_completes_what_we_cannot(here: Path) -> None:
    """No case there, a home folder, a name that needs quotes, a plan: any file will do."""
    assert kinds("check", "notes") == {"file"}
    assert kinds("check", "~/") == {"file"}
    assert kinds("check", ".h") == {"file"}
    assert kinds("check", "nowhere/x") == {"file"}
    assert kinds("fly", "relay.toml", "") == {"file"}
    assert kinds("trim", "relay.toml", "--from", "") == {"file"}
    (here / "re lay.toml").touch()
    assert kinds("check", "re") == {"file"}


def test_planners(monkeypatch: pytest.MonkeyPatch) -> None:
    """Ours and those of other packages."""
    register(monkeypatch, ("elsewhere", f"{HERE}:somebody_elses"))
    assert offered("plan", "c.toml", "--planner", "") == ["elsewhere", "ring"]
    assert offered("plan", "c.toml", "--planner", "r") == ["ring"]


def test_bodies_and_choices() -> None:
    """Names of bodies in any case, and the words of an option."""
    assert BODIES == NAMES
    assert offered("new", "--body", "") == list(NAMES)
    assert offered("new", "--body", "m") == ["Mercury", "Moon", "Mars"]
    assert offered("check", "c.toml", "--prefer", "") == ["time", "dv"]
    assert offered("completion", "") == sorted(SHELLS)


@pytest.mark.parametrize(
    "words", ["simcheck c", "simcheck check ", "simcheck plan a --planner ", "simcheck new --body "]
)
def test_completing_imports_nothing_slow(words: str, here: Path) -> None:
    """A shell asks at every key, so it is answered from click alone, in a fresh process."""
    code = (
        "import atexit, sys; atexit.register(lambda: print(*sys.modules, file=sys.stderr));"
        "from simcheck.cli.main import main; main([])"
    )
    asked = {
        "_SIMCHECK_COMPLETE": "bash_complete",
        "COMP_WORDS": words,
        "COMP_CWORD": str(words.count(" ")),
    }
    run = subprocess.run(
        [sys.executable, "-c", code],
        capture_output=True,
        text=True,
        check=True,
        env=os.environ | asked,
    )
    assert run.stdout.startswith("plain,")
    assert not SLOW & set(run.stderr.split())


@pytest.mark.parametrize("shell", SHELLS)
def test_the_script_says_how_to_install_it(shell: str, capsys: Any) -> None:
    """On top stands the command that installs it; zsh finds its own line first."""
    assert main(["completion", shell]) == 0
    out, err = capsys.readouterr()
    assert f"#   simcheck completion {shell} > " in out
    assert f"_SIMCHECK_COMPLETE={shell}_complete" in out
    assert (out.split("\n")[0] == "#compdef simcheck") == (shell == "zsh")
    assert err == ""


def test_an_unknown_shell_ends_with_2(capsys: Any) -> None:
    """Only three shells are known."""
    assert main(["completion", "tcsh"]) == 2
    assert "bash" in capsys.readouterr().err


def bash() -> str | None:
    """A bash that is new enough for the script, 4.4."""
    found = shutil.which("bash")
    if found is None:
        return None
    run = subprocess.run([found, "--version"], capture_output=True, text=True, check=True)
    version = re.search(r"version (\d+)\.(\d+)", run.stdout)
    return found if version and (int(version[1]), int(version[2])) >= (4, 4) else None


@pytest.mark.skipif(bash() is None, reason="needs bash 4.4")
@pytest.mark.parametrize(
    ("words", "wanted"),
    [
        (["simcheck", "reg"], ["regress"]),
        (["simcheck", "check", "rel"], ["relay.toml"]),
        (["simcheck", "check", "cases/"], ["cases/deep/io.toml", "cases/moon.toml"]),
        (["simcheck", "new", "--bo"], ["--body"]),
        (["simcheck", "new", "--body", "E"], ["Earth", "Europa", "Enceladus"]),
    ],
)
def test_bash_completes(
    words: list[str], wanted: list[str], here: Path, tmp_path: Path, capsys: Any
) -> None:
    """The script, sourced by a real bash, fills what bash shows."""
    assert main(["completion", "bash"]) == 0
    (tmp_path / "script.sh").write_text(capsys.readouterr().out, encoding="utf-8")
    program = tmp_path / "bin" / "simcheck"
    program.parent.mkdir()
    program.write_text(f'#!/bin/sh\nexec "{sys.executable}" -m simcheck.cli.main "$@"\n')
    program.chmod(0o755)
    asking = (
        "set -e; . ./script.sh; complete -p simcheck >&2\n"
        f"COMP_WORDS=({' '.join(words)}); COMP_CWORD={len(words) - 1}\n"
        "_simcheck_completion simcheck\n"
        'printf "%s\\n" "${COMPREPLY[@]}"'
    )
    project = str(Path(__file__).parents[2])
    run = subprocess.run(
        [str(bash()), "--norc", "-c", asking],
        capture_output=True,
        text=True,
        check=True,
        env=os.environ | {"PATH": f"{program.parent}:{os.environ['PATH']}", "PYTHONPATH": project},
    )
    assert "_simcheck_completion simcheck" in run.stderr
    assert run.stdout.split() == wanted
