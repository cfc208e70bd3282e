"""Curves in Chebyshev segments against numpy's own polynomials."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.polynomial import chebyshev

from simcheck.kernels.chebyshev import extrema, interpolating, positions
from tests.helpers import assert_metres

RANDOM = np.random.default_rng(7)
START, STEP = -300.0, 120.0
CURVE = RANDOM.normal(size=(5, 9, 3))


@pytest.mark.reference("numpy.polynomial.chebyshev.chebval")
def test_points_are_those_of_numpy() -> None:
    """Segment by segment, any shape of times; 1e-13 is a few roundings of nine terms near 1."""
    times = RANDOM.uniform(START, START + 5 * STEP, size=(6, 50))
    got = positions(START, STEP, CURVE, times)
    assert got.shape == (6, 50, 3)
    for place in np.ndindex(times.shape):
        segment = int((times[place] - START) // STEP)
        x = 2.0 * (times[place] - START - segment * STEP) / STEP - 1.0
        assert_metres(got[place], chebyshev.chebval(x, CURVE[segment]), within=1e-13)


def test_the_ends_are_inside_and_all_else_is_nan() -> None:
    """NaN before, after and at no time; a hair off an end, as sums of steps are, is the end."""
    end = START + 5 * STEP
    inside = positions(START, STEP, CURVE, [START, START - 1e-6, end, end + 1e-6])
    assert_metres(inside[0], CURVE[0].T @ (-1.0) ** np.arange(9), within=1e-13)
    assert_metres(inside[1], inside[0], within=1e-5)  # its slope is below 10 m/s
    assert_metres(inside[2], CURVE[4].sum(axis=0), within=1e-13)
    assert_metres(inside[3], inside[2], within=1e-5)
    outside = positions(START, STEP, CURVE, [START - 1.0, end + 1.0, np.nan, np.inf])
    assert np.isnan(outside).all()
    assert positions(START, STEP, CURVE, 0.0).shape == (3,)


def test_a_time_does_not_depend_on_the_others() -> None:
    """One time alone has the same bits as among many."""
    times = RANDOM.uniform(START, START + 5 * STEP, size=37)
    together = positions(START, STEP, CURVE, times)
    alone = np.stack([positions(START, STEP, CURVE, time) for time in times])
    assert np.array_equal(together, alone)


def test_interpolation_gives_back_the_polynomial() -> None:
    """Values at the extrema to coefficients: the identity for polynomials of that degree."""
    values = np.moveaxis(chebyshev.chebval(extrema(8), np.moveaxis(CURVE, 1, 0)), -1, 1)
    assert_metres(interpolating(values), CURVE, within=1e-13)


@pytest.mark.reference("Trefethen 2013, theorem 8.2: the error falls as fast as the ellipse allows")
def test_interpolation_converges_geometrically() -> None:
    """1 / (1 + x^2) has poles at +-i: each two degrees divide the error by (1 + sqrt 2)^2."""
    fine = np.linspace(-1.0, 1.0, 2001)

    def error(degree: int) -> float:
        values = np.repeat((1.0 / (1.0 + extrema(degree) ** 2))[None, :, None], 3, axis=2)
        got = positions(-1.0, 2.0, interpolating(values), fine)[:, 0]
        return float(np.max(np.abs(got - 1.0 / (1.0 + fine**2))))

    falls = [error(n) / error(n + 2) for n in (8, 12, 16, 20)]
    assert falls == pytest.approx([(1.0 + np.sqrt(2.0)) ** 2] * 4, rel=0.1)
