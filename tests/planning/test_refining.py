"""Refining: courses of different numbers of burns in a batch, as if each were alone."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from simcheck.planning.courses import Field, field_of, keeps, legs_of, slot_at
from simcheck.planning.refining import SOFT, Course, refined, repaired, started, tightened
from simcheck.planning.seeds import seeds
from simcheck.records.wish import Wish
from tests.planning.problems import problem

POSED = replace(problem(), end_s=16.8 * 3600.0)
FIELD = field_of(POSED)


def starts() -> list[Course]:
    """Seeds of two and three burns, the latest arrivals and origins not all the same."""
    points = seeds(POSED, [], Wish())
    chosen = [*points[:4], *points[-4:]]
    return [
        started(x, FIELD.span * (1 - 0.1 * (k % 2)))._replace(origin=k)
        for k, x in enumerate(chosen)
    ]


def end_miss(field: Field, course: Course) -> float:
    """Distance from the slot at the last burn, in radii of the ring."""
    end = legs_of(field, course.point[None]).positions[0, -1]
    return float(np.linalg.norm(end - slot_at(field, np.array(course.arrival))[0]))


def test_a_course_is_read_from_its_point() -> None:
    """Times, then the components of all burns but the last."""
    course = started(np.array([1.0, 2.0, 4.0, 10.0, 11.0, 12.0, 20.0, 21.0, 22.0]), 5.0)
    assert (course.number, course.arrival) == (3, 4.0)
    assert course.times == pytest.approx([1.0, 2.0, 4.0])
    assert course.burns == pytest.approx(np.array([[10.0, 11.0, 12.0], [20.0, 21.0, 22.0]]))
    assert np.isinf(course.cost)


def test_a_batch_refines_each_course_as_if_alone() -> None:
    """Same point and cost beside courses of more burns; same order, start and latest arrival.

    1e-6: idle burns change the order of sums, and a refinement is settled to that.
    """
    together = refined(FIELD, starts(), hopeless=np.inf)
    assert {x.number for x in together} == {2, 3}
    assert [x.origin for x in together] == sorted(x.origin for x in together)
    for course in together:
        start = starts()[course.origin]
        (alone,) = refined(FIELD, [start], hopeless=np.inf)
        assert course.latest == start.latest
        assert course.cost == pytest.approx(alone.cost, rel=1e-6)
        assert end_miss(FIELD, course) < 1e-7


def test_tightening_gains_on_refining() -> None:
    """Behind the same walls a course settled further costs no more, and still meets the slot."""
    rough = refined(FIELD, starts(), 12, hopeless=np.inf)
    fine = tightened(FIELD, rough, SOFT, settled=1e-12, steps=30)
    costs = {x.origin: x.cost for x in rough}
    assert fine
    for course in fine:
        assert course.cost <= costs[course.origin] * (1 + 1e-9)
        assert end_miss(FIELD, course) < 1e-7


def test_nothing_to_refine_gives_nothing() -> None:
    """An empty batch is no error."""
    assert refined(FIELD, []) == []


def test_a_course_behind_soft_walls_is_repaired() -> None:
    """What soft walls let pass keeps its limits afterwards, meets the slot, costs little more."""
    soft = [x for x in refined(FIELD, starts()) if not keeps(FIELD, x.point)]
    assert soft
    mended = [x for x in repaired(FIELD, soft) if keeps(FIELD, x.point)]
    assert mended
    for course in mended:
        (before,) = (x for x in soft if x.origin == course.origin)
        assert end_miss(FIELD, course) < 1e-8
        # A limit passed by a hundredth of a turn or less is mended to first order.
        assert course.cost < before.cost * 1.05
