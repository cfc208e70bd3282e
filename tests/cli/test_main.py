"""The command line: exit codes, one message an error, JSON alone on stdout, quick help."""

from __future__ import annotations

import errno
import json
import subprocess
import sys
import tomllib
from pathlib import Path
from typing import Any

import pytest

import simcheck
from simcheck.cli import main as command_line
from simcheck.cli.main import COMMANDS, main
from simcheck.errors import FlightError, InputError, NoPlanError
from tests.cli import samples
from tests.cli.conftest import Verbs

FORMATS = [[], ["--json"]]
NO_PLAN = NoPlanError("no plan: duration short by 2.1 d", limit="duration", excess=181440.0)


def outside() -> Any:
    return samples.flight(errors=samples.changed(samples.flight().errors, phase_deg=0.7))


@pytest.mark.parametrize("command", ["check", "plan", "fly"])
def test_a_good_run_ends_with_0(command: str, verbs: Verbs, capsys: Any) -> None:
    """Within tolerance, or planned, is 0; tables go to stdout, nothing to stderr."""
    assert main([command, "c.toml"]) == 0
    out, err = capsys.readouterr()
    assert "A fourth relay for the ring" in out
    assert err == ""


@pytest.mark.parametrize("command", ["check", "fly"])
def test_outside_ends_with_1(command: str, verbs: Verbs, capsys: Any) -> None:
    """A flight outside its tolerance is 1, and says so in words."""
    verbs.flight = outside()
    assert main([command, "c.toml"]) == 1
    assert "OUTSIDE" in capsys.readouterr().out


@pytest.mark.parametrize("command", ["check", "plan", "fly"])
@pytest.mark.parametrize(
    ("ending", "code"),
    [
        ({"flight": samples.flight()}, 0),
        ({"flight": outside()}, 1),
        ({"flight": samples.flight(outcome="out-of-propellant")}, 1),
        ({"case": InputError("c.toml:3: wrong")}, 2),
        ({"plan": NO_PLAN}, 3),
        ({"flight": FlightError("arc 3 at 12 s")}, 1),
        ({"plan": KeyboardInterrupt()}, 130),
        ({"plan": ZeroDivisionError("x")}, 70),
    ],
)
def test_the_code_does_not_depend_on_the_format(
    command: str, ending: dict[str, Any], code: int, verbs: Verbs
) -> None:
    """Every ending has the same exit code as a table and as JSON."""
    for verb, answer in ending.items():
        setattr(verbs, verb, answer)
    wanted = 0 if command == "plan" and "flight" in ending else code
    assert [main([command, "c.toml", *extra]) for extra in FORMATS] == [wanted, wanted]


@pytest.mark.parametrize("command", ["check", "plan", "fly"])
def test_json_stands_alone_on_stdout(command: str, verbs: Verbs, capsys: Any) -> None:
    """With --json stdout is one document and stderr is empty."""
    assert main([command, "c.toml", "--json"]) == 0
    out, err = capsys.readouterr()
    assert json.loads(out)["schema"] == f"simcheck.{command}/1"
    assert err == ""


@pytest.mark.parametrize(
    ("verb", "error", "code"),
    [("case", InputError("c.toml:3: a", "c.toml:4: b"), 2), ("plan", NO_PLAN, 3)],
)
def test_errors_are_one_message(
    verb: str, error: Exception, code: int, verbs: Verbs, capsys: Any
) -> None:
    """An error is told on stderr without a traceback; with --json stdout holds it as a document."""
    setattr(verbs, verb, error)
    assert main(["check", "c.toml"]) == code
    out, err = capsys.readouterr()
    assert out == ""
    assert err == f"simcheck: {error}\n"
    assert main(["check", "c.toml", "--json"]) == code
    out, err = capsys.readouterr()
    document = json.loads(out)
    assert document["schema"] == "simcheck.error/1"
    assert document["error"]["exit_code"] == code
    assert err == f"simcheck: {error}\n"


def test_an_unexpected_error_is_called_a_bug(
    verbs: Verbs, capsys: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    """One line says what broke and where; the traceback shows only where it is asked for."""
    verbs.plan = ZeroDivisionError("a\nb")
    assert main(["check", "c.toml"]) == 70
    err = capsys.readouterr().err
    assert err.startswith("simcheck: a bug of simcheck: ZeroDivisionError at conftest.py:")
    assert err.count("\n") == 1
    monkeypatch.setenv("SIMCHECK_TRACEBACK", "1")
    assert main(["check", "c.toml"]) == 70
    assert "Traceback" in capsys.readouterr().err


def test_an_interrupt_ends_with_130(verbs: Verbs, capsys: Any) -> None:
    """Ctrl-C is not an error of the program."""
    verbs.flight = KeyboardInterrupt()
    assert main(["check", "c.toml"]) == 130
    assert capsys.readouterr().err.strip() == "simcheck: interrupted"


def test_a_full_disk_is_not_a_verdict(
    verbs: Verbs, capsys: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A result that could not be written ends neither with 0 nor with 1."""

    def full(lines: list[str]) -> None:
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(command_line, "discard_output", lambda: None)
    monkeypatch.setattr(sys.stdout, "writelines", full)
    assert main(["check", "c.toml"]) == 74
    assert "could not be written" in capsys.readouterr().err


@pytest.mark.parametrize(
    "arguments",
    [
        ["nonsense"],
        ["check"],
        ["check", "a", "b", "c", "d"],
        ["check", "a", "--nonsense"],
        ["fly", "a", "--sample", "-1"],
        ["fly", "a", "--seed", "x"],
        ["plan", "a", "--sample", "1"],
    ],
)
def test_wrong_usage_ends_with_2(arguments: list[str], capsys: Any) -> None:
    """What the command line does not know is wrong input."""
    assert main(arguments) == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert "Usage: simcheck" in err


def test_a_missing_case_file_ends_with_2(capsys: Any) -> None:
    """A path that leads nowhere is wrong input, named in the message."""
    assert main(["check", "nowhere.toml"]) == 2
    assert "nowhere.toml" in capsys.readouterr().err


def test_an_unknown_planner_ends_with_2(capsys: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    """A planner that nobody registered is wrong input."""
    from simcheck import api

    monkeypatch.setattr(api, "load_case", lambda path: samples.case())
    assert main(["check", "c.toml", "--planner", "nonsense"]) == 2
    assert "nonsense" in capsys.readouterr().err


def test_options_reach_the_verbs(verbs: Verbs, capsys: Any) -> None:
    """Seed, sample and planner are passed on; a sample without a seed has seed 0."""
    main(["fly", "c.toml", "--sample", "3", "--seed", "5", "--planner", "mine"])
    assert verbs.asked["plan"] == {"planner": "mine", "prefer": "balance", "effort": 1, "seed": 5}
    assert verbs.asked["flight"] == {"seed": 5, "sample": 3, "planner": "mine"}
    main(["fly", "c.toml", "--sample", "3"])
    assert verbs.asked["flight"] == {"seed": 0, "sample": 3, "planner": "ring"}
    main(["check", "c.toml"])
    assert verbs.asked["flight"] == {"seed": None, "sample": None, "planner": "ring"}
    assert verbs.asked["plan"] == {"planner": "ring", "prefer": "balance", "effort": 1, "seed": 0}
    main(["plan", "c.toml", "--prefer", "time", "--effort", "3"])
    assert verbs.asked["plan"] == {"planner": "ring", "prefer": "time", "effort": 3, "seed": 0}


def test_a_plan_from_a_file_is_flown(verbs: Verbs, capsys: Any, tmp_path: Path) -> None:
    """`fly CASE PLAN` flies what `plan --json` wrote, without planning again."""
    assert main(["plan", "c.toml", "--json"]) == 0
    path = tmp_path / "plan.json"
    path.write_text(capsys.readouterr().out, encoding="utf-8")
    verbs.plan = AssertionError("planned again")
    assert main(["fly", "c.toml", str(path), "--json"]) == 0
    flown = json.loads(capsys.readouterr().out)
    assert flown["plan"]["burns"] == json.loads(path.read_text(encoding="utf-8"))["burns"]
    path.write_text("{}", encoding="utf-8")
    assert main(["fly", "c.toml", str(path)]) == 2
    assert "plan.json: schema: expected" in capsys.readouterr().err


def test_help_names_every_command(capsys: Any) -> None:
    """The group's help has each command's own first line, in order."""
    assert main(["--help"]) == 0
    out = capsys.readouterr().out
    assert [line.split()[0] for line in out.splitlines() if line.startswith("  ")][-3:]
    for name, line in COMMANDS.items():
        assert line in out
        command = command_line.simcheck.get_command(None, name)  # type: ignore[arg-type]
        assert command is not None
        assert (command.help or "").splitlines()[0] == line


def test_version(capsys: Any) -> None:
    """The version told is the package's, which is the project's."""
    assert main(["--version"]) == 0
    assert capsys.readouterr().out == f"simcheck {simcheck.__version__}\n"
    project = Path(__file__).parents[2] / "pyproject.toml"
    version = tomllib.loads(project.read_text(encoding="utf-8"))["project"]["version"]
    assert version == simcheck.__version__


SLOW = {"numpy", "scipy", "astropy", "heyoka", "pydantic", "rich", "matplotlib", "simcheck.api"}


@pytest.mark.parametrize(
    "arguments", [["--help"], ["--version"], ["check", "--help"], ["plan", "-h"], ["fly", "--help"]]
)
def test_help_imports_nothing_slow(arguments: list[str]) -> None:
    """Help answers from click alone, in a fresh process."""
    code = (
        "import sys; from simcheck.cli.main import main; assert main(sys.argv[1:]) == 0;"
        "print(*sys.modules, file=sys.stderr)"
    )
    run = subprocess.run(
        [sys.executable, "-c", code, *arguments], capture_output=True, text=True, check=True
    )
    assert not SLOW & set(run.stderr.split())
    assert run.stdout


def test_the_package_imports_nothing_slow() -> None:
    """`import simcheck` alone is quick, and still knows its verbs."""
    code = (
        "import sys, simcheck; print(*sys.modules); simcheck.judge; assert 'plan' in dir(simcheck)"
    )
    run = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert not SLOW & set(run.stdout.split())


def test_unknown_attributes_are_attribute_errors() -> None:
    """The lazy package fails like any other where a name does not exist."""
    with pytest.raises(AttributeError, match="no attribute 'nonsense'"):
        _ = simcheck.nonsense
