"""The best assignment from few plans against planning every pair."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import permutations

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from simcheck.assigning.choosing import Answer, Place, Refused, Table, choose
from simcheck.assigning.solving import ALIKE, Objective
from simcheck.records.plan import Plan
from tests.cli import samples

OBJECTIVES: tuple[Objective, ...] = ("sum", "largest")
NONE = Refused("no plan for a test", "dv", 1.0)


class Planned:
    """Answers from a table of true costs, and counts what it was asked."""

    def __init__(self, truth: np.ndarray) -> None:
        self.truth = truth
        self.asked: list[Place] = []

    def __call__(self, places: Sequence[Place]) -> list[Answer]:
        self.asked += places
        return [self.answer(place) for place in places]

    def answer(self, place: Place) -> Answer:
        cost = float(self.truth[place])
        return samples.plan(total_dv_m_s=cost) if np.isfinite(cost) else NONE


def price(_: int, plan: Plan) -> float:
    return plan.total_dv_m_s


def least(objective: Objective, truth: np.ndarray) -> float:
    """The least value of all permutations; infinite where there is none."""
    n, m = truth.shape
    join = np.sum if objective == "sum" else np.max
    rows = np.arange(n)
    return min(float(join(truth[rows, list(x)])) for x in permutations(range(m), n))


@st.composite
def tables(draw: st.DrawFn) -> tuple[Table, np.ndarray]:
    """What is known, and the truth that it bounds from below: by row, as a floor does."""
    n = draw(st.integers(1, 4))
    m = draw(st.integers(n, 5))

    def matrix(values: st.SearchStrategy[float]) -> np.ndarray:
        return np.array(draw(st.lists(values, min_size=n * m, max_size=n * m))).reshape(n, m)

    truth = 10.0 + matrix(st.one_of(st.floats(0.0, 900.0), st.sampled_from([0.0, np.inf])))
    floors = np.where(np.isfinite(truth), truth, 10.0).min(axis=1, keepdims=True)
    lower = np.repeat(floors * draw(st.sampled_from([1.0, 0.9, 0.0])), m, axis=1)
    slack = matrix(st.one_of(st.just(1.0), st.floats(1.0, 1.5), st.just(np.inf)))
    table = Table(
        draw(st.sampled_from(OBJECTIVES)),
        lower,
        np.maximum(np.where(np.isfinite(truth), truth, 50.0) * slack, lower),
        np.ones((n, m)),
        matrix(st.floats(0.0, 1e5)),
    )
    return table, truth


@given(tables())
def test_it_is_what_planning_every_pair_gives(made: tuple[Table, np.ndarray]) -> None:
    """Whatever was expected, as long as the bounds are bounds."""
    table, truth = made
    planner = Planned(truth)
    found = choose(table, planner, price)
    best = least(table.objective, truth)
    if not np.isfinite(best):
        assert found is None
        return
    assert found is not None
    solution, bound = found
    assert best - 1e-9 <= solution.value <= best * (1 + 2 * ALIKE) + 1e-8
    assert bound <= best * (1 + ALIKE) + 1e-8
    assert not table.unknown(solution)
    assert len(planner.asked) == len(set(planner.asked))


def test_where_all_slots_cost_the_same_only_the_chosen_are_planned() -> None:
    """A floor that every pair reaches proves the first choice: six plans of 36."""
    floor = np.array([[658.0], [824.0], [527.0], [572.0], [778.0], [637.0]])
    truth = np.repeat(floor, 6, axis=1)
    arrival = np.where(np.eye(6, dtype=bool)[::-1], 1e4, 2e4)
    planner = Planned(truth)
    table = Table("sum", truth.copy(), truth.copy(), truth.copy(), arrival)
    found = choose(table, planner, price)
    assert found is not None
    assert len(planner.asked) == 6
    assert list(found[0].columns) == [5, 4, 3, 2, 1, 0]


def test_a_dearer_plan_than_expected_sends_it_elsewhere() -> None:
    """What a plan says replaces what was expected."""
    truth = np.array([[900.0, 500.0], [500.0, 520.0]])
    table = Table(
        "sum",
        np.full((2, 2), 450.0),
        np.array([[460.0, 500.0], [500.0, 460.0]]),
        np.ones((2, 2)),
        np.ones((2, 2)),
    )
    found = choose(table, Planned(truth), price)
    assert found is not None
    assert list(found[0].columns) == [1, 0]
    assert found[0].value == 1000.0


def test_one_dear_craft_is_settled_by_its_own_row() -> None:
    """Only the first craft pays more than its floor anywhere: the others' pairs prove nothing."""
    truth = np.repeat([[830.0], [500.0], [600.0], [700.0], [650.0], [550.0]], 6, axis=1)
    lower = truth.copy()
    lower[0] = 820.0
    planner = Planned(truth)
    for objective in OBJECTIVES:
        planner.asked = []
        table = Table(objective, lower.copy(), truth.copy(), np.ones((6, 6)), np.ones((6, 6)))
        found = choose(table, planner, price)
        assert found is not None
        assert len([place for place in planner.asked if place[0]]) == 5
