"""What a way to a slot costs at least, and about."""

from __future__ import annotations

import math

import numpy as np
import pytest

import simcheck
from simcheck.assigning.estimating import Estimate, estimate, share_of
from tests.assigning.fleets import craft, fleet, start
from tests.cases_for_tests import MARS, OPEN, case, orbit, ring

SAME = 1e-4  # plans within this share cost the same to the planner


def one(name: str = "Heron", days: float = 6.0) -> Estimate:
    made = fleet(craft(name), days=days).case(0, 0)
    return estimate(made, [0, 2], [made.ring.argument_of_latitude_rad])


def test_the_least_dv_is_that_of_every_plan_to_any_slot() -> None:
    """The planner's own floor for either slot, and where days are allowed its Δv and arrival."""
    found = one()
    for column, slot in enumerate((0, 2)):
        plan = simcheck.plan(fleet(craft("Heron"), days=6.0).case(0, slot), prefer="dv")
        assert plan.lower_bound_dv_m_s == pytest.approx(found.lower_m_s, rel=1e-9)
        assert plan.total_dv_m_s == pytest.approx(found.dv_m_s[0, column], rel=SAME)
        assert plan.total_dv_m_s > found.lower_m_s * (1 - 1e-9)
        # A search in closed form finds no earlier one than the planner, which looks at more.
        assert plan.arrival_time_s <= found.arrival_s[0, column] * (1 + 1e-6)


def test_turning_the_ring_by_a_slot_is_going_to_the_next() -> None:
    """Slot 1 is slot 0 of the ring turned by one spacing."""
    made = fleet(craft("Egret"), days=6.0).case(0, 0)
    angle = made.ring.argument_of_latitude_rad
    found = estimate(made, [0, 1], [angle, angle + math.tau / 4])
    assert found.dv_m_s[1, 0] == pytest.approx(found.dv_m_s[0, 1], rel=1e-12)
    assert found.arrival_s[1, 0] == pytest.approx(found.arrival_s[0, 1], rel=1e-12)


def test_too_little_propellant_is_no_way_to_any_slot() -> None:
    """Known at once, without a plan."""
    made = fleet(craft("Heron", propellant_kg=20.0)).case(0, 0)
    found = estimate(made, [0, 1], [0.0])
    assert found.lower_m_s == math.inf
    assert np.all(np.isinf(found.dv_m_s))


def test_a_craft_that_may_be_there_is_bounded_by_nothing() -> None:
    """A plan for one that is nearly on the ring may need no burn: its floor is no bound then."""
    radius_km = 12000.0
    at = orbit(MARS, radius_km - 1.0, radius_km + 1.0, 35.0, 60.0, 0.0, 10.0)
    made = case(start=at, goal=ring(radius_km=radius_km))
    plan = simcheck.plan(made, prefer="dv")
    found = estimate(made, [0], [made.ring.argument_of_latitude_rad])
    assert found.lower_m_s == 0.0
    assert plan.total_dv_m_s == 0.0


def test_without_a_phase_every_slot_is_the_same() -> None:
    """A case that leaves the arrival angle free has one way to all of them."""
    made = case(start=start("Heron"), goal=ring(10.0), tolerance=OPEN)
    found = estimate(made, [0, 1, 2], [0.0])
    assert np.ptp(found.dv_m_s) == 0.0
    assert np.ptp(found.arrival_s) == 0.0


def test_a_share_is_by_the_rocket_equation() -> None:
    """1000 m/s at 318 s from 610 kg: 610 (1 - exp(-1000 / (9.80665 * 318))) = 167.34 kg of 300."""
    made = fleet(craft("Heron")).case(0, 0)
    used = 610.0 * (1.0 - math.exp(-1000.0 / (9.80665 * 318.0)))
    assert share_of(made, 1000.0) == pytest.approx(used / 300.0, rel=1e-12)
    assert share_of(made, 0.0) == 0.0
    dry = fleet(craft("Heron", propellant_kg=0.0)).case(0, 0)
    assert share_of(dry, 0.0) == 0.0
    assert share_of(dry, 1.0) == math.inf
