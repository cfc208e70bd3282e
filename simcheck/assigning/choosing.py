"""The best assignment from as few plans as prove it.

Every pair of craft and slot has a cost that no plan goes below and one that is expected. The best
assignment by what is expected is planned; then what no plan goes below says whether any other could
be better by more than ALIKE. While one could, the best by what is now expected is planned, or the
one that might be better: the value returned is what planning every pair would give. Assignments
that are alike are told apart by what is expected of them.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import NamedTuple, TypeAlias

import numpy as np

from simcheck.arrays import Array
from simcheck.assigning.solving import Objective, Rank, Solution, alike
from simcheck.records.plan import Plan


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
    while True:
        best = table.by_guess.solve()
        new = [] if best is None else table.unknown(best)
        table.learn(ask, price, new)
        least = table.by_bound.solve()
        if least is None:
            return None
        if best is not None:
            best = Solution(best.columns, table.by_guess.value(best.columns))
            if alike(best.value, least.value):
                return best, min(least.value, best.value)
        if new:
            continue
        unknown = table.unknown(least)
        if not unknown:  # the bound is an assignment of plans, alike to the best but for rounding
            return least, least.value
        table.learn(ask, price, unknown)
