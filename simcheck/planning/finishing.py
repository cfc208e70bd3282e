"""Finishing courses: walls are shifted until limits hold exactly, burns that are too many dropped.

The best of a search are polished together; the winner is brought to its local optimum, and what it
costs without each burn is found alike. Reference: Nocedal and Wright (2006), section 17.3.
"""

from __future__ import annotations

import numpy as np

from simcheck.arrays import Array
from simcheck.planning.candidates import Candidate
from simcheck.planning.courses import (
    Field,
    bounds_of,
    burn_count,
    edges_of,
    field_of,
    keeps,
    point_of,
)
from simcheck.planning.dating import dated
from simcheck.planning.problem import Problem
from simcheck.planning.refining import MOST_BURNS, SOFT, Course, repaired, started, tightened
from simcheck.planning.seeds import lambert_pairs
from simcheck.planning.variations import pruned, with_another, with_fewer, without_each

_POLISHINGS = ((30.0, 6), (100.0, 4))  # weights of the walls, and steps with them
_FINELY = 1e-9  # relative change of the cost at which a polished course is settled
_STIFF, _FINISHING, _DONE = 100.0, 10, 1e-12  # the same three for the winner
_SHIFTINGS, _UNMOVED = 3, 1e-7  # a change of a shift that is none
_ROUGH_SHIFTINGS, _ROUGHLY = 2, 1e-7  # where only the cost is asked for
_TRIALS = 2
_EQUAL, _LESS = 2e-5, 2e-6  # relative: courses that cost the same, and a gain worth having
_GRID, _PAIRS = 20, 2  # departures of the two-burn arcs tried in place of a plan less one burn


def polished(field: Field, courses: list[Course]) -> list[Course]:
    """Courses from `refined` behind stiffer walls, with and without burns of next to nothing.

    Every state that keeps its limits is returned, those behind the stiffest walls last; a course
    that never does is brought back within them in the end.
    """
    kept: list[Course] = []
    weight = SOFT
    courses = courses + [x for x in map(pruned, courses) if x is not None]
    for stiffer, steps in _POLISHINGS:
        shifted = [_shifted(field, x) for x in courses]
        courses = [x._replace(shifts=x.shifts * weight / stiffer) for x in shifted]
        weight = stiffer
        courses = tightened(field, courses, weight, settled=_FINELY, steps=steps)
        kept += [x for x in courses if keeps(field, x.point)]
    astray = [x for x in courses if not keeps(field, x.point)]
    return kept + [x for x in repaired(field, astray) if keeps(field, x.point)]


def finished(problem: Problem, candidate: Candidate) -> Candidate:
    """The local optimum next to a candidate that arrives no later, with no burn too many or few.

    Burns are left out where that costs nothing, and added where the primer is longer than one. The
    candidate itself where it is not a course or nothing better is found.
    """
    if not 2 <= len(candidate.impulses) <= MOST_BURNS or not problem.aims_phase:
        return candidate
    field = field_of(problem)
    point = point_of(problem, candidate)
    speed = problem.radius_m * problem.motion.rate
    latest = float(point[burn_count(point) - 1]) + field.half * candidate.impulses[-1].size / speed
    start = started(point, min(latest, field.span))._replace(cost=candidate.dv / speed)
    bar = start.cost * (1 + _EQUAL)
    # A burn too many makes a valley that Newton's steps follow for long: it goes first.
    slim = [x for x in _converged(field, with_fewer(start), bar=bar) if x.cost < bar]
    start = min(slim or [start], key=lambda x: x.cost)
    best = min([start, *_converged(field, [start])], key=lambda x: x.cost)
    for turn in range(_TRIALS):
        bar = best.cost * (1 + _EQUAL)
        fewer = with_fewer(best) if turn or slim else []
        tried = _converged(field, [*fewer, *with_another(field, [best])], bar=bar)
        same = [x for x in tried if x.number < best.number and x.cost < bar]
        less = [x for x in tried if x.cost < best.cost * (1 - _LESS)]
        if not same and not less:
            break
        best = min(less or same, key=lambda x: x.cost)
    made = dated(problem, best.point)
    return made if made.dv < candidate.dv * (1 + _EQUAL) else candidate


def converged_without(field: Field, point: Array, last: float) -> list[float]:
    """The least cost found without each burn of a point (n,), inf where none is in time.

    last: the size of the last burn; the slot is met no later than that burn ends.
    """
    count = burn_count(point)
    latest = min(float(point[count - 1]) + field.half * last, field.span)
    if count < 3:
        return [np.inf] * count
    trials = without_each(started(point, latest))
    pairs = lambert_pairs(field._replace(span=latest), _GRID)[:_PAIRS]
    trials += [started(pair, latest)._replace(origin=count) for pair in pairs]
    done = _converged(field, trials, _ROUGH_SHIFTINGS, settled=_ROUGHLY)
    least = [min((x.cost for x in done if x.origin == k), default=np.inf) for k in range(count + 1)]
    return [min(cost, least[count]) for cost in least[:count]]


def _converged(
    field: Field,
    courses: list[Course],
    shiftings: int = _SHIFTINGS,
    *,
    bar: float = np.inf,
    settled: float = _DONE,
) -> list[Course]:
    """The last states of each course that keep its limits, walls shifted until they hold.

    Courses that cost more than `bar`, walls and all, are given up.
    """
    kept: list[Course] = []
    for _ in range(shiftings):
        if not courses:
            break
        courses = tightened(field, courses, _STIFF, settled=settled, steps=_FINISHING)
        kept += [x for x in courses if keeps(field, x.point)]
        courses = [x for x in courses if x.cost < bar]
        shifted = [_shifted(field, x) for x in courses]
        pairs = zip(shifted, courses, strict=True)
        courses = [x for x, y in pairs if np.max(np.abs(x.shifts - y.shifts)) > _UNMOVED]
    return kept[::-1]


def _shifted(field: Field, course: Course) -> Course:
    """The course with its walls moved by what it still passes them."""
    over = edges_of(field, course.point[None], bounds_of(course.number, course.latest))[0]
    return course._replace(shifts=np.maximum(over + course.shifts, 0.0))
