"""Windows in time: none is missed between samples, and their number does not depend on the grid."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from simcheck.kernels.windows import (
    RESOLUTION_S,
    anywhere,
    at_least,
    everywhere,
    extremes,
    longest,
    maxima,
    outside,
    total,
    windows,
)

DAY = 86400.0


class Tides:
    """Sums of two sines, a row each: level, size and phase of the second, periods 12 h and 3 h."""

    def __init__(self, *rows: tuple[float, float, float]) -> None:
        self.rows = np.array(rows)

    def __call__(self, rows: np.ndarray, times: np.ndarray) -> np.ndarray:
        level, size, phase = self.rows[rows].T
        slow = 2 * np.pi * times / 43200.0
        return np.sin(slow) + size * np.sin(4 * slow + phase) - level

    def sampled(self, times: np.ndarray) -> np.ndarray:
        each = [self(np.full(len(times), k), times) for k in range(len(self.rows))]
        return np.stack(each)


def found(signal: Tides, samples: int, end: float = 2 * DAY) -> list[np.ndarray]:
    times = np.linspace(0.0, end, samples)
    return windows(times, signal.sampled(times), signal)


def test_a_sine_above_a_level() -> None:
    """Start and end are where arcsin says, to a microsecond."""
    (spans,) = found(Tides((0.5, 0.0, 0.0)), 97)
    starts = 43200.0 * (np.arange(4) + 1 / 12)
    assert spans == pytest.approx(np.stack([starts, starts + 14400.0], axis=-1), abs=1e-6)


def test_windows_between_two_samples() -> None:
    """Highs of 50 s, half an hour between samples that all lie below, are all found."""
    level = math.cos(math.pi * 50.0 / 43200.0)
    times = np.arange(0.0, 2 * DAY, 1700.0)
    signal = Tides((level, 0.0, 0.0))
    values = signal.sampled(times)
    assert (values < 0.0).all()
    (spans,) = windows(times, values, signal)
    assert spans.mean(axis=1) == pytest.approx(10800.0 + 43200.0 * np.arange(4), abs=1e-3)
    assert np.diff(spans)[:, 0] == pytest.approx(np.full(4, 50.0), abs=1e-3)


def test_gaps_between_two_samples() -> None:
    """The same for lows: what would be one window is cut in five."""
    level = -math.cos(math.pi * 50.0 / 43200.0)
    times = np.arange(0.0, 2 * DAY, 1700.0)
    signal = Tides((level, 0.0, 0.0))
    values = signal.sampled(times)
    assert (values > 0.0).all()
    (spans,) = windows(times, values, signal)
    assert len(spans) == 5
    gaps = outside(spans, 0.0, times[-1])
    assert np.diff(gaps)[:, 0] == pytest.approx(np.full(4, 50.0), abs=1e-3)


def test_the_ends_of_the_samples_count() -> None:
    """Above throughout is one window from end to end, below throughout none; a high at an end."""
    whole, none = found(Tides((-2.0, 0.1, 0.0), (2.0, 0.1, 0.0)), 50)
    assert whole.tolist() == [[0.0, 2 * DAY]]
    assert none.shape == (0, 2)
    (spans,) = found(Tides((-1e-3, 0.0, 3.0)), 5, end=43200.0)
    assert spans[0, 0] == 0.0
    assert spans[-1, 1] == 43200.0


tides = st.tuples(st.floats(-1.5, 1.5), st.floats(0.0, 0.6), st.floats(0.0, 2 * math.pi)).map(
    lambda row: tuple(round(x, 6) for x in row)
)


@given(tides, st.integers(120, 400), st.integers(120, 400))
def test_the_number_does_not_depend_on_the_grid(
    row: tuple[float, float, float], one: int, two: int
) -> None:
    """Two grids of at least seven samples to the quickest swing give the same windows.

    But for a maximum and a minimum within a step, which the search does not claim to see.
    Windows and gaps of less than a second may be told apart or not: the high that makes them is
    level to rounding.
    """
    slopes = np.diff(Tides(row).sampled(np.arange(0.0, 2 * DAY + 600.0, 10.0))[0])
    turns = 10.0 * np.flatnonzero(slopes[1:] * slopes[:-1] <= 0.0)
    assume(np.diff(turns).min() > 2 * DAY / (min(one, two) - 1) + 20.0)
    first, second = (found(Tides(row), samples)[0] for samples in (one, two))
    dense = np.arange(0.0, 2 * DAY, 20.0)
    heights = Tides(row).sampled(dense)[0]
    above, level = heights >= 0.0, np.abs(heights) < 1e-12
    for spans in (first, second):
        inside = (spans[:, None, 0] <= dense) & (dense <= spans[:, None, 1])
        near = np.abs(dense[:, None] - spans.reshape(-1)).min(axis=1, initial=np.inf) < 1e-3
        assert ((inside.any(axis=0) == above) | near | level).all()
    lasting = [spans[np.diff(spans)[:, 0] > 1.0] for spans in (first, second)]
    assert abs(total(first) - total(second)) < 2.0
    if all(np.diff(outside(s, 0.0, 2 * DAY)).min(initial=9.0) > 1.0 for s in (first, second)):
        assert len(lasting[0]) == len(lasting[1])


@given(tides, st.integers(120, 400))
def test_extremes_against_dense_samples(row: tuple[float, float, float], samples: int) -> None:
    """Least and most are those of 8641 samples, or a little beyond."""
    times = np.linspace(0.0, 2 * DAY, samples)
    signal = Tides(row)
    low, high = extremes(times, signal.sampled(times), signal)
    dense = signal.sampled(np.linspace(0.0, 2 * DAY, 8641))[0]
    # Between dense samples 20 s apart the tide rises by less than (rate 20 s)^2 / 8.
    assert 0.0 <= high[0] - dense.max() + 1e-15 < 5e-5
    assert 0.0 <= dense.min() - low[0] + 1e-15 < 5e-5


def test_maxima_are_located() -> None:
    """The highs of a sine, each once, with the row that they belong to."""
    times = np.linspace(100.0, 2 * DAY, 150)
    signal = Tides((0.0, 0.0, 0.0), (1.0, 0.0, 0.0))
    tops = maxima(times, signal.sampled(times), signal)
    for row, height in ((0, 1.0), (1, 0.0)):
        mine = tops.rows == row
        inner = mine & (tops.at < 2 * DAY - 1000.0)
        assert tops.at[inner] == pytest.approx(10800.0 + 43200.0 * np.arange(4), abs=1.0)
        assert tops.height[inner] == pytest.approx(np.full(4, height), abs=1e-12)
    assert RESOLUTION_S < 0.01


# ------------------------------------------------------------------------------- sets of spans


def as_spans(edges: list[int]) -> np.ndarray:
    """Distinct whole numbers, sorted and paired."""
    chosen = sorted(set(edges))
    return np.array(chosen[: len(chosen) // 2 * 2], dtype=float).reshape(-1, 2)


span_sets = st.lists(
    st.lists(st.integers(0, 60), max_size=12).map(as_spans), min_size=1, max_size=4
)


@given(span_sets, st.integers(1, 4))
def test_sets_of_spans_against_counting(sets: list[np.ndarray], number: int) -> None:
    """At every half second as many sets hold as the spans say, and the complement is the rest."""
    at = np.arange(0.25, 60.0, 0.5)

    def holds(spans: np.ndarray) -> np.ndarray:
        return ((spans[:, None, 0] < at) & (at < spans[:, None, 1])).any(axis=0)

    count = sum(holds(spans).astype(int) for spans in sets)
    result = at_least(sets, number)
    assert (holds(result) == (count >= number)).all()
    assert (holds(everywhere(sets)) == (count == len(sets))).all()
    assert (holds(anywhere(sets)) == (count > 0)).all()
    rest = outside(result, 0.0, 60.0)
    assert (holds(rest) == (count < number)).all()
    assert total(result) + total(rest) == pytest.approx(60.0)
    assert (np.diff(result.reshape(-1)) >= 0.0).all()
    assert longest(result) == max(np.diff(result)[:, 0].tolist(), default=0.0)


def test_spans_that_touch() -> None:
    """End to end they are one; in common they have nothing."""
    sets = [np.array([[0.0, 10.0]]), np.array([[10.0, 20.0]])]
    assert anywhere(sets).tolist() == [[0.0, 20.0]]
    assert everywhere(sets).tolist() == []
