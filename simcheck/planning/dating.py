"""From a course in the ring's units to a dated candidate in SI."""

from __future__ import annotations

from simcheck.arrays import Array
from simcheck.kernels.kepler import propagate
from simcheck.kernels.vectors import cross, norm, unit
from simcheck.planning.candidates import Candidate, Impulse
from simcheck.planning.courses import burn_count
from simcheck.planning.problem import Problem

_NOTHING = 1e-9  # a burn below this share of the ring's speed is none


def dated(problem: Problem, point: Array) -> Candidate:
    """The candidate of a point (n,), flown from the problem's state; burns of nothing dropped.

    The last burn takes the ring's velocity where the craft then is.
    """
    count, rate = burn_count(point), problem.motion.rate
    speed = problem.radius_m * rate
    r, v, time = problem.position_m, problem.velocity_m_s, problem.start_s
    impulses = []
    for k in range(count):
        then = problem.start_s + float(point[k]) / rate
        r, v = propagate(r, v, then - time, problem.gm)
        time = then
        if k < count - 1:
            after = v + point[count + 3 * k : count + 3 * k + 3] * speed
            if norm(after - v) < _NOTHING * speed:
                continue
        else:
            after = speed * unit(cross(problem.motion.frame(0.0)[2], r))
        impulses.append(Impulse("transfer", r, v, after, time))
        v = after
    name = f"timed transfer of {len(impulses)} burns"
    return Candidate(name, tuple(impulses), (0,) * len(impulses), None)
