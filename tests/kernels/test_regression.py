"""What drives an outcome: shares of its variance against closed forms."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from simcheck.kernels.regression import shares_of_variance
from tests.kernels.chances import ROUNDING


def test_shares_of_a_linear_outcome():
    """3 x + 4 y has 9/25 and 16/25; with noise of variance 25 half of each, and a rest of 1/2."""
    rng = np.random.default_rng(5)
    x, noise = rng.normal(size=(20000, 3)), 5 * rng.normal(size=20000)
    sums = 3 * x[:, 0] + 4 * x[:, 1]
    shares = shares_of_variance(x * [1.0, 1e6, 1e-6] + 7, np.stack([sums, sums + noise], axis=1))
    # The spread of an estimated share of 20,000 samples is some 2 sqrt(share / n) at most: 0.01.
    expected = [[9 / 25, 9 / 50], [16 / 25, 16 / 50], [0, 0], [0, 1 / 2]]
    np.testing.assert_allclose(shares, expected, atol=4 * 0.01)
    assert shares[2:, 0] == pytest.approx([0, 0], abs=1e-20)
    assert shares[0, 0] / shares[1, 0] == pytest.approx(9 / 16 * np.var(x[:, 0]) / np.var(x[:, 1]))


def test_rest_of_a_curved_outcome():
    """x + a x^2 leaves 2 a^2 / (1 + 2 a^2), a product of inputs all; 4 sigma of 20 batches."""
    a = 0.5
    rng = np.random.default_rng(6)
    found = []
    for _ in range(20):
        x = rng.normal(size=(2000, 2))
        y = np.stack([x[:, 0] + a * x[:, 0] ** 2, x[:, 0] * x[:, 1]], axis=1)
        found.append(shares_of_variance(x, y))
    mean, sigma = np.mean(found, axis=0), np.std(found, axis=0) / math.sqrt(20)
    expected = np.array([[1 / (1 + 2 * a**2), 0], [0, 0], [2 * a**2 / (1 + 2 * a**2), 1]])
    # 0.005: each share without effect is above 0 by a few in 2,000 by chance alone.
    assert np.all(np.abs(mean - expected) < 4 * sigma + 0.005)


def test_shares_of_what_does_not_vary():
    """An input that is constant has none, an outcome that is constant has no shares to give."""
    rng = np.random.default_rng(7)
    x = np.stack([rng.normal(size=50), np.full(50, 0.1)], axis=1)
    shares = shares_of_variance(x, np.stack([2 * x[:, 0], np.full(50, 0.3)], axis=1))
    assert shares[:, 0] == pytest.approx([1, 0, 0], abs=ROUNDING)
    assert np.isnan(shares[:, 1]).all()


@given(st.integers(0, 2**32 - 1), st.integers(1, 6))
def test_rest_is_never_negative(seed, k):
    """The rest is between 0 and 1, even with hardly more samples than inputs."""
    rng = np.random.default_rng(seed)
    shares = shares_of_variance(rng.normal(size=(k + 2, k)), rng.normal(size=(k + 2, 3)))
    assert shares.shape == (k + 1, 3)
    assert np.all((shares[-1] >= 0) & (shares[-1] <= 1 + ROUNDING))
    assert np.all(shares >= 0)


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: shares_of_variance(np.zeros((3, 2)), np.zeros((3, 1))), "more than 3 samples"),
        (lambda: shares_of_variance(np.zeros((9, 2)), np.full((9, 1), np.inf)), "finite"),
    ],
)
def test_refused(call, words):
    """What makes no sense is said, not computed."""
    with pytest.raises(ValueError, match=words):
        call()
