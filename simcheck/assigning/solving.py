"""Who goes where, from a table of costs: the least sum, or the least largest.

Costs (n, m) of n craft by m slots, m no less than n; infinite where a craft cannot go. Assignments
whose values differ by less than a share of ALIKE are alike: of those the one with the least sum of
`ties` is taken; where the largest cost is what counts, the one with the least sum of `seconds`
first, ties among those broken by `ties`. Reference: Crouse (2016), IEEE Transactions on Aerospace
and Electronic Systems 52, 1679, for the solver in scipy.optimize.
"""

from __future__ import annotations

from typing import Literal, NamedTuple, TypeAlias

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import linear_sum_assignment

from simcheck.arrays import Array

Objective: TypeAlias = Literal["sum", "largest"]
Columns: TypeAlias = NDArray[np.intp]

ALIKE = 1e-4
"""Share by which values may differ that are called equal: the planner's own for equal plans."""

_TINY = 1e-9  # beside a value of zero


class Solution(NamedTuple):
    """The slot (column) of each craft (row), and the sum or the largest of the costs there."""

    columns: Columns
    value: float


class Rank(NamedTuple):
    """What an assignment is judged by: costs, and where those are alike `seconds` and `ties`.

    All are (n, m); seconds and ties must be finite where costs are.
    """

    objective: Objective
    costs: Array
    seconds: Array
    ties: Array

    def solve(self, costs: Array | None = None) -> Solution | None:
        """The best assignment, with other costs if given; None where none exists."""
        costs = self.costs if costs is None else costs
        columns = (
            _least_sum(costs, self.ties)
            if self.objective == "sum"
            else _least_largest(costs, self.seconds, self.ties)
        )
        return None if columns is None else Solution(columns, self.value(columns))

    def value(self, columns: Columns) -> float:
        """The sum or the largest of the costs of an assignment."""
        chosen = _at(self.costs, columns)
        return float(np.sum(chosen) if self.objective == "sum" else np.max(chosen))

    def second(self, first: Columns) -> Solution | None:
        """The best assignment that differs from another one; None where there is no other.

        Any other leaves out one of its pairs at least, so the best of those without each is the
        best.
        """
        found = []
        for row, column in enumerate(first):
            others = np.array(self.costs, dtype=np.float64)
            others[row, column] = np.inf
            solution = self.solve(others)
            if solution is not None:
                found.append(solution)
        for rank in (self.value, self._second, self._tie):
            least = min((rank(x.columns) for x in found), default=0.0)
            found = [x for x in found if alike(rank(x.columns), least)]
        return found[0] if found else None

    def _second(self, columns: Columns) -> float:
        return float(np.sum(_at(self.seconds, columns))) if self.objective == "largest" else 0.0

    def _tie(self, columns: Columns) -> float:
        return float(np.sum(_at(self.ties, columns)))


def _at(values: Array, columns: Columns) -> Array:
    return np.asarray(values[np.arange(len(columns)), columns])


def alike(value: float, least: float) -> bool:
    """Whether a value is as good as the least one."""
    return value <= least * (1.0 + ALIKE) + _TINY


def unmatched(possible: NDArray[np.bool_]) -> list[int]:
    """Craft (rows) that together can reach fewer slots than they are; empty where all can go.

    possible (n, m). By Hall's theorem there is such a set where no assignment exists: the rows that
    alternating paths reach from one that a largest matching leaves out.
    """
    holder: dict[int, int] = {}
    for row in range(len(possible)):
        seen: set[int] = set()
        if not _augmented(possible, row, holder, seen):
            return sorted({row, *(holder[column] for column in seen)})
    return []


def _augmented(
    possible: NDArray[np.bool_], row: int, holder: dict[int, int], seen: set[int]
) -> bool:
    """Match a row by an alternating path, moving others; `seen` collects the columns tried."""
    for column in map(int, np.flatnonzero(possible[row])):
        if column in seen:
            continue
        seen.add(column)
        if column not in holder or _augmented(possible, holder[column], holder, seen):
            holder[column] = row
            return True
    return False


def _least_sum(costs: Array, ties: Array) -> Columns | None:
    first = _matched(costs)
    if first is None:
        return None
    least = float(np.sum(_at(costs, first)))
    # All ties together weigh no more than values that are alike differ by.
    weight = (ALIKE * abs(least) + _TINY) / len(costs)
    return _matched(costs + weight * _scaled(costs, ties))


def _least_largest(costs: Array, seconds: Array, ties: Array) -> Columns | None:
    levels = np.unique(costs[np.isfinite(costs)])
    if not len(levels) or _within(costs, levels[-1]) is None:
        return None
    low, high = 0, len(levels) - 1
    while low < high:
        middle = (low + high) // 2
        possible = _within(costs, levels[middle]) is not None
        low, high = (low, middle) if possible else (middle + 1, high)
    most = levels[low] * (1.0 + ALIKE) + _TINY
    return _least_sum(np.where(costs <= most, seconds, np.inf), ties)


def _within(costs: Array, most: float) -> Columns | None:
    return _matched(np.where(costs <= most, 0.0, np.inf))


def _scaled(costs: Array, ties: Array) -> Array:
    """Ties from 0 to 1; 0 where the cost is infinite."""
    good = np.isfinite(costs)
    most = float(np.max(np.abs(ties[good]), initial=0.0))
    return np.where(good, ties, 0.0) / (most or 1.0)


def _matched(costs: Array) -> Columns | None:
    try:
        _, columns = linear_sum_assignment(costs)
    except ValueError:  # of costs that allow no assignment
        return None
    return np.asarray(columns, dtype=np.intp)
