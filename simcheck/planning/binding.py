"""Which limit binds when no plan fits: each is lifted in turn, the first that helps is named."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import NamedTuple

import numpy as np

from simcheck.errors import NoPlanError
from simcheck.kernels.transfers import apsis_radii
from simcheck.planning.candidates import Candidate
from simcheck.planning.phasing import MAX_PIECES
from simcheck.planning.problem import HORIZON_REVOLUTIONS, Problem
from simcheck.planning.searching import Entry, Search, search
from simcheck.records.case import Case
from simcheck.records.wish import Wish

_HOUR, _DAY = 3600.0, 86400.0
_LOOKED_AT = 40
_RADIUS_SLACK = 1.0  # m
_STRETCHES = (1.5, 2.5, 4.0, 8.0)  # of the duration allowed


class Refusal(NamedTuple):
    """A plan that was aimed and refused: limit is empty where the aiming failed; excess in SI."""

    entry: Entry
    limit: str
    why: str
    excess: float


def no_plan(case: Case, problems: list[Problem], refused: list[Refusal]) -> NoPlanError:
    """The error that says which limit binds and by how much."""
    if refused:
        return _refused(refused)
    for limit, lift, judge in _LIFTS:
        lifted = [lift(problem, case) for problem in problems]
        found = search(lifted, timed=limit == "dv")
        candidate = _first_built(found)
        if candidate is not None:
            return judge(case, problems, limit, found.entries, candidate)
    found = search([_lift_all(problem, case) for problem in problems], timed=False)
    candidate = _first_built(found)
    if candidate is not None:
        days = candidate.arrival / _DAY
        return NoPlanError(
            "no plan fits, and lifting any one limit does not help; without limits the "
            f"cheapest needs {candidate.dv:.1f} m/s and {days:.2f} d; relax several of "
            "[craft] propellant and [limits] duration, dv, min_altitude, max_radius",
            limit="several",
            excess=float("nan"),
        )
    return NoPlanError(
        "no plan found even without limits: the planner's routes do not reach this ring, or each "
        f"burn would need more than {MAX_PIECES} parts; check [engine] thrust and max_burn",
        limit="thrust",
        excess=float("nan"),
    )


def not_found(refused: list[Refusal]) -> NoPlanError:
    """The error of a search in closed form only, which does not say what would help."""
    if refused:
        return _refused(refused)
    return NoPlanError(
        "nothing in closed form fits the limits", limit="several", excess=float("nan")
    )


def ring_beyond(case: Case, radius_m: float) -> NoPlanError | None:
    """The error where the ring itself, of this mean radius, lies outside the limits on radii."""
    if case.tolerance.period_s is None or case.tolerance.eccentricity is None:
        return None
    limits, height = case.limits, radius_m - case.body.radius_m
    under, over = limits.min_altitude_m - height, radius_m - limits.max_radius_m
    ring = f"the ring itself, of mean radius {radius_m / 1e3:.1f} km,"
    if under > _RADIUS_SLACK:
        message = (
            f"no plan fits [limits] min_altitude = {limits.min_altitude_m / 1e3:.1f} km: {ring} is "
            f"{height / 1e3:.1f} km above the surface, {under / 1e3:.1f} km too low"
        )
        return NoPlanError(message, limit="min_altitude", excess=under)
    if over > _RADIUS_SLACK:
        message = (
            f"no plan fits [limits] max_radius = {limits.max_radius_m / 1e3:.1f} km: {ring} lies "
            f"{over / 1e3:.1f} km further out"
        )
        return NoPlanError(message, limit="max_radius", excess=over)
    return None


def _first_built(found: Search) -> Candidate | None:
    for entry in found.entries[:_LOOKED_AT]:
        candidate = entry.candidate(found.problem)
        if candidate is not None:
            return candidate
    return None


def _refused(refused: list[Refusal]) -> NoPlanError:
    tried = f"{len(refused)} plan{'s' if len(refused) > 1 else ''}"
    first = refused[0]
    if not first.limit:
        message = f"no plan could be flown ({tried} tried): {first.why}"
        return NoPlanError(message, limit="aiming", excess=float("nan"))
    table = {"max_burn": "engine", "min_burn": "engine", "propellant": "craft"}.get(
        first.limit, "limits"
    )
    message = (
        f"no plan fits [{table}] {first.limit} ({tried} tried): flown with finite burns in the "
        f"case's forces, the first, of {first.entry.dv:.1f} m/s, {first.why}"
    )
    return NoPlanError(message, limit=first.limit, excess=first.excess)


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


_Judge = Callable[[Case, list[Problem], str, list[Entry], Candidate], NoPlanError]


def _late(
    case: Case, problems: list[Problem], limit: str, entries: list[Entry], candidate: Candidate
) -> NoPlanError:
    """How long a plan takes at least, looked for in ever longer spans of time."""
    end, long = problems[0].end_s, min(e.arrival for e in entries)
    dv = candidate.dv
    for stretch in _STRETCHES:
        if stretch * end >= long:
            break
        wider = [replace(p, end_s=stretch * end) for p in problems]
        made = _first_built(search(wider, Wish(prefer="time")))
        if made is not None:
            long, dv = _end(problems[0], made), made.dv
            break
    over = long - problems[0].end_s
    message = (
        f"no plan fits [limits] duration = {_span(problems[0].end_s)}: the shortest found within "
        f"the other limits takes {_span(long)}, {_span(over)} longer, and {dv:.1f} m/s; the "
        f"cheapest takes {_span(candidate.arrival)} and {candidate.dv:.1f} m/s"
    )
    return NoPlanError(message, limit=limit, excess=over)


def _end(problem: Problem, candidate: Candidate) -> float:
    """When the last burn ends, half of it after the arrival."""
    half = 0.5 * problem.mass_kg / problem.engine.thrust_n * candidate.impulses[-1].size
    return candidate.arrival + half


def _span(seconds: float) -> str:
    return f"{seconds / _DAY:.2f} d" if seconds > 2 * _DAY else f"{seconds / _HOUR:.2f} h"


def _dear(
    case: Case, problems: list[Problem], limit: str, entries: list[Entry], candidate: Candidate
) -> NoPlanError:
    problem = problems[0]
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
    case: Case, problems: list[Problem], limit: str, entries: list[Entry], candidate: Candidate
) -> NoPlanError:
    problem = problems[0]
    lows = [float(apsis_radii(x.position, x.after, problem.gm)[0]) for x in candidate.impulses]
    over = problem.min_radius_m - min(lows)
    message = (
        f"no plan fits [limits] min_altitude = {case.limits.min_altitude_m / 1e3:.1f} km: the "
        f"cheapest without it comes {over / 1e3:.1f} km lower"
    )
    return NoPlanError(message, limit=limit, excess=over)


def _far(
    case: Case, problems: list[Problem], limit: str, entries: list[Entry], candidate: Candidate
) -> NoPlanError:
    problem = problems[0]
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
