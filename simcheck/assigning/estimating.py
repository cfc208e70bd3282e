"""What a craft's way to each slot costs at least, and about: in closed form, without a plan.

The least Δv from orbit to orbit, time left open, does not depend on the slot: no plan to any slot
costs less. The slot is then met on the cheapest routes by waiting and phasing revolutions, which
gives a Δv and an arrival that a plan improves on, but seldom by much where days are allowed.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import NamedTuple

import numpy as np

from simcheck.arrays import Array
from simcheck.engines.base import G0
from simcheck.measuring import RingMotion
from simcheck.planning.planner import limited
from simcheck.planning.problem import Problem, problem_of
from simcheck.planning.routes import Route
from simcheck.planning.searching import ARCS, all_routes, search
from simcheck.records.case import Case, Tolerance
from simcheck.records.wish import Preference, Wish

_NEAR = 1.01  # routes this near to the least Δv are phased first
_THERE = 0.2  # of the tolerances: a craft nearer than this may need no burn at all


class Estimate(NamedTuple):
    """Of one craft: the least Δv of any plan, and of each angle (k) and slot (m) what is found.

    dv_m_s and arrival_s (k, m) are infinite where nothing in closed form fits the limits, which a
    plan may still do. lower_m_s is infinite where the least Δv is more than the limits allow.
    """

    lower_m_s: float
    dv_m_s: Array
    arrival_s: Array


def estimate(
    case: Case, slots: Sequence[int], angles: Sequence[float], prefer: Preference = "dv"
) -> Estimate:
    """Estimate the way of the case's craft to slots, for arguments of latitude of slot 0 in rad.

    prefer: "dv" finds the earliest of the cheapest ways, "time" the earliest of those on the
    cheapest routes.
    """
    problems = [limited(problem_of(case, arc), case) for arc in ARCS]
    routes = all_routes(problems[0])
    floor = min((route.dv for route in routes), default=0.0)
    shape = (len(angles), len(slots))
    dv, arrival = np.full(shape, np.inf), np.full(shape, np.inf)
    if floor <= problems[0].dv_m_s:
        for k, angle in enumerate(angles):
            for m, slot in enumerate(slots):
                posed = [_posed(problem, slot, angle) for problem in problems]
                dv[k, m], arrival[k, m] = _first(posed, routes, floor, prefer)
    return Estimate(_lower(case, problems[0], floor), dv, arrival)


def _posed(problem: Problem, slot: int, angle: float) -> Problem:
    ring = replace(problem.motion.ring, argument_of_latitude_rad=angle)
    motion: RingMotion = problem.motion._replace(ring=ring)
    return replace(problem, slot=slot, motion=motion)


def _first(
    problems: list[Problem], routes: list[Route], floor: float, prefer: Preference
) -> tuple[float, float]:
    """Δv and arrival of what is preferred, infinite where there is nothing."""
    near = [route for route in routes if route.dv <= _NEAR * floor]
    for some in (near, routes) if len(near) < len(routes) else (routes,):
        found = search(problems, Wish(prefer=prefer), timed=False, routes=some)
        for entry in found.entries:
            candidate = entry.candidate(found.problem)
            if candidate is not None:
                return candidate.dv, candidate.arrival
    return np.inf, np.inf


def _lower(case: Case, problem: Problem, floor: float) -> float:
    if floor <= _spare(case.tolerance, problem):
        return 0.0  # the craft may be there already, as far as its tolerances go
    return floor if floor <= problem.dv_m_s else np.inf


def _spare(tolerance: Tolerance, problem: Problem) -> float:
    """Δv in m/s that the tolerances may be worth to a craft that is nearly there."""
    speed = float(np.sqrt(problem.gm / problem.radius_m))
    period = (tolerance.period_s or 0.0) / problem.motion.period_s
    angles = (tolerance.plane_rad or 0.0) + (tolerance.eccentricity or 0.0)
    return _THERE * speed * (angles + period)


def share_of(case: Case, dv_m_s: float) -> float:
    """The share of the propellant on board that impulses take by the main engine."""
    craft = case.craft
    used = craft.mass_kg * -np.expm1(-dv_m_s / (G0 * case.engine.isp_s))
    if craft.propellant_kg > 0.0:
        return float(used / craft.propellant_kg)
    return 0.0 if dv_m_s == 0.0 else np.inf
