"""The help of every command: it fits a terminal, and its examples are commands that there are."""

from __future__ import annotations

import shlex
from pathlib import Path
from typing import Any

import click
import pytest

from simcheck.cli.main import COMMANDS, main, simcheck

MOST_COLUMNS = 80


def command_of(name: str) -> click.Command:
    found = simcheck.get_command(None, name)  # type: ignore[arg-type]
    assert found is not None
    return found


def examples(command: click.Command) -> list[list[str]]:
    """The words of each example, without what the shell does with the output."""
    lines = (command.epilog or "").split("\n")
    cut = [line.partition(" > ")[0] for line in lines[2:]]
    return [shlex.split(line) for line in cut]


EXAMPLES = [(name, words) for name in COMMANDS for words in examples(command_of(name))]


@pytest.mark.parametrize("name", ["", *COMMANDS])
@pytest.mark.parametrize("columns", ["80", "200"])
def test_help_fits(name: str, columns: str, capsys: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    """Every help fits 80 columns, and ends with its examples as they were written."""
    monkeypatch.setenv("COLUMNS", columns)
    assert main([*filter(None, [name]), "--help"]) == 0
    lines = capsys.readouterr().out.splitlines()
    assert max(map(len, lines)) <= MOST_COLUMNS
    command = command_of(name) if name else simcheck
    written = [f"  {line}" for line in (command.epilog or "").split("\n")[1:]]
    assert lines[-len(written) :] == written


@pytest.mark.parametrize("name", COMMANDS)
def test_every_command_has_examples(name: str) -> None:
    """Two or three, each of this very command."""
    command = command_of(name)
    assert (command.epilog or "").startswith("\b\nExamples:\n")
    found = examples(command)
    assert 2 <= len(found) <= 3
    assert all(words[:2] == ["simcheck", name] for words in found)


@pytest.mark.parametrize(("name", "words"), EXAMPLES)
def test_examples_parse(name: str, words: list[str]) -> None:
    """What an example asks for is what the command takes."""
    with simcheck.make_context("simcheck", words[1:]) as context:
        _, command, rest = simcheck.resolve_command(context, words[1:])
        assert command is not None
        with command.make_context(name, rest, parent=context) as inner:
            assert inner.args == []


def test_a_wrong_example_would_not_parse() -> None:
    """The test above refuses an option that the command has not."""
    with pytest.raises(click.UsageError):
        test_examples_parse("check", ["simcheck", "check", "relay.toml", "--sample", "3"])


@pytest.mark.parametrize(
    ("name", "words"),
    [row for row in EXAMPLES if row[0] in {"planners", "completion"} or "--yes" in row[1]],
)
def test_cheap_examples_run(
    name: str, words: list[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: Any
) -> None:
    """Those that need no case end with 0."""
    monkeypatch.chdir(tmp_path)
    assert main(words[1:]) == 0
    assert capsys.readouterr().out


@pytest.mark.parametrize(
    "words", [w for n, w in EXAMPLES if n == "plan" or w[1:] == ["check", "relay.toml"]]
)
@pytest.mark.slow
def test_examples_run_on_the_starter_case(
    words: list[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: Any
) -> None:
    """The examples' relay.toml is the file that `simcheck new` writes."""
    monkeypatch.chdir(tmp_path)
    assert main(["new", "relay.toml", "--yes"]) == 0
    assert main(words[1:]) == 0
    assert "R3" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("typed", "meant"),
    [
        ("chek", "Did you mean check?"),
        ("CHECK", "Did you mean check?"),
        ("dispers", "Did you mean disperse?"),
        ("asign", "Did you mean assign?"),
        ("relay.toml", "Did you mean simcheck check relay.toml?"),
        ("qqq", "The commands are new, check,"),
    ],
)
def test_an_unknown_command_is_guessed(typed: str, meant: str, capsys: Any) -> None:
    """It says which command may have been meant, and ends with 2."""
    assert main([typed]) == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert f'No such command "{typed}". {meant}' in " ".join(err.split())


@pytest.mark.parametrize(
    ("words", "meant"),
    [(["check", "a", "--jsn"], "--json"), (["new", "--bdy", "x"], "--body")],
)
def test_an_unknown_option_is_guessed(words: list[str], meant: str, capsys: Any) -> None:
    """It says which option may have been meant, and ends with 2."""
    assert main(words) == 2
    err = capsys.readouterr().err
    assert "Did you mean" in err
    assert meant in err
