"""The two-body transition matrix against differences of the flight, and its own structure."""

import numpy as np
import pytest

from simcheck.kernels.elements import state_from_classical
from simcheck.kernels.kepler import propagate
from simcheck.kernels.transition import transition


def states(count=300):
    """Ellipses and hyperbolas of all shapes, gm = 1."""
    stream = np.random.default_rng(0)
    e = stream.uniform(0, 1.6, count)
    e[np.abs(e - 1) < 0.02] = 0.5
    p = stream.uniform(0.5, 2, count)
    far = np.where(e < 1, 3.1, 0.8 * np.arccos(-1 / np.maximum(e, 1)))
    nu = stream.uniform(-1, 1, count) * far
    angles = stream.uniform(0, 3, (3, count))
    return state_from_classical(p, e, *angles, nu, 1.0)


@pytest.mark.parametrize("duration", [0.01, 0.7, 5.0, -3.0, 30.0])
def test_matches_differences_of_the_flight(duration):
    """Central differences agree to their own accuracy, which falls with the growth in time."""
    r, v = states()
    end, then, matrix = transition(r, v, np.full(len(r), duration), 1.0)
    there, going = propagate(r, v, duration, 1.0)
    np.testing.assert_array_equal(end, there)
    np.testing.assert_array_equal(then, going)
    step, start = 1e-5, np.concatenate([r, v], axis=1)
    differences = np.empty_like(matrix)
    for j in range(6):
        shift = step * np.eye(6)[j]
        sides = [
            np.concatenate(propagate(x[:, :3], x[:, 3:], duration, 1.0), axis=1)
            for x in (start + shift, start - shift)
        ]
        differences[:, :, j] = (sides[0] - sides[1]) / (2 * step)
    size = np.max(np.abs(differences), axis=(1, 2))
    off = np.max(np.abs(matrix - differences), axis=(1, 2)) / size
    assert np.median(off) < 1e-8
    assert np.max(off) < 1e-3  # near a close periapsis the third derivative is 1e6 times the first


@pytest.mark.parametrize("duration", [0.01, 0.7, 5.0, 60.0])
def test_is_symplectic(duration):
    """Phi' J Phi = J (Battin 1999, section 9.5), relative to the matrix's square."""
    r, v = states()
    *_, matrix = transition(r, v, np.full(len(r), duration), 1.0)
    zero, one = np.zeros((3, 3)), np.eye(3)
    j = np.block([[zero, one], [-one, zero]])
    gap = np.swapaxes(matrix, 1, 2) @ j @ matrix - j
    scale = np.max(np.abs(matrix), axis=(1, 2)) ** 2
    assert np.max(np.max(np.abs(gap), axis=(1, 2)) / scale) < 1e-13
