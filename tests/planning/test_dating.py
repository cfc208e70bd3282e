"""Dating: the candidate of a point, flown by the problem, is the point again."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from simcheck.planning.courses import point_of
from simcheck.planning.dating import dated
from tests.planning.problems import CASES, problem


def drawn(burns: int) -> np.ndarray:
    """A random point of so many burns."""
    stream = np.random.default_rng(burns)
    times = np.sort(stream.uniform(0.0, 9.0, burns))
    return np.concatenate([times, 0.15 * stream.standard_normal(3 * (burns - 1))])


@pytest.mark.parametrize("name", CASES)
def test_a_candidate_has_the_point_it_was_made_of(name: str) -> None:
    """There and back, to the rounding of a velocity's difference."""
    posed, point = replace(problem(name), start_s=5000.0), drawn(4)
    candidate = dated(posed, point)
    assert candidate.impulses[0].time > 5000.0
    assert point_of(posed, candidate) == pytest.approx(point, abs=1e-12)
    last = candidate.impulses[-1]
    assert np.linalg.norm(last.after) == pytest.approx(posed.radius_m * posed.motion.rate)
    assert last.after @ last.position == pytest.approx(0.0, abs=1e-6 * posed.radius_m)


def test_a_burn_of_nothing_is_dropped() -> None:
    """Its neighbours stay where they were."""
    posed, point = problem(), drawn(4)
    point[7:10] = 0.0
    candidate = dated(posed, point)
    whole = dated(posed, np.concatenate([point[[0, 2, 3]], point[4:7], point[10:]]))
    assert candidate.route == "timed transfer of 3 burns"
    assert candidate.dv == pytest.approx(whole.dv, rel=1e-9)
