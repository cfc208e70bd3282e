"""Which pictures a result has."""

from __future__ import annotations

from simcheck.errors import FlightError
from simcheck.flying.mission import fly_plan
from simcheck.flying.tracing import trace
from simcheck.judging import judge
from simcheck.measuring import RingMotion
from simcheck.records.case import Case
from simcheck.records.dispersion import Dispersion, Rows
from simcheck.records.flight import Flight, Verdict
from simcheck.records.hold import Hold
from simcheck.records.plan import Plan
from simcheck.records.quantities import listed_tolerances
from simcheck.records.result import Result
from simcheck.report.figures import (
    chances,
    loop,
    orbit,
    ring_time,
    service,
    spread,
    timeline,
    trade,
)
from simcheck.report.figures.picture import Picture


def of_flight(
    case: Case, plan: Plan, flight: Flight, verdict: Verdict, ring: RingMotion
) -> list[Picture]:
    """The pictures of a flight and of the plan that it flew."""
    return [
        *_flown(case, flight, ring),
        *loop.pictures(flight, listed_tolerances(case.tolerance)),
        *trade.pictures(plan, case.limits),
    ]


def _flown(case: Case, flight: Flight, ring: RingMotion) -> list[Picture]:
    """The way of a flight and its errors over time, where it got anywhere."""
    if not flight.arcs:
        return []
    traced = trace(case, flight, ring)
    return [*orbit.pictures(traced), *timeline.pictures(traced)]


def of_plan(case: Case, plan: Plan, ring: RingMotion) -> list[Picture]:
    """The pictures of a plan; its orbits are those that its commands fly without errors."""
    made = trade.pictures(plan, case.limits)
    try:
        return [*_flown(case, fly_plan(case, plan, reference=False), ring), *made]
    except FlightError:
        return made  # it cannot be flown: what there is of it is shown all the same


def of_dispersion(
    case: Case, plan: Plan, dispersion: Dispersion, rows: Rows | None, ring: RingMotion
) -> list[Picture]:
    """The pictures of many flights; those of single flights need their rows."""
    made = chances.pictures(dispersion)
    return made if rows is None or not len(rows) else made + spread.pictures(case, dispersion, rows)


def of_hold(case: Case, plan: Plan | None, hold: Hold, ring: RingMotion) -> list[Picture]:
    """The pictures of a finished ring."""
    return [*ring_time.pictures(case, hold), *service.pictures(hold)]


def of(result: Result, ring: RingMotion) -> list[Picture]:
    """The pictures of whatever a command found; none of an assignment."""
    case, plan = result.case, result.plan
    if result.hold is not None:
        return of_hold(case, plan, result.hold, ring)
    if plan is None:
        return []
    if result.dispersion is not None:
        return of_dispersion(case, plan, result.dispersion, result.rows, ring)
    if result.flight is not None:
        verdict = result.verdict or judge(case, result.flight)
        return of_flight(case, plan, result.flight, verdict, ring)
    return of_plan(case, plan, ring)
