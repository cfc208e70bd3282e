"""Whether a plan is a local optimum: its primer history, judged by Lawden's conditions.

Judged for the plan's own arrival time: burns may move, turn, grow, shrink or be added, the slot is
met no later.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from simcheck.arrays import Array
from simcheck.kernels.primer import Conditions, Primer, Trajectory, primer_of
from simcheck.kernels.transfers import apsis_radii
from simcheck.planning.courses import (
    Field,
    bounds_of,
    burn_count,
    edges_of,
    legs_of,
)

_TOUCHED = 1e-4  # an edge this near counts as active
_SHIFT = 1e-6


def history(field: Field, point: Array, latest: float, *, open_phase: bool = False) -> Primer:
    """The primer of a course (n,) in the ring's units, limits that it touches allowed for."""
    count = burn_count(point)
    edges = edges_of(field, point[None], bounds_of(count, latest))[0]
    legs = legs_of(field, point[None])
    after = legs.before[0] + legs.burns[0]
    path = Trajectory(0.0, point[:count], legs.positions[0], legs.before[0], after)
    touched = edges > -_TOUCHED
    conditions = Conditions(
        _free_times(touched, count), _slopes(path, touched, count), _capped(touched, count), open_phase
    )
    return primer_of(path, conditions, 1.0)


def _free_times(touched: NDArray[np.bool_], count: int) -> NDArray[np.bool_]:
    """Whether each burn's time may move either way; the arrival is given."""
    free = ~(touched[:count] | touched[1 : count + 1])
    free[-1] = False
    return np.asarray(free)


def _capped(touched: NDArray[np.bool_], count: int) -> NDArray[np.bool_]:
    return np.asarray(touched[count + 1 : 2 * count + 1])


def _slopes(path: Trajectory, touched: NDArray[np.bool_], count: int) -> Array:
    """Slopes (n, 6) of the radius limit that the orbit after each burn lies on."""
    slopes = np.zeros((count, 6))
    for k in range(count - 1):
        for side in (0, 1):
            if touched[2 * count + 1 + 2 * k + side]:
                state = np.concatenate([path.positions[k], path.after[k]])
                both = np.concatenate([state + _SHIFT * np.eye(6), state - _SHIFT * np.eye(6)])
                radii = apsis_radii(both[:, :3], both[:, 3:], 1.0)[side]
                slopes[k] = (radii[:6] - radii[6:]) / (2 * _SHIFT)
    return slopes
