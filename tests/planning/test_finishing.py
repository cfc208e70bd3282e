"""Finishing: the winner at its optimum, without burns too many; what a burn is worth."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest

from simcheck.kernels.kepler import propagate
from simcheck.kernels.vectors import norm
from simcheck.planning.candidates import Candidate
from simcheck.planning.courses import field_of, point_of
from simcheck.planning.dating import dated
from simcheck.planning.finishing import converged_without, finished, polished
from simcheck.planning.problem import Problem
from simcheck.planning.refining import refined, started
from simcheck.planning.rendezvous import timed_candidates
from simcheck.planning.seeds import seeds
from simcheck.records.wish import Wish
from tests.planning.problems import miss, problem

POSED = replace(problem(), end_s=16.8 * 3600.0)


@pytest.fixture(scope="module")
def best() -> Candidate:
    """The cheapest that a search finds."""
    return timed_candidates(POSED, [])[0]


def spoilt(best: Candidate) -> Candidate:
    """The best with a push of a hundredth of the ring's speed in the middle of its first coast."""
    point, count = point_of(POSED, best), len(best.impulses)
    times, burns = point[:count], point[count:].reshape(-1, 3)
    times = np.insert(times, 1, 0.5 * (times[0] + times[1]))
    burns = np.insert(burns, 1, [0.0, 0.01, 0.0], axis=0)
    return dated(POSED, np.concatenate([times, burns.ravel()]))


def without(posed: Problem, candidate: Candidate) -> np.ndarray:
    """Least Δv (n,) in m/s without each burn."""
    speed = posed.radius_m * posed.motion.rate
    last = candidate.impulses[-1].size / speed
    costs = converged_without(field_of(posed), point_of(posed, candidate), last)
    return np.array(costs) * speed


def test_a_needless_burn_is_taken_out(best: Candidate) -> None:
    """A push put into a coast costs nothing in the end; 2e-4: twice what a search calls a gain."""
    assert spoilt(best).dv > best.dv * 1.005
    fine = finished(POSED, spoilt(best))
    assert fine.dv < best.dv * (1 + 2e-4)
    assert len(fine.impulses) <= len(best.impulses)
    assert miss(POSED, fine)[0] < 1.0


def test_finishing_never_costs_nor_delays(best: Candidate) -> None:
    """No dearer by more than what counts as equal, and in time with the burn's second half."""
    fine = finished(POSED, best)
    assert fine.dv < best.dv * (1 + 2e-5)
    assert fine.arrival < best.arrival + 1.0


def test_what_is_no_course_is_left_alone(best: Candidate) -> None:
    """One burn, or a phase that is not aimed at, is not a timed transfer's business."""
    alone = best._replace(impulses=best.impulses[-1:])
    assert finished(POSED, alone) is alone
    assert finished(replace(POSED, aims_phase=False), best) is best


def highest(posed: Problem, candidate: Candidate) -> float:
    """Largest radius in m between a candidate's burns, by flying it."""
    radii = []
    for one, then in pairwise(candidate.impulses):
        passed = np.linspace(0.0, then.time - one.time, 500)
        radii.append(norm(propagate(one.position, one.after, passed, posed.gm)[0]).max())
    return max(radii)


def test_polished_courses_keep_limits_that_soft_walls_let_through() -> None:
    """The cheapest refined one flies higher than allowed; no polished one does."""
    posed = replace(POSED, max_radius_m=13.5e6)
    field = field_of(posed)
    rough = refined(field, [started(x, field.span) for x in seeds(posed, [], Wish())])
    rough = sorted(rough, key=lambda x: x.cost)[:6]
    assert highest(posed, dated(posed, rough[0].point)) > 1.001 * 13.5e6
    fine = polished(field, rough)
    assert fine
    for course in fine:
        assert highest(posed, dated(posed, course.point)) < 13.5e6 + 1.0
        assert course.cost < 1.1 * rough[0].cost


def test_leaving_a_burn_out_saves_nothing(best: Candidate) -> None:
    """The best of a search is no dearer than itself without any of its burns."""
    costs = without(POSED, best)
    assert costs.shape == (len(best.impulses),)
    assert costs.min() > best.dv * (1 - 1e-4)


def test_a_needless_burn_alone_is_worth_nothing(best: Candidate) -> None:
    """Without it the cost is the best's, without others more."""
    costs = without(POSED, spoilt(best))
    assert costs[1] == pytest.approx(best.dv, rel=2e-4)
    assert np.all(np.delete(costs, 1) > best.dv * (1 - 1e-4))
    assert costs.max() > best.dv * 1.01


def test_no_burn_is_left_out_by_arriving_later() -> None:
    """Where time binds, more of it allowed changes nothing: the slot is met as soon as before."""
    hurried = replace(POSED, end_s=5.0 * 3600.0)
    best = timed_candidates(hurried, [])[0]
    later = without(replace(hurried, end_s=7.0 * 3600.0), best)
    assert later == pytest.approx(without(hurried, best), rel=2e-4)


def test_two_burns_can_not_do_with_one() -> None:
    """Nothing meets a slot with one burn in general."""
    costs = converged_without(field_of(POSED), np.array([0.5, 3.0, 0.1, 0.1, 0.0]), 0.1)
    assert costs == [np.inf, np.inf]
