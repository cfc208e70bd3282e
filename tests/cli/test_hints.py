"""What to do next: said to a person at a terminal, and to nobody else."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import pytest

from simcheck.cli import hints
from simcheck.cli.main import main
from simcheck.errors import InputError, NoPlanError
from simcheck.records.case import Errors, Operations
from tests.cli import samples
from tests.cli.conftest import Verbs

PATH = "cases/relay.toml"  # of the sample case


@pytest.fixture
def seen(monkeypatch: pytest.MonkeyPatch) -> None:
    """A person at a terminal."""
    monkeypatch.setattr(hints, "is_seen", lambda: True)


def outside() -> Any:
    return samples.flight(errors=samples.changed(samples.flight().errors, phase_deg=0.7))


def sampled(**fields: Any) -> Any:
    return samples.changed(outside(), seed=0, sample=3, **fields)


def said(capsys: Any) -> list[str]:
    """The next step that stderr has; stdout never has one."""
    out, err = capsys.readouterr()
    assert "next:" not in out
    return [line for line in err.splitlines() if line.startswith("next: ")]


@pytest.mark.parametrize(
    ("words", "answers", "step"),
    [
        (["plan", PATH], {}, f"simcheck check {PATH}"),
        (["check", PATH], {}, f"[errors], then simcheck disperse {PATH}"),
        (
            ["check", PATH],
            {"case": samples.case(errors=Errors(thrust_bias=0.01))},
            f"next: simcheck disperse {PATH}",
        ),
        (["check", PATH], {"flight": outside()}, f"simcheck check {PATH} --effort 4"),
        (["fly", PATH, "--sample", "3"], {"flight": sampled()}, "[operations]"),
        (
            ["fly", PATH, "--sample", "3"],
            {"flight": sampled(), "case": samples.case(operations=Operations(max_trims=2))},
            f"simcheck disperse {PATH}",
        ),
        (
            ["check", "nowhere.toml"],
            {"case": InputError("nowhere.toml: there is no such file")},
            "simcheck new FILE.toml",
        ),
        (
            ["check", PATH],
            {"plan": NoPlanError("no plan", limit="duration", excess=1.0)},
            "--effort 4",
        ),
    ],
)
def test_one_next_step(
    words: list[str],
    answers: dict[str, Any],
    step: str,
    verbs: Verbs,
    seen: None,
    capsys: Any,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """After a result, or an error that has one, a line on stderr says what to do next."""
    for verb, answer in answers.items():
        setattr(verbs, verb, answer)
    main(words)
    lines = said(capsys)
    assert len(lines) == 1
    assert step in lines[0]
    main([*words, "--json"])
    assert said(capsys) == []
    monkeypatch.setattr(hints, "is_seen", lambda: False)
    main(words)
    assert said(capsys) == []


def test_nothing_where_the_message_says_it(verbs: Verbs, seen: None, capsys: Any) -> None:
    """A fault of a case says what to write; other errors have no next step."""
    for error in (InputError("c.toml:3: wrong"), NoPlanError("x", limit="several", excess=1.0)):
        verbs.case = error
        main(["check", "c.toml"])
        assert said(capsys) == []


@pytest.mark.parametrize(
    ("decision", "replan", "step"),
    [
        ("met", "never", "simcheck hold"),
        ("inconclusive", "never", "--until-decided --out flights"),
        ("not met", "never", "[operations]"),
        ("not met", "each-burn", ""),
    ],
)
def test_after_a_dispersion(decision: str, replan: Any, step: str) -> None:
    """Success leads to the years after it, doubt to more flights, failure to a flight team."""
    case = samples.case(operations=Operations(replan=replan))
    found = hints.after_dispersion(case, SimpleNamespace(decision=decision))  # type: ignore[arg-type]
    assert step in found
    assert bool(step) == bool(found)


def test_after_a_hold_and_an_assignment() -> None:
    """A ring that is lost is looked at without its transfer; one assigned is flown a craft each."""
    case = samples.case()
    lost, kept = SimpleNamespace(stays=False), SimpleNamespace(stays=True)
    assert "--as-planned" in hints.after_hold(case, lost, planned=True)  # type: ignore[arg-type]
    assert hints.after_hold(case, lost, planned=False) == ""  # type: ignore[arg-type]
    assert hints.after_hold(case, kept, planned=True) == ""  # type: ignore[arg-type]
    within, not_ = SimpleNamespace(verdict="within"), SimpleNamespace(verdict="outside")
    assert "disperse" in hints.after_assignment(within)  # type: ignore[arg-type]
    assert hints.after_assignment(not_) == ""  # type: ignore[arg-type]


def test_a_path_is_quoted_for_the_shell() -> None:
    """What is told can be pasted."""
    assert hints.command_for("check", "a b.toml") == "simcheck check 'a b.toml'"


def test_every_option_told_is_there() -> None:
    """The commands that hints name exist, with their options."""
    from tests.cli.test_help import test_examples_parse

    case = samples.case()
    for decision in ("met", "inconclusive"):
        found = hints.after_dispersion(case, SimpleNamespace(decision=decision))  # type: ignore[arg-type]
        words = found.split(" flies ")[0].split(" follows ")[0].split()
        test_examples_parse(words[1], words)
    lost = hints.after_hold(case, SimpleNamespace(stays=False), planned=True)  # type: ignore[arg-type]
    words = lost.split(" says ")[0].split()
    test_examples_parse(words[1], words)
