"""The timed search: its slopes, its optima against a general optimiser, its gain on routes."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.optimize import minimize

from simcheck.planning import rendezvous
from simcheck.planning.rendezvous import timed_candidates
from simcheck.planning.searching import search
from tests.planning.problems import miss, problem

HOUR_S = 3600.0


@pytest.mark.parametrize("burns", [2, 3, 4])
def test_slopes_match_differences(burns: int) -> None:
    """Exact slopes of cost and miss against central differences, walls among them."""
    scaled = rendezvous._scale(replace(problem(), end_s=20 * HOUR_S))
    stream = np.random.default_rng(burns)
    times = np.sort(stream.uniform(0.5, scaled.span - 0.5, burns))
    point = np.concatenate([times, 0.15 * stream.standard_normal(3 * (burns - 1))])[None]
    cost, slope, rest, bend = rendezvous._look(scaled, point)
    alone, missed = rendezvous._cost(scaled, point)
    assert cost == pytest.approx(alone, rel=1e-12)
    assert rest == pytest.approx(missed, rel=1e-9, abs=1e-12)
    step = 1e-6
    for j in range(point.shape[1]):
        shift = np.zeros_like(point)
        shift[0, j] = step
        (up, there), (down, back) = (
            rendezvous._cost(scaled, point + sign * shift) for sign in (1, -1)
        )
        size = 1 + abs(slope[0, j])
        assert (up - down)[0] / (2 * step) == pytest.approx(slope[0, j], abs=1e-5 * size)
        change = (there - back)[0] / (2 * step)
        assert np.max(np.abs(change - bend[0, :, j])) < 1e-5 * (1 + np.max(np.abs(change)))


@pytest.mark.parametrize("hours", [7.0, 16.8, 22.0])
def test_no_general_optimiser_does_better(hours: float) -> None:
    """scipy's SLSQP, started at our best and at shaken copies of it, gains less than 0.1 %."""
    posed = replace(problem(), end_s=hours * HOUR_S)
    best = timed_candidates(posed, [])[0]
    distance, speed = miss(posed, best)
    assert distance < 1.0
    assert speed < 1e-3
    scaled = rendezvous._scale(posed)
    unit = posed.radius_m * posed.motion.rate
    start = rendezvous._point(posed, best)
    stream = np.random.default_rng(7)
    for shake in (0.0, 0.02, 0.1):
        found = minimize(
            lambda x: float(rendezvous._look(scaled, x[None])[0][0]),
            start + shake * stream.standard_normal(len(start)),
            jac=lambda x: rendezvous._look(scaled, x[None])[1][0],
            constraints={
                "type": "eq",
                "fun": lambda x: rendezvous._look(scaled, x[None])[2][0],
                "jac": lambda x: rendezvous._look(scaled, x[None])[3][0],
            },
            method="SLSQP",
            options={"maxiter": 300, "ftol": 1e-10},
        )
        met = np.max(np.abs(rendezvous._look(scaled, found.x[None])[2])) < 1e-7
        assert not met or found.fun * unit > best.dv * (1 - 1e-3)


def test_a_hurry_costs_less_than_the_routes_say() -> None:
    """Where the phase binds, the timed search undercuts every route of the handbook."""
    posed = replace(problem(), end_s=16.8 * HOUR_S)
    routes, timed = search([posed], timed=False), search([posed])
    assert timed.entries[0].dv < 0.9 * routes.entries[0].dv
    assert timed.entries[0].dv > timed.floor
