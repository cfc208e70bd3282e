"""What reaches the screen: any encoding, any width, colours only where they belong."""

from __future__ import annotations

import io
import json
import os
import subprocess
import sys
from typing import Any

import pytest
from rich.cells import cell_len

from simcheck.cli import screen
from simcheck.cli.main import main
from tests.cli import samples
from tests.cli.conftest import Verbs


class Terminal(io.TextIOWrapper):
    """A terminal of a chosen encoding that remembers what it was sent."""

    def __init__(self, encoding: str) -> None:
        super().__init__(io.BytesIO(), encoding=encoding)

    def isatty(self) -> bool:
        return True

    def text(self) -> str:
        self.flush()
        self.seek(0)
        return self.read()


def terminal_for_stdout(monkeypatch: pytest.MonkeyPatch) -> Terminal:
    """Put a terminal in the place of stdout; within a test, since pytest has stdout before it."""
    for name in ("NO_COLOR", "FORCE_COLOR"):
        monkeypatch.delenv(name, raising=False)
    monkeypatch.setenv("TERM", "xterm-256color")
    made = Terminal("utf-8")
    monkeypatch.setattr(sys, "stdout", made)
    return made


def test_a_terminal_gets_colours(verbs: Verbs, monkeypatch: pytest.MonkeyPatch) -> None:
    """On a terminal the verdict is coloured."""
    terminal = terminal_for_stdout(monkeypatch)
    assert main(["check", "c.toml"]) == 0
    assert "\x1b[" in terminal.text()


def test_no_color_means_no_escape_at_all(verbs: Verbs, monkeypatch: pytest.MonkeyPatch) -> None:
    """With NO_COLOR a terminal gets plain text, with the same exit code."""
    terminal = terminal_for_stdout(monkeypatch)
    monkeypatch.setenv("NO_COLOR", "1")
    assert main(["check", "c.toml"]) == 0
    assert "\x1b" not in terminal.text()


def test_a_pipe_gets_plain_text_of_100_columns(
    verbs: Verbs, capsys: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Piped output has no escapes and does not depend on the terminal it was started from."""
    texts = []
    for columns in ("40", "300"):
        monkeypatch.setenv("COLUMNS", columns)
        main(["check", "c.toml"])
        texts.append(capsys.readouterr().out)
    assert texts[0] == texts[1]
    assert "\x1b" not in texts[0]
    widths = [cell_len(line) for line in texts[0].splitlines()]
    assert 90 < max(widths) <= 100


@pytest.mark.parametrize("columns", ["60", "80", "250"])
def test_a_terminal_is_never_overrun(
    columns: str, verbs: Verbs, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Tables keep to a narrow terminal, and to 100 columns on a wide one."""
    terminal = terminal_for_stdout(monkeypatch)
    monkeypatch.setenv("COLUMNS", columns)
    monkeypatch.setenv("NO_COLOR", "1")
    main(["check", "c.toml"])
    assert max(map(cell_len, terminal.text().splitlines())) <= min(int(columns), 100)


@pytest.mark.parametrize("encoding", ["ascii", "latin-1", "cp437", "utf-8"])
def test_any_encoding_will_do(encoding: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """What an encoding lacks is replaced, not refused, and columns keep their place."""
    stream = Terminal(encoding)
    monkeypatch.setattr(sys, "stdout", stream)
    screen.write("Δv 5 – 界\n")
    stream.flush()
    text = stream.text()
    assert "v 5" in text
    assert len(text) == len("Δv 5 – 界\n")


def test_json_is_ascii_and_keeps_vectors_on_a_line(capsys: Any) -> None:
    """JSON needs no encoding, and lists of numbers do not fill the screen; texts stay as is."""
    document = {"v": [1.0, -2e-05, 3.0], "t": "Δ[\n 1 ]", "e": [], "s": ["a", "b"]}
    screen.show_json(document)
    out = capsys.readouterr().out
    assert out.isascii()
    assert '"v": [ 1.0, -2e-05, 3.0 ]' in out
    assert json.loads(out) == document


def test_json_refuses_what_json_is_not() -> None:
    """A NaN that slipped through is a bug, not a document that no reader takes."""
    with pytest.raises(ValueError, match="not JSON compliant"):
        screen.show_json({"a": float("nan")})


def test_busy_is_silent_in_a_pipe(capsys: Any) -> None:
    """Where stderr is no terminal, progress leaves no trace."""
    with screen.busy("planning"):
        pass
    assert capsys.readouterr() == ("", "")


def test_busy_shows_on_a_terminal(monkeypatch: pytest.MonkeyPatch) -> None:
    """On a terminal progress goes to stderr, and stdout stays empty."""
    terminal = terminal_for_stdout(monkeypatch)
    errors = Terminal("utf-8")
    monkeypatch.setattr(sys, "stderr", errors)
    with screen.busy("planning"):
        pass
    assert "planning" in errors.text()
    assert terminal.text() == ""


WRITE = "import sys; from simcheck.cli.screen import write; write('x\\n' * 10**5); sys.exit(1)"


def test_a_closed_pipe_is_quiet() -> None:
    """A reader that goes away changes neither the exit code nor stderr."""
    run = subprocess.Popen(
        [sys.executable, "-c", WRITE], stdout=subprocess.PIPE, stderr=subprocess.PIPE
    )
    assert run.stdout is not None
    assert run.stderr is not None
    run.stdout.read(1)
    run.stdout.close()
    with run.stderr as errors:
        assert errors.read() == b""
    assert run.wait() == 1


def test_the_c_locale_is_enough() -> None:
    """With LANG=C, and with an ASCII stdout, a plan's text comes out."""
    code = (
        "from tests.cli import samples as s; from simcheck.cli.screen import show;"
        "from simcheck.report.plan_text import plan_text;"
        "show(plan_text(s.case(), s.plan(), s.ring(s.case())))"
    )
    for extra in ({"LANG": "C", "LC_ALL": "C"}, {"PYTHONIOENCODING": "ascii"}):
        run = subprocess.run(
            [sys.executable, "-c", code],
            env={**os.environ, **extra, "PYTHONPATH": os.pathsep.join(p for p in sys.path if p)},
            capture_output=True,
            check=True,
        )
        assert b"800.000 m/s in 2 burns" in run.stdout


def test_samples_are_what_the_screen_needs() -> None:
    """The hand-made records carry a character that ASCII lacks, or this file tests nothing."""
    assert not screen.encodable("Δ", Terminal("utf-8")).isascii()
    assert screen.encodable("Δ", Terminal("ascii")) == "d"
    assert samples.plan().burns
