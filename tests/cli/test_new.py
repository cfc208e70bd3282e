"""simcheck new: flags, questions, what is refused, and that nothing is ever overwritten."""

from __future__ import annotations

import io
import json
from pathlib import Path
from typing import Any

import pytest

import simcheck
from simcheck.cli import new
from simcheck.cli.main import main
from simcheck.files.case_starter import QUESTIONS, UNASKED, starter_text


@pytest.fixture
def here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    return tmp_path


@pytest.fixture
def answer(monkeypatch: pytest.MonkeyPatch) -> Any:
    """Answers typed at a terminal, a line each; at the end of them Ctrl-D."""
    monkeypatch.setattr(new, "_is_terminal", lambda: True)

    def typed(*lines: str) -> None:
        monkeypatch.setattr("sys.stdin", io.StringIO("".join(f"{line}\n" for line in lines)))

    return typed


def enter(**changes: str) -> list[str]:
    """Enter at every question but some."""
    return [changes.get(name, "") for name in QUESTIONS]


def test_yes_takes_the_defaults(here: Path, capsys: Any) -> None:
    """The file is named, loads, and the next command is told; nothing goes to stderr."""
    assert main(["new", "--yes"]) == 0
    out, err = capsys.readouterr()
    assert out.startswith("wrote relay.toml")
    assert out.endswith("next: simcheck check relay.toml\n")
    assert err == ""
    assert (here / "relay.toml").read_text(encoding="utf-8") == starter_text({}, "relay.toml")
    assert simcheck.load_case("relay.toml").body.name == "Mars"


def test_every_answer_has_its_option_and_question() -> None:
    """Options and prompts are those of the starter case, none more and none less."""
    assert {*QUESTIONS, *UNASKED} == set(new._OPTIONS)
    assert set(QUESTIONS) == set(new._PROMPTS)


def test_options_reach_the_case(here: Path) -> None:
    """What is given stands in the file as it was given."""
    options = ["--body", "Moon", "--ring-altitude", "4000 km", "--slots", "3", "--slot", "1"]
    options += ["--members", "0", "--craft", "Wren", "--dry-mass", "200 kg", "--isp", "0.3 ks"]
    assert main(["new", "moon.toml", *options, "--yes"]) == 0
    case = simcheck.load_case("moon.toml")
    assert (case.body.name, case.ring.slots, case.craft.slot) == ("Moon", 3, 1)
    assert [member.slot for member in case.members] == [0]
    assert (case.craft.name, case.craft.dry_mass_kg, case.engine.isp_s) == ("Wren", 200.0, 300.0)


@pytest.mark.parametrize(
    ("path", "message"),
    [
        ("there.toml", "is there already"),
        ("link.toml", "is there already"),
        ("relay", "write relay.toml"),
        ("relay.json", "ends in .toml"),
        ("nowhere/relay.toml", "there is no folder nowhere"),
        ("folder.toml", "is there already"),
        ("x" * 300 + ".toml", "cannot be written"),
    ],
)
def test_what_cannot_be_written_is_said_first(
    path: str, message: str, here: Path, capsys: Any
) -> None:
    """Nothing is asked or touched where the file cannot be written."""
    (here / "there.toml").write_text("mine", encoding="utf-8")
    (here / "link.toml").symlink_to(here / "nowhere")
    (here / "folder.toml").mkdir()
    before = sorted(here.iterdir())
    assert main(["new", path, "--yes"]) == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert message in err
    assert (here / "there.toml").read_text(encoding="utf-8") == "mine"
    assert sorted(here.iterdir()) == before


def test_a_file_that_came_meanwhile_stays(
    here: Path, capsys: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Between the look and the writing nothing is overwritten either."""
    (here / "relay.toml").write_text("mine", encoding="utf-8")
    monkeypatch.setattr(new, "_check_target", lambda path: None)
    assert main(["new", "--yes"]) == 2
    assert "is there already" in capsys.readouterr().err
    assert (here / "relay.toml").read_text(encoding="utf-8") == "mine"


def test_wrong_options_are_told_together(here: Path, capsys: Any) -> None:
    """A line for each option that is wrong, in the words of the case file's reader."""
    wrong = ["--body", "Mras", "--ring-period", "12", "--slots", "3", "--slot", "3"]
    assert main(["new", *wrong, "--yes"]) == 2
    lines = capsys.readouterr().err.splitlines()
    assert [line.removeprefix("simcheck: ").split(": ")[0] for line in lines] == [
        "--body",
        "--ring-period",
        "--slot",
    ]
    assert 'got "12", which has no unit; write period = "12 h"' in lines[1]
    assert list(here.iterdir()) == []


def test_two_sizes_of_the_ring_are_one_too_many(here: Path, capsys: Any) -> None:
    """A period and an altitude fix the ring twice."""
    sizes = ["--ring-period", "12 h", "--ring-altitude", "9000 km"]
    assert main(["new", *sizes, "--yes"]) == 2
    assert "not both" in capsys.readouterr().err


def test_without_a_terminal_the_defaults_must_be_asked_for(here: Path, capsys: Any) -> None:
    """Nobody can be asked, so the error names the options that are open, and --yes."""
    assert main(["new", "--body", "Moon"]) == 2
    err = capsys.readouterr().err
    assert "--yes" in err
    assert "--ring-period" in err
    assert "--body" not in err
    assert list(here.iterdir()) == []


def test_with_all_options_nothing_is_open(here: Path) -> None:
    """Without a terminal and without --yes, where every question has its answer."""
    from simcheck.files.case_starter import completed

    answers = completed({})
    options = [f"--{name.replace('_', '-')}={answers[name]}" for name in QUESTIONS]
    assert main(["new", *options]) == 0
    assert simcheck.load_case("relay.toml").craft.name == "R3"


def test_enter_takes_the_defaults(here: Path, answer: Any, capsys: Any) -> None:
    """Enter at every question makes the file that --yes makes; prompts are on stderr."""
    answer(*enter())
    assert main(["new"]) == 0
    out, err = capsys.readouterr()
    assert (here / "relay.toml").read_text(encoding="utf-8") == starter_text({}, "relay.toml")
    for prompt in new._PROMPTS.values():
        assert prompt in err
        assert prompt not in out


def test_what_is_given_is_not_asked(here: Path, answer: Any, capsys: Any) -> None:
    """An option leaves its question out, an altitude that of the ring's size."""
    answer(*enter()[2:])
    assert main(["new", "--body", "Earth", "--ring-altitude", "20000 km"]) == 0
    err = capsys.readouterr().err
    assert "Planet or moon" not in err
    assert "its altitude" not in err
    assert simcheck.load_case("relay.toml").body.name == "Earth"


def test_a_wrong_answer_is_asked_for_again(here: Path, answer: Any, capsys: Any) -> None:
    """It is told what is wrong at once, as the reader tells it; the next answer counts."""
    lines = enter(body="Moon")
    at = QUESTIONS.index("ring_period")
    lines[at : at + 1] = ["4000", "-4000 km", "4000 km"]
    answer(*lines)
    assert main(["new"]) == 0
    err = capsys.readouterr().err
    assert '[ring] period: expected a time with its unit, got "4000", which has no unit' in err
    assert "below the surface of Moon" in err
    case = simcheck.load_case("relay.toml")
    assert case.ring.size == "radius"
    assert case.ring.size_value == 1_737_400.0 + 4_000_000.0


def test_later_defaults_follow_from_answers(here: Path, answer: Any, capsys: Any) -> None:
    """The slot, the members and the craft's plane suit the answers before them."""
    answer(*enter(slots="6", inclination="80 deg"))
    assert main(["new"]) == 0
    err = capsys.readouterr().err
    assert "[5]" in err
    assert "[0, 1, 2, 3, 4]" in err
    assert "[75 deg]" in err
    assert len(simcheck.load_case("relay.toml").members) == 5


def test_breaking_off_writes_nothing(here: Path, answer: Any, capsys: Any) -> None:
    """Ctrl-D, as Ctrl-C, in the middle of the questions."""
    answer("Moon", "")
    assert main(["new"]) == 130
    assert "interrupted" in capsys.readouterr().err
    assert list(here.iterdir()) == []


def test_json_asks_nothing(here: Path, answer: Any, capsys: Any) -> None:
    """One document, with the text written; its errors are documents too."""
    answer(*enter())
    assert main(["new", "--json"]) == 2
    assert json.loads(capsys.readouterr().out)["error"]["exit_code"] == 2
    assert main(["new", "--json", "--yes"]) == 0
    out, err = capsys.readouterr()
    document = json.loads(out)
    assert document["schema"] == "simcheck.new/1"
    assert {"case", "simcheck", "inputs_sha256"} < document.keys()
    assert document["text"] == (here / "relay.toml").read_text(encoding="utf-8")
    assert document["next"] == "simcheck check relay.toml"
    assert err == ""
