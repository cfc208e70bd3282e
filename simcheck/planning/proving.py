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
from simcheck.kernels.vectors import norm, unit
from simcheck.planning.candidates import Candidate
from simcheck.planning.courses import (
    Field,
    bounds_of,
    burn_count,
    edges_of,
    field_of,
    legs_of,
    point_of,
)
from simcheck.planning.problem import Problem
from simcheck.records import plan as record

_TOUCHED = 1e-4  # an edge this near counts as active
_MISSED = 2e-3  # a condition missed by less than this holds: 2 mm/s in a metre a second
_KEPT = 400  # samples of the history that a plan carries
_SHIFT = 1e-6


def proof(problem: Problem, candidate: Candidate) -> record.Primer | None:
    """The primer history of a candidate and its verdict; None where not all elements are aimed at.

    Without a plane, or a phase, to meet, the craft's own plane, or place of arrival, is taken.
    """
    if not candidate.impulses or not problem.aims_circle:
        return None
    rate, last = problem.motion.rate, candidate.impulses[-1]
    point = point_of(problem, candidate)
    arrival = float(point[len(candidate.impulses) - 1])
    field = field_of(problem)._replace(
        first=unit(last.position), second=unit(last.after), phase=-arrival
    )
    own = arrival + field.half * float(norm(last.dv)) / (problem.radius_m * rate) + 2 * _TOUCHED
    primer = history(field, point, own, open_phase=not problem.aims_phase)
    when = problem.start_s + primer.peak_time / rate
    held = _held(field, point)
    fine, why = _judged(primer, candidate, when, held)
    step = max(1, len(primer.times) // _KEPT)
    return record.Primer(
        verdict="local optimum" if fine else "not a local optimum",
        why=why,
        at_burns=primer.at_burns,
        largest_between=primer.peak,
        largest_time_s=when,
        miss=primer.miss,
        time_s=problem.start_s + primer.times[::step] / rate,
        length=primer.lengths[::step],
    )


def _judged(primer: Primer, candidate: Candidate, when: float, held: list[str]) -> tuple[bool, str]:
    """Whether Lawden's conditions hold, and the sentence that says so."""
    limits = f", {' and '.join(held)}" if held else ""
    longest = f"at most {primer.peak:.4f} elsewhere"
    if primer.miss > _MISSED:
        return False, (
            f"the primer misses the burns' directions or times by {primer.miss:.3f}: moving or "
            f"turning burns a little would save Δv{limits}"
        )
    if primer.peak > 1 + _MISSED:
        return False, (
            f"the primer is one at every burn but reaches {primer.peak:.4f} at "
            f"{when / 3600:.2f} h: another burn there would save Δv{limits}"
        )
    count = len(candidate.impulses)
    each = "the burn" if count == 1 else f"all {count} burns"
    return True, (
        f"the primer is one and stationary at {each} and {longest}, so that no burn moved, turned "
        f"or added saves Δv for this arrival{limits}"
    )


def _held(field: Field, point: Array) -> list[str]:
    """The limits that a course touches, in words."""
    count = burn_count(point)
    edges = edges_of(field, point[None], bounds_of(count, field.span))[0] > -_TOUCHED
    arcs = edges[2 * count + 1 : 4 * count - 1]
    words = [
        ("the first burn as early as it can be", edges[0]),
        ("burns at the longest allowed", edges[count + 1 : 2 * count + 1].any()),
        ("an orbit on min_altitude", arcs[::2].any()),
        ("an orbit on max_radius", arcs[1::2].any()),
    ]
    return [text for text, holds in words if holds]


def history(field: Field, point: Array, latest: float, *, open_phase: bool = False) -> Primer:
    """The primer of a course (n,) in the ring's units, limits that it touches allowed for."""
    count = burn_count(point)
    edges = edges_of(field, point[None], bounds_of(count, latest))[0]
    legs = legs_of(field, point[None])
    after = legs.before[0] + legs.burns[0]
    touched = edges > -_TOUCHED
    # A burn before the first is impossible where that is as early as it can be.
    start = float(point[0]) if touched[0] else 0.0
    path = Trajectory(start, point[:count], legs.positions[0], legs.before[0], after)
    capped = _capped(touched, count)
    early = 0.0
    if touched[0] and not (touched[1] or capped[0]):
        early = field.half * float(norm(legs.burns[0, 0]))
        capped[0] = True
    conditions = Conditions(
        _free_times(touched, count),
        _slopes(path, touched, count),
        capped,
        open_phase,
        early,
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
