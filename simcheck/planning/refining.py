"""Refining courses: from starts to points that meet the slot at a local minimum of the cost.

Courses of whatever numbers of burns go in one batch, over all their times and vectors at once.
Limits are walls: soft ones let a search move quickly, stiff ones hold it where it has to end.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from simcheck.arrays import Array
from simcheck.kernels.optimising import Minima, minimise
from simcheck.planning.courses import (
    Bounds,
    Field,
    Whose,
    burn_count,
    cost_of,
    edge_count,
    edges_in,
    excess_of,
    look_at,
    padded,
    stripped,
)

MOST_BURNS = 5
"""Burns of a timed plan at most."""

SOFT = 10.0
"""Weight of the walls while courses are refined."""

_STEPS = 30
_ROUGHLY = 1e-6  # relative change of the cost at which a course is settled
_HOPELESS = 1.25  # a row this much dearer than the best, once on the slot, is given up
_MET = 1e-8


class Course(NamedTuple):
    """A point in the ring's units, its cost, its latest arrival and the shifts of its limits.

    The cost is inf before the course is refined. origin tells the starts of one batch apart.
    """

    cost: float
    point: Array
    latest: float
    shifts: Array
    origin: int = 0

    @property
    def number(self) -> int:
        """Number of burns."""
        return burn_count(self.point)

    @property
    def times(self) -> Array:
        """Time (n,) of each burn."""
        return self.point[: self.number]

    @property
    def burns(self) -> Array:
        """All burns (n - 1, 3) but the last, which takes the slot's velocity."""
        return self.point[self.number :].reshape(-1, 3)

    @property
    def arrival(self) -> float:
        """Time of the last burn."""
        return float(self.point[self.number - 1])


def started(point: Array, latest: float) -> Course:
    """A course to refine from a point (n,), none of its limits shifted."""
    return Course(np.inf, point, latest, np.zeros(edge_count(burn_count(point))))


def refined(
    field: Field, starts: list[Course], steps: int = _STEPS, *, hopeless: float = _HOPELESS
) -> list[Course]:
    """Rough local optima behind soft walls; starts that do not reach the slot are left out.

    A course `hopeless` times dearer than the best with the same latest arrival is given up early.
    """
    return _minima(field, starts, SOFT, settled=_ROUGHLY, steps=steps, hopeless=hopeless)


def continued(field: Field, courses: list[Course], steps: int) -> list[Course]:
    """Courses from `refined` drawn nearer to their optima behind the same walls, by curvature."""
    return tightened(field, courses, SOFT, settled=_ROUGHLY, steps=steps)


def tightened(
    field: Field, courses: list[Course], weight: float, *, settled: float, steps: int
) -> list[Course]:
    """Local optima behind walls of this weight, each settled to a relative change of its cost.

    Curvature is used too, as pays near an optimum.
    """
    return _minima(
        field, courses, weight, settled=settled, steps=steps, hopeless=np.inf, curved=True
    )


def repaired(field: Field, courses: list[Course]) -> list[Course]:
    """The courses brought onto the slot and back within their limits by the least change."""
    if not courses:
        return []
    room = max(x.number for x in courses)
    bounds = _bounds([started(x.point, x.latest) for x in courses], room, 0.0)

    def excess(points: Array, rows: Whose) -> tuple[Array, Array]:
        return excess_of(field, points, bounds.of(rows))

    points = np.array([padded(x.point, room) for x in courses])
    return _met(courses, minimise(excess, points, iterations=0))


def _minima(
    field: Field,
    starts: list[Course],
    weight: float,
    *,
    settled: float,
    steps: int,
    hopeless: float,
    curved: bool = False,
) -> list[Course]:
    """Refine courses in one batch, in the room of the one with most burns."""
    if not starts:
        return []
    room = max(x.number for x in starts)
    bounds = _bounds(starts, room, weight)

    def cost(points: Array, rows: Whose) -> tuple[Array, Array]:
        return cost_of(field, points, bounds.of(rows))

    def slopes(points: Array, rows: Whose) -> tuple[Array, Array, Array, Array]:
        return look_at(field, points, bounds.of(rows))

    _, group = np.unique(np.round(bounds.latest, 9), return_inverse=True)
    minima = minimise(
        cost,
        np.array([padded(x.point, room) for x in starts]),
        slopes=slopes,
        iterations=steps,
        settled=settled,
        hopeless=hopeless,
        group=group.ravel(),
        curved=curved,
    )
    return _met(starts, minima)


def _met(starts: list[Course], minima: Minima) -> list[Course]:
    """The courses at the minima that meet their equations."""
    return [
        start._replace(cost=float(c), point=stripped(x, start.number))
        for start, x, c, gap in zip(starts, *minima, strict=True)
        if np.isfinite(c) and gap < _MET
    ]


def _bounds(courses: list[Course], room: int, weight: float) -> Bounds:
    """What the courses differ in; shifts of a course stand where its own limits are."""
    burns = np.array([x.number for x in courses])
    shifts = np.zeros((len(courses), edge_count(room)))
    for row, course in zip(shifts, courses, strict=True):
        row[edges_in(room, course.number)] = course.shifts
    return Bounds(np.array([x.latest for x in courses]), shifts, burns, weight)
