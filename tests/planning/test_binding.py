"""Which limit binds: named, with the excess that lifts it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from simcheck.errors import NoPlanError
from simcheck.planning.planner import plan_ring
from simcheck.records.case import Case
from tests.cases_for_tests import MARS, case, ring


def refusal(made: Case) -> NoPlanError:
    """The error that planning ends with."""
    with pytest.raises(NoPlanError) as caught:
        plan_ring(made)
    return caught.value


def test_a_ring_beyond_the_radius_limit_is_named_at_once() -> None:
    """The ring's own radius less the limit is the excess; lifted by that, a plan exists."""
    goal = ring(radius_km=12653.0)
    found = refusal(case(MARS, goal=goal, slot=3, max_radius_m=12600e3))
    assert found.limit == "max_radius"
    assert abs(found.excess - 53e3) < 1.0
    assert "the ring itself" in str(found)
    assert "53.0 km further out" in str(found)


def test_a_ring_below_the_lowest_altitude_is_named_at_once() -> None:
    """The same for min_altitude; where eccentricity is free the ring's radius binds nothing."""
    made = case(MARS, goal=ring(radius_km=12653.0), slot=3, min_altitude_m=9300e3)
    found = refusal(made)
    assert found.limit == "min_altitude"
    assert abs(found.excess - (9300e3 - (12653e3 - MARS.radius_m))) < 1.0
    assert "43.2 km too low" in str(found)
    free = replace(made, tolerance=replace(made.tolerance, eccentricity=None))
    assert "the ring itself" not in str(refusal(free))


def test_a_time_too_short_is_named_with_what_would_do() -> None:
    """The excess said is enough: with it and a little more, a plan is found."""
    short = case(MARS, slot=3, days=0.08)
    found = refusal(short)
    assert found.limit == "duration"
    enough = short.limits.duration_s + 1.1 * found.excess
    plan = plan_ring(replace(short, limits=replace(short.limits, duration_s=enough)))
    assert plan.arrival_time_s <= enough
    assert np.isfinite(plan.total_dv_m_s)
