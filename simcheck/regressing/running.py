"""Many cases tried through an executor, a few at a time, each reported as soon as it is done."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import FIRST_COMPLETED, BrokenExecutor, Executor, Future, wait
from typing import Protocol

from simcheck.errors import FlightError
from simcheck.records.baseline import Baseline, CaseRegression, Found, Regression, Trial
from simcheck.records.case import Case
from simcheck.regressing.comparing import compare
from simcheck.regressing.taking import take


class Watcher(Protocol):
    """Is told each case once it is compared, in the order in which they end."""

    def __call__(self, case: CaseRegression, done: int, cases: int) -> None:
        """Called after each case."""


class Interrupted(KeyboardInterrupt):
    """A run broken off: `partial` holds the cases that were done."""

    def __init__(self, partial: Regression) -> None:
        super().__init__("interrupted")
        self.partial = partial


def regress(
    jobs: Sequence[tuple[Case, Baseline | None]],
    trial: Trial,
    start: Callable[[], Executor],
    workers: int,
    *,
    watcher: Watcher | None = None,
) -> Regression:
    """Try every case and compare it with its baseline; results stand in the order of the jobs.

    Raises InputError for an unknown planner, and Interrupted on Ctrl-C.
    """
    done: dict[int, CaseRegression] = {}
    try:
        for index, found in _taken([case for case, _ in jobs], trial, start, workers):
            case, baseline = jobs[index]
            done[index] = compare(case, found, baseline, trial)
            if watcher is not None:
                watcher(done[index], len(done), len(jobs))
    except KeyboardInterrupt:
        raise Interrupted(_gathered(done, trial, len(jobs))) from None
    return _gathered(done, trial, len(jobs))


def _gathered(done: dict[int, CaseRegression], trial: Trial, asked: int) -> Regression:
    cases = tuple(done[index] for index in sorted(done))
    return Regression(trial=trial, cases=cases, left_out=asked - len(cases))


def _taken(
    cases: Sequence[Case], trial: Trial, start: Callable[[], Executor], workers: int
) -> Iterator[tuple[int, Found]]:
    """Each case's number with what was found of it; no more under way than there are workers."""
    executor = start()
    under_way: dict[Future[Found], int] = {}
    try:
        for index, case in enumerate(cases):
            while len(under_way) >= workers:
                yield from _finished(under_way)
            under_way[executor.submit(take, case, trial)] = index
        while under_way:
            yield from _finished(under_way)
    except BrokenExecutor:
        raise FlightError(
            "a worker died on the way; there may be too little memory: try fewer --workers"
        ) from None
    finally:
        _end(executor, at_once=bool(under_way))


def _finished(under_way: dict[Future[Found], int]) -> Iterator[tuple[int, Found]]:
    done, _ = wait(under_way, return_when=FIRST_COMPLETED)
    for future in sorted(done, key=under_way.__getitem__):
        yield under_way.pop(future), future.result()


def _end(executor: Executor, *, at_once: bool) -> None:
    """Let the executor go, without waiting for what nobody asks for any more."""
    processes = dict(getattr(executor, "_processes", None) or {}) if at_once else {}
    executor.shutdown(wait=not at_once, cancel_futures=True)
    for process in processes.values():
        process.terminate()
