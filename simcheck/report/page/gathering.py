"""What a page draws: the plan of each craft as flown, its trace and the pictures of all."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import NamedTuple, TypeAlias

from simcheck.engines.choosing import fast_propagator
from simcheck.engines.gravity import gravity_of
from simcheck.errors import FlightError
from simcheck.flying.mission import fly_plan
from simcheck.flying.tracing import trace
from simcheck.judging import judge
from simcheck.measuring import RingMotion, resolve_ring
from simcheck.records.case import Case
from simcheck.records.flight import Flight, Verdict
from simcheck.records.plan import Plan
from simcheck.records.result import Result
from simcheck.records.trace import Trace
from simcheck.report.figures import gallery
from simcheck.report.figures.picture import Picture


class Way(NamedTuple):
    """One craft's plan as flown: by the command, or perfectly for the page."""

    case: Case
    plan: Plan
    ring: RingMotion
    flight: Flight
    verdict: Verdict
    trace: Trace
    pictures: list[Picture]


_Given: TypeAlias = tuple[Case, Plan, RingMotion, Flight | None, Verdict | None]


class Gathered(NamedTuple):
    """All that a page is made of beside the result; notes say what is missing, and why."""

    ring: RingMotion
    ways: list[Way]
    spread: list[Picture]
    held: list[Picture]
    notes: list[str]


def gather(result: Result) -> Gathered:
    """Fly what the result did not fly, trace it, and collect the pictures.

    Raises FlightError where the ring cannot be resolved.
    """
    ring = resolve_ring(result.case.ring, fast_propagator(gravity_of(result.case)))
    notes: list[str] = []
    ways = [way for way in (_way(*one, notes) for one in _plans(result, ring)) if way is not None]
    spread: list[Picture] = []
    held: list[Picture] = []
    if result.dispersion is not None and result.plan is not None:
        found = result.dispersion
        spread += gallery.of_dispersion(result.case, result.plan, found, result.rows, ring)
    if result.hold is not None:
        held += gallery.of_hold(result.case, result.plan, result.hold, ring)
    return Gathered(ring, ways, spread, held, notes)


def _plans(result: Result, ring: RingMotion) -> list[_Given]:
    """The plan of a craft, or of each of several."""
    if result.fleet is not None and result.assignment is not None:
        return _of_fleet(result)
    if result.plan is None:
        return []
    return [(result.case, result.plan, ring, result.flight, result.verdict)]


def _of_fleet(result: Result) -> list[_Given]:
    fleet, found = result.fleet, result.assignment
    if fleet is None or found is None:
        return []
    names = [craft.name for craft in fleet.craft]
    angle = math.radians(found.argument_of_latitude_deg)
    rows: list[_Given] = []
    for one in found.assigned:
        case = replace(fleet.case(names.index(one.craft), one.slot, angle), path=fleet.base.path)
        ring = resolve_ring(case.ring, fast_propagator(gravity_of(case)))
        rows.append((case, one.plan, ring, one.flight, one.verdict))
    return rows


def _way(
    case: Case,
    plan: Plan,
    ring: RingMotion,
    flight: Flight | None,
    verdict: Verdict | None,
    notes: list[str],
) -> Way | None:
    """A plan with its flight, flown here where there is none."""
    try:
        if flight is None or verdict is None:
            flight = fly_plan(case, plan, reference=False)
            verdict = judge(case, flight)
        traced = trace(case, flight, ring)
        pictures = gallery.of_flight(case, plan, flight, verdict, ring)
    except FlightError as error:
        notes.append(f"{case.craft.name}'s flight could not be drawn: {error}")
        return None
    return Way(case, plan, ring, flight, verdict, traced, pictures)
