"""The proof of a plan: optima pass, plans beside them fail, and a burn that would help is named."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from simcheck.planning.phasing import open_candidate
from simcheck.planning.problem import Problem
from simcheck.planning.proving import proof
from simcheck.planning.routes import handbook_routes
from simcheck.planning.searching import search
from tests.planning.problems import CASES, problem

HOUR_S = 3600.0


def best(posed: Problem):
    found = search([posed])
    candidate = found.entries[0].candidate(posed)
    assert candidate is not None
    return found, candidate


@pytest.mark.parametrize("name", sorted(CASES))
def test_reported_optima_meet_lawdens_conditions(name: str) -> None:
    """The primer is one at every burn and nowhere longer, whatever the ring."""
    posed = problem(name)
    _, candidate = best(posed)
    given = proof(posed, candidate)
    assert given is not None
    assert given.verdict == "local optimum", given.why
    assert given.at_burns == pytest.approx(np.ones(len(candidate.impulses)), abs=3e-3)
    assert given.largest_between < 1 + 3e-3
    assert given.time_s[-1] == pytest.approx(candidate.arrival, rel=0.1)


@pytest.mark.parametrize("hours", [9.0, 12.0, 14.0])
def test_plans_in_a_hurry_are_optima_too(hours: float) -> None:
    """Where the phase binds, with the first burn as early as it can be or not."""
    posed = replace(problem(), end_s=hours * HOUR_S)
    found, candidate = best(posed)
    assert candidate.dv > found.floor * 1.02
    given = proof(posed, candidate)
    assert given is not None
    assert given.verdict == "local optimum", given.why


def test_a_textbook_plan_is_not_an_optimum() -> None:
    """Plane change, apsis change and insertion one after another could be mended."""
    posed = replace(problem(), aims_phase=False)
    for route in handbook_routes(posed):
        if "plane change first" in route.name:
            candidate = open_candidate(posed, route)
            assert candidate is not None
            given = proof(posed, candidate)
            assert given is not None
            assert given.verdict == "not a local optimum"
            assert "would save" in given.why


def test_without_a_circle_to_meet_there_is_no_proof() -> None:
    """A period alone leaves the end too open for these conditions."""
    posed = replace(problem(), aims_circle=False)
    candidate = search([posed]).entries[0].candidate(posed)
    assert candidate is not None
    assert proof(posed, candidate) is None
