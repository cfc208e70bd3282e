"""The solver against trying every assignment."""

from __future__ import annotations

from itertools import combinations, permutations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from simcheck.assigning.solving import ALIKE, Objective, Rank, unmatched

COSTS = st.one_of(
    st.sampled_from([0.0, 1.0, 2.0, 3.0, np.inf]),  # so that ties and dead ends abound
    st.floats(0.0, 2000.0),
)
OBJECTIVES: tuple[Objective, ...] = ("sum", "largest")
ROUNDING = 1e-9


@st.composite
def ranks(draw: st.DrawFn) -> Rank:
    n = draw(st.integers(1, 4))
    m = draw(st.integers(n, 5))

    def matrix(values: st.SearchStrategy[float]) -> np.ndarray:
        return np.array(draw(st.lists(values, min_size=n * m, max_size=n * m))).reshape(n, m)

    finite = st.floats(0.0, 100.0)
    objective = draw(st.sampled_from(OBJECTIVES))
    return Rank(objective, matrix(COSTS), matrix(finite), matrix(finite))


def every(rank: Rank) -> list[tuple[float, tuple[int, ...]]]:
    """Every assignment with its value, those without one left out."""
    n, m = rank.costs.shape
    join = sum if rank.objective == "sum" else max
    found = []
    for columns in permutations(range(m), n):
        value = float(join(rank.costs[row, column] for row, column in enumerate(columns)))
        if np.isfinite(value):
            found.append((value, columns))
    return sorted(found)


def bar(value: float) -> float:
    return value * (1 + ALIKE) + ROUNDING * 2


@given(ranks())
def test_none_of_all_assignments_is_better(rank: Rank) -> None:
    """The value is the least of all permutations', to the share within which values are alike."""
    found, all_of_them = rank.solve(), every(rank)
    if not all_of_them:
        assert found is None
        return
    assert found is not None
    assert (found.value, tuple(found.columns)) in [
        (pytest.approx(value, abs=1e-12, rel=1e-12), columns) for value, columns in all_of_them
    ]
    assert found.value <= bar(all_of_them[0][0])


@given(ranks())
def test_among_alike_ones_the_ties_decide(rank: Rank) -> None:
    """No assignment of exactly the same value has a lower sum of ties; of seconds where the largest
    counts."""
    found = rank.solve()
    if found is None:
        return
    second = rank.ties if rank.objective == "sum" else rank.seconds

    def sum_of(columns: tuple[int, ...]) -> float:
        return float(sum(second[row, column] for row, column in enumerate(columns)))

    same = [columns for value, columns in every(rank) if value <= found.value]
    assert sum_of(tuple(found.columns)) <= bar(min(map(sum_of, same))) + 1e-6


@given(ranks())
def test_the_second_is_the_best_of_the_others(rank: Rank) -> None:
    """Of all permutations but the best one found."""
    first = rank.solve()
    if first is None:
        return
    others = [x for x in every(rank) if x[1] != tuple(first.columns)]
    found = rank.second(first.columns)
    if not others:
        assert found is None
        return
    assert found is not None
    assert tuple(found.columns) != tuple(first.columns)
    assert found.value <= bar(bar(others[0][0]))


@given(st.integers(1, 5), st.integers(1, 5), st.data())
def test_craft_that_cannot_all_go_are_named(n: int, m: int, data: st.DataObject) -> None:
    """By trying every set of craft: one that reaches fewer slots than it counts, or none exists."""
    cells = data.draw(st.lists(st.booleans(), min_size=n * m, max_size=n * m))
    possible = np.array(cells).reshape(n, m)
    short = [
        rows
        for size in range(1, n + 1)
        for rows in combinations(range(n), size)
        if possible[list(rows)].any(axis=0).sum() < size
    ]
    rows = tuple(unmatched(possible))
    assert (rows in short) if short else rows == ()
