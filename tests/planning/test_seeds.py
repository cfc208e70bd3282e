"""Where the timed search starts: arcs that meet the slot, known courses first, draws by seed."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from simcheck.planning.courses import burn_count, field_of, legs_of, point_of, slot_at
from simcheck.planning.dating import dated
from simcheck.planning.seeds import lambert_pairs, seeds
from simcheck.records.wish import Wish
from tests.planning.problems import problem

POSED = replace(problem("tilted ellipse across"), end_s=22.0 * 3600.0)


@pytest.mark.parametrize("grid", [20, 40])
def test_arcs_meet_the_slot_within_the_time(grid: int) -> None:
    """Flown, each is at the slot; rounding of several revolutions, in radii of the ring."""
    field = field_of(POSED)
    pairs = lambert_pairs(field, grid)
    ends = legs_of(field, np.array(pairs)).positions[:, -1]
    for pair, end in zip(pairs, ends, strict=True):
        assert 0 <= pair[0] < pair[1] <= field.span
        assert end == pytest.approx(slot_at(field, pair[1])[0], abs=1e-8)


def test_arcs_are_told_apart_and_spread_over_the_time() -> None:
    """No arc comes twice, and all sixths of the time but the first have one that arrives there."""
    field = field_of(POSED)
    pairs = lambert_pairs(field)
    assert len({tuple(x) for x in pairs}) == len(pairs)
    assert {1, 2, 3, 4, 5} <= {int(np.ceil(6 * x[1] / field.span)) - 1 for x in pairs}


def test_known_courses_come_first_and_once() -> None:
    """Of two equal candidates one is taken, and none of more burns than a timed plan may have."""
    times = np.arange(1.0, 7.0)
    point, long = (np.concatenate([times[:n], np.full(3 * (n - 1), 0.1)]) for n in (3, 6))
    known, too_long = dated(POSED, point), dated(POSED, long)
    starts = seeds(POSED, [too_long, known, known], Wish())
    assert starts[0] == pytest.approx(point_of(POSED, known))
    assert len(starts) == len(seeds(POSED, [], Wish())) + 1
    assert all(2 <= burn_count(x) <= 5 for x in starts)


def test_effort_adds_the_same_draws_for_the_same_seed() -> None:
    """Random courses stand behind those of the first effort, and follow the seed alone."""
    plain = seeds(POSED, [], Wish())
    more, again, other = (seeds(POSED, [], Wish(effort=2, seed=s)) for s in (3, 3, 4))
    assert len(more) > len(plain)
    assert all(np.array_equal(x, y) for x, y in zip(plain, more, strict=False))
    assert all(np.array_equal(x, y) for x, y in zip(more, again, strict=True))
    assert not np.array_equal(more[-1], other[-1])
