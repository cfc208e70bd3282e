"""Courses: exact slopes against differences, limits by a flight of the test's own."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from simcheck.kernels.kepler import propagate
from simcheck.planning.courses import (
    Bounds,
    Field,
    bounds_of,
    cost_of,
    edge_count,
    edges_in,
    edges_of,
    field_of,
    look_at,
    padded,
    stripped,
)
from simcheck.records.case import Engine
from tests.planning.problems import problem

WEAK = Engine(name="engine", thrust_n=60.0, isp_s=318.0, max_burn_s=1800.0)
STEP = 1e-6


def tight() -> Field:
    """A field whose limits random courses break, each kind of them."""
    posed = replace(problem(engine=WEAK), end_s=36000.0, arc_rad=0.1)
    return field_of(replace(posed, min_radius_m=9e6, max_radius_m=12e6))


def scattered(field: Field, burns: int, seed: int) -> np.ndarray:
    """A random course (1, n) that runs a little past the time allowed."""
    stream = np.random.default_rng(seed)
    times = np.sort(stream.uniform(0.0, field.span + 0.2, burns))
    return np.concatenate([times, 0.15 * stream.standard_normal(3 * (burns - 1))])[None]


@pytest.mark.parametrize("burns", [2, 3, 4, 5])
def test_slopes_match_differences(burns: int) -> None:
    """Cost, walls and misses: exact slopes against central differences; every wall is met."""
    field, met = tight(), np.zeros(edge_count(burns), dtype=bool)
    bounds = bounds_of(burns, field.span)._replace(weight=10.0)
    for seed in range(12):
        point = scattered(field, burns, seed)
        met |= (edges_of(field, point, bounds) > 0)[0]
        cost, slope, rest, bend = look_at(field, point, bounds)
        alone, missed = cost_of(field, point, bounds)
        assert cost == pytest.approx(alone, rel=1e-12)
        assert rest == pytest.approx(missed, rel=1e-9, abs=1e-12)
        for j in range(point.shape[1]):
            shift = np.zeros_like(point)
            shift[0, j] = STEP
            ahead, behind = (cost_of(field, point + s * shift, bounds) for s in (1, -1))
            lean = (ahead[0] - behind[0])[0] / (2 * STEP)
            assert lean == pytest.approx(slope[0, j], rel=1e-4, abs=1e-4)
            change = (ahead[1] - behind[1])[0] / (2 * STEP)
            assert np.max(np.abs(change - bend[0, :, j])) < 1e-4 * (1 + np.max(np.abs(change)))
    assert met.sum() >= edge_count(burns) - 2  # the first ignition is hard to be late for


def test_limits_without_a_number_do_no_harm() -> None:
    """An infinite max_radius leaves every slope finite."""
    field = field_of(replace(problem(), max_radius_m=np.inf, end_s=36000.0))
    for burns in (2, 3, 5):
        parts = look_at(field, scattered(field, burns, 1), bounds_of(burns, field.span))
        assert all(np.isfinite(part).all() for part in parts)


def test_idle_burns_change_nothing() -> None:
    """A course of three burns with room for five costs the same and has slopes only of its own."""
    field = tight()
    point, wide = scattered(field, 3, 4), padded(scattered(field, 3, 4)[0], 5)[None]
    shifts = np.zeros((1, edge_count(5)))
    bounds = Bounds(np.array([field.span]), shifts, np.array([3]), 10.0)
    narrow = bounds_of(3, field.span)._replace(weight=10.0)
    one, other = look_at(field, point, narrow), look_at(field, wide, bounds)
    own = np.concatenate([np.arange(5) >= 2, np.repeat(np.arange(4) >= 2, 3)])
    assert other[0] == pytest.approx(one[0], abs=1e-5)  # idle burns are rounded at zero too
    assert not other[1][0, ~own].any()
    assert other[3][0][:, own] == pytest.approx(one[3][0], abs=1e-9)
    assert stripped(wide[0], 3) == pytest.approx(point[0])
    assert edges_in(5, 3).sum() == edge_count(3)


def test_apsides_count_only_where_they_are_passed() -> None:
    """Sampled radii of a coast against the walls: below the limit exactly where a wall says so."""
    field = tight()
    seen = set()
    for seed in range(40):
        point = scattered(field, 2, seed)
        over = edges_of(field, point, bounds_of(2, field.span))[0]
        r, v = propagate(field.position, field.velocity, point[0, 0], 1.0)
        spans = np.linspace(0.0, point[0, 1] - point[0, 0], 2000)
        radii = np.linalg.norm(propagate(r, v + point[0, 2:], spans, 1.0)[0], axis=1)
        inside = radii[1:-1]
        dips = inside.min() < min(radii[0], radii[-1]) and inside.min() < field.low
        assert dips == (over[5] > 0)
        rises = inside.max() > max(radii[0], radii[-1]) and inside.max() > field.high
        assert rises == (over[6] > 0)
        seen.add((dips, rises))
    assert len(seen) > 2
