"""A pytest plugin: case files are collected as tests, `pytest cases/` runs them.

Each case is planned and flown once, when the first of its tests runs; what that takes is imported
then. `simcheck_cases = false` in pytest's settings switches it off.
"""

from __future__ import annotations

import dataclasses
import os
import shlex
from collections.abc import Iterator
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING, Any, NamedTuple

import pytest

if TYPE_CHECKING:
    from simcheck.errors import SimcheckError
    from simcheck.records.baseline import Baseline, CaseRegression, Trial
    from simcheck.records.case import Case
    from simcheck.regressing.taking import Flown

AGREEMENT_M = 1.0
"""How far two propagators may end from each other: nothing flown is judged more finely."""

_BETTER = "simcheck_better"


def pytest_addoption(parser: pytest.Parser) -> None:
    """Declare the settings."""
    parser.addini(
        "simcheck_cases", "collect simcheck's case files (TOML) as tests", "bool", default=True
    )
    parser.addini("simcheck_planner", "the planner that plans collected cases", default="ring")


def pytest_collect_file(file_path: Path, parent: pytest.Collector) -> pytest.Collector | None:
    """Collect a case file; any other file is left alone."""
    if file_path.suffix != ".toml" or not parent.config.getini("simcheck_cases"):
        return None
    from simcheck.files.case_search import is_case_file

    return CaseFile.from_parent(parent, path=file_path) if is_case_file(file_path) else None


def pytest_terminal_summary(terminalreporter: Any) -> None:
    """Tell which cases are better than their baselines, which fails no test."""
    better = [
        value
        for report in terminalreporter.stats.get("passed", [])
        for name, value in report.user_properties
        if name == _BETTER
    ]
    if better:
        terminalreporter.section("better than the baseline")
        for text in better:
            terminalreporter.write_line(text)


class CaseError(Exception):
    """What is wrong with a case, in words for people, and the command that replays it."""


class Outcome(NamedTuple):
    """A case file loaded, planned and flown as far as it went."""

    case: Case | None
    baseline: Baseline | None
    trial: Trial
    run: Flown | None
    error: SimcheckError | None

    @property
    def expected(self) -> bool:
        """Whether there is no plan and the baseline says so."""
        from simcheck.errors import NoPlanError

        values = {} if self.baseline is None else self.baseline.values
        return isinstance(self.error, NoPlanError) and values.get("plan.result") == "no plan"


class CaseFile(pytest.File):
    """A case file: its tests share one plan and one flight; one with several craft has one test."""

    def collect(self) -> Iterator[pytest.Item]:
        """A test a check; the baseline's only where there is one."""
        from simcheck.files.case_search import BASELINE, is_fleet_file

        if is_fleet_file(self.path):
            yield AssignItem.from_parent(self, name="assign")
            return
        yield WithinItem.from_parent(self, name="within")
        yield EnginesItem.from_parent(self, name="engines-agree")
        if self.path.with_name(self.path.stem + BASELINE).exists():
            yield BaselineItem.from_parent(self, name="baseline")

    @cached_property
    def outcome(self) -> Outcome:
        """Load, plan and fly the case, as hard as its baseline was made."""
        from simcheck.errors import SimcheckError
        from simcheck.files.baselines import read_baseline
        from simcheck.files.case_toml import load_case
        from simcheck.records.baseline import Trial
        from simcheck.regressing.taking import flown

        case = baseline = None
        trial = Trial(planner=self.planner)
        try:
            case = load_case(self.path)
            baseline = read_baseline(self.path)
            if baseline is not None:
                trial = dataclasses.replace(baseline.trial, planner=self.planner)
            run = flown(case, trial, reference=True)
        except SimcheckError as error:
            return Outcome(case, baseline, trial, None, error)
        return Outcome(case, baseline, trial, run, None)

    @property
    def planner(self) -> str:
        """The name of the planner that plans collected cases."""
        return str(self.config.getini("simcheck_planner"))

    def replay(self, command: str) -> str:
        """The command that does the same in a shell."""
        words = ["simcheck", command, os.path.relpath(self.path)]
        words += [] if self.planner == "ring" else ["--planner", self.planner]
        if self.outcome.trial.effort != 1:
            words += ["--effort", str(self.outcome.trial.effort)]
        return f"to replay: {shlex.join(words)}"


class AssignItem(pytest.Item):
    """Several craft: all are assigned, end within their tolerances and keep apart."""

    def runtest(self) -> None:
        """Fail with what is not as it should be."""
        from simcheck import api
        from simcheck.errors import SimcheckError

        planner = str(self.config.getini("simcheck_planner"))
        words = ["simcheck", "assign", os.path.relpath(self.path)]
        words += [] if planner == "ring" else ["--planner", planner]
        replay = f"to replay: {shlex.join(words)}"
        try:
            fleet = api.load_fleet(self.path)
            found = api.assign(fleet, planner)
        except SimcheckError as error:
            raise CaseError(str(error), replay) from None
        if found.verdict != "within":
            findings = [f"- {finding}" for finding in found.findings]
            raise CaseError(f"{fleet.base.title}: outside", *findings, replay)

    def repr_failure(self, excinfo: pytest.ExceptionInfo[BaseException], style: Any = None) -> Any:
        """The words of a failure without a traceback."""
        if isinstance(excinfo.value, CaseError):
            return "\n".join(map(str, excinfo.value.args))
        return super().repr_failure(excinfo, style)

    def reportinfo(self) -> tuple[Path, None, str]:
        """What the header of a failure says."""
        return self.path, None, f"{self.path.stem}: {self.name}"


class CaseItem(pytest.Item):
    """A check of a case."""

    @property
    def file(self) -> CaseFile:
        """Its file."""
        if not isinstance(self.parent, CaseFile):
            raise TypeError("a case's tests belong to its file")
        return self.parent

    def flown(self) -> tuple[Case, Flown]:
        """The case as flown; without a flight the first check fails and the others skip."""
        outcome = self.file.outcome
        if outcome.case is not None and outcome.run is not None:
            return outcome.case, outcome.run
        if outcome.expected:
            pytest.skip("there is no plan, as the baseline says")
        if self.name != "within":
            pytest.skip("the case was not flown: see its test `within`")
        raise CaseError(str(outcome.error), self.file.replay("check"))

    def repr_failure(self, excinfo: pytest.ExceptionInfo[BaseException], style: Any = None) -> Any:
        """The words of a failure without a traceback."""
        if isinstance(excinfo.value, CaseError):
            return "\n".join(map(str, excinfo.value.args))
        return super().repr_failure(excinfo, style)

    def reportinfo(self) -> tuple[Path, None, str]:
        """What the header of a failure says."""
        return self.path, None, f"{self.path.stem}: {self.name}"


class WithinItem(CaseItem):
    """The flight without errors ends within every tolerance and limit."""

    def runtest(self) -> None:
        """Fail with each error's share of its tolerance, and what is not as it should be."""
        case, run = self.flown()
        if run.verdict.verdict == "within":
            return
        findings = [f"- {finding}" for finding in run.verdict.findings]
        raise CaseError(
            f"{case.title}: outside", *findings, *_shares(case, run), self.file.replay("check")
        )


class EnginesItem(CaseItem):
    """Two propagators end the flight within a metre of each other."""

    def runtest(self) -> None:
        """Fail with how far they are apart."""
        case, run = self.flown()
        apart = run.flight.engine_disagreement_m
        if apart is None or not apart < AGREEMENT_M:
            far = "not known" if apart is None else f"{apart:.3g} m"
            raise CaseError(
                f"{case.title}: two propagators end {far} apart, {AGREEMENT_M:g} m is allowed",
                self.file.replay("check"),
            )


class BaselineItem(CaseItem):
    """What is found is what the baseline says."""

    def runtest(self) -> None:
        """Fail with what moved, by how much; a better case passes and is told in the summary."""
        found = self._compared()
        moved = [f"- {difference}" for difference in found.moved]
        if found.standing == "better":
            text = "\n".join([f"{self.nodeid}:", *moved, self._accepting()])
            self.user_properties.append((_BETTER, text))
        elif found.standing != "same":
            why = [found.found.failure or f"{found.title}: {found.standing}"]
            said = [f"- {message}" for message in found.found.messages]
            notes = [f"note: {note}" for note in found.notes]
            again = [self.file.replay("regress"), self._accepting()]
            raise CaseError(*why, *moved, *said, *notes, *again)

    def _accepting(self) -> str:
        command = self.file.replay("regress").removeprefix("to replay: ")
        return f"to accept: {command} --accept"

    def _compared(self) -> CaseRegression:
        from simcheck.regressing.comparing import compare
        from simcheck.regressing.taking import failed, found_of

        case, baseline, trial, run, error = self.file.outcome
        if case is None or baseline is None:
            if case is None:
                self.flown()  # skips: the file is at fault
            raise CaseError(str(error), self.file.replay("regress"))
        if run is not None:
            found = found_of(case, run, trial)
        elif error is not None:
            found = failed(error)
        return compare(case, found, baseline, trial)


def _shares(case: Case, run: Flown) -> Iterator[str]:
    """Each judged error, and how much of its tolerance it takes."""
    from simcheck.records.quantities import QUANTITIES, error_of, listed_tolerances

    tolerances = listed_tolerances(case.tolerance)
    for quantity in QUANTITIES:
        if quantity.error in tolerances:
            error, tolerance = error_of(run.flight.errors, quantity), tolerances[quantity.error]
            unit = f" {quantity.unit}" if quantity.unit else ""
            yield (
                f"  {quantity.name} error {error:+.4g}{unit}: {run.verdict.used[quantity.name]:.1%}"
                f" of its tolerance of {tolerance:g}{unit}"
            )
