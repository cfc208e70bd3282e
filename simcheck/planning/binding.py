"""Which limit binds when no plan fits: each is lifted in turn, the first that helps is named."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np

from simcheck.errors import NoPlanError
from simcheck.kernels.transfers import apsis_radii
from simcheck.planning.phasing import Candidate
from simcheck.planning.problem import HORIZON_REVOLUTIONS, Problem
from simcheck.planning.searching import Entry, search
from simcheck.records.case import Case

_HOUR, _DAY = 3600.0, 86400.0


def no_plan(case: Case, problems: list[Problem], refused: list[tuple[Entry, str]]) -> NoPlanError:
    """The error that says which limit binds and by how much."""
    if refused:
        return _refused(refused)
    for limit, lift, judge in _LIFTS:
        found = search([lift(problem, case) for problem in problems])
        for entry in found.entries[:40]:
            candidate = entry.candidate(found.problem)
            if candidate is not None:
                return judge(case, problems[0], limit, found.entries, candidate)
    lifted = [_lift_all(problem, case) for problem in problems]
    found = search(lifted)
    for entry in found.entries[:40]:
        candidate = entry.candidate(found.problem)
        if candidate is not None:
            days = candidate.arrival / _DAY
            return NoPlanError(
                "no plan fits, and lifting any one limit does not help; without limits the "
                f"cheapest needs {candidate.dv:.1f} m/s and {days:.2f} d; relax several of "
                "[limits] duration, dv, min_altitude and max_radius",
                limit="several",
                excess=float("nan"),
            )
    return NoPlanError(
        "no plan found even without limits: the planner's routes do not reach this ring, or each "
        "burn would need more than 40 parts; check [engine] thrust and max_burn",
        limit="thrust",
        excess=float("nan"),
    )


def _refused(refused: list[tuple[Entry, str]]) -> NoPlanError:
    entry, why = refused[0]
    names = {"duration", "dv", "propellant", "min_altitude", "max_radius", "separation"}
    if why in names | {"max_burn"}:
        table = "engine" if why == "max_burn" else "craft" if why == "propellant" else "limits"
        message = (
            f"no plan fits: with finite burns in the case's forces each of the {len(refused)} "
            f"best plans breaks a limit, the first ({entry.dv:.1f} m/s) [{table}] {why}"
        )
        return NoPlanError(message, limit=why, excess=float("nan"))
    return NoPlanError(
        f"no plan could be flown: {why} ({len(refused)} plans tried)",
        limit="aiming",
        excess=float("nan"),
    )


def _lift_duration(problem: Problem, case: Case) -> Problem:
    slower = max(problem.period_s, problem.motion.period_s)
    return replace(problem, end_s=max(4 * problem.end_s, HORIZON_REVOLUTIONS * slower))


def _lift_dv(problem: Problem, case: Case) -> Problem:
    return replace(problem, dv_m_s=np.inf)


def _lift_altitude(problem: Problem, case: Case) -> Problem:
    return replace(problem, min_radius_m=1.0)


def _lift_radius(problem: Problem, case: Case) -> Problem:
    return replace(problem, max_radius_m=np.inf)


def _lift_all(problem: Problem, case: Case) -> Problem:
    for lift in (_lift_duration, _lift_dv, _lift_altitude, _lift_radius):
        problem = lift(problem, case)
    return problem


_Judge = Callable[[Case, Problem, str, list[Entry], Candidate], NoPlanError]


def _late(
    case: Case, problem: Problem, limit: str, entries: list[Entry], candidate: Candidate
) -> NoPlanError:
    soonest = min(e.arrival for e in entries)
    given = problem.end_s
    over = soonest - given
    message = (
        f"no plan fits [limits] duration = {given / _DAY:.3f} d: the earliest arrival within the "
        f"other limits is {soonest / _DAY:.3f} d, {over / _HOUR:.1f} h later; the cheapest there "
        f"is {candidate.dv:.1f} m/s at {candidate.arrival / _DAY:.3f} d"
    )
    return NoPlanError(message, limit=limit, excess=over)


def _dear(
    case: Case, problem: Problem, limit: str, entries: list[Entry], candidate: Candidate
) -> NoPlanError:
    cheapest = min(e.dv for e in entries)
    over = cheapest - problem.dv_m_s
    tank = case.limits.dv_m_s > problem.dv_m_s
    name = "[craft] propellant, good for" if tank else "[limits] dv ="
    message = (
        f"no plan fits {name} {problem.dv_m_s:.1f} m/s: the cheapest within the other limits "
        f"needs {cheapest:.1f} m/s, {over:.1f} m/s more"
    )
    return NoPlanError(message, limit="propellant" if tank else limit, excess=over)


def _low(
    case: Case, problem: Problem, limit: str, entries: list[Entry], candidate: Candidate
) -> NoPlanError:
    lows = [float(apsis_radii(x.position, x.after, problem.gm)[0]) for x in candidate.impulses]
    over = problem.min_radius_m - min(lows)
    message = (
        f"no plan fits [limits] min_altitude = {case.limits.min_altitude_m / 1e3:.1f} km: the "
        f"cheapest without it comes {over / 1e3:.1f} km lower"
    )
    return NoPlanError(message, limit=limit, excess=over)


def _far(
    case: Case, problem: Problem, limit: str, entries: list[Entry], candidate: Candidate
) -> NoPlanError:
    highs = [float(apsis_radii(x.position, x.after, problem.gm)[1]) for x in candidate.impulses]
    over = max(highs) - problem.max_radius_m
    message = (
        f"no plan fits [limits] max_radius = {case.limits.max_radius_m / 1e3:.0f} km: the "
        f"cheapest without it reaches {over / 1e3:.0f} km further out"
    )
    return NoPlanError(message, limit=limit, excess=over)


_LIFTS: list[tuple[str, Callable[[Problem, Case], Problem], _Judge]] = [
    ("dv", _lift_dv, _dear),
    ("duration", _lift_duration, _late),
    ("max_radius", _lift_radius, _far),
    ("min_altitude", _lift_altitude, _low),
]
