"""How good and how fast plans are, case by case: Δv against the floor and against the textbook.

    python benchmarks/bench_planning.py [CASE ...]

The textbook's plan is the cheapest sequence of plane change, apsis change and insertion, with the
phase met in the same time limit. Both are made in one run for the same case, so that their ratio
does not depend on constants or machine; seconds are those of a warm process.
"""

from __future__ import annotations

import sys
import time
from pathlib import Path

import simcheck
from simcheck.planning.phasing import build, offers, open_candidate
from simcheck.planning.planner import limited
from simcheck.planning.problem import Problem, problem_of
from simcheck.planning.routes import Route, handbook_routes
from simcheck.planning.searching import ARCS
from simcheck.records.case import Case

CASES = sorted((Path(__file__).parents[1] / "cases").glob("*.toml"))
TURNS = 3


def textbook_dv(case: Case) -> float:
    """Least Δv in m/s of the handbook's sequences that reach the slot in time; NaN without one."""
    found = [float("inf")]
    for arc in ARCS:
        problem = limited(problem_of(case, arc), case)
        for route in handbook_routes(problem):
            if "first" in route.name or "between" in route.name or "last" in route.name:
                found += _reached(problem, route)
    return min(found)


def _reached(problem: Problem, route: Route) -> list[float]:
    if not problem.aims_phase:
        candidate = open_candidate(problem, route)
        return [] if candidate is None else [candidate.dv]
    return [offer.dv for offer in offers(problem, route) if build(problem, offer) is not None]


def seconds(case: Case) -> float:
    """Least planning time of a few turns."""
    least = float("inf")
    for _ in range(TURNS):
        start = time.perf_counter()
        simcheck.plan(case)
        least = min(least, time.perf_counter() - start)
    return least


def main() -> None:
    """Print one line a case."""
    paths = [Path(name) for name in sys.argv[1:]] or CASES
    print(
        f"{'case':22s} {'plan, m/s':>10s} {'/ floor':>8s} {'textbook / plan':>16s} {'seconds':>8s}"
    )
    for path in paths:
        case = simcheck.load_case(path)
        plan = simcheck.plan(case)
        floor = plan.lower_bound_dv_m_s or float("nan")
        above = plan.total_dv_m_s / floor if floor > 1e-3 else float("nan")
        ratio = textbook_dv(case) / plan.total_dv_m_s
        row = f"{path.stem:22s} {plan.total_dv_m_s:10.3f} {above:8.4f} {ratio:16.3f}"
        print(f"{row} {seconds(case):8.2f}")


if __name__ == "__main__":
    main()
