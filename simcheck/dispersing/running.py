"""Chunks through an executor: whatever the workers, their order or their deaths, the same rows.

A chunk is a fixed range of sample numbers, so that results do not depend on who flew what. Finished
chunks go to the store at once; those that it holds already are not flown again. What is held in
memory are the few chunks under way.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import FIRST_COMPLETED, BrokenExecutor, Executor, Future, wait
from typing import NamedTuple, Protocol

from simcheck.dispersing.flights import Job, fly_chunk
from simcheck.errors import FlightError
from simcheck.records.dispersion import Rows

_AHEAD = 3  # chunks under way or waiting for each worker
_DEATHS = 5  # of workers on the way to one and the same chunk before giving up


class Store(Protocol):
    """Where finished chunks are kept: atomically, and never read unless whole."""

    def held(self, first: int) -> Rows | None:
        """The chunk that begins with this sample, None unless it is there and whole."""

    def keep(self, first: int, rows: Rows) -> None:
        """Keep a finished chunk."""


class Chunk(NamedTuple):
    """A range of samples."""

    first: int
    size: int


def chunks(samples: int, size: int) -> Iterator[Chunk]:
    """The ranges that cover samples 0 to samples - 1."""
    return (Chunk(first, min(size, samples - first)) for first in range(0, samples, size))


def run(
    job: Job,
    plan: Iterable[Chunk],
    store: Store,
    start: Callable[[], Executor],
    workers: int,
) -> Iterator[tuple[Chunk, Rows]]:
    """Fly the chunks and yield each with its rows once it is finished; one held already as it is.

    start makes an executor; it is asked for a new one when a worker has died, and what was under
    way is flown again. Raises FlightError where workers keep dying on one chunk.
    """
    flights = _UnderWay(job, start)
    try:
        for chunk in plan:
            held = store.held(chunk.first)
            if held is not None and len(held) >= chunk.size:  # longer: of a run of more samples
                yield chunk, held[: chunk.size]
                continue
            flights.fly(chunk)
            while flights.any_done or flights.count >= _AHEAD * workers:
                yield from _kept(store, flights.finished())
        while flights.count:
            yield from _kept(store, flights.finished())
    finally:
        flights.end()


def _kept(store: Store, finished: list[tuple[Chunk, Rows]]) -> Iterator[tuple[Chunk, Rows]]:
    """Each chunk once it is in the store: all of them before the first, lest one is lost."""
    for chunk, rows in finished:
        store.keep(chunk.first, rows)
    yield from finished


class _UnderWay:
    """The chunks given to an executor, and those to be flown again because a worker died."""

    def __init__(self, job: Job, start: Callable[[], Executor]) -> None:
        self._job, self._start = job, start
        self._executor: Executor | None = None
        self._futures: dict[Future[Rows], Chunk] = {}
        self._again: list[Chunk] = []
        self._deaths = Counter[Chunk]()

    @property
    def count(self) -> int:
        """Chunks that are not finished."""
        return len(self._futures) + len(self._again)

    @property
    def any_done(self) -> bool:
        """Whether `finished` has something at once."""
        return any(future.done() for future in self._futures)

    def fly(self, chunk: Chunk) -> None:
        """Give a chunk to the executor."""
        if self._executor is None:
            self._executor = self._start()
        try:
            future = self._executor.submit(fly_chunk, self._job, chunk.first, chunk.size)
        except BrokenExecutor:
            self._lose([chunk])
        else:
            self._futures[future] = chunk

    def finished(self) -> list[tuple[Chunk, Rows]]:
        """Wait for chunks and give them back in order; none where a worker died instead."""
        while self._again:
            self.fly(self._again.pop())
        done, _ = wait(self._futures, return_when=FIRST_COMPLETED)
        found, lost = [], []
        for future in sorted(done, key=self._futures.__getitem__):
            chunk = self._futures.pop(future)
            try:
                found.append((chunk, future.result()))
            except BrokenExecutor:
                lost.append(chunk)
        if lost:
            self._lose(lost)
        return found

    def _lose(self, lost: list[Chunk]) -> None:
        """Have these flown again, and all that was under way, by a new executor."""
        lost += self._futures.values()
        self._futures.clear()
        for chunk in lost:
            self._deaths[chunk] += 1
            if self._deaths[chunk] > _DEATHS:
                raise FlightError(
                    f"workers died {self._deaths[chunk]} times while samples {chunk.first} to "
                    f"{chunk.first + chunk.size - 1} were under way; there may be too little memory"
                )
        self._again = sorted([*self._again, *lost], reverse=True)
        if self._executor is not None:
            self._executor.shutdown(wait=False, cancel_futures=True)
        self._executor = None

    def end(self) -> None:
        """Let the executor go, without waiting for flights that nobody asks for any more."""
        if self._executor is None:
            return
        at_once = self.count > 0
        processes = dict(getattr(self._executor, "_processes", None) or {}) if at_once else {}
        self._executor.shutdown(wait=False, cancel_futures=True)
        for process in processes.values():
            process.terminate()
