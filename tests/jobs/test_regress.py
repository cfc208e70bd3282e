"""`simcheck regress` as a person runs it: first baselines, then what each outcome ends in."""

from __future__ import annotations

import json
import re
import shutil
import signal
import subprocess
import sys
import threading
import time
from pathlib import Path
from typing import Any
from xml.etree import ElementTree as ET

import pytest

import simcheck
from simcheck.cli.main import main
from simcheck.files.baselines import baseline_path
from simcheck.files.case_search import find_cases
from tests.cases_for_tests import toml

SHIPPED = Path(__file__).parents[2] / "cases"
ERRORS = {"thrust_bias": "0.05 %", "pointing_proportional": "0.05 deg"}


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with two cases, one that has a plan and one that has none, and their baselines."""
    folder = tmp_path_factory.mktemp("regress")
    (folder / "relay.toml").write_text(toml({"errors": ERRORS}), encoding="utf-8")
    (folder / "tight.toml").write_text(toml({"limits": {"dv": "10 m/s"}}), encoding="utf-8")
    assert main(["regress", str(folder), "--accept", "--workers", "1"]) == 0
    return folder


@pytest.fixture
def folder(made: Path, tmp_path: Path) -> Path:
    """A copy of it to spoil."""
    return Path(shutil.copytree(made, tmp_path / "cases"))


def edit(path: Path, pattern: str, text: str) -> None:
    """Replace what a pattern finds in a file, which must be there."""
    old = path.read_text(encoding="utf-8")
    new = re.sub(pattern, text, old, count=1, flags=re.M)
    assert new != old
    path.write_text(new, encoding="utf-8")


def run(capsys: pytest.CaptureFixture[str], *arguments: str | Path) -> tuple[int, str, Any]:
    """Exit code and text, the JSON document, and that the code is the same for both."""
    capsys.readouterr()
    code = main(["regress", *map(str, arguments), "--workers", "1"])
    text = capsys.readouterr().out
    assert main(["regress", *map(str, arguments), "--workers", "1", "--json"]) == code
    return code, text, json.loads(capsys.readouterr().out)


def test_kept(made: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Nothing moved: 0, a line a case, and the baselines stand for a plan and for none."""
    code, text, document = run(capsys, made)
    assert code == 0
    assert "KEPT. 2 cases: 2 same." in text
    assert document["kept"]
    assert [case["standing"] for case in document["cases"]] == ["same", "same"]
    assert 'result = "no plan"\nlimit = "dv"' in (made / "tight.baseline.toml").read_text()


def test_worse(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Dearer than the baseline: 1, with by how much and how much is allowed."""
    edit(folder / "relay.baseline.toml", r'^(commanded_dv = ")[0-9.]+', r"\g<1>600")
    code, text, document = run(capsys, folder)
    assert code == 1
    assert "REGRESSED. 2 cases: 1 worse, 1 same." in text
    moved = [x for x in document["cases"][0]["differences"] if x["move"] != "same"]
    assert [x["path"] for x in moved] == ["plan.commanded_dv_m_s"]
    assert moved[0]["allowed"] == pytest.approx(0.6)


def test_better(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Cheaper than the baseline: 0, but told, and how to accept it."""
    edit(folder / "relay.baseline.toml", r'^(commanded_dv = ")[0-9.]+', r"\g<1>2900")
    assert main(["regress", str(folder), "--workers", "1"]) == 0
    out, err = capsys.readouterr()
    assert "BETTER. 2 cases: 1 better, 1 same." in out
    assert f"simcheck regress --accept {folder}/relay.toml" in err


def test_a_plan_at_last_and_a_plan_lost(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A case that fails where it did not is worse; one that does not any more is better."""
    edit(folder / "relay.toml", r"\A", '[limits]\ndv = "10 m/s"\n')
    code, text, _ = run(capsys, folder)
    assert code == 1
    assert "No plan fits [limits] dv" in text
    assert "The case file changed since the baseline was made." in text
    edit(folder / "tight.toml", r'dv = "10 m/s"', 'dv = "3000 m/s"')
    code, text, _ = run(capsys, folder / "tight.toml")
    assert (code, "no plan" in text) == (0, True)


def test_without_a_baseline(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """1, nothing was compared; the hint says how to make one."""
    (folder / "tight.baseline.toml").unlink()
    assert main(["regress", str(folder), "--workers", "1"]) == 1
    out, err = capsys.readouterr()
    assert "NOT COMPARED. 2 cases: 1 no baseline, 1 same." in out
    assert f"simcheck regress --accept {folder}/tight.toml" in err


def test_accepting_stores_the_cases_named_only(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The difference is shown first; the other baselines stay; the next run is kept."""
    for name in ("relay", "tight"):
        edit(folder / f"{name}.baseline.toml", r'^(case_sha256 = ")..', r"\g<1>00")
    edit(folder / "relay.baseline.toml", r'^(total_dv = ")[0-9.]+', r"\g<1>600")
    other = (folder / "tight.baseline.toml").read_bytes()
    assert main(["regress", str(folder / "relay.toml"), "--accept"]) == 0
    out, err = capsys.readouterr()
    assert "600.000 m/s" in out
    assert f"stored {folder}/relay.baseline.toml" in err
    assert (folder / "tight.baseline.toml").read_bytes() == other
    assert main(["regress", str(folder / "relay.toml")]) == 0


def test_made_anew_it_is_the_same_text(made: Path, folder: Path) -> None:
    """Re-made from nothing by two processes, a baseline is the same to the byte."""
    for path in folder.glob("*.baseline.toml"):
        path.unlink()
    assert main(["regress", str(folder), "--accept", "--workers", "2"]) == 0
    for path in made.glob("*.baseline.toml"):
        assert (folder / path.name).read_bytes() == path.read_bytes()


def test_accepting_with_json_says_what_was_stored(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """One document, and the path in it."""
    path = folder / "tight.baseline.toml"
    path.unlink()
    capsys.readouterr()
    assert main(["regress", str(folder / "tight.toml"), "--accept", "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["stored"] == [str(path)]
    assert path.exists()


@pytest.mark.parametrize(
    ("spoil", "message"),
    [
        (lambda folder: edit(folder / "relay.toml", "isp", "ips"), r"relay.toml:\d+: .*ips"),
        (
            lambda folder: edit(folder / "relay.baseline.toml", "^burns = ..*$", 'burns = "two"'),
            r"relay.baseline.toml:\d+: \[plan\] burns: expected a whole number",
        ),
    ],
)
def test_wrong_input(
    folder: Path, capsys: pytest.CaptureFixture[str], spoil: Any, message: str
) -> None:
    """2, before anything is planned, with file, line and key; as JSON an error document."""
    spoil(folder)
    assert main(["regress", str(folder)]) == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert re.search(message, err)
    assert main(["regress", str(folder), "--json"]) == 2
    assert json.loads(capsys.readouterr().out)["schema"] == "simcheck.error/1"


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (("gone.toml",), "there is no such file"),
        (("--planner", "nobody"), "--planner: expected one of"),
        (("--junit", "gone/j.xml"), "no such folder"),
    ],
)
def test_wrong_arguments(
    made: Path, capsys: pytest.CaptureFixture[str], arguments: tuple[str, ...], message: str
) -> None:
    """2, and what could be written instead."""
    assert main(["regress", str(made), *arguments]) == 2
    assert message in capsys.readouterr().err


def test_junit_is_written_beside_the_text(
    folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A failure for the group that got worse, and the rest passes."""
    edit(folder / "relay.baseline.toml", r'^(commanded_dv = ")[0-9.]+', r"\g<1>600")
    path = tmp_path / "junit.xml"
    assert main(["regress", str(folder), "--junit", str(path)]) == 1
    root = ET.parse(path).getroot()
    assert [x.get("name") for x in root.findall(".//testcase[failure]")] == ["plan"]
    assert int(root.get("tests", "0")) > 5


def test_progress_is_a_line_a_case(made: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """On stderr, where that is no terminal."""
    main(["regress", str(made), "--workers", "1"])
    lines = capsys.readouterr().err.splitlines()
    assert [line.split(" (")[0] for line in lines] == [
        f"1 of 2: {made}/relay.toml: same",
        f"2 of 2: {made}/tight.toml: same",
    ]


def test_interrupted_it_prints_what_is_done(made: Path) -> None:
    """Ctrl-C after the first case: 130, that case, and how many are left out."""
    code = (
        "import sys, time; import simcheck.regressing.running as r; take = r.take\n"
        "r.take = lambda c, t: take(c, t) if 'relay' in c.path else time.sleep(60)\n"
        "from simcheck.cli.main import main; sys.exit(main(sys.argv[1:]))"
    )
    command = [sys.executable, "-c", code, "regress", str(made), "--workers", "1"]
    process = subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
    assert process.stderr is not None
    first = process.stderr.readline()
    assert "relay.toml: same" in first
    time.sleep(0.2)  # for it to be in the second case
    process.send_signal(signal.SIGINT)
    out, err = process.communicate(timeout=30)
    assert process.returncode == 130
    assert "1 case: 1 same." in out
    assert "1 case left out" in out
    assert "Traceback" not in err


def test_the_verb_says_the_same(folder: Path) -> None:
    """simcheck.regress returns the records, simcheck.accept stores them."""
    edit(folder / "relay.baseline.toml", r'^(total_dv = ")[0-9.]+', r"\g<1>600")
    found = simcheck.regress(folder / "relay.toml", samples=0)
    (case,) = found.cases
    assert case.standing == "worse"
    assert "not dispersed here" in case.notes[0]
    assert simcheck.accept(found) == (str(folder / "relay.baseline.toml"),)
    assert simcheck.regress([folder / "relay.toml"], samples=0).cases[0].standing == "same"


WHICH = ("burn.", "plan.burns", "flight.arrival_time_s", "margin.duration_s")
"""Values that say which of nearly equal plans was taken: another processor may take another."""


def test_the_shipped_cases_are_as_their_baselines(capsys: pytest.CaptureFixture[str]) -> None:
    """Every case in cases/ has a baseline and keeps it, tried by two processes.

    On a processor of another kind than the baselines' the plan may be another of nearly equal ones;
    what it costs and where it ends may not be worse.
    """
    assert all(baseline_path(path).exists() for path in find_cases([SHIPPED]))
    main(["regress", str(SHIPPED), "--workers", "2", "--json"])
    for found in json.loads(capsys.readouterr().out)["cases"]:
        assert found["standing"] in ("same", "better", "changed", "worse")
        moved = [
            row["path"]
            for row in found["differences"]
            if row["move"] in ("worse", "changed") and not row["path"].startswith(WHICH)
        ]
        assert not moved, found["case"]
    assert threading.active_count() < 50  # workers leave nothing behind
