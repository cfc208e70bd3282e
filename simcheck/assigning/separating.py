"""Craft that come too close to each other: one of them waits on its first orbit.

The craft that arrives later waits first, then the other: one revolution, two, three. What is put
off is planned anew from there and flown; it is taken where fewer pairs then come too close.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import Any, NamedTuple, TypeAlias

import numpy as np

from simcheck.assigning.approaching import approaches
from simcheck.engines.base import Propagator
from simcheck.engines.choosing import fast_propagator
from simcheck.engines.gravity import gravity_of
from simcheck.errors import NoPlanError
from simcheck.flying.mission import fly_plan
from simcheck.judging import judge
from simcheck.kernels.transfers import period_of
from simcheck.measuring import resolve_ring
from simcheck.planning.later import seen_from, shifted
from simcheck.planning.registry import Planner
from simcheck.records.case import Case
from simcheck.records.estimate import Estimate
from simcheck.records.fleet import Approach
from simcheck.records.flight import Flight, Verdict
from simcheck.records.plan import Plan
from simcheck.records.wish import Wish

MOST_WAITS = 3
"""Revolutions that a craft waits at most to keep clear of another."""

Run: TypeAlias = Callable[[Callable[[Any], Any], Sequence[Any]], list[Any]]
"""Calls a function with each argument, side by side where there are hands."""


class Flown(NamedTuple):
    """A craft's case, plan, perfect flight and verdict, and by how much its plan was put off."""

    case: Case
    plan: Plan
    flight: Flight
    verdict: Verdict
    waited_s: float = 0.0
    waits: int = 0


class Order(NamedTuple):
    """A plan to fly, or (plan None) to make after some waits and to fly."""

    case: Case
    plan: Plan | None
    planner: Planner
    wish: Wish
    waits: int = 0


def flown(order: Order) -> Flown | None:
    """Fly an order's plan and judge it; None where there is no plan after the wait."""
    case, plan, waited = order.case, order.plan, 0.0
    if plan is None:
        try:
            plan, waited = put_off(case, order.planner, order.wish, order.waits)
        except NoPlanError:
            return None
    flight = fly_plan(case, plan)
    return Flown(case, plan, flight, judge(case, flight), waited, order.waits)


def put_off(case: Case, planner: Planner, wish: Wish, waits: int) -> tuple[Plan, float]:
    """A plan made after waiting revolutions of the first orbit, on the case's clock, and the wait.

    Raises NoPlanError where none fits the limits from there.
    """
    craft, propagator = case.craft, fast_propagator(gravity_of(case))
    wait = waits * float(period_of(craft.position_m, craft.velocity_m_s, case.body.gm_m3_s2))
    start = np.concatenate([craft.position_m, craft.velocity_m_s, [craft.mass_kg]])
    there = propagator.advance(0.0, start, wait).state
    estimate = Estimate(
        time_s=wait, position_m=there[:3], velocity_m_s=there[3:6], mass_kg=craft.mass_kg
    )
    motion = resolve_ring(case.ring, propagator)
    plan = planner(seen_from(case, estimate, motion, propagator), wish)
    turns = f"{waits} revolution{'s' if waits > 1 else ''}"
    return replace(shifted(plan, wait), summary=f"{plan.summary}, put off by {turns}"), wait


def separated(
    fleet: list[Flown], separation_m: float, planner: Planner, wish: Wish, run: Run
) -> tuple[list[Flown], tuple[Approach, ...]]:
    """The craft with some put off where that keeps them apart, and how close each pair comes."""
    if not fleet:
        return fleet, ()
    propagator = fast_propagator(gravity_of(fleet[0].case))
    seen = _seen(propagator, fleet, separation_m)
    for _ in range(len(fleet)):
        better = _better(propagator, fleet, seen, separation_m, (planner, wish, run))
        if better is None:
            break
        fleet, seen = better
    return fleet, seen


def _seen(propagator: Propagator, fleet: list[Flown], separation_m: float) -> tuple[Approach, ...]:
    names = [one.case.craft.name for one in fleet]
    return approaches(propagator, names, [one.flight for one in fleet], separation_m)


def _better(
    propagator: Propagator,
    fleet: list[Flown],
    seen: tuple[Approach, ...],
    separation_m: float,
    how: tuple[Planner, Wish, Run],
) -> tuple[list[Flown], tuple[Approach, ...]] | None:
    """The fleet with one craft put off so that fewer pairs come too close; None if that fails."""
    planner, wish, run = how
    broken = sum(not approach.kept for approach in seen)
    for pair in _mendable(fleet, seen):
        for waits in range(1, MOST_WAITS + 1):
            orders = [
                Order(fleet[k].case, None, planner, wish, fleet[k].waits + waits) for k in pair
            ]
            for k, made in zip(pair, run(flown, orders), strict=True):
                if made is None or made.verdict.verdict == "outside":
                    continue
                other = [*fleet[:k], made, *fleet[k + 1 :]]
                there = _seen(propagator, other, separation_m)
                if sum(not approach.kept for approach in there) < broken:
                    return other, there
    return None


def _mendable(fleet: list[Flown], seen: tuple[Approach, ...]) -> list[tuple[int, int]]:
    """Pairs too close to each other, closest first, the later of each first.

    Those that are closest while both are on their first orbits are left out: no wait helps them.
    """
    places = {one.case.craft.name: k for k, one in enumerate(fleet)}
    found = []
    for approach in sorted(seen, key=lambda x: x.distance_m):
        one, other = places[approach.one], places[approach.other]
        ignition = min(_first_ignition(fleet[k].flight) for k in (one, other))
        if approach.kept or approach.time_s <= ignition:
            continue
        pair = sorted((one, other), key=lambda k: -fleet[k].flight.arrival_time_s)
        found.append((pair[0], pair[1]))
    return found


def _first_ignition(flight: Flight) -> float:
    return min((arc.start_s for arc in flight.arcs if arc.kind == "burn"), default=float("inf"))
