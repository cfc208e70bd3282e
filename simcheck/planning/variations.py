"""Courses next to a course, to start from: a burn more, a burn less, an earlier arrival.

Another burn goes where the primer is longest and longer than one, along the primer.
Reference: Lion and Handelsman (1968), Primer vector on fixed-time impulsive trajectories.
"""

from __future__ import annotations

import numpy as np

from simcheck.arrays import Array
from simcheck.kernels.vectors import norm, unit
from simcheck.planning.courses import Field, burn_excess, legs_of
from simcheck.planning.proving import history
from simcheck.planning.refining import MOST_BURNS, Course, started

_LONGER = 1e-3  # by how much a primer exceeds one before another burn is tried
_NEARLY = 0.02  # share by which a burn may be shorter than its longest and still be parted
_PUSH = 2e-3  # of the ring's speed: first size of an added burn
_TINY = 0.01  # share of the other burns below which one is next to nothing
_SMALL, _CLOSE = 0.15, 0.2  # burns of less than this share, or this near in rad, may be too many


def with_another(field: Field, courses: list[Course]) -> list[Course]:
    """Each course with one burn more, left out where the primer asks for none or there are most."""
    starts = []
    for course in courses:
        if course.number >= MOST_BURNS:
            continue
        primer = history(field, course.point, course.latest)
        if primer.peak < 1 + _LONGER:
            continue
        at = min(int(np.searchsorted(course.times, primer.peak_time)), course.number - 1)
        times = np.insert(course.times, at, primer.peak_time)
        burns = np.insert(course.burns, at, _PUSH * unit(primer.peak_vector), axis=0)
        starts.append(started(_joined(times, burns), course.latest))
    return starts


def parted(field: Field, courses: list[Course]) -> list[Course]:
    """Each course with its longest burn made in two, where that is as long as a burn may be.

    What so long a burn lacks is Δv at one place, which the primer of the others does not show.
    """
    starts = []
    for course in courses:
        if course.number >= MOST_BURNS:
            continue
        excess = burn_excess(field, course.point)
        at = int(np.argmax(excess))
        if excess[at] < -_NEARLY:
            continue
        burn = legs_of(field, course.point[None]).burns[0, at]
        apart = 0.5 * field.half * float(norm(burn))
        times = np.insert(course.times, at, course.times[at] - apart)
        times[at + 1] += apart if at < course.number - 1 else 0.0
        burns = np.insert(course.burns, at, 0.5 * burn, axis=0)
        if at < course.number - 1:
            burns[at + 1] *= 0.5
        starts.append(started(_joined(times, burns), course.latest))
    return starts


def with_fewer(course: Course) -> list[Course]:
    """The course with each of its smaller burns left out, or merged with the next."""
    if course.number < 3:
        return []
    sizes = norm(course.burns)
    trials = [_without(course, int(k)) for k in np.flatnonzero(sizes < _SMALL * sizes.sum())]
    for k in np.flatnonzero(np.diff(course.times[:-1]) < _CLOSE):
        both = course.burns.copy()
        both[k] += both[k + 1]
        left = _joined(np.delete(course.times, k + 1), np.delete(both, k + 1, axis=0))
        trials.append(started(left, course.latest))
    return trials


def without_each(course: Course) -> list[Course]:
    """The course without each of its burns in turn, told apart by their origin.

    Without its last burn a course arrives with the one before, at the same time.
    """
    last = course.number - 1
    trials = [_without(course, k)._replace(origin=k) for k in range(last)]
    times = np.append(course.times[: last - 1], course.times[-1])
    left = _joined(times, course.burns[:-1])
    return [*trials, started(left, course.latest)._replace(origin=last)]


def pruned(course: Course) -> Course | None:
    """The course without its burns of next to nothing; None where there are none."""
    sizes = norm(course.burns)
    kept = sizes >= _TINY * sizes.sum()
    if kept.all():
        return None
    times = np.append(course.times[:-1][kept], course.times[-1])
    return started(_joined(times, course.burns[kept]), course.latest)


def drawn_earlier(courses: list[Course], shares: tuple[float, ...]) -> list[Course]:
    """Each course with its times scaled so that it arrives at each share of the present arrival."""
    starts = []
    for course in courses:
        for share in shares:
            point = _joined(share * course.times, course.burns)
            starts.append(started(point, share * course.arrival))
    return starts


def _without(course: Course, burn: int) -> Course:
    """The course without one of the burns before its last."""
    point = _joined(np.delete(course.times, burn), np.delete(course.burns, burn, axis=0))
    return started(point, course.latest)


def _joined(times: Array, burns: Array) -> Array:
    """The point (4 n - 3,) of n times and n - 1 burns."""
    return np.concatenate([times, burns.ravel()])
