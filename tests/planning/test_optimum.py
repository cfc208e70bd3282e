"""The floor against every textbook family, on random orbits and rings.

SIMCHECK_EXAMPLES sets how many: 1,000 have been run; the usual run takes fewer to save time.
"""

from __future__ import annotations

import os

import numpy as np
import pytest
from hypothesis import Phase, given, settings
from hypothesis import strategies as st

from simcheck.planning.optimum import optimal_routes
from simcheck.planning.problem import Problem, problem_of
from simcheck.planning.routes import handbook_routes
from tests.cases_for_tests import CERES, EARTH, IMPULSIVE, MARS, MOON, case, orbit, ring

EXAMPLES = int(os.environ.get("SIMCHECK_EXAMPLES", "60"))
ARC = 0.35


@st.composite
def posed(draw: st.DrawFn) -> Problem:
    """Any body, ring and start below escape; sizes in radii of the body, angles in degrees."""
    body = draw(st.sampled_from([EARTH, MARS, MOON, CERES]))
    km = body.radius_m / 1e3
    low = km * draw(st.floats(1.1, 6.0))
    high = low * draw(st.one_of(st.just(1.0), st.floats(1.0, 3.0), st.floats(3.0, 19.0)))
    angles = [draw(st.floats(0.0, 360.0)) for _ in range(4)]
    tilt = draw(st.one_of(st.sampled_from([0.0, 90.0, 180.0]), st.floats(0.0, 180.0)))
    own = float(np.clip(tilt + draw(st.floats(-40.0, 40.0)), 0.0, 180.0))
    goal = ring(radius_km=km * draw(st.floats(1.3, 8.0)), inclination=tilt, raan=angles[0], slots=3)
    start = orbit(body, low, high, own, angles[0] + draw(st.floats(-40, 40)), *angles[2:])
    return problem_of(
        case(body, start, goal, engine=IMPULSIVE, max_radius_m=60e3 * km, min_altitude_m=0.0), ARC
    )


@pytest.mark.slow
@settings(max_examples=EXAMPLES, phases=(Phase.explicit, Phase.generate))
@given(posed())
def test_no_textbook_family_beats_the_floor(problem: Problem) -> None:
    """Two and three free burns cost no more than any sequence of the handbooks."""
    handbook = [
        route
        for route in handbook_routes(problem)
        if all(_inside(problem, leg.position, leg.after) for leg in route.legs[:-1])
    ]
    if not handbook:
        return
    textbook = min(route.dv for route in handbook)
    found = optimal_routes(problem, handbook_routes(problem))
    least = min([route.dv for route in found], default=textbook)
    # Radius limits are walls to the search, met from inside to some 1e-5 of the cost.
    assert least <= textbook * (1 + 1e-4) + 1e-6


def _inside(problem: Problem, position: np.ndarray, velocity: np.ndarray) -> bool:
    """Whether an orbit keeps the radius limits, to a metre."""
    r, h = np.linalg.norm(position), np.linalg.norm(np.cross(position, velocity))
    energy = velocity @ velocity / 2 - problem.gm / r
    p = h**2 / problem.gm
    e = np.sqrt(max(1 + 2 * energy * p / problem.gm, 0.0))
    high = p / (1 - e) if e < 1 else np.inf
    return bool(p / (1 + e) > problem.min_radius_m - 1 and high < problem.max_radius_m + 1)
