"""Many cases through an executor: in order, told as they end, and what an interrupt leaves."""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import Future
from typing import Any

import pytest

from simcheck.dispersing.executors import HereExecutor, local
from simcheck.errors import FlightError
from simcheck.records.baseline import CaseRegression, Found, Trial
from simcheck.records.case import Case
from simcheck.regressing import running
from simcheck.regressing.running import Interrupted, regress
from tests.cli.samples import changed
from tests.regressing.bench import CASE, baseline, found

CASES = [changed(CASE, path=f"{name}.toml", title=name) for name in "abc"]
JOBS = [(case, baseline()) for case in CASES]


def answer(case: Case, trial: Trial) -> Found:
    """What is found of case c has got worse."""
    return found({"plan.total_dv_m_s": 900.0}) if case.title == "c" else found()


@pytest.fixture(autouse=True)
def answered(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(running, "take", answer)


class SlowFirst(HereExecutor):
    """Finishes what it was given first only once the last has come."""

    def __init__(self) -> None:
        self.given = 0
        self.first: Future[Any] = Future()
        self.answer: Any = None

    def submit(self, function: Callable[..., Any], /, *args: Any, **kwargs: Any) -> Future[Any]:
        self.given += 1
        if self.given == 1:
            self.answer = function(*args)
            return self.first
        if self.given == len(CASES):
            self.first.set_result(self.answer)
        return super().submit(function, *args, **kwargs)


@pytest.mark.parametrize("workers", [1, 2])
def test_each_case_is_compared_with_its_own_baseline(workers: int) -> None:
    """In the order of the jobs, whoever tried them; each told once."""
    told: list[tuple[str, int, int]] = []

    def watch(case: CaseRegression, done: int, cases: int) -> None:
        told.append((case.title, done, cases))

    result = regress(JOBS, Trial(), local(workers), workers, watcher=watch)
    assert [case.title for case in result.cases] == ["a", "b", "c"]
    assert [case.standing for case in result.cases] == ["same", "same", "worse"]
    assert not result.kept
    assert sorted(told) == [("a", 1, 3), ("b", 2, 3), ("c", 3, 3)] or workers == 2
    assert [done for _, done, _ in told] == [1, 2, 3]


def test_the_order_in_which_they_end_does_not_matter() -> None:
    """Results stand in the order of the jobs, though b is told before a."""
    told: list[str] = []
    result = regress(
        JOBS, Trial(), SlowFirst, 2, watcher=lambda case, done, cases: told.append(case.title)
    )
    assert told == ["b", "a", "c"]
    assert [case.title for case in result.cases] == ["a", "b", "c"]


@pytest.mark.parametrize(
    ("standings", "kept"),
    [
        ({"plan.total_dv_m_s": 700.0}, True),
        ({}, True),
        ({"burn.B1.ignition_s": 0.0}, False),
        ({"plan.total_dv_m_s": 900.0}, False),
    ],
)
def test_better_is_kept_and_changed_is_not(
    monkeypatch: pytest.MonkeyPatch, standings: dict[str, Any], kept: bool
) -> None:
    """A run is kept where no case got worse, changed, failed or lacks a baseline."""
    monkeypatch.setattr(running, "take", lambda case, trial: found(standings))
    assert regress(JOBS[:1], Trial(), HereExecutor, 1).kept is kept
    assert not regress([(CASE, None)], Trial(), HereExecutor, 1).kept


def test_an_interrupt_leaves_what_was_done(monkeypatch: pytest.MonkeyPatch) -> None:
    """The cases before it, and how many are left out."""

    def broken(case: Case, trial: Trial) -> Found:
        if case.title == "b":
            raise KeyboardInterrupt
        return found()

    monkeypatch.setattr(running, "take", broken)
    with pytest.raises(Interrupted) as raised:
        regress(JOBS, Trial(), HereExecutor, 1)
    partial = raised.value.partial
    assert [case.title for case in partial.cases] == ["a"]
    assert partial.left_out == 2


def dies(case: Case, trial: Trial) -> Found:
    """A worker that the system kills."""
    import os

    os._exit(9)


def test_a_worker_that_dies_is_told(monkeypatch: pytest.MonkeyPatch) -> None:
    """As a message with what to try, not as a traceback."""
    monkeypatch.setattr(running, "take", dies)
    with pytest.raises(FlightError, match="fewer --workers"):
        regress(JOBS, Trial(), local(2), 2)
