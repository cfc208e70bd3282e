"""What each burn of a plan is worth: the cost of leaving it out, and of making it elsewhere.

Both with all other burns free to answer; the slot is met no later without a burn, and at the same
time with a burn made elsewhere.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from simcheck.arrays import Array
from simcheck.kernels.optimising import give_of
from simcheck.kernels.vectors import cross, dot, norm
from simcheck.planning.candidates import Candidate
from simcheck.planning.courses import (
    Field,
    Whose,
    bounds_of,
    burn_count,
    edges_of,
    field_of,
    legs_of,
    look_at,
    point_of,
)
from simcheck.planning.finishing import converged_without
from simcheck.planning.problem import Problem
from simcheck.planning.refining import MOST_BURNS

MOVED_RAD = np.radians(10.0)
"""How far along its orbit a burn is moved to say what that costs."""

_TOUCHED = 1e-4
_LARGEST = 0.2  # of the plan's cost: beyond this the parabola is no answer


class Worth(NamedTuple):
    """Extra Δv in m/s without a burn (inf: none found), and with it moved; NaN where unknown."""

    without: float
    moved: float


UNKNOWN = Worth(np.nan, np.nan)
"""Where nothing was computed."""


def worths(problem: Problem, candidate: Candidate, fewer: float = np.inf) -> list[Worth]:
    """The worth of each burn; NaN for plans that are not courses of two to five burns.

    fewer: the least Δv in m/s known of a plan with fewer burns that arrives no later.
    """
    count = len(candidate.impulses)
    if not (problem.aims_phase and problem.aims_circle and problem.aims_plane):
        return [UNKNOWN] * count
    if not 2 <= count <= MOST_BURNS:
        return [UNKNOWN] * count
    field, point = field_of(problem), point_of(problem, candidate)
    speed = problem.radius_m * problem.motion.rate
    moved, last = _moved(field, point) * speed, candidate.impulses[-1].size / speed
    return [
        Worth(
            min(cost * speed, fewer) - candidate.dv,
            shift if shift < _LARGEST * candidate.dv else np.nan,
        )
        for cost, shift in zip(converged_without(field, point, last), moved, strict=True)
    ]


def _moved(field: Field, point: Array) -> Array:
    """Cost (n,) of moving each burn along its orbit, to second order; NaN where time binds."""
    count = burn_count(point)
    bounds = bounds_of(count, field.span)

    def slopes(points: Array, rows: Whose) -> tuple[Array, Array, Array, Array]:
        cost, slope, rest, bend = look_at(field, points, bounds.of(rows))
        slope[:, count - 1] = bend[:, :, count - 1] = 0.0  # the arrival is held
        return cost, slope, rest, bend

    give = give_of(slopes, point)[:count]
    legs = legs_of(field, point[None])
    r, v = legs.positions[0], legs.before[0]
    seconds = MOVED_RAD * dot(r, r) / np.maximum(norm(cross(r, v)), 1e-9)
    with np.errstate(all="ignore"):
        cost = np.where(give > 0, seconds**2 / (2 * give), np.nan)
    touched = edges_of(field, point[None], bounds)[0][: count + 1] > -_TOUCHED
    return np.where(touched[:-1] | touched[1:], np.nan, cost)
