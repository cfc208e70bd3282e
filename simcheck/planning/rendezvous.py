"""Meeting the slot by a given time: burn times and vectors optimised together.

Where the time allowed is too short for the least Δv of all, the phase binds and no route with time
left open fits. The candidates found so far, and multi-revolution Lambert arcs over a grid of
departures and arrivals, are refined over all times and vectors; where the primer of a result is
longer than one, another burn is put there and all are refined again; the best are then drawn to
earlier arrivals. Long because starts, refinement and finishing pass one private record around.
Reference: Lawden (1963); Lion and Handelsman (1968); Izzo (2015).
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from simcheck.arrays import Array
from simcheck.kernels.kepler import propagate
from simcheck.kernels.lambert import lambert
from simcheck.kernels.optimising import minimise
from simcheck.kernels.transfers import apsis_radii
from simcheck.kernels.vectors import cross, norm, unit
from simcheck.planning.candidates import Candidate, Impulse
from simcheck.planning.courses import (
    Bounds,
    Field,
    Whose,
    bounds_of,
    burn_count,
    cost_of,
    edge_count,
    edges_in,
    edges_of,
    field_of,
    keeps,
    look_at,
    padded,
    point_of,
    slot_at,
    stripped,
)
from simcheck.planning.problem import Problem
from simcheck.planning.proving import history
from simcheck.records.wish import Wish

MOST_BURNS = 5
"""Burns of a timed plan at most."""

_GRID = 40
_REVOLUTIONS = 6
_LAMBERT_SEEDS, _BINS, _THIRD_SEEDS = 14, 6, 8
_GIVEN_SEEDS = 10
_NOTHING = 1e-9  # a burn below this share of the ring's speed is none
_MET = 1e-8
_STEPS, _FEW_STEPS = 30, 18  # of a refinement; fewer where only quicker plans are looked for
_SOFT, _STIFF = 10.0, 100.0  # weights of the walls: soft ones let a search move quickly
_ROUGHLY, _FINELY = 1e-6, 1e-9  # relative change of the cost at which a course is settled
_HOPELESS = 1.25  # a row this much dearer than the best, once on the slot, is given up
_SCATTERED = 40
_CONTINUED = 24  # courses refined further in a round
_EXTENDED = 8  # courses that get another burn in a round
_LONGER = 1e-3  # by how much a primer exceeds one before another burn is tried
_PUSH = 2e-3  # of the ring's speed: first size of an added burn
_EARLIER = (0.95, 0.9, 0.8, 0.65)  # shares of a course's arrival that it is drawn to
_DRAWN = 3  # courses drawn to earlier arrivals
_HURRIES, _SOONER = 4, (0.98, 0.95, 0.9, 0.8)
_POLISHED = 12
_POLISHINGS = ((30.0, 8), (100.0, 6))  # weights of the walls, and steps with them
_TINY = 0.01  # share of the other burns below which one is left out on trial
_PAIRS = 2  # two-burn arcs tried in place of a plan less one burn
_TRIALS, _FINISHING, _SHIFTINGS, _ROUGH_SHIFTINGS = 3, 10, 3, 2
_DONE, _UNMOVED = 1e-12, 1e-7  # relative change of the cost; change of a shift
_SMALL, _CLOSE = 0.15, 0.2  # burns of less than this share, or this near in rad, may be too many
_EQUAL = 2e-5  # relative: courses this near cost the same
_GAIN = 1e-4  # relative; less is no improvement
_DEAREST = 4.0  # times the cheapest: quicker courses that cost more are not worth showing


class _Course(NamedTuple):
    """A point that meets the slot, its cost, its latest arrival and the shifts of its limits.

    origin tells the starts of one batch apart.
    """

    cost: float
    point: Array
    latest: float
    shifts: Array
    origin: int = 0

    @property
    def arrival(self) -> float:
        return float(self.point[burn_count(self.point) - 1])


def timed_candidates(
    problem: Problem, given: list[Candidate], wish: Wish | None = None, *, rounds: int = 3
) -> list[Candidate]:
    """Locally optimal dated candidates within the time limit, cheapest first.

    given: candidates to start from as well. rounds of adding burns and drawing to earlier arrivals
    end sooner where one finds nothing better.
    """
    wish = wish or Wish()
    field = field_of(problem)
    starts = [point_of(problem, x) for x in _distinct(given)[:_GIVEN_SEEDS]]
    starts = [x for x in starts if 2 <= burn_count(x) <= MOST_BURNS]
    pairs = _lambert_starts(field)
    starts += [*pairs, *_with_third(field, pairs[:_THIRD_SEEDS]), *_scattered(field, wish)]
    steps = _STEPS if rounds > 1 else _FEW_STEPS
    pool = _refined(field, [(x, field.span) for x in starts], steps)
    for turn in range(rounds * wish.effort):
        best = _best(pool)
        more = [(x.point, x.latest) for x in best[:_CONTINUED]]
        more += _with_another(field, best[:_EXTENDED])
        earlier = _drawn_earlier(best[:_DRAWN]) if not turn else []
        fresh = _refined(field, more + earlier, steps)
        cheapest = min((x.cost for x in pool), default=np.inf)
        pool += fresh
        if not any(x.cost < cheapest * (1 - _GAIN) for x in fresh):
            break
    chosen = _best(pool)[:_POLISHED]
    if wish.prefer == "time":
        most = problem.dv_m_s / (problem.radius_m * problem.motion.rate)
        chosen = [*chosen, *_hurried(field, pool, most)[:_POLISHED]]
    done = _polished(field, chosen)
    made = [_candidate(problem, field, x) for x in sorted(done, key=lambda x: x.cost)]
    return [candidate for candidate in made if candidate is not None]


def _hurried(field: Field, pool: list[_Course], most: float) -> list[_Course]:
    """The pool with its quickest courses drawn to earlier arrivals while they cost at most `most`.

    Dearer ones are left out, and the earliest come first.
    """
    for _ in range(_HURRIES):
        soonest = sorted((x for x in pool if x.cost <= most), key=lambda x: x.arrival)[:_DRAWN]
        starts = _drawn_earlier(soonest, _SOONER)
        pool = pool + _optima(
            field,
            [_started(*start) for start in starts],
            _SOFT,
            settled=_ROUGHLY,
            iterations=_STEPS,
            hopeless=np.inf,
        )
    return sorted((x for x in pool if x.cost <= most), key=lambda x: x.arrival)


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
    start = _Course(candidate.dv / speed, point, min(latest, field.span), _no_shifts(point))
    best = min([start, *_converged(field, [start])], key=lambda x: x.cost)
    for _ in range(_TRIALS):
        count = burn_count(best.point)
        more = [_started(*x) for x in _with_another(field, [best])]
        tried = _converged(field, [*_with_fewer(best), *more])
        same = [x for x in tried if burn_count(x.point) < count]
        same = [x for x in same if x.cost < best.cost * (1 + _EQUAL)]
        less = [x for x in tried if x.cost < best.cost * (1 - _EQUAL)]
        if not same and not less:
            break
        best = min(less or same, key=lambda x: x.cost)
    made = _candidate(problem, field, best)
    good = made is not None and made.dv < candidate.dv * (1 + _EQUAL)
    return made if good and made is not None else candidate


def converged_without(field: Field, point: Array, last: float) -> list[float]:
    """The least cost found without each burn, inf where none meets the slot in time."""
    count = burn_count(point)
    latest = min(float(point[count - 1]) + field.half * last, field.span)
    if count < 3:
        return [np.inf] * count
    times, burns = point[:count], point[count:].reshape(-1, 3)
    trials = []
    for k in range(count):
        others = np.delete(burns, min(k, count - 2), axis=0)
        # Without its last burn a course arrives with the one before, at the same time.
        left = np.delete(times, k) if k < count - 1 else np.append(times[: count - 2], times[-1])
        start = np.concatenate([left, others.ravel()])
        trials.append(_started(start, latest)._replace(origin=k))
    pairs = _lambert_starts(field._replace(span=latest), _GRID // 2)[:_PAIRS]
    trials += [_started(pair, latest)._replace(origin=count) for pair in pairs]
    done = _converged(field, trials, _ROUGH_SHIFTINGS)
    least = min((x.cost for x in done if x.origin == count), default=np.inf)
    own = [min((x.cost for x in done if x.origin == k), default=np.inf) for k in range(count)]
    return [min(cost, least) for cost in own]


def _converged(field: Field, courses: list[_Course], shiftings: int = _SHIFTINGS) -> list[_Course]:
    """The last states of each course that keep its limits, walls shifted until they hold."""
    kept: list[_Course] = []
    for _ in range(shiftings):
        if not courses:
            break
        courses = _optima(
            field,
            courses,
            _STIFF,
            settled=_DONE,
            iterations=_FINISHING,
            hopeless=np.inf,
            curved=True,
        )
        kept += [x for x in courses if keeps(field, x.point)]
        shifted = [_shifted(field, x) for x in courses]
        pairs = zip(shifted, courses, strict=True)
        courses = [x for x, y in pairs if np.max(np.abs(x.shifts - y.shifts)) > _UNMOVED]
    return kept[::-1]


def _with_fewer(course: _Course) -> list[_Course]:
    """The course with each of its smaller burns left out, or merged with the next."""
    count = burn_count(course.point)
    if count < 3:
        return []
    times, burns = course.point[:count], course.point[count:].reshape(-1, 3)
    sizes = norm(burns)
    trials = []
    for k in np.flatnonzero(sizes < _SMALL * sizes.sum()):
        left = np.concatenate([np.delete(times, k), np.delete(burns, k, axis=0).ravel()])
        trials.append(_started(left, course.latest))
    for k in np.flatnonzero(np.diff(times[:-1]) < _CLOSE):
        both = burns.copy()
        both[k] += both[k + 1]
        left = np.concatenate([np.delete(times, k + 1), np.delete(both, k + 1, axis=0).ravel()])
        trials.append(_started(left, course.latest))
    return trials


def _started(point: Array, latest: float) -> _Course:
    return _Course(np.inf, point, latest, _no_shifts(point))


def _no_shifts(point: Array) -> Array:
    return np.zeros(edge_count(burn_count(point)))


def _refined(field: Field, starts: list[tuple[Array, float]], steps: int = _STEPS) -> list[_Course]:
    """Local optima from starting points with a latest arrival each."""
    fresh = [_started(x, latest) for x, latest in starts]
    return _optima(field, fresh, _SOFT, settled=_ROUGHLY, iterations=steps, hopeless=_HOPELESS)


def _optima(
    field: Field,
    starts: list[_Course],
    weight: float,
    *,
    settled: float,
    iterations: int,
    hopeless: float,
    curved: bool = False,
) -> list[_Course]:
    """Refine courses of whatever numbers of burns in one batch; those that miss are left out."""
    if not starts:
        return []
    burns = np.array([burn_count(x.point) for x in starts])
    room = int(burns.max())
    own = [edges_in(room, int(n)) for n in burns]
    shifts = np.zeros((len(starts), edge_count(room)))
    for row, course, mask in zip(shifts, starts, own, strict=True):
        row[mask] = course.shifts
    bounds = Bounds(np.array([x.latest for x in starts]), shifts, burns, weight)

    def cost(points: Array, rows: Whose) -> tuple[Array, Array]:
        return cost_of(field, points, bounds.of(rows))

    def slopes(points: Array, rows: Whose) -> tuple[Array, Array, Array, Array]:
        return look_at(field, points, bounds.of(rows))

    _, group = np.unique(np.round(bounds.latest, 9), return_inverse=True)
    minima = minimise(
        cost,
        np.array([padded(x.point, room) for x in starts]),
        slopes=slopes,
        iterations=iterations,
        settled=settled,
        hopeless=hopeless,
        group=group.ravel(),
        curved=curved,
    )
    return [
        _Course(
            float(c), stripped(x, burn_count(start.point)), start.latest, start.shifts, start.origin
        )
        for start, x, c, gap in zip(starts, *minima, strict=True)
        if np.isfinite(c) and gap < _MET
    ]


def _best(pool: list[_Course]) -> list[_Course]:
    """Distinct courses, those that no other beats in cost and arrival first, each part by cost."""
    distinct: dict[tuple[str, str], _Course] = {}
    for course in sorted(pool, key=lambda x: (x.cost, x.arrival)):
        distinct.setdefault((f"{course.cost:.3e}", f"{course.arrival:.3g}"), course)
    front, rest, soonest = [], [], np.inf
    for course in distinct.values():
        if course.arrival < soonest - 1e-6:
            front.append(course)
            soonest = course.arrival
        else:
            rest.append(course)
    cheapest = front[0].cost if front else 0.0
    return [x for x in front if x.cost < _DEAREST * cheapest] + rest


def _with_another(field: Field, courses: list[_Course]) -> list[tuple[Array, float]]:
    """Starts with one burn more, where and along which the primer is longest."""
    starts = []
    for course in courses:
        count = burn_count(course.point)
        if count >= MOST_BURNS:
            continue
        primer = history(field, course.point, course.latest)
        if primer.peak < 1 + _LONGER:
            continue
        times = course.point[:count]
        burns = course.point[count:].reshape(-1, 3)
        at = min(int(np.searchsorted(times, primer.peak_time)), count - 1)
        push = _PUSH * unit(primer.peak_vector)
        point = np.concatenate(
            [np.insert(times, at, primer.peak_time), np.insert(burns, at, push, axis=0).ravel()]
        )
        starts.append((point, course.latest))
    return starts


def _drawn_earlier(
    courses: list[_Course], shares: tuple[float, ...] = _EARLIER
) -> list[tuple[Array, float]]:
    """Starts for arrivals at shares of the present ones."""
    starts = []
    for course in courses:
        count = burn_count(course.point)
        for share in shares:
            point = course.point.copy()
            point[:count] *= share
            starts.append((point, share * course.arrival))
    return starts


def _polished(field: Field, courses: list[_Course]) -> list[_Course]:
    """Courses that keep their limits: stiffer walls, shifted until nothing is passed."""
    kept: list[_Course] = []
    weight = _SOFT
    courses = courses + [x for x in map(_pruned, courses) if x is not None]
    for stiffer, steps in _POLISHINGS:
        shifted = [_shifted(field, x) for x in courses]
        courses = [x._replace(shifts=x.shifts * weight / stiffer) for x in shifted]
        weight = stiffer
        courses = _optima(
            field,
            courses,
            weight,
            settled=_FINELY,
            iterations=steps,
            hopeless=np.inf,
            curved=True,
        )
        kept += [x for x in courses if keeps(field, x.point)]
    return kept


def _pruned(course: _Course) -> _Course | None:
    """The course without its smallest burn, where that is next to nothing."""
    count = burn_count(course.point)
    sizes = norm(course.point[count:].reshape(-1, 3))
    least = int(np.argmin(sizes))
    if count == 2 or sizes[least] > _TINY * sizes.sum():
        return None
    times = np.delete(course.point[:count], least)
    burns = np.delete(course.point[count:].reshape(-1, 3), least, axis=0)
    return _started(np.concatenate([times, burns.ravel()]), course.latest)


def _shifted(field: Field, course: _Course) -> _Course:
    bounds = bounds_of(burn_count(course.point), course.latest)
    over = edges_of(field, course.point[None], bounds)[0]
    return course._replace(shifts=np.maximum(over + course.shifts, 0.0))


def _distinct(given: list[Candidate]) -> list[Candidate]:
    """Candidates that differ in cost or arrival from all before them."""
    seen: set[tuple[float, float]] = set()
    distinct = []
    for candidate in given:
        key = (float(f"{candidate.dv:.4g}"), float(f"{candidate.arrival:.4g}"))
        if key not in seen:
            seen.add(key)
            distinct.append(candidate)
    return distinct


def _lambert_starts(field: Field, grid: int = _GRID) -> list[Array]:
    """Two-burn points from Lambert arcs over a grid of departures and arrivals."""
    leave = np.linspace(0.0, field.span, grid)
    arrive = np.linspace(0.0, field.span, grid + 7)
    r1, v1 = propagate(field.position, field.velocity, leave, 1.0)
    r2, v2 = slot_at(field, arrive)
    gap = arrive[None, :] - leave[:, None]
    gap = np.where(gap > 0.05, gap, np.nan)
    normal = unit(unit(cross(field.position, field.velocity)) + cross(field.first, field.second))
    seeds: list[tuple[float, float, Array]] = []
    most = int(min(_REVOLUTIONS, field.span / 4))
    for turns in range(most + 1):
        for long_period in (True, False) if turns else (True,):
            with np.errstate(all="ignore"):
                go, come = lambert(
                    r1[:, None],
                    r2[None],
                    gap,
                    normal,
                    1.0,
                    revolutions=turns,
                    long_period=long_period,
                )
                cost = norm(go - v1[:, None]) + norm(v2[None] - come)
                low, high = apsis_radii(np.broadcast_to(r1[:, None], go.shape), go, 1.0)
                good = np.isfinite(cost) & (low >= 0.5 * field.low) & (high <= 2 * field.high)
            cost = np.where(good, cost, np.inf)
            for i, j in _valleys(cost)[:6]:
                point = np.concatenate([[leave[i], arrive[j]], go[i, j] - v1[i]])
                seeds.append((float(cost[i, j]), float(arrive[j]), point))
    seeds.sort(key=lambda s: s[0])
    kept = seeds[:_LAMBERT_SEEDS]
    for k in range(_BINS):
        early, late = k * field.span / _BINS, (k + 1) * field.span / _BINS
        own = [s for s in seeds if early < s[1] <= late]
        kept += [s for s in own[:2] if not any(s[2] is x[2] for x in kept)]
    return [point for _, _, point in kept]


def _valleys(values: Array) -> list[tuple[int, int]]:
    """Cells of a grid below their neighbours, lowest first."""
    padded = np.pad(values, 1, constant_values=np.inf)
    rows, columns = values.shape
    low = np.isfinite(values)
    for i in range(3):
        for j in range(3):
            low &= values <= padded[i : i + rows, j : j + columns]
    cells = [(int(i), int(j)) for i, j in np.argwhere(low)]
    return sorted(cells, key=lambda cell: values[cell])


def _with_third(field: Field, pairs: list[Array]) -> list[Array]:
    """Three-burn points: a small push put into each two-burn one, at three places."""
    push = 1e-3 * cross(field.first, field.second)
    points = []
    for pair in pairs:
        t1, t2, burn = pair[0], pair[1], pair[2:]
        points += [
            np.concatenate([[t1, t1 + share * (t2 - t1), t2], burn, push])
            for share in (0.25, 0.5, 0.75)
        ]
        if t1 > 0.1:
            points.append(np.concatenate([[t1 / 2, t1, t2], push, burn]))
    return points


def _scattered(field: Field, wish: Wish) -> list[Array]:
    """Random points of three and four burns for each effort beyond the first."""
    stream = np.random.default_rng(wish.seed)
    points = []
    for count in (3, 4):
        for _ in range(_SCATTERED * (wish.effort - 1)):
            times = np.sort(stream.uniform(0.0, field.span, count))
            points.append(np.concatenate([times, 0.25 * stream.standard_normal(3 * (count - 1))]))
    return points


def _candidate(problem: Problem, field: Field, course: _Course) -> Candidate | None:
    """A dated candidate in SI; burns of next to nothing dropped, None where a limit is broken."""
    count, rate = burn_count(course.point), problem.motion.rate
    speed = problem.radius_m * rate
    r, v, time = problem.position_m, problem.velocity_m_s, problem.start_s
    impulses = []
    for k in range(count):
        then = problem.start_s + float(course.point[k]) / rate
        r, v = propagate(r, v, then - time, problem.gm)
        time = then
        if k < count - 1:
            after = v + course.point[count + 3 * k : count + 3 * k + 3] * speed
            if norm(after - v) < _NOTHING * speed:
                continue
        else:
            after = speed * unit(cross(problem.motion.frame(0.0)[2], r))
        impulses.append(Impulse("transfer", r, v, after, time))
        v = after
    name = f"timed transfer of {len(impulses)} burns"
    return Candidate(name, tuple(impulses), (0,) * len(impulses), None)
