"""The interval of a spread holds what it estimates as often as it says."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.special import chdtri

from simcheck.kernels.spreads import Spread, power_sums, spread_interval
from tests.helpers import assert_relative


def interval(values: np.ndarray, kind: Spread = "sigma") -> tuple[float, float, float]:
    return spread_interval(power_sums(values), len(values), kind, 0.9)


def test_of_a_gaussian_it_is_the_chi_square_one() -> None:
    """10^5 of them: the textbook's interval, to what the sample's own fourth moment wanders."""
    values = np.random.default_rng(1).normal(size=100_000)
    spread, low, high = interval(values)
    n = len(values)
    assert_relative(spread, np.std(values, ddof=1), 1e-12)
    # Half-width by sqrt((kurtosis - 1)/4n), kurtosis 3 +- sqrt(24/n): to 1 %.
    for found, tail in ((low, 0.05), (high, 0.95)):
        expected = spread * np.sqrt((n - 1) / chdtri(n - 1, tail))
        assert_relative(found - spread, expected - spread, 0.02)


@pytest.mark.parametrize("kind", ["sigma", "rms"])
@pytest.mark.parametrize("shape", ["gaussian", "uniform", "rayleigh", "laplace"])
def test_it_holds_what_it_says(kind: Spread, shape: str) -> None:
    """2000 samples of 400: 90 % of the intervals hold the true spread, within 4 % (6 sigma).

    Heavy tails are the hard ones: a sample's fourth moment is mostly too small there.
    """
    rng = np.random.default_rng(3)
    size = (2000, 400)
    drawn = {
        "gaussian": lambda: (rng.normal(0.5, 1.0, size), 0.5, 1.0),
        "uniform": lambda: (rng.uniform(0.0, 1.0, size), 0.5, np.sqrt(1 / 12)),
        "rayleigh": lambda: (rng.rayleigh(1.0, size), np.sqrt(np.pi / 2), np.sqrt(2 - np.pi / 2)),
        "laplace": lambda: (rng.laplace(0.5, 1.0, size), 0.5, np.sqrt(2.0)),
    }
    values, mean, sigma = drawn[shape]()
    true = sigma if kind == "sigma" else np.hypot(mean, sigma)
    found = np.array([interval(row, kind) for row in values])
    held = np.mean((found[:, 1] <= true) & (true <= found[:, 2]))
    assert abs(held - 0.9) < 0.04
    assert np.all(found[:, 1] < found[:, 0])
    assert np.all(found[:, 0] < found[:, 2])


def test_sums_may_be_taken_in_parts() -> None:
    """Blocks added up give the spread of all."""
    values = np.random.default_rng(5).normal(0.2, 1.0, size=(300, 4))
    sums = power_sums(values[:100]) + power_sums(values[100:])
    for k in range(4):
        assert_relative(
            spread_interval(sums[:, k], 300, "sigma", 0.9), interval(values[:, k]), 1e-12
        )


@pytest.mark.parametrize("value", [0.0, 0.7])
def test_what_does_not_vary_is_sure(value: float) -> None:
    """All the same: no spread about the mean, and a root mean square without an interval."""
    same = np.full(50, value)
    assert interval(same)[0] == pytest.approx(0.0, abs=1e-8)
    assert interval(same, "rms") == pytest.approx((value,) * 3, rel=1e-9)
