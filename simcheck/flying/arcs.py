"""Arcs in the making: a flight as a list of legs, and where an arc meets the ground."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from simcheck.arrays import Array
from simcheck.clearances import Stretch
from simcheck.engines.base import Propagator
from simcheck.errors import FlightError
from simcheck.kernels.vectors import norm
from simcheck.records.flight import Decision, Outcome

_IMPACT_SAMPLES = 120  # looks for the ground along a burn
_IMPACT_S = 1e-3


class Leg(NamedTuple):
    """An arc in the making: its stretch, the state at its end, and what a burn was."""

    stretch: Stretch
    end: Array
    burn: str | None
    ended: str | None


class Flown(NamedTuple):
    """A flight in the making: its legs, where it is, how it goes, and what was decided."""

    legs: list[Leg]
    time: float
    state: Array
    outcome: Outcome
    events: list[str]
    decisions: list[Decision]


def coasted(flown: Flown, propagator: Propagator, until: float) -> Flown:
    """The flight after a coast from where it is."""
    end = propagator.advance(flown.time, flown.state, until).state
    leg = Leg(Stretch(flown.time, until, flown.state, None), end, None, None)
    return flown._replace(legs=[*flown.legs, leg], time=until, state=end)


def grounded(
    flown: Flown, stretch: Stretch, met: tuple[float, Array], burn: str | None = None
) -> Flown:
    """The flight ended on the body's surface, where and when this arc meets it."""
    time, state = met
    leg = Leg(stretch._replace(end_s=time), state, burn, "impact")
    events = [*flown.events, f"met the surface at {time:.0f} s"]
    return flown._replace(
        legs=[*flown.legs, leg], time=time, state=state, outcome="hit-the-body", events=events
    )


def impact(stretch: Stretch, propagator: Propagator, radius: float) -> tuple[float, Array] | None:
    """First time in s, to a millisecond, and state at which an arc is below the surface."""
    start = stretch.start_s

    def at(time: float) -> Array | None:
        try:
            return propagator.advance(start, stretch.state, time, stretch.thrust).state
        except FlightError:  # so deep below that the motion itself breaks down
            return None

    def below(time: float) -> bool:
        there = at(time)
        return there is None or bool(norm(there[:3]) < radius)

    knots = _knots(stretch, propagator)
    first = next((i for i, knot in enumerate(knots) if below(knot)), None)
    if first is None:
        return None
    low, high = knots[max(first - 1, 0)], knots[first]
    while high - low > _IMPACT_S:
        middle = (low + high) / 2
        low, high = (low, middle) if below(middle) else (middle, high)
    there = at(high)
    return None if there is None else (high, there)


def _knots(stretch: Stretch, propagator: Propagator) -> list[float]:
    """Times between which the radius has no minimum: a coast's apsides; on a burn a fine grid."""
    start, end = stretch.start_s, stretch.end_s
    if stretch.thrust is None:
        try:
            events = propagator.passages(start, stretch.state, end, np.array([0.0, 0.0, 1.0]))
            return [start, *(e.time for e in events if e.kind != "node"), end]
        except FlightError:
            pass
    return [float(time) for time in np.linspace(start, end, _IMPACT_SAMPLES)]
