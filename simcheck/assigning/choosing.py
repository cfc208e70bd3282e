"""The best assignment from as few plans as prove it.

Every pair of craft and slot has a cost that no plan goes below and one that is expected. The best
assignment by what is expected is planned; then what no plan goes below says whether any other could
be better by more than ALIKE. While one could, the best by what is now expected is planned, and the
pairs that would settle it if all is as expected: the value returned is what planning every pair
would give. Assignments that are alike are told apart by what is expected of them.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import NamedTuple, TypeAlias

import numpy as np

from simcheck.arrays import Array
from simcheck.assigning.solving import Objective, Rank, Solution, alike, unmatched
from simcheck.records.plan import Plan

_TOGETHER = 6  # pairs planned at once at least where more than one will have to be


class Refused(NamedTuple):
    """Why there is no plan: the error's message, the limit that binds and by how much."""

    message: str
    limit: str
    excess: float


Place: TypeAlias = tuple[int, int]
Answer: TypeAlias = Plan | Refused
Ask: TypeAlias = Callable[[Sequence[Place]], Sequence[Answer]]
Price: TypeAlias = Callable[[int, Plan], float]


@dataclass
class Table:
    """What is known of every pair (n, m) of craft and slot; infinite where a craft cannot go.

    lower bounds the cost of any plan, guess is what is expected; dv (m/s) and arrival (s), finite,
    are what is expected of those. All four take a plan's own values once there is one. answers are
    the plans, and why there is none.
    """

    objective: Objective
    lower: Array
    guess: Array
    dv: Array
    arrival: Array
    answers: dict[Place, Answer] = field(default_factory=dict)

    def unknown(self, solution: Solution) -> list[Place]:
        """The pairs of a solution that were not planned yet."""
        pairs = ((row, int(column)) for row, column in enumerate(solution.columns))
        return [pair for pair in pairs if pair not in self.answers]

    def learn(self, ask: Ask, price: Price, places: list[Place]) -> None:
        """Plan some pairs and take over what that says."""
        if not places:
            return
        for place, answer in zip(places, ask(places), strict=True):
            self.answers[place] = answer
            self.lower[place] = self.guess[place] = np.inf
            if isinstance(answer, Plan):
                self.lower[place] = self.guess[place] = price(place[0], answer)
                self.dv[place] = answer.total_dv_m_s
                self.arrival[place] = answer.arrival_time_s

    @property
    def by_guess(self) -> Rank:
        """Assignments by what is expected."""
        return Rank(self.objective, self.guess, self.dv, self.arrival)

    @property
    def by_bound(self) -> Rank:
        """Assignments by what no plan goes below; the least value bounds every assignment's."""
        return Rank(self.objective, self.lower, self.dv, self.arrival)


def choose(table: Table, ask: Ask, price: Price) -> tuple[Solution, float] | None:
    """The best assignment, all of its pairs planned, and the bound on every other's value.

    None where there is no assignment at all.
    """
    held: Solution | None = None
    while True:
        best = _kept(table, held)
        new = [] if best is None else table.unknown(best)
        if best is not None and new:
            table.learn(ask, price, _with_company(table, best, new))
        least = table.by_bound.solve()
        if least is None:
            return None
        if best is not None:
            best = Solution(best.columns, table.by_guess.value(best.columns))
            if alike(best.value, least.value):
                return best, min(least.value, best.value)
            held = best
        if new:
            continue
        unknown = _with_company(table, best, []) or table.unknown(least)
        if not unknown:  # the bound is an assignment of plans, alike to the best but for rounding
            return least, least.value
        table.learn(ask, price, unknown)


def _kept(table: Table, held: Solution | None) -> Solution | None:
    """The best by what is expected, or what was planned already where that is as good."""
    best = table.by_guess.solve()
    if best is None or held is None:
        return best
    value = table.by_guess.value(held.columns)
    return Solution(held.columns, value) if alike(value, best.value) else best


def _with_company(table: Table, best: Solution | None, new: list[Place]) -> list[Place]:
    """Pairs to plan together: new ones, and some that the proof will ask for if guesses are right.

    How many there are does not depend on how many hands there are to plan them.
    """
    most = max(len(table.lower), _TOGETHER)
    if best is None or len(new) >= most:
        return new
    doubtful = _in_doubt if table.objective == "largest" else _undercutting
    return [*new, *doubtful(table, best, new, most - len(new))]


def _undercutting(table: Table, best: Solution, new: list[Place], most: int) -> list[Place]:
    """What stands in assignments whose bounds sum to less than the best, as they turn up.

    The pair that is expected to raise such a sum most is taken, and believed to.
    """
    lower = table.lower.copy()
    chosen: list[Place] = []
    for place in new:
        lower[place] = table.guess[place]
    while len(chosen) < most:
        least = table.by_bound._replace(costs=lower).solve()
        if least is None or alike(best.value, least.value):
            break
        open_ones = [x for x in table.unknown(least) if x not in new and x not in chosen]
        if not open_ones:
            break
        place = max(open_ones, key=lambda x: table.guess[x] - lower[x])
        lower[place] = table.guess[place]
        chosen.append(place)
    return chosen


def _in_doubt(table: Table, best: Solution, new: list[Place], most: int) -> list[Place]:
    """What shuts out every assignment with a largest cost below the best's, cheapest first.

    By what is expected some craft can all be placed below that cost in fewer slots than they are:
    none of their other pairs may turn out to be cheaper.
    """
    cheap = np.array([[not alike(best.value, x) for x in row] for row in table.guess])
    rows = unmatched(cheap)
    columns = np.flatnonzero(~cheap[rows].any(axis=0))
    places = [(row, int(column)) for row in rows for column in columns]
    doubtful = [
        x
        for x in places
        if x not in table.answers and x not in new and not alike(best.value, table.lower[x])
    ]
    return sorted(doubtful, key=lambda x: table.guess[x])[:most]
