"""Meeting the slot by a given time: burn times and vectors optimised together.

Where the time allowed is too short for the least Δv of all, the phase binds and no route with time
left open fits. Starts of all kinds are refined over all times and vectors; where the primer of a
result is longer than one, another burn is put there and all are refined again; the best are then
drawn to earlier arrivals. Reference: Lawden (1963); Lion and Handelsman (1968).
"""

from __future__ import annotations

import numpy as np

from simcheck.planning.candidates import Candidate
from simcheck.planning.courses import Field, field_of
from simcheck.planning.dating import dated
from simcheck.planning.finishing import polished
from simcheck.planning.problem import Problem
from simcheck.planning.refining import Course, continued, refined, started
from simcheck.planning.seeds import seeds
from simcheck.planning.variations import drawn_earlier, parted, with_another
from simcheck.records.wish import Wish

_STEPS, _FEW_STEPS = 30, 18  # of a refinement; fewer where only quicker plans are looked for
_CONTINUED, _CONTINUING = 24, 6  # courses refined further in a round, and steps of that
_EXTENDED, _PARTED = 6, 3  # courses that get another burn, or a burn parted, in a round
_VARYING = 18  # steps from there
_SPREAD = 0.03  # share of the arrival by which courses drawn earlier differ
_DRAWN = 3  # courses drawn to earlier arrivals
_EARLIER = (0.95, 0.9, 0.8, 0.65)  # shares of a course's arrival that it is drawn to
_HURRIES, _SOONER = 4, (0.98, 0.95, 0.9, 0.8)
_POLISHED = 12
_GAIN = 1e-4  # relative; less is no improvement
_DEAREST = 4.0  # times the cheapest: quicker courses that cost more are not worth showing


def timed_candidates(
    problem: Problem, given: list[Candidate], wish: Wish | None = None, *, rounds: int = 3
) -> list[Candidate]:
    """Locally optimal dated candidates within the time limit, cheapest first.

    given: candidates to start from as well. rounds of adding burns and drawing to earlier arrivals
    end sooner where one finds nothing better.
    """
    wish = wish or Wish()
    field = field_of(problem)
    starts = [started(x, field.span) for x in seeds(problem, given, wish)]
    steps = _STEPS if rounds > 1 else _FEW_STEPS
    pool = _pool(field, starts, rounds * wish.effort, steps)
    chosen = _best(pool)[:_POLISHED]
    if wish.prefer == "time":
        most = problem.dv_m_s / (problem.radius_m * problem.motion.rate)
        chosen = [*chosen, *_hurried(field, pool, most)[:_POLISHED]]
    done = sorted(polished(field, chosen), key=lambda x: x.cost)
    return [dated(problem, x.point) for x in done]


def _pool(field: Field, starts: list[Course], rounds: int, steps: int) -> list[Course]:
    """Everything found from the starts, each round's best refined further, then varied."""
    rough = refined(field, starts, steps)
    pool = list(rough)
    for turn in range(rounds):
        cheapest = min((x.cost for x in pool), default=np.inf)
        fine = continued(field, _best(rough)[:_CONTINUED], _CONTINUING)
        pool += fine
        best = _best(pool)
        more = with_another(field, best[:_EXTENDED]) + parted(field, best[:_PARTED])
        if not turn:
            more += drawn_earlier(_spread(best)[:_DRAWN], _EARLIER)
        rough = refined(field, more, _VARYING)
        pool += rough
        if turn and not any(x.cost < cheapest * (1 - _GAIN) for x in [*fine, *rough]):
            break
    return pool + continued(field, _best(rough)[:_CONTINUED], _CONTINUING)


def _spread(courses: list[Course]) -> list[Course]:
    """Those that arrive some time before or after all kept ahead of them."""
    kept: list[Course] = []
    for course in courses:
        if all(abs(course.arrival - x.arrival) > _SPREAD * x.arrival for x in kept):
            kept.append(course)
    return kept


def _hurried(field: Field, pool: list[Course], most: float) -> list[Course]:
    """The pool with its quickest courses drawn to earlier arrivals while they cost at most `most`.

    Dearer ones are left out, and the earliest come first.
    """
    for _ in range(_HURRIES):
        soonest = sorted((x for x in pool if x.cost <= most), key=lambda x: x.arrival)[:_DRAWN]
        pool = pool + refined(field, drawn_earlier(soonest, _SOONER), _STEPS, hopeless=np.inf)
    return sorted((x for x in pool if x.cost <= most), key=lambda x: x.arrival)


def _best(pool: list[Course]) -> list[Course]:
    """Distinct courses, those that no other beats in cost and arrival first, each part by cost."""
    distinct: dict[tuple[str, str], Course] = {}
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
