"""Quantiles and their intervals: held against direct sums, sorting and simulated samples."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from simcheck.kernels.quantiles import order_statistics, quantile_interval, quantile_place
from tests.kernels.chances import ROUNDING, chances, confidences, rates


@given(st.integers(0, 120), rates, confidences)
def test_quantile_interval_covers(n, share, confidence):
    """The quantile lies between the two values with the confidence, by the direct sum.

    It does where the count of values below the quantile is at least low + 1 and at most high.
    """
    low, high = quantile_interval(n, share, confidence)
    first = 0 if np.isnan(low) else int(low) + 1
    last = n if np.isnan(high) else int(high)
    weights = chances(n, share)
    assert weights[first : last + 1].sum() >= confidence - ROUNDING
    # Neither end can move in alone; an open end is open because its tail asks for it.
    if first and last < n and last - first >= 1:
        assert weights[first + 1 : last + 1].sum() < confidence + ROUNDING
        assert weights[first:last].sum() < confidence + ROUNDING
    if np.isnan(low):
        assert weights[0] > (1 - confidence) / 2 - ROUNDING
    if np.isnan(high):
        assert weights[n] > (1 - confidence) / 2 - ROUNDING


def test_quantile_interval_of_the_median():
    """Ten values hold the median between the 2nd and the 9th with 1 - 22/1024, 97.9 %.

    The next, 3rd to 8th, would hold it with 1 - 112/1024, 89.1 %.
    """
    assert quantile_interval(10, 0.5, 1 - 22.001 / 1024) == (1, 8)
    assert quantile_interval(10, 0.5, 1 - 111.999 / 1024) != (2, 7)
    assert quantile_interval(10, 0.5, 1 - 112.001 / 1024) == (2, 7)
    low, high = quantile_interval([0, 1, 3], 0.5, 0.9)
    assert np.isnan([low, high]).all()


def test_quantile_interval_moves_the_better_end():
    """Where either end may move in, the one that costs less does: 84.4 % left, not 81.0 %."""
    assert quantile_interval(8, 0.4, 0.8) == (1, 5)
    assert chances(8, 0.4)[2:6].sum() > chances(8, 0.4)[1:5].sum() > 0.8
    assert quantile_interval(8, 0.6, 0.8) == (2, 6)  # the mirror image


def test_quantile_interval_where_samples_are_few():
    """A high share needs n with share^n small enough; below that only its upper end is open."""
    low, high = quantile_interval([200, 400], 0.99, 0.9)
    assert low[0] < 198
    assert np.isnan(high[0])
    assert high[1] == 399
    both = quantile_interval(1000, [[0.001, 0.5], [0.9, 0.999]], 0.9)
    for i in np.ndindex(2, 2):
        alone = quantile_interval(1000, [[0.001, 0.5], [0.9, 0.999]][i[0]][i[1]], 0.9)
        np.testing.assert_equal((both[0][i], both[1][i]), tuple(float(x) for x in alone))


@given(st.integers(1, 400), rates, confidences)
def test_quantile_lies_in_its_interval(n, share, confidence):
    """The estimate is between the ends that exist."""
    low, high = quantile_interval(n, share, confidence)
    assert not low > quantile_place(n, share)
    assert not high < quantile_place(n, share)


def test_quantile_interval_simulated():
    """Of 4,000 seeded skewed samples, those that hold the quantile are as many as the sum says."""
    n, share, runs = 80, 0.9, 4000
    values = np.sort(np.random.default_rng(8).exponential(size=(n, runs)), axis=0)
    low, high = quantile_interval(n, share, 0.9)
    true = -math.log(1 - share)
    held = np.mean((values[int(low)] <= true) & (true <= values[int(high)]))
    chance = chances(n, share)[int(low) + 1 : int(high) + 1].sum()
    assert abs(held - chance) < 4 * math.sqrt(chance * (1 - chance) / runs)


def test_quantile_is_a_value():
    """The least value with the share at or below it, roundings of n x share forgiven."""
    places = quantile_place(100, [0, 0.01, 0.011, 0.07, 0.28, 0.29, 0.55, 1])
    assert (places + 1).tolist() == [1, 1, 2, 7, 28, 29, 55, 100]
    assert np.isnan(quantile_place(0, 0.5))


# Values at places, without sorting.

ANY = st.floats(allow_nan=True, allow_infinity=True) | st.sampled_from([0.0, -0.0, 1.0, -1.0])


@given(st.lists(st.tuples(ANY, ANY), min_size=1, max_size=60), st.integers(1, 9))
def test_order_statistics_are_the_sorted_values(rows, size):
    """All of them, of two columns, whatever the blocks; infinities and NaN do not count."""
    table = np.array(rows)

    def blocks():
        return (table[i : i + size] for i in range(0, len(table), size))

    known = [np.sort(column[np.isfinite(column)]) for column in table.T]
    places = np.full((2, len(table)), np.nan)
    for row, values in zip(places, known, strict=True):
        row[: len(values)] = np.arange(len(values))
    found = order_statistics(blocks, places)
    for row, values in zip(found, known, strict=True):
        assert (row[: len(values)] == values).all()
        assert np.isnan(row[len(values) :]).all()


def test_order_statistics_of_many_alike():
    """Values that differ in the last bit only, and ties, are told apart and counted."""
    values = np.repeat([1.0, np.nextafter(1.0, 2.0), 1.0 + 2**-40], [500, 3, 497])
    mixed = np.random.default_rng(1).permutation(values)[:, None]
    found = order_statistics(lambda: [mixed], np.array([[0, 499, 500, 502, 503, 999.0]]))
    assert found[0].tolist() == values[[0, 499, 500, 502, 503, 999]].tolist()
    with pytest.raises(ValueError, match="places: expected at most 999, got 1000"):
        order_statistics(lambda: [mixed], np.array([[1000.0]]))


# What is refused.


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: quantile_interval(4, 1.0, 0.9), "share: expected a share"),
        (lambda: quantile_place(4, 1.5), "share: expected shares"),
    ],
)
def test_refused(call, words):
    """What makes no sense is said, not computed."""
    with pytest.raises(ValueError, match=words):
        call()
