"""Chunks through an executor: whatever the workers, their order or their deaths, the same rows.

A chunk is a fixed range of sample numbers, so that results do not depend on who flew what. Finished
chunks go to the store at once; those that it holds already are not flown again.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
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


def chunks(samples: int, size: int) -> list[Chunk]:
    """The ranges that cover samples 0 to samples - 1."""
    return [Chunk(first, min(size, samples - first)) for first in range(0, samples, size)]


def run(
    job: Job,
    plan: list[Chunk],
    store: Store,
    start: Callable[[], Executor],
    workers: int,
) -> Iterator[tuple[Chunk, Rows]]:
    """Fly the chunks and yield each with its rows as it is finished, those held already first.

    start makes an executor; it is asked for a new one when a worker has died, and what was under
    way is flown again. Raises FlightError where workers keep dying on one chunk.
    """
    missing = []
    for chunk in plan:
        held = store.held(chunk.first)
        if held is not None and len(held) == chunk.size:
            yield chunk, held
        else:
            missing.append(chunk)
    if missing:
        yield from _flown(job, missing, store, start, workers)


def _flown(
    job: Job, missing: list[Chunk], store: Store, start: Callable[[], Executor], workers: int
) -> Iterator[tuple[Chunk, Rows]]:
    waiting, deaths = list(reversed(missing)), dict.fromkeys(missing, 0)
    executor = start()
    under_way: dict[Future[Rows], Chunk] = {}
    try:
        while waiting or under_way:
            while waiting and len(under_way) < _AHEAD * workers:
                chunk = waiting.pop()
                under_way[executor.submit(fly_chunk, job, chunk.first, chunk.size)] = chunk
            done, _ = wait(under_way, return_when=FIRST_COMPLETED)
            lost = []
            for future in sorted(done, key=under_way.__getitem__):
                chunk = under_way.pop(future)
                try:
                    rows = future.result()
                except BrokenExecutor:
                    lost.append(chunk)
                    continue
                store.keep(chunk.first, rows)
                yield chunk, rows
            if lost:
                lost += under_way.values()
                _count_deaths(deaths, lost)
                waiting += sorted(lost, reverse=True)
                under_way.clear()
                executor.shutdown(wait=False, cancel_futures=True)
                executor = start()
    finally:
        _end(executor, at_once=bool(waiting or under_way))


def _end(executor: Executor, *, at_once: bool) -> None:
    """Let an executor go; at once: without waiting for flights that nobody asks for any more."""
    processes = dict(getattr(executor, "_processes", None) or {}) if at_once else {}
    executor.shutdown(wait=False, cancel_futures=True)
    for process in processes.values():
        process.terminate()


def _count_deaths(deaths: dict[Chunk, int], lost: list[Chunk]) -> None:
    for chunk in lost:
        deaths[chunk] += 1
        if deaths[chunk] > _DEATHS:
            raise FlightError(
                f"workers died {deaths[chunk]} times while samples {chunk.first} to "
                f"{chunk.first + chunk.size - 1} were under way; there may be too little memory"
            )
