"""One pass over the rows of many flights, some at a time: counts, sums, the numbers to look at."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Protocol

import numpy as np

from simcheck.arrays import Array
from simcheck.records.case import Case
from simcheck.records.dispersion import COLUMNS, OUTCOMES, Rows, columns_of
from simcheck.records.quantities import QUANTITIES, listed_tolerances

NUMBERS = tuple(name for name, kind, _, _ in COLUMNS if kind == "<f8")
"""Columns of every case that have percentiles."""

SPENT = -1
"""Column, after those of the case, of the propellant used by the flights within, NaN for others."""

LISTED = 10_000
"""Failures whose numbers are kept; all of them are in the rows."""

_WORST = 10


class Table(Protocol):
    """Rows of a run, more of them than memory holds."""

    def put(self, first: int, rows: Rows) -> None:
        """Put the rows of samples first, first + 1, ... in their place, in any order."""

    def blocks(self, count: int) -> Iterator[Rows]:
        """The rows of samples 0 to count - 1, some at a time."""


class Tally:
    """What has been counted: values with a number and their means, column by column, and the rest.

    known and mean are (columns,), in the order of `columns`, whose names but the last are `names`.
    """

    def __init__(self, case: Case, table: Table, count: int) -> None:
        self.within, self.failures = 0, list[int]()
        self.outcomes = np.zeros(len(OUTCOMES), dtype=np.int64)
        self.names = numbers_of(case)
        self.known = np.zeros(len(self.names) + 1, dtype=np.int64)
        sums: list[Array] = []
        worst = np.empty((0, 2))
        for rows in table.blocks(count):
            failed = rows["sample"][rows["within"] == 0]
            self.within += len(rows) - len(failed)
            self.failures += failed[: LISTED - len(self.failures)].tolist()
            self.outcomes += np.bincount(rows["outcome"], minlength=len(OUTCOMES))
            values = columns(rows, self.names)
            finite = np.isfinite(values)
            self.known += finite.sum(axis=0)
            sums.append(np.sum(np.where(finite, values, 0.0), axis=0))
            worst = _further(worst, case, rows)
        self.worst = tuple(int(k) for k in worst[:, 1])
        total = np.array([math.fsum(part) for part in zip(*sums, strict=True)])
        self.mean = np.where(self.known > 0, total / np.maximum(self.known, 1), np.nan)


def numbers_of(case: Case) -> tuple[str, ...]:
    """The columns of a case's rows that have percentiles, NUMBERS first."""
    return tuple(name for name, kind, _, _ in columns_of(case) if kind == "<f8")


def columns(rows: Rows, names: tuple[str, ...], part: slice = slice(None)) -> Array:
    """Values (n, columns): those of the names, then SPENT; or a part of these columns."""
    values = [_spent(rows) if name is None else rows[name] for name in (*names, None)[part]]
    return np.stack(values).T  # each column in one piece, which is read column by column


def _spent(rows: Rows) -> Array:
    return np.where(rows["within"] == 1, rows["propellant_used_kg"], np.nan)


def _further(worst: Array, case: Case, rows: Rows) -> Array:
    """The furthest out, worst first, as (use, sample); one without a value is worse than any."""
    tolerances = listed_tolerances(case.tolerance)
    uses = [
        np.abs(rows[q.error]) / tolerances[q.error] for q in QUANTITIES if q.error in tolerances
    ]
    use = np.max(uses, axis=0) if uses else np.zeros(len(rows))
    use = np.where(np.isfinite(use), use, np.inf)
    both = np.concatenate([worst, np.stack([use, rows["sample"]], axis=-1)])
    return np.asarray(both[np.lexsort((both[:, 1], -both[:, 0]))[:_WORST]])
