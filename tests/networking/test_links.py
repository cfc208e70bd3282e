"""Links between neighbours, against geometry and dense sampling."""

from __future__ import annotations

import dataclasses
import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from simcheck.kernels.kepler import propagate
from simcheck.kernels.sampled import SampledMotion, sampled_motion
from simcheck.networking.links import links
from simcheck.networking.sizing import budget_range
from simcheck.records.network import NetworkAim
from tests.networking.rings import DAY, EARTH, GEO_M, names, ring
from tests.networking.test_sizing import BUDGET

MINUTES = np.arange(0.0, 2 * DAY + 1.0, 60.0)


def eccentric(times: np.ndarray, e: float, radius: float = 20_000e3) -> SampledMotion:
    """Three relays a third of a period apart on one eccentric orbit."""
    axis = radius
    revolution = math.tau * math.sqrt(axis**3 / EARTH.gm_m3_s2)
    speed = math.sqrt(EARTH.gm_m3_s2 * (1 + e) / (axis * (1 - e)))
    start = np.array([axis * (1 - e), 0.0, 0.0]), np.array([0.0, 0.8 * speed, 0.6 * speed])
    states = [propagate(*start, times + k * revolution / 3, EARTH.gm_m3_s2) for k in range(3)]
    return sampled_motion(times, np.stack([s[0] for s in states]), np.stack([s[1] for s in states]))


def test_three_geostationary_relays() -> None:
    """Chord 73030.5 km and a line 21082.1 km from the centre, always in sight: a closed ring."""
    found = links(names(3), ring(GEO_M, 3, MINUTES), EARTH, NetworkAim())
    assert [(one.first, one.second) for one in found.links] == [
        ("R1", "R2"),
        ("R2", "R3"),
        ("R3", "R1"),
    ]
    for one in found.links:
        assert one.shortest_m == pytest.approx(73030.5e3, abs=50.0)
        assert one.longest_m == pytest.approx(73030.5e3, abs=50.0)
        assert one.lowest_height_m + EARTH.radius_m == pytest.approx(21082.1e3, abs=50.0)
        assert (one.sight_share, one.closed_share, one.longest_outage_s) == (1.0, 1.0, 0.0)
        assert one.worst_margin_db is None
    assert (found.closed_share, found.connected_share, found.outages) == (1.0, 1.0, 0)


def test_a_ring_that_just_grazes_is_in_sight() -> None:
    """At r = R / cos(pi / N) always, a kilometre lower never, nor with a grazing height."""
    least = EARTH.radius_m / math.cos(math.pi / 5)
    fine = links(names(5), ring(least, 5, MINUTES), EARTH, NetworkAim())
    assert fine.closed_share == 1.0
    low = links(names(5), ring(least - 1e3, 5, MINUTES), EARTH, NetworkAim())
    assert (low.closed_share, low.links[0].sight_share) == (0.0, 0.0)
    assert (low.outages, low.longest_outage_s) == (1, 2 * DAY)
    grazing = NetworkAim(grazing_height_m=1e3)
    assert links(names(5), ring(least, 5, MINUTES), EARTH, grazing).closed_share == 0.0


def test_neighbours_are_known_from_slots_or_from_where_they_are() -> None:
    """Relays given in any order are paired around the ring."""
    motion = ring(GEO_M, 4, MINUTES)
    order = [2, 0, 3, 1]
    mixed = sampled_motion(MINUTES, motion.positions[order], motion.velocities[order])
    mixed_names = [names(4)[k] for k in order]
    by_place = links(mixed_names, mixed, EARTH, NetworkAim())
    by_slot = links(mixed_names, mixed, EARTH, NetworkAim(), slots=order)
    rounds = {frozenset(pair) for pair in (("R1", "R2"), ("R2", "R3"), ("R3", "R4"), ("R4", "R1"))}
    for found in (by_place, by_slot):
        assert {frozenset((one.first, one.second)) for one in found.links} == rounds


def test_an_open_ring_may_still_connect_all() -> None:
    """One gap of a slot hides two neighbours; the other links make a chain."""
    motion = ring(8000e3, 8, MINUTES)
    seven = sampled_motion(MINUTES, motion.positions[:7], motion.velocities[:7])
    found = links(names(7), seven, EARTH, NetworkAim(), slots=range(7))
    assert [one.closed_share for one in found.links] == [1.0] * 6 + [0.0]
    assert (found.closed_share, found.connected_share) == (0.0, 1.0)


@pytest.mark.parametrize(("relays", "pairs"), [(1, 0), (2, 1)])
def test_fewer_than_three_are_no_ring(relays: int, pairs: int) -> None:
    """Two have their one link, one has none; neither has a ring to be closed."""
    motion = ring(GEO_M, 4, MINUTES)
    few = sampled_motion(MINUTES, motion.positions[:relays], motion.velocities[:relays])
    found = links(names(relays), few, EARTH, NetworkAim())
    assert len(found.links) == pairs
    assert found.closed_share is None
    assert found.connected_share == 1.0


@settings(max_examples=25, deadline=None)
@given(st.floats(0.0, 0.6), st.floats(20_000e3, 45_000e3), st.floats(0.0, 2e6))
def test_shares_against_dense_sampling(e: float, limit: float, grazing: float) -> None:
    """Sight, range and both together are those of samples every 4 s of the exact motion."""
    times = np.arange(0.0, DAY + 1.0, 120.0)
    aim = NetworkAim(max_range_m=limit, grazing_height_m=grazing)
    found = links(names(3), eccentric(times, e), EARTH, aim, slots=range(3))
    dense = eccentric(np.arange(2.0, DAY, 4.0), e).positions
    all_closed = np.ones(dense.shape[1], dtype=bool)
    for k, one in enumerate(found.links):
        a, b = dense[k], dense[(k + 1) % 3]
        away = np.linalg.norm(b - a, axis=1)
        share = np.clip(-np.sum(a * (b - a), axis=1) / away**2, 0.0, 1.0)
        low = np.linalg.norm(a + share[:, None] * (b - a), axis=1) - EARTH.radius_m
        closed = (low >= grazing) & (away <= limit)
        all_closed &= closed
        # A change is seen to 4 s; some ten changes a day.
        assert one.sight_share == pytest.approx(np.mean(low >= grazing), abs=20 * 4 / DAY)
        assert one.closed_share == pytest.approx(closed.mean(), abs=20 * 4 / DAY)
        assert one.shortest_m == pytest.approx(away.min(), abs=200.0)
        assert one.longest_m == pytest.approx(away.max(), abs=200.0)
        assert one.lowest_height_m == pytest.approx(low.min(), abs=2e4)  # a fast, sharp dip
    assert found.closed_share == pytest.approx(all_closed.mean(), abs=60 * 4 / DAY)


def test_the_budget_closes_a_link_where_its_margin_is_kept() -> None:
    """Just within its range always, just beyond never; the margin stands at the longest range."""
    budget = dataclasses.replace(BUDGET, sensitivity_w=1e-19)
    reach = budget_range(budget)
    aim = NetworkAim(link=budget)
    for shrink, share in ((0.999, 1.0), (1.001, 0.0)):
        radius = shrink * reach / (2 * math.sin(math.pi / 3))
        found = links(names(3), ring(radius, 3, MINUTES), EARTH, aim)
        assert found.closed_share == share
        assert found.links[0].sight_share == 1.0
        expected = 3.0 - 20 * math.log10(shrink)
        assert found.links[0].worst_margin_db == pytest.approx(expected, abs=1e-6)
