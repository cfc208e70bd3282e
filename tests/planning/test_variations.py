"""Courses next to a course: what each variation changes, and that it changes nothing else."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from simcheck.planning.courses import field_of, legs_of
from simcheck.planning.proving import history
from simcheck.planning.refining import started, tightened
from simcheck.planning.seeds import lambert_pairs
from simcheck.planning.variations import (
    drawn_earlier,
    parted,
    pruned,
    with_another,
    with_fewer,
    without_each,
)
from tests.planning.problems import problem

TIMES = np.array([1.0, 2.0, 2.1, 5.0])
BURNS = np.array([[0.3, 0.0, 0.0], [0.0, 0.2, 0.0], [0.0, 0.0, 0.02]])
COURSE = started(np.concatenate([TIMES, BURNS.ravel()]), 6.0)


def test_another_burn_makes_an_optimum_cheaper() -> None:
    """Two-burn optima with a primer longer than one get a third burn, and then cost less."""
    field = field_of(replace(problem(), end_s=16.8 * 3600.0))
    pairs = [started(x, field.span) for x in lambert_pairs(field)[:3]]
    for course in tightened(field, pairs, 100.0, settled=1e-12, steps=30):
        (start,) = with_another(field, [course])
        assert start.number == 3
        assert np.all(np.diff(start.times) > 0)
        assert start.arrival == course.arrival
        added = int(np.flatnonzero(~np.isin(start.times, course.times))[0])
        primer = history(field, course.point, course.latest)
        assert start.times[added] == primer.peak_time
        along = start.burns[added] @ primer.peak_vector
        assert along == pytest.approx(2e-3 * primer.peak, rel=1e-2)  # the peak is interpolated
        (better,) = tightened(field, [start], 100.0, settled=1e-12, steps=30)
        assert better.cost < course.cost * (1 - 1e-3)


def test_most_burns_are_enough() -> None:
    """A course of five burns gets no sixth."""
    field = field_of(problem())
    five = started(np.concatenate([np.arange(1.0, 6.0), np.full(12, 0.1)]), 6.0)
    assert with_another(field, [five]) == []


def test_small_burns_are_left_out_and_near_ones_merged() -> None:
    """The third burn is small, and so near the second that both may be one, at the second's time.

    0.02 of 0.52 is below the 0.15 that counts as small; 0.1 rad below the 0.2 that is near.
    """
    without, merged = with_fewer(COURSE)
    assert without.times == pytest.approx([1.0, 2.0, 5.0])
    assert without.burns == pytest.approx(BURNS[:2])
    assert merged.times == pytest.approx([1.0, 2.0, 5.0])
    assert merged.burns == pytest.approx(np.array([[0.3, 0.0, 0.0], [0.0, 0.2, 0.02]]))
    assert with_fewer(started(np.arange(5.0), 6.0)) == []


def test_each_burn_is_left_out_in_turn() -> None:
    """The arrival stays; without its last burn the one before closes the course at that time."""
    first, second, third, last = trials = without_each(COURSE)
    assert [x.origin for x in trials] == [0, 1, 2, 3]
    assert {x.arrival for x in trials} == {5.0}
    assert first.times == pytest.approx([2.0, 2.1, 5.0])
    assert first.burns == pytest.approx(BURNS[1:])
    assert second.burns == pytest.approx(BURNS[[0, 2]])
    assert third.burns == pytest.approx(BURNS[:2])
    assert last.times == pytest.approx([1.0, 2.0, 5.0])
    assert last.burns == pytest.approx(BURNS[:2])


@pytest.mark.parametrize(("size", "kept"), [(0.02, True), (0.004, False)])
def test_a_burn_of_next_to_nothing_is_pruned(size: float, kept: bool) -> None:
    """Below a hundredth of the others, and nothing else."""
    burns = np.concatenate([BURNS[:2], [[0.0, 0.0, size]]])
    left = pruned(started(np.concatenate([TIMES, burns.ravel()]), 6.0))
    assert (left is None) == kept
    assert left is None or left.burns == pytest.approx(BURNS[:2])


def test_all_burns_of_next_to_nothing_go_at_once() -> None:
    """What is left is the burn that counts, and the last."""
    burns = np.array([[0.3, 0.0, 0.0], [0.0, 1e-4, 0.0], [0.0, 0.0, 1e-4]])
    left = pruned(started(np.concatenate([TIMES, burns.ravel()]), 6.0))
    assert left is not None
    assert left.times == pytest.approx(TIMES[[0, 3]])
    assert left.burns == pytest.approx(burns[:1])


def test_a_burn_at_its_longest_is_parted() -> None:
    """Half of the longest, here the last, is made ahead of it; all others stay."""
    field = field_of(problem())._replace(longest=1e-6)
    (left,) = parted(field, [COURSE])
    assert left.number == COURSE.number + 1
    assert left.burns[:-1] == pytest.approx(BURNS)
    last = legs_of(field, COURSE.point[None]).burns[0, -1]
    assert left.burns[-1] == pytest.approx(last / 2)
    assert np.all(np.diff(left.times) > 0)
    assert left.arrival == COURSE.arrival


def test_burns_short_enough_stay_whole() -> None:
    """Nothing is parted where neither time nor sweep bounds a burn."""
    assert parted(field_of(problem())._replace(longest=np.inf, arc=np.inf), [COURSE]) == []


def test_earlier_arrivals_shrink_all_times_alike() -> None:
    """The latest arrival allowed is the new one, burns stay, and the course itself is untouched."""
    half, tenth = drawn_earlier([COURSE], (0.5, 0.1))
    assert (half.arrival, half.latest) == (2.5, 2.5)
    assert half.times == pytest.approx(TIMES / 2)
    assert tenth.burns == pytest.approx(BURNS)
    assert COURSE.times == pytest.approx(TIMES)
