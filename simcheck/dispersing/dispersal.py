"""A whole dispersion: fly the chunks, gather the rows in order, stop in time, sum up."""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import Executor
from typing import NamedTuple, Protocol

import numpy as np

from simcheck.dispersing.flights import Job
from simcheck.dispersing.running import Chunk, Store, chunks, run
from simcheck.dispersing.summary import summarise
from simcheck.dispersing.tallying import Table
from simcheck.kernels.rates import settled
from simcheck.records.dispersion import Dispersion, Rows

CHUNK = {True: 1000, False: 500}
"""Samples a chunk, by whether the loop is closed: some seconds' work of one worker. Rows do not
depend on it; where a run may stop once it is decided does."""

RULE = (
    "at the first chunk after which the flights are 1/(1 - confidence) times likelier under the "
    "rates beyond the success asked for, averaged, than under it; that may be looked at as often "
    "as one likes (Ville 1939, Robbins 1970)"
)


class Progress(NamedTuple):
    """How far a run has come: samples done, of how many, and those of them within."""

    done: int
    samples: int
    within: int


class Watcher(Protocol):
    """Is told how a run comes along."""

    def __call__(self, progress: Progress) -> None:
        """Called after each chunk."""


class Interrupted(KeyboardInterrupt):
    """A run broken off: `partial` sums up the samples flown without a gap, None if too few."""

    def __init__(self, partial: Dispersion | None, flown: int) -> None:
        super().__init__("interrupted")
        self.partial, self.flown = partial, flown


def disperse(
    job: Job,
    samples: int,
    store: Store,
    table: Table,
    start: Callable[[], Executor],
    workers: int,
    *,
    until_decided: bool = False,
    watcher: Watcher | None = None,
) -> Dispersion:
    """Fly samples 0 to samples - 1 and sum them up.

    table takes the rows: those of the samples summed up are in it in the end. until_decided stops
    at the first chunk, in order of samples, that settles the question. Raises Interrupted on
    Ctrl-C.
    """
    gathered = _Gathered(job, samples)
    try:
        for chunk, found in run(
            job, chunks(samples, CHUNK[job.closed_loop]), store, start, workers
        ):
            table.put(chunk.first, found)
            gathered.add(chunk, found)
            if watcher is not None:
                watcher(gathered.progress)
            if until_decided and gathered.settled is not None:
                count = gathered.settled
                return summarise(job, table, count, f"stopped {RULE}", looked_on=True)
    except KeyboardInterrupt:
        part = gathered.whole
        partial = summarise(job, table, part, "interrupted", looked_on=True) if part else None
        raise Interrupted(partial, gathered.done) from None
    return summarise(job, table, samples, "all samples flown", looked_on=until_decided)


class _Gathered:
    """Chunks as they come in, counted in order of samples from the first on without a gap."""

    def __init__(self, job: Job, samples: int) -> None:
        self.job, self.samples = job, samples
        self.done, self.within, self.whole, self.good = 0, 0, 0, 0
        self.waiting: dict[int, tuple[int, int]] = {}  # by first sample: flights, those within
        self.settled: int | None = None

    def add(self, chunk: Chunk, rows: Rows) -> None:
        """Count a chunk; the decision looks at chunks in order, whatever order they come in."""
        good = int(np.sum(rows["within"]))
        self.done += chunk.size
        self.within += good
        self.waiting[chunk.first] = chunk.size, good
        while self.whole in self.waiting:
            size, good = self.waiting.pop(self.whole)
            self.good += good
            self.whole += size
            if self.settled is None and self._decides():
                self.settled = self.whole

    def _decides(self) -> bool:
        aim = self.job.case.dispersion
        return settled(self.good, self.whole, aim.success, aim.confidence) != "inconclusive"

    @property
    def progress(self) -> Progress:
        """How far it has come."""
        return Progress(self.done, self.samples, self.within)
