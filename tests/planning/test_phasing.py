"""Phasing: what is built meets the moving slot, costs what was offered and keeps the limits."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest

from simcheck.kernels.kepler import axis_of_period, propagate
from simcheck.kernels.transfers import apsis_radii, period_of
from simcheck.kernels.vectors import norm
from simcheck.planning.candidates import Candidate, Impulse
from simcheck.planning.phasing import Offer, build, offers, open_candidate
from simcheck.planning.problem import Problem
from simcheck.planning.rendezvous import timed_candidates
from simcheck.planning.routes import Route
from simcheck.planning.searching import all_routes
from tests.cases_for_tests import ENGINE, OPEN
from tests.helpers import assert_relative
from tests.planning.problems import CASES, miss, problem


def cheap_routes(posed: Problem) -> list[Route]:
    return sorted(all_routes(posed), key=lambda route: route.dv)[:4]


def some_offers(posed: Problem) -> list[Offer]:
    """The cheapest and the earliest offers of the cheapest routes."""
    found = [offer for route in cheap_routes(posed) for offer in offers(posed, route)]
    assert found
    cheap = sorted(found, key=lambda offer: offer.dv)[:8]
    return cheap + sorted(found, key=lambda offer: offer.arrival)[:8]


@pytest.mark.parametrize("engine", ["impulses", "small"])
@pytest.mark.parametrize("name", CASES)
def test_built_candidates_meet_the_slot(name: str, engine: str) -> None:
    """Flown exactly, the impulses end metres from the slot; the cost is the sum and the offer's."""
    posed = problem(name) if engine == "impulses" else problem(name, engine=ENGINE)
    built = 0
    for offer in some_offers(posed):
        candidate = build(posed, offer)
        if candidate is None:
            continue
        built += 1
        metres, speed = miss(posed, candidate)
        assert metres < 2e-6 * posed.radius_m  # the search leaves 1e-7 of the radius, times revs
        assert speed < 2e-6 * float(norm(posed.ring_velocity(posed.position_m)))
        assert_relative(candidate.dv, sum(norm(x.dv) for x in candidate.impulses), 1e-12)
        assert_relative(candidate.dv, offer.dv, 1e-9)
        assert abs(candidate.arrival - offer.arrival) < 1e-6 * posed.motion.period_s
        assert_sound(posed, candidate)
    assert built > 0


def assert_sound(posed: Problem, candidate: Candidate) -> None:
    """In order of time, within the duration, orbits between within the radii."""
    times = [impulse.time for impulse in candidate.impulses]
    assert times[0] >= posed.start_s
    assert all(one < two for one, two in pairwise(times))
    assert candidate.arrival <= posed.end_s
    for impulse in candidate.impulses[:-1]:
        low, high = apsis_radii(impulse.position, impulse.after, posed.gm)
        assert low >= posed.min_radius_m - 2.0
        assert high <= posed.max_radius_m + 2.0


def test_phasing_orbit_has_the_period_that_is_said() -> None:
    """The orbit after the parted burn has the period of `phasing`, and k of them pass."""
    posed = problem()
    for offer in some_offers(posed):
        candidate = build(posed, offer)
        if candidate is None or candidate.phasing is None:
            continue
        phasing = candidate.phasing
        one, two = candidate.impulses[phasing.after : phasing.after + 2]
        assert_relative(period_of(one.position, one.after, posed.gm), phasing.period_s, 1e-9)
        assert_relative(two.time - one.time, phasing.revolutions * phasing.period_s, 1e-9)


def test_one_revolution_fewer_costs_what_is_said() -> None:
    """one_fewer_dv is the cheapest of the same burn parted with one turn fewer.

    The turns then take as long, or up to two passages of the slot less. Checked where the burn is
    parted along its own line.
    """
    posed = problem()
    checked = 0
    found = [o for route in cheap_routes(posed) for o in offers(posed, route)]
    for offer in sorted(found, key=lambda o: o.dv)[:40]:
        candidate = build(posed, offer)
        if candidate is None or candidate.phasing is None:
            continue
        phasing = candidate.phasing
        if phasing.revolutions < 2:
            assert np.isnan(phasing.one_fewer_dv)
            continue
        one, two = candidate.impulses[phasing.after : phasing.after + 2]
        line = two.after - one.before
        if norm(np.cross(one.dv, line)) > 1e-9 * norm(one.dv) * norm(line):
            continue
        span = phasing.revolutions * phasing.period_s
        costs = [
            parted(posed, one, two, (span - m * posed.motion.period_s) / (phasing.revolutions - 1))
            for m in range(3)
        ]
        others = candidate.dv - norm(one.dv) - norm(two.dv)
        if np.isnan(phasing.one_fewer_dv):
            assert min(costs) == np.inf
        else:
            assert_relative(phasing.one_fewer_dv, others + min(costs), 1e-9)
            checked += 1
    assert checked > 0


def parted(posed: Problem, one: Impulse, two: Impulse, period: float) -> float:
    """Cost in m/s of the burn from one.before to two.after with an orbit of this period between.

    The velocity between is on the line through both; inf where that leaves the radii allowed.
    """
    line = two.after - one.before
    length = float(norm(line))
    along = line / length
    square = posed.gm * (2 / norm(one.position) - 1 / axis_of_period(max(period, 1.0), posed.gm))
    roots = np.roots(
        np.array([1.0, 2 * one.before @ along, one.before @ one.before - square], dtype=np.float64)
    )
    if period <= 0 or np.iscomplexobj(roots):
        return float("inf")
    place = min(roots, key=lambda x: abs(x - length / 2))
    low, high = apsis_radii(one.position, one.before + place * along, posed.gm)
    if low < posed.min_radius_m or high > posed.max_radius_m:
        return float("inf")
    return float(abs(place) + abs(length - place))


def test_the_phase_is_nearly_free() -> None:
    """With days to spend the cheapest offer costs its route, no more."""
    posed = problem()
    for route in cheap_routes(posed)[:2]:
        assert_relative(min(offer.dv for offer in offers(posed, route)), route.dv, 1e-6)


def test_offers_end_before_the_limit_and_after_the_coasts() -> None:
    """No offer arrives late, or before its coasts can be flown."""
    posed = problem()
    for route in cheap_routes(posed):
        for offer in offers(posed, route):
            assert offer.arrival <= posed.end_s
            assert offer.arrival >= posed.start_s + sum(route.coasts)


def test_limits_are_in_the_offers() -> None:
    """A phasing orbit below min_radius or beyond max_radius is not built."""
    open_problem = problem()
    tight = replace(open_problem, min_radius_m=3.84e6, max_radius_m=13.3e6)
    for posed in (open_problem, tight):
        for offer in some_offers(posed):
            candidate = build(posed, offer)
            if candidate is not None:
                assert_sound(posed, candidate)


@pytest.mark.parametrize("name", CASES)
def test_open_candidates_fly_the_route_as_it_is(name: str) -> None:
    """With the phase free a route costs itself and takes its coasts, a revolution more at most."""
    posed = problem(name, tolerance=OPEN)
    made = 0
    for route in cheap_routes(posed):
        candidate = open_candidate(posed, route)
        if candidate is None:
            continue
        made += 1
        assert_relative(candidate.dv, route.dv, 1e-9)
        assert candidate.arrival >= sum(route.coasts) - 1e-6
        assert candidate.arrival < sum(route.coasts) + 1.01 * posed.period_s
    assert made > 0


def test_a_burn_that_would_begin_before_the_epoch_waits_a_revolution() -> None:
    """A craft seconds before the first burn's point cannot light the engine in the past."""
    posed = problem(tolerance=OPEN, engine=ENGINE)
    route = cheap_routes(posed)[0]
    leg = route.legs[0]
    position, velocity = propagate(leg.position, leg.before, -5.0, posed.gm)
    late = replace(posed, position_m=position, velocity_m_s=velocity)
    hurried = route._replace(coasts=(5.0, *route.coasts[1:]))
    candidate = open_candidate(late, hurried)
    assert candidate is not None
    first = candidate.impulses[0]
    half = norm(first.dv) * posed.mass_kg / ENGINE.thrust_n / 2
    assert first.time >= half
    assert_relative(first.time, 5.0 + late.period_s, 1e-6)


@pytest.mark.parametrize("hours", [9.0, 14.0])
def test_timed_candidates_meet_the_slot_in_time(hours: float) -> None:
    """Burn times and vectors optimised together: on the slot, within the time, limits kept."""
    posed = problem(days=hours / 24, min_altitude_m=200e3)
    given = [
        candidate
        for route in cheap_routes(posed)
        for offer in offers(posed, route)[:4]
        if (candidate := build(posed, offer)) is not None
    ]
    found = timed_candidates(posed, given)
    assert found
    for candidate in found[:5]:
        metres, _ = miss(posed, candidate)
        assert metres < 2e-6 * posed.radius_m
        assert_sound(posed, candidate)
    if given:
        assert min(c.dv for c in found) <= min(c.dv for c in given) * (1 + 1e-6)
