"""The pytest plugin: which files it collects, what its failures say, that it disturbs nobody.

An invented case runs through pytest in a folder of its own; where only a failure's words matter,
the flight is a hand-made one.
"""

from __future__ import annotations

import os
import re
import subprocess
import sys
import tomllib
import types
from importlib import import_module
from pathlib import Path
from typing import Any

import pytest

from simcheck import api
from simcheck.errors import NoPlanError
from simcheck.judging import judge
from simcheck.records.case import Case
from simcheck.records.fleet import Fleet
from simcheck.records.flight import Flight, FlownErrors
from simcheck.regressing import taking
from simcheck.regressing.taking import Flown
from tests.cases_for_tests import toml
from tests.cli import samples
from tests.files import fleets

pytest_plugins = ["pytester"]

ROOT = Path(__file__).parents[1]
PLUGINS = ("-p", "no:cacheprovider", "-p", "simcheck.pytest_plugin")
STRICT = "[pytest]\naddopts = --strict-markers --strict-config\nfilterwarnings = error\n"


@pytest.fixture
def folder(pytester: pytest.Pytester, monkeypatch: pytest.MonkeyPatch) -> pytest.Pytester:
    """A folder with a case, where pytest loads only the plugins that it is told to."""
    monkeypatch.setenv("PYTEST_DISABLE_PLUGIN_AUTOLOAD", "1")
    monkeypatch.delenv("PYTEST_ADDOPTS", raising=False)
    pytester.makeini(STRICT)
    write(pytester, "relay.toml", toml())
    return pytester


def write(folder: pytest.Pytester, name: str, text: str) -> None:
    (folder.path / name).write_text(text, encoding="utf-8")


def run(folder: pytest.Pytester, *arguments: str) -> Any:
    """pytest in the folder, without a cache and with the plugin."""
    return folder.runpytest_inprocess(*PLUGINS, *arguments)


def flies(monkeypatch: pytest.MonkeyPatch, **fields: Any) -> None:
    """Every case is flown as a hand-made flight with these fields."""

    def flown(case: Case, trial: Any, *, reference: bool = False) -> Flown:
        alone = {} if reference else {"engine_disagreement_m": None}
        flight: Flight = samples.flight(**(fields | alone))
        return Flown(plan=samples.plan(), flight=flight, verdict=judge(case, flight))

    monkeypatch.setattr(taking, "flown", flown)


def test_a_case_is_planned_flown_and_judged(folder: pytest.Pytester) -> None:
    """An invented case passes both checks that need no baseline.

    In a process of its own: pytester drops the modules that a run imports, and heyoka cannot be
    imported twice.
    """
    result = folder.runpytest_subprocess(*PLUGINS, "-v")
    result.assert_outcomes(passed=2)
    result.stdout.fnmatch_lines(["relay.toml::within PASSED*", "relay.toml::engines-agree PASSED*"])


def test_other_files_are_left_alone(folder: pytest.Pytester) -> None:
    """TOML that is no case, a baseline, and what is no TOML at all."""
    write(folder, "other.toml", '[case]\ntitle = "of a watch"\n')
    write(folder, "relay.baseline.toml", toml())
    write(folder, "broken.toml", "[[[")
    write(folder, "test_one.py", "def test_one():\n    pass\n")
    result = run(folder, "--collect-only", "-q")
    items = [line for line in result.outlines if "::" in line]
    assert items == [
        "relay.toml::within",
        "relay.toml::engines-agree",
        "relay.toml::baseline",
        "test_one.py::test_one",
    ]


def test_it_can_be_switched_off(folder: pytest.Pytester) -> None:
    """By a setting; pytest then finds nothing."""
    folder.makeini(STRICT + "simcheck_cases = false\n")
    assert "relay.toml" not in "\n".join(run(folder, "--collect-only", "-q").outlines)


def test_a_flight_outside_says_by_how_much(
    folder: pytest.Pytester, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Each error with its share of the tolerance, and the command that replays it; no traceback."""
    errors = FlownErrors(phase_deg=0.0, period_s=7.0, eccentricity=1e-4, plane_deg=0.05)
    flies(monkeypatch, errors=errors)
    result = run(folder)
    result.assert_outcomes(failed=1, passed=1)
    result.stdout.fnmatch_lines(
        [
            "*relay: within*",
            "invented for a test: outside",
            "- the period error of 7 s is outside its tolerance of 5 s",
            "  period error +7 s: 140.0% of its tolerance of 5 s",
            "  plane error +0.05 deg: 50.0% of its tolerance of 0.1 deg",
            "to replay: simcheck check relay.toml",
        ]
    )
    assert "Traceback" not in result.stdout.str()


@pytest.mark.parametrize(("apart", "said"), [(3.25, "3.25 m"), (None, "not known")])
def test_propagators_that_disagree_fail(
    folder: pytest.Pytester, monkeypatch: pytest.MonkeyPatch, apart: float | None, said: str
) -> None:
    """With how far they end from each other."""
    flies(monkeypatch, engine_disagreement_m=apart)
    result = run(folder)
    result.assert_outcomes(failed=1, passed=1)
    result.stdout.fnmatch_lines([f"*two propagators end {said} apart, 1 m is allowed"])


def test_a_faulty_case_fails_once(folder: pytest.Pytester) -> None:
    """With the reader's message; the other check is skipped."""
    write(folder, "relay.toml", toml(drop=("engine.isp",)))
    result = run(folder)
    result.assert_outcomes(failed=1, skipped=1)
    result.stdout.fnmatch_lines(["*relay.toml:*isp is missing*"])


def accepted(folder: pytest.Pytester, monkeypatch: pytest.MonkeyPatch) -> Path:
    """The baseline of the hand-made flight."""
    import simcheck

    flies(monkeypatch)
    simcheck.accept(simcheck.regress(folder.path / "relay.toml"))
    return folder.path / "relay.baseline.toml"


def test_what_moved_fails_the_baselines_check(
    folder: pytest.Pytester, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Kept as accepted; worse fails with how much, how much is allowed, and what to run."""
    path = accepted(folder, monkeypatch)
    run(folder).assert_outcomes(passed=3)
    path.write_text(re.sub('commanded_dv = "802', 'commanded_dv = "790', path.read_text()))
    result = run(folder)
    result.assert_outcomes(passed=2, failed=1)
    result.stdout.fnmatch_lines(
        [
            "invented for a test: worse",
            "- Δv commanded: 790 m/s -> 802 m/s, +12 where 0.79 is allowed: worse",
            "to replay: simcheck regress relay.toml",
            "to accept: simcheck regress relay.toml --accept",
        ]
    )


def test_better_passes_and_is_told(
    folder: pytest.Pytester, monkeypatch: pytest.MonkeyPatch
) -> None:
    """In a section of the summary, with how to accept it."""
    path = accepted(folder, monkeypatch)
    path.write_text(re.sub('commanded_dv = "802', 'commanded_dv = "820', path.read_text()))
    result = run(folder)
    result.assert_outcomes(passed=3)
    result.stdout.fnmatch_lines(
        ["*better than the baseline*", "relay.toml::baseline:", "- Δv commanded: 820 m/s*better"]
    )


def test_no_plan_that_the_baseline_knows_of_passes(
    folder: pytest.Pytester, monkeypatch: pytest.MonkeyPatch
) -> None:
    """There is nothing to judge then; without such a baseline it fails."""

    def none(case: Case, trial: Any, *, reference: bool = False) -> Flown:
        raise NoPlanError("no plan fits", limit="dv", excess=3.0)

    monkeypatch.setattr(taking, "flown", none)
    result = run(folder)
    result.assert_outcomes(failed=1, skipped=1)
    result.stdout.fnmatch_lines(["no plan fits", "to replay: simcheck check relay.toml"])
    text = '[baseline]\nsimcheck = "0"\nplanner = "ring"\ncase_sha256 = "0"\n'
    write(folder, "relay.baseline.toml", text + '[plan]\nresult = "no plan"\nlimit = "dv"\n')
    run(folder).assert_outcomes(passed=1, skipped=2)


def test_several_craft_are_one_test(
    folder: pytest.Pytester, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A file with [[craft]] is assigned; what is outside, or has no plan, is told in words."""
    (folder.path / "relay.toml").unlink()
    write(folder, "fleet.toml", fleets.text())
    outcome: dict[str, Any] = {}

    def assigned(fleet: Fleet, planner: str) -> Any:
        assert len(fleet.craft) == 2
        if "error" in outcome:
            raise outcome["error"]
        return types.SimpleNamespace(**outcome)

    monkeypatch.setattr(api, "assign", assigned)
    outcome |= {"verdict": "within", "findings": ()}
    run(folder).assert_outcomes(passed=1)
    outcome |= {"verdict": "outside", "findings": ("Heron and Egret come close",)}
    result = run(folder)
    result.assert_outcomes(failed=1)
    result.stdout.fnmatch_lines(
        ["*: outside", "- Heron and Egret come close", "to replay: simcheck assign fleet.toml"]
    )
    outcome["error"] = NoPlanError("no assignment: Heron", limit="dv", excess=1.0)
    result = run(folder)
    result.assert_outcomes(failed=1)
    result.stdout.fnmatch_lines(["no assignment: Heron"])


def test_a_planner_can_be_named(folder: pytest.Pytester) -> None:
    """In the settings; an unknown one is told with those that there are."""
    folder.makeini(STRICT + "simcheck_planner = nobody\n")
    result = run(folder)
    result.assert_outcomes(failed=1, skipped=1)
    result.stdout.fnmatch_lines(
        ["*expected one of *ring, got 'nobody'", "to replay: *--planner nobody"]
    )


def test_loading_it_imports_nothing_heavy() -> None:
    """Everybody's pytest loads the plugin: it must cost nothing."""
    code = "import pytest, sys; import simcheck.pytest_plugin; print(*sys.modules)"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    loaded = set(done.stdout.split())
    assert "simcheck.pytest_plugin" in loaded
    assert not {"numpy", "scipy", "astropy", "heyoka", "rich", "click", "simcheck.api"} & loaded


def test_it_is_installed_with_simcheck() -> None:
    """The package's entry point names it."""
    data = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
    name = data["project"]["entry-points"]["pytest11"]["simcheck"]
    assert import_module(name).pytest_collect_file


def test_this_projects_own_files_are_not_collected() -> None:
    """The suite here is the same with the plugin: case files among the tests are not tests."""
    words = ["-m", "pytest", "-p", "simcheck.pytest_plugin", "-p", "no:cacheprovider", "-n", "0"]
    words += ["--collect-only", "-q", "--ignore-glob=*.py", "tests/files", "cases"]
    environment = {key: value for key, value in os.environ.items() if key != "PYTEST_ADDOPTS"}
    environment["PYTEST_DISABLE_PLUGIN_AUTOLOAD"] = "1"
    done = subprocess.run(
        [sys.executable, *words, "-p", "xdist.plugin"],
        capture_output=True,
        text=True,
        check=True,
        cwd=ROOT,
        env=environment,
    )
    assert "cases/mars_ring.toml::within" in done.stdout
    assert "every_key" not in done.stdout
