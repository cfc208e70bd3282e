"""The timed search: its optima against a general optimiser, its gain on routes."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.optimize import minimize

from simcheck.planning.courses import bounds_of, field_of, look_at, point_of
from simcheck.planning.rendezvous import timed_candidates
from simcheck.planning.searching import search
from tests.planning.problems import miss, problem

HOUR_S = 3600.0


@pytest.mark.parametrize("hours", [7.0, 16.8, 22.0])
def test_no_general_optimiser_does_better(hours: float) -> None:
    """scipy's SLSQP, started at our best and at shaken copies of it, gains less than 0.1 %."""
    posed = replace(problem(), end_s=hours * HOUR_S)
    best = timed_candidates(posed, [])[0]
    distance, speed = miss(posed, best)
    assert distance < 1.0
    assert speed < 1e-3
    field, start = field_of(posed), point_of(posed, best)
    unit = posed.radius_m * posed.motion.rate
    # Stiff walls in place of limits: they can only make the general optimiser's cost smaller.
    bounds = bounds_of(len(best.impulses), field.span)._replace(weight=1e4)
    stream = np.random.default_rng(7)
    for shake in (0.0, 0.02, 0.05):
        found = minimize(
            lambda x: float(look_at(field, x[None], bounds)[0][0]),
            start + shake * stream.standard_normal(len(start)),
            jac=lambda x: look_at(field, x[None], bounds)[1][0],
            constraints={
                "type": "eq",
                "fun": lambda x: look_at(field, x[None], bounds)[2][0],
                "jac": lambda x: look_at(field, x[None], bounds)[3][0],
            },
            method="SLSQP",
            options={"maxiter": 300, "ftol": 1e-10},
        )
        met = np.max(np.abs(look_at(field, found.x[None], bounds)[2])) < 1e-7
        assert not met or found.fun * unit > best.dv * (1 - 1e-3)


def test_a_hurry_costs_less_than_the_routes_say() -> None:
    """Where the phase binds, the timed search undercuts every route of the handbook."""
    posed = replace(problem(), end_s=16.8 * HOUR_S)
    routes, timed = search([posed], timed=False), search([posed])
    assert timed.entries[0].dv < 0.9 * routes.entries[0].dv
    assert timed.entries[0].dv > timed.floor
