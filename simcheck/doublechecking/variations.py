"""The ways in which a perfect flight is computed otherwise.

The propagator: the reference one flies and measures the whole flight and resolves the ring for
itself; both are flown with looser tolerances and with finer steps. The posing: another epoch, axes
turned about the pole, other units. The averaging: other numbers of samples and revolutions, which
are part of what the errors are defined to be.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import replace
from typing import NamedTuple

from simcheck.doublechecking.flights import Cutoff, burnt, components_of, errors_of, flown_again
from simcheck.doublechecking.posing import Posing, begun_otherwise, rescaled, turned
from simcheck.doublechecking.propagators import OneLane, Stepwise
from simcheck.doublechecking.windows import averaged_over, ring_seen_by
from simcheck.engines.base import Propagator
from simcheck.engines.choosing import fast_propagator, reference_propagator
from simcheck.engines.gravity import gravity_of
from simcheck.engines.reference import ReferencePropagator
from simcheck.errors import FlightError
from simcheck.measuring import REVOLUTIONS, SAMPLES, Averages, RingMotion, average, resolve_ring
from simcheck.records.case import Case
from simcheck.records.deep import Means
from simcheck.records.flight import Flight
from simcheck.records.plan import Plan

_LOOSE_FAST = 1e-12  # as dispersions fly; the flight itself is flown at 1e-16
_LOOSE_REFERENCE = 3e-13  # ten times looser; below 2.2e-14 scipy does not go
_FAST_PIECES, _REFERENCE_PIECES = 80, 160  # a revolution: twice the steps that they take and more
_ANGLE = 1.234  # rad; as no orbit or ring has it
_LENGTH, _TIME, _MASS = 0.7310585, 3.7320508, 0.1353353  # units without common factors


_ZONALS = {"j2", "j3", "j4"}  # forces that know neither the direction of x nor a scale
_AVERAGINGS = (
    (REVOLUTIONS, SAMPLES // 2),
    (REVOLUTIONS, SAMPLES * 2),
    (REVOLUTIONS - 1, SAMPLES),
    (REVOLUTIONS + 1, SAMPLES),
)


class Site(NamedTuple):
    """The nominal flight, the propagator and ring that it was flown with, and where it ended."""

    case: Case
    plan: Plan
    flight: Flight
    fast: Propagator
    motion: RingMotion
    end: Cutoff
    found: Averages


class Varied(NamedTuple):
    """The nominal flight by other means."""

    name: str
    means: Means
    flight: Flight


def site_of(case: Case, plan: Plan, flight: Flight) -> Site:
    """What variations of a plan's perfect flight are made from."""
    fast = fast_propagator(gravity_of(case))
    motion = resolve_ring(case.ring, fast)
    end = burnt(Posing(case, plan), fast)
    found = average(fast, end.time, end.state, motion)
    return Site(case, plan, flight, fast, motion, end, found)


def propagators(site: Site) -> Iterator[Varied]:
    """By other propagators, at other tolerances and with other steps."""
    gravity = site.fast.gravity
    reference = reference_propagator(gravity)
    loose = ReferencePropagator(gravity, _LOOSE_REFERENCE)
    if site.fast.name != reference.name:
        ring = ring_seen_by(reference, site.motion, site.fast)
        yield _by(site, f"{reference.name}, flight, ring and measuring", reference, ring)
    yield _by(site, f"{reference.name}, tolerance {_LOOSE_REFERENCE:g}", loose)
    finer = Stepwise(reference, _REFERENCE_PIECES)
    yield _by(site, f"{reference.name}, finer steps", finer)
    if site.fast.name != reference.name:
        name = f"{site.fast.name}, tolerance {_LOOSE_FAST:g}"
        yield _by(site, name, OneLane(site.fast, _LOOSE_FAST), look=True)
        name = f"{site.fast.name}, finer steps"
        yield _by(site, name, Stepwise(site.fast, _FAST_PIECES), look=True)


def _by(
    site: Site,
    name: str,
    propagator: Propagator,
    ring: RingMotion | None = None,
    *,
    look: bool = False,
) -> Varied:
    posing, motion = Posing(site.case, site.plan), ring or site.motion
    near = None if look else site.found
    flight = flown_again(site.flight, posing, propagator, motion, near=near, look=look)
    return Varied(name, "propagator", flight)


def posings(site: Site) -> Iterator[Varied]:
    """Posed otherwise. With forces that come from outside only the epoch may move."""
    case, plan = site.case, site.plan
    yield _posed(site, "another epoch", begun_otherwise(case, plan, site.motion, site.fast))
    if set(case.forces) <= _ZONALS:
        yield _posed(site, "axes turned about the pole", turned(case, plan, _ANGLE))
        yield _posed(site, "other units", rescaled(case, plan, _LENGTH, _TIME, _MASS))


def _posed(site: Site, name: str, posing: Posing) -> Varied:
    fast = fast_propagator(gravity_of(posing.case))
    try:
        motion = resolve_ring(posing.case.ring, fast)
    except FlightError:
        motion = site.motion._replace(period_s=math.nan)
    look = posing.begun_s == 0.0 and fast.name != "reference"
    flight = flown_again(site.flight, posing, fast, motion, look=look)
    return Varied(name, "posing", flight)


def averagings(site: Site) -> Iterator[Varied]:
    """Averaged over other windows: what the definition does, the ring held as it is."""
    end, motion = site.end, site.motion
    for revolutions, samples in _AVERAGINGS:
        found = averaged_over(
            site.fast,
            end.time,
            end.state,
            motion,
            near=site.found,
            revolutions=revolutions,
            samples=samples,
        )
        flight = replace(
            site.flight,
            errors=errors_of(found, motion, site.case.craft.slot),
            components=components_of(found, motion),
        )
        name = f"{revolutions} revolutions of {samples} samples"
        yield Varied(name.replace("1 revolutions", "1 revolution"), "averaging", flight)
