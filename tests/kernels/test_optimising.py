"""Sequential quadratic programming on problems with known answers."""

import numpy as np
import pytest
from scipy.optimize import minimize

from simcheck.kernels.optimising import minimise


def circle(points, rows=None):
    """Distance to (2, 1) on the unit circle: a curved equation."""
    cost = np.sum((points - np.array([2.0, 1.0])) ** 2, axis=1)
    return cost, np.sum(points**2, axis=1, keepdims=True) - 1


def test_nearest_point_of_a_circle():
    """The foot of the normal, 1/sqrt(5) (2, 1); from far and near starts alike."""
    starts = np.random.default_rng(1).normal(size=(40, 2)) + np.array([1.0, 0.6])
    found = minimise(circle, starts)
    assert np.max(found.residuals) < 1e-9
    good = np.abs(found.costs - (np.sqrt(5) - 1) ** 2) < 1e-6
    assert good.mean() > 0.95  # starts near the far side stop at the maximum, which is stationary
    np.testing.assert_allclose(
        found.points[good], np.array([2, 1]) / np.sqrt(5) + 0 * starts[good], atol=1e-3
    )


@pytest.mark.reference("Hock and Schittkowski (1981), problem 77; optimum 0.24150513, from memory")
def test_hock_schittkowski_77():
    """Five variables, two curved equations."""

    def function(x, rows=None):
        a, b, c, d, e = x.T
        cost = (a - 1) ** 2 + (a - b) ** 2 + (c - 1) ** 2 + (d - 1) ** 4 + (e - 1) ** 6
        first = a**2 * d + np.sin(d - e) - 2 * np.sqrt(2)
        second = b + c**4 * d**2 - 8 - np.sqrt(2)
        return cost, np.stack([first, second], axis=1)

    found = minimise(function, np.full((1, 5), 2.0), iterations=25)
    assert found.residuals[0] < 1e-9
    assert found.costs[0] == pytest.approx(0.24150513, abs=1e-6)
    other = minimize(
        lambda x: function(x[None])[0][0],
        np.full(5, 2.0),
        constraints={"type": "eq", "fun": lambda x: function(x[None])[1][0]},
        method="SLSQP",
        options={"maxiter": 500, "ftol": 1e-12},
    )
    assert found.costs[0] == pytest.approx(other.fun, abs=1e-6)


def test_follows_a_tight_curve():
    """Up a helix, in steps that the second-order correction allows.

    Without it the shares of a step sink to a hundredth: after 40 iterations 31 of 36 are left.
    """

    def helix(x, rows):
        a, b, c = x.T
        return (c - 6.0) ** 2, np.stack([a - np.cos(3 * c), b - np.sin(3 * c)], axis=1)

    found = minimise(helix, np.array([[1.0, 0.0, 0.0]]), iterations=40)
    assert found.costs[0] < 4.0


def test_exact_slopes_give_the_same():
    """Slopes handed over end where differences end."""

    def slopes(x, rows):
        cost, rest = circle(x)
        return cost, 2 * (x - np.array([2.0, 1.0])), rest, 2 * x[:, None, :]

    starts = np.array([[0.9, 0.1], [0.2, 1.4]])
    one, other = minimise(circle, starts), minimise(circle, starts, slopes=slopes)
    np.testing.assert_allclose(one.points, other.points, atol=1e-5)


def test_a_row_that_meets_nan_does_no_harm():
    """A start without a cost leaves its neighbours as if alone."""

    def function(x, rows=None):
        cost, rest = circle(x)
        return np.where(x[:, 0] > 50, np.nan, cost), rest

    alone = minimise(function, np.array([[0.9, 0.1]]))
    both = minimise(function, np.array([[99.0, 0.0], [0.9, 0.1]]))
    np.testing.assert_array_equal(both.points[1], alone.points[0])
