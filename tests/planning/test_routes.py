"""Routes in two-body motion: legs follow each other and the last one is on the ring."""

from __future__ import annotations

import numpy as np
import pytest

from simcheck.kernels.kepler import propagate
from simcheck.kernels.transfers import apsis_radii
from simcheck.kernels.vectors import angle_between, cross, norm
from simcheck.planning.problem import Problem
from simcheck.planning.routes import Route, handbook_routes
from simcheck.planning.searching import all_routes
from simcheck.records.case import Tolerance
from tests.helpers import assert_metres, assert_metres_per_second, assert_relative
from tests.planning.problems import CASES, problem

ON_RING = 1e-6  # of the radius: what the least-Δv search leaves


def routes(posed: Problem) -> list[Route]:
    found = all_routes(posed)
    assert found
    return found


@pytest.mark.parametrize("name", CASES)
def test_legs_follow_each_other(name: str) -> None:
    """Flown exactly for its coasts, each leg begins where and how the one before leaves off."""
    posed = problem(name)
    for route in routes(posed):
        position, velocity = posed.position_m, posed.velocity_m_s
        for leg, coast in zip(route.legs, route.coasts, strict=True):
            assert coast >= 0.0
            position, velocity = propagate(position, velocity, coast, posed.gm)
            # Timing through mean anomalies; near circles the apsis is known to 1e-7 or so.
            assert_metres(position, leg.position, 1e-6 * posed.radius_m)
            assert_metres_per_second(velocity, leg.before, 1e-6 * float(norm(leg.before)))
            position, velocity = leg.position, leg.after


@pytest.mark.parametrize("name", CASES)
def test_routes_end_on_the_ring(name: str) -> None:
    """The last leg is at the ring's radius, in its plane, and leaves with the ring's velocity."""
    posed = problem(name)
    for route in routes(posed):
        last = route.legs[-1]
        assert_relative(norm(last.position), posed.radius_m, ON_RING)
        assert abs(float(last.position @ posed.normal)) < ON_RING * posed.radius_m
        assert_metres_per_second(last.after, posed.ring_velocity(last.position), 1e-3)
        assert_relative(route.dv, sum(norm(leg.after - leg.before) for leg in route.legs), 1e-12)


def test_the_families_are_there() -> None:
    """The plane first, between and last, on the line of nodes, and by a raised apoapsis."""
    names = " | ".join(route.name for route in handbook_routes(problem()))
    for word in ("first", "between", "last", "line of nodes", "raised apoapsis"):
        assert word in names


def test_raised_routes_keep_the_largest_radius() -> None:
    """No handbook route goes out further than max_radius by way of its raised apoapsis."""
    for limit in (14e6, 20e6, 60e6):
        posed = problem(max_radius_m=limit)
        for route in handbook_routes(posed):
            if "raised" not in route.name:
                continue
            for leg in route.legs[:-1]:
                assert apsis_radii(leg.position, leg.after, posed.gm)[1] <= limit * (1 + 1e-9)


@pytest.mark.parametrize("name", ["tilted ellipse inside", "outside", "circle", "retrograde"])
def test_the_least_dv_search_is_no_dearer_than_a_handbook(name: str) -> None:
    """Free points and a free split cost at most what the best recipe does."""
    posed = problem(name)
    best = min(route.dv for route in routes(posed))
    assert best <= min(route.dv for route in handbook_routes(posed)) * (1 + 1e-9)


def test_the_least_dv_search_is_worth_its_time() -> None:
    """Free points save a percent over the best recipe where nodes and apsides lie apart."""
    posed = problem()
    best = min(route.dv for route in routes(posed))
    assert best < 0.995 * min(route.dv for route in handbook_routes(posed))


def test_a_plane_alone_is_one_turn_at_either_node() -> None:
    """With only the plane to reach, both nodes are offered, the speed kept."""
    posed = problem(tolerance=Tolerance(plane_rad=0.001))
    turns = handbook_routes(posed)
    assert len(turns) == 2
    for route in turns:
        (leg,) = route.legs
        assert_relative(norm(leg.after), norm(leg.before), 1e-12)
        assert angle_between(cross(leg.position, leg.after), posed.normal) < 1e-9
    assert turns[0].legs[0].position @ turns[1].legs[0].position < 0


def test_a_period_alone_is_set_at_an_apsis() -> None:
    """With only the period to reach, one tangential burn gives it."""
    posed = problem(tolerance=Tolerance(period_s=1.0))
    for route in handbook_routes(posed):
        (leg,) = route.legs
        energy = leg.after @ leg.after / 2 - posed.gm / norm(leg.position)
        assert_relative(-posed.gm / (2 * energy), posed.radius_m, 1e-9)
        assert norm(np.cross(leg.after, leg.before)) < 1e-6 * norm(leg.after) * norm(leg.before)
