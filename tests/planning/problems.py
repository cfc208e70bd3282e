"""Planning problems for the tests of this folder."""

from __future__ import annotations

from typing import Any

import numpy as np

from simcheck.kernels.kepler import propagate
from simcheck.planning.candidates import Candidate
from simcheck.planning.problem import Problem, problem_of
from tests.cases_for_tests import EARTH, IMPULSIVE, MARS, VESTA, case, orbit, ring

ARC = 0.35

CASES: dict[str, dict[str, Any]] = {
    "tilted ellipse inside": {},
    "tilted ellipse across": {
        "start": orbit(MARS, 5000.0, 30000.0, 20.0, 80.0, 120.0, 20.0),
    },
    "outside": {"start": orbit(MARS, 20000.0, 30000.0, 40.0, 50.0, 10.0, 300.0)},
    "coplanar ellipse": {"start": orbit(MARS, 3846.0, 13196.0, 35.0, 60.0, 75.0, 200.0)},
    "circle": {"start": orbit(MARS, 6000.0, 6000.0, 28.0, 40.0, 0.0, 5.0)},
    "coplanar circle": {"start": orbit(MARS, 6000.0, 6000.0, 35.0, 60.0, 0.0, 5.0)},
    "same circle tilted": {"start": orbit(MARS, 12651.94, 12651.94, 28.0, 60.0, 0.0, 5.0)},
    "retrograde": {
        "body": EARTH,
        "start": orbit(EARTH, 7000.0, 20000.0, 150.0, 10.0, 75.0, 200.0),
        "goal": ring(12.0, inclination=160.0, raan=20.0, slots=3),
        "slot": 1,
    },
    "in the equator": {
        "body": VESTA,
        "start": orbit(VESTA, 500.0, 900.0, 0.0, 0.0, 30.0, 90.0),
        "goal": ring(radius_km=1000.0, inclination=0.0, raan=0.0, slots=2),
    },
    "polar": {
        "start": orbit(MARS, 4000.0, 13000.0, 85.0, 50.0, 30.0, 90.0),
        "goal": ring(12.0, inclination=90.0),
    },
}


def problem(name: str = "tilted ellipse inside", **changes: Any) -> Problem:
    """The two-body problem of a case of that name, impulses unless an engine is given."""
    settings: dict[str, Any] = {"engine": IMPULSIVE, "max_radius_m": 1e9} | CASES[name] | changes
    return problem_of(case(**settings), ARC)


def miss(posed: Problem, candidate: Candidate) -> tuple[float, float]:
    """Distance in m and speed in m/s from the slot after a candidate's impulses, flown exactly."""
    position, velocity, now = posed.position_m, posed.velocity_m_s, posed.start_s
    for impulse in candidate.impulses:
        position, velocity = propagate(position, velocity, impulse.time - now, posed.gm)
        velocity, now = velocity + impulse.dv, impulse.time
    there = posed.radius_m * posed.motion.direction(posed.slot, now)
    off = np.linalg.norm(position - there), np.linalg.norm(velocity - posed.ring_velocity(there))
    return float(off[0]), float(off[1])
