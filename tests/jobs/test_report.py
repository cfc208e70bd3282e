"""`simcheck report` and `--report` as a person runs them."""

from __future__ import annotations

import io
import json
from contextlib import redirect_stdout
from pathlib import Path
from typing import Any

import pytest

import simcheck
from simcheck.cli.main import main
from simcheck.records.result import Result
from tests.cases_for_tests import toml

CHANGES: dict[str, dict[str, Any]] = {
    "case": {"title": "A <b>ring</b>", "epoch": "2031-04-12T06:00:00"},
    "ring": {"slots": 3, "argument_of_latitude": "10 deg"},
    "craft": {"slot": 0},
    "errors": {"thrust_bias": "0.5 %", "navigation_position": "50 m"},
    "tolerance": {"phase": "0.5 deg"},
    "limits": {"duration": "12 d"},
}


@pytest.fixture(scope="module")
def case(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """An invented ring of three about Mars in two-body motion."""
    path = tmp_path_factory.mktemp("reports") / "case.toml"
    path.write_text(toml(CHANGES), encoding="utf-8")
    return path


def document(*arguments: str) -> str:
    with redirect_stdout(io.StringIO()) as out:
        assert main([*arguments, "--json"]) == 0
    return out.getvalue()


@pytest.fixture(scope="module")
def checked(case: Path) -> Path:
    """What `check --json --report` leaves: the document, and the page beside it."""
    path = case.with_name("check.json")
    page = str(case.with_name("of-check.html"))
    path.write_text(document("check", str(case), "--report", page), encoding="utf-8")
    return path


def test_from_the_document(checked: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The page stands beside the document, is the one that --report wrote, and nothing is printed.

    The document therefore holds all that the page shows.
    """
    assert main(["report", str(checked)]) == 0
    out, told = capsys.readouterr()
    assert out == ""
    page = checked.with_name("check.html")
    assert told.strip() == f"{page} written"
    text = page.read_text(encoding="utf-8")
    assert text == checked.with_name("of-check.html").read_text(encoding="utf-8")
    assert "<h1>A &lt;b&gt;ring&lt;/b&gt;</h1>" in text
    assert "tide of Sun" in text
    for figure in ("orbit-in-plane", "orbit-edge-on", "primer"):
        assert f'id="figure-{figure}"' in text
    assert simcheck.load_case(json.loads(checked.read_text())["case"]["path"]).inputs_sha256 in text


def test_another_case_file(
    case: Path, checked: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A case that changed since ends in one message and no page."""
    other = tmp_path / "other.toml"
    other.write_text(case.read_text(encoding="utf-8") + "# more\n", encoding="utf-8")
    page = tmp_path / "page.html"
    arguments = ["report", str(checked), "--case", str(other), "--output", str(page)]
    assert main(arguments) == 2
    assert "this result is of another case file" in capsys.readouterr().err
    assert not page.exists()


@pytest.mark.parametrize(
    ("name", "message"),
    [("page.txt", "expected the name of a page, such as page.html"), ("no/p.html", "not there")],
)
def test_where_no_page_can_go(
    case: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str], name: str, message: str
) -> None:
    """Told before anything is computed, by every command that writes one."""
    target = str(tmp_path / name)
    for arguments in (
        ["report", str(tmp_path / "none.json"), "--output", target],
        ["check", str(tmp_path / "none.toml"), "--report", target],
        ["disperse", str(tmp_path / "none.toml"), "--report", target],
    ):
        assert main(arguments) == 2
        assert message in capsys.readouterr().err


def test_a_run_folder(case: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A finished dispersion's folder: its rows make the figures that a summary cannot."""
    run, direct = tmp_path / "run", tmp_path / "direct.html"
    arguments = ["disperse", str(case), "--samples", "40", "--out", str(run)]
    code = main([*arguments, "--report", str(direct)])
    assert code in {0, 1, 4}
    assert main(["report", str(run)]) == 0
    capsys.readouterr()
    page = (run / "report.html").read_text(encoding="utf-8")
    assert page == direct.read_text(encoding="utf-8")
    assert main(["report", str(run / "summary.json")]) == 0
    fewer = (run / "summary.html").read_text(encoding="utf-8")
    assert page.count("<figure") > fewer.count("<figure") > 0


def test_a_hold_without_a_transfer(case: Path, tmp_path: Path) -> None:
    """`hold --as-planned` has no plan: the page has the ring and no burns."""
    page = tmp_path / "hold.html"
    text = document("hold", str(case), "--as-planned", "--for", "20 d", "--report", str(page))
    (tmp_path / "hold.json").write_text(text, encoding="utf-8")
    simcheck.write_report(tmp_path / "again.html", tmp_path / "hold.json")
    again = (tmp_path / "again.html").read_text(encoding="utf-8")
    assert again == page.read_text(encoding="utf-8")
    assert 'id="hold"' in again
    assert 'id="burns"' not in again


def test_a_page_of_two_plans_is_refused(
    case: Path, checked: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """check with OTHER compares; a page is of one."""
    page = str(tmp_path / "page.html")
    assert main(["check", str(case), str(checked), "--report", page]) == 2
    assert "--report is for one plan" in capsys.readouterr().err


def test_from_python(case: Path, tmp_path: Path) -> None:
    """A record made here gives a page as well, of its plan flown for it."""
    made = simcheck.load_case(case)
    path = tmp_path / "page.html"
    simcheck.write_report(path, Result(kind="plan", case=made, plan=simcheck.plan(made)))
    page = path.read_text(encoding="utf-8")
    assert "which was done for this page" in page
