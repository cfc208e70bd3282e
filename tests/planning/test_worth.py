"""What a burn is worth: by optimising anew with the burn held elsewhere, or without it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.optimize import minimize

from simcheck.kernels.vectors import cross, norm
from simcheck.planning.courses import bounds_of, field_of, look_at, point_of
from simcheck.planning.problem import Problem
from simcheck.planning.searching import search
from simcheck.planning.worth import MOVED_RAD, worths
from tests.planning.problems import problem

HOUR_S = 3600.0


def posed() -> Problem:
    """Short of time, so that every burn counts."""
    return replace(problem(), end_s=20 * HOUR_S)


def test_a_moved_burn_costs_what_the_parabola_says() -> None:
    """scipy's SLSQP with one burn time held beside its best: the rise, averaged over both sides."""
    scene = posed()
    candidate = search([scene]).entries[0].candidate(scene)
    assert candidate is not None
    field, point = field_of(scene), point_of(scene, candidate)
    count, speed = len(candidate.impulses), scene.radius_m * scene.motion.rate
    bounds = bounds_of(count, float(point[count - 1]) + 1.0)
    found = 0
    for k, worth in enumerate(worths(scene, candidate)[:-1]):
        if np.isnan(worth.moved):
            continue
        burn = candidate.impulses[k]
        lag = MOVED_RAD * norm(burn.position) ** 2 / norm(cross(burn.position, burn.before))
        lag *= scene.motion.rate
        # The same optimiser's cost with the time as it is: what is left of the minimum cancels.
        base, rises = _held(field, bounds, point, k, point[k]), []
        for shift in (-lag / 10, lag / 10):  # a tenth of the way, where the parabola is good
            held = point[k] + shift
            rises.append((_held(field, bounds, point, k, held) - base) * speed)
        assert 100 * np.mean(rises) == pytest.approx(worth.moved, rel=0.1)
        found += 1
    assert found


def _held(field, bounds, point, k, held) -> float:
    """The least cost with time k held and the arrival as it is."""
    last = (len(point) + 3) // 4 - 1

    def parts(x):
        full = x.copy()
        full[k], full[last] = held, point[last]
        return full, look_at(field, full[None], bounds)

    def slope(x):
        lean = parts(x)[1][1][0].copy()
        lean[[k, last]] = 0.0
        return lean

    def bend(x):
        lean = parts(x)[1][3][0].copy()
        lean[:, [k, last]] = 0.0
        return lean

    answer = minimize(
        lambda x: float(parts(x)[1][0][0]),
        point,
        jac=slope,
        constraints={"type": "eq", "fun": lambda x: parts(x)[1][2][0], "jac": bend},
        method="SLSQP",
        options={"maxiter": 300, "ftol": 1e-13},
    )
    assert np.max(np.abs(parts(answer.x)[1][2])) < 1e-7
    return float(answer.fun)


def test_no_burn_of_an_optimum_comes_free() -> None:
    """Leaving one out costs something, or leaves no plan at all."""
    scene = posed()
    candidate = search([scene]).entries[0].candidate(scene)
    assert candidate is not None
    assert all(worth.without > 0 for worth in worths(scene, candidate))


def test_without_a_slot_nothing_is_said() -> None:
    """Courses are for meeting a slot."""
    scene = replace(problem(), aims_phase=False)
    candidate = search([scene]).entries[0].candidate(scene)
    assert candidate is not None
    assert all(np.isnan(worth.without) for worth in worths(scene, candidate))
