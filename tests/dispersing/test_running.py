"""Chunks through executors: the same rows whatever happens on the way."""

from __future__ import annotations

import itertools
import os
import signal
from concurrent.futures import BrokenExecutor, Executor, Future
from typing import Any

import numpy as np
import pytest

from simcheck.dispersing import running
from simcheck.dispersing.executors import HereExecutor, local
from simcheck.dispersing.flights import Job
from simcheck.dispersing.running import Chunk, chunks, run
from simcheck.errors import FlightError
from simcheck.records.dispersion import ROW, Rows

JOB: Any = Job(case=None, plan=None, seed=0, planner="ring")  # type: ignore[arg-type]


class Shelf:
    """A store in memory."""

    def __init__(self) -> None:
        self.kept: dict[int, Rows] = {}

    def held(self, first: int) -> Rows | None:
        return self.kept.get(first)

    def keep(self, first: int, rows: Rows) -> None:
        self.kept[first] = rows


def numbered(job: Any, first: int, count: int) -> Rows:
    """Stands for the flights: rows that name their samples."""
    rows = np.zeros(count, dtype=ROW)
    rows["sample"] = np.arange(first, first + count)
    return rows


def table(found: list[tuple[Chunk, Rows]]) -> list[int]:
    """Sample numbers in order of chunks."""
    return [int(x) for _, rows in sorted(found) for x in rows["sample"]]


@pytest.mark.parametrize(("samples", "size"), [(1, 50), (50, 50), (51, 50), (1000, 7)])
def test_chunks_cover_each_sample_once(samples: int, size: int) -> None:
    """From 0 to samples - 1, none twice."""
    seen = [k for c in chunks(samples, size) for k in range(c.first, c.first + c.size)]
    assert seen == list(range(samples))


def test_every_chunk_is_flown_once_and_kept(monkeypatch: pytest.MonkeyPatch) -> None:
    """Each comes out once, and is in the store before it does."""
    monkeypatch.setattr(running, "fly_chunk", numbered)
    shelf, found = Shelf(), []
    for chunk, rows in run(JOB, chunks(100, 7), shelf, HereExecutor, 1):
        assert chunk.first in shelf.kept
        found.append((chunk, rows))
    assert table(found) == list(range(100))


def test_what_is_held_is_not_flown_again(monkeypatch: pytest.MonkeyPatch) -> None:
    """Only missing chunks are flown; a held one that is shorter counts as missing."""
    flown: list[int] = []

    def note(job: Any, first: int, count: int) -> Rows:
        flown.append(first)
        return numbered(job, first, count)

    monkeypatch.setattr(running, "fly_chunk", note)
    shelf = Shelf()
    shelf.keep(10, numbered(JOB, 10, 10))
    shelf.keep(20, numbered(JOB, 20, 3))
    found = list(run(JOB, chunks(30, 10), shelf, HereExecutor, 1))
    assert table(found) == list(range(30))
    assert flown == [0, 20]


def test_a_shorter_run_leaves_what_is_held(monkeypatch: pytest.MonkeyPatch) -> None:
    """It takes the first rows of a longer chunk, which stays as it is."""
    monkeypatch.setattr(running, "fly_chunk", numbered)
    shelf = Shelf()
    shelf.keep(0, numbered(JOB, 0, 10))
    found = list(run(JOB, chunks(4, 10), shelf, HereExecutor, 1))
    assert table(found) == list(range(4))
    assert len(shelf.kept[0]) == 10


class Dying(Executor):
    """Breaks at every third call, as a pool whose worker was killed."""

    calls = 0

    def submit(self, function: Any, /, *args: Any, **kwargs: Any) -> Future[Any]:
        Dying.calls += 1
        future: Future[Any] = Future()
        if Dying.calls % 3 == 0:
            future.set_exception(BrokenExecutor("killed"))
        else:
            future.set_result(function(*args, **kwargs))
        return future


def test_dead_workers_are_survived(monkeypatch: pytest.MonkeyPatch) -> None:
    """What was under way when a worker died is flown again, and nothing comes twice."""
    monkeypatch.setattr(running, "fly_chunk", numbered)
    Dying.calls = 0
    found = list(run(JOB, chunks(60, 5), Shelf(), Dying, 2))
    assert table(found) == list(range(60))
    assert len(found) == 12
    assert Dying.calls > 12


def test_workers_that_always_die_end_the_run(monkeypatch: pytest.MonkeyPatch) -> None:
    """After a handful of deaths on one chunk it says so instead of going on for ever."""

    class Dead(Executor):
        def submit(self, function: Any, /, *args: Any, **kwargs: Any) -> Future[Any]:
            future: Future[Any] = Future()
            future.set_exception(BrokenExecutor("killed"))
            return future

    with pytest.raises(FlightError, match=r"workers died \d times while samples 0 to 4"):
        list(run(JOB, chunks(5, 5), Shelf(), Dead, 1))


def test_an_error_of_a_chunk_is_not_hidden(monkeypatch: pytest.MonkeyPatch) -> None:
    """A bug in a worker comes out as it is."""

    def wrong(job: Any, first: int, count: int) -> Rows:
        raise RuntimeError("a bug")

    monkeypatch.setattr(running, "fly_chunk", wrong)
    with pytest.raises(RuntimeError, match="a bug"):
        list(run(JOB, chunks(5, 5), Shelf(), HereExecutor, 1))


class Refusing(Executor):
    """Takes two calls, then is broken at `submit`, as a pool whose worker died in between."""

    made = 0

    def __init__(self) -> None:
        Refusing.made += 1
        self.left = 2

    def submit(self, function: Any, /, *args: Any, **kwargs: Any) -> Future[Any]:
        self.left -= 1
        if self.left < 0:
            raise BrokenExecutor("died in between")
        future: Future[Any] = Future()
        future.set_result(function(*args, **kwargs))
        return future


def test_a_pool_found_broken_is_made_anew(monkeypatch: pytest.MonkeyPatch) -> None:
    """A death that shows only when the next chunk is given: that chunk goes to a new pool."""
    monkeypatch.setattr(running, "fly_chunk", numbered)
    Refusing.made = 0
    found = list(run(JOB, chunks(60, 5), Shelf(), Refusing, 2))
    assert table(found) == list(range(60))
    assert Refusing.made == 6


def test_chunks_are_taken_as_they_are_needed(monkeypatch: pytest.MonkeyPatch) -> None:
    """No list of all chunks is made, held or not: a run without an end may be begun, and left."""
    monkeypatch.setattr(running, "fly_chunk", numbered)
    shelf = Shelf()
    shelf.keep(5, numbered(JOB, 5, 5))
    endless = (Chunk(5 * k, 5) for k in itertools.count())
    begun = run(JOB, endless, shelf, HereExecutor, 1)
    found = list(itertools.islice(begun, 20))
    assert table(found) == list(range(100))
    assert next(endless).first == 100
    begun.close()  # type: ignore[attr-defined]


def kills_itself_once(job: Any, first: int, count: int) -> Rows:
    """Kills its own process the first time that chunk 10 is flown; job names a file to note it."""
    if first == 10 and not os.path.exists(job):  # noqa: PTH110
        with open(job, "w"):  # noqa: PTH123
            pass
        os.kill(os.getpid(), signal.SIGKILL)
    return numbered(job, first, count)


def test_a_killed_process_of_a_real_pool_is_survived(
    tmp_path: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    """kill -9 of a worker in the midst of a run: the pool is made anew, the rows are all there."""
    monkeypatch.setattr(running, "fly_chunk", kills_itself_once)
    job: Any = str(tmp_path / "killed")
    found = list(run(job, chunks(40, 5), Shelf(), local(2), 2))
    assert os.path.exists(job)  # noqa: PTH110
    assert table(found) == list(range(40))
