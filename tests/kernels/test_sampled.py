"""Motions between samples, against exact two-body motion."""

from __future__ import annotations

import math

import numpy as np
import pytest

from simcheck.kernels.kepler import propagate
from simcheck.kernels.sampled import sampled_motion

GM = 3.986004418e14
RADIUS = 6878e3


def circle(times: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    n = math.sqrt(GM / RADIUS**3)
    c, s = np.cos(n * times), np.sin(n * times)
    places = RADIUS * np.stack([c, s, 0.0 * c], axis=-1)
    return places, RADIUS * n * np.stack([-s, c, 0.0 * c], axis=-1)


@pytest.mark.parametrize("known", [True, False])
@pytest.mark.parametrize("step", [30.0, 60.0, 120.0])
def test_a_circle_between_samples(step: float, known: bool) -> None:
    """Off by r (n h)^4 / 384; without velocities too, but for the ends and 11 times that."""
    times = np.arange(0.0, 6000.0 + step, step)
    places, velocities = circle(times)
    motion = sampled_motion(times, places[None], velocities[None] if known else None)
    at = np.linspace(600.0, 5400.0, 4801)
    error = np.linalg.norm(motion.all_at(at)[0] - circle(at)[0], axis=1).max()
    bound = RADIUS * (math.sqrt(GM / RADIUS**3) * step) ** 4 / 384
    assert 0.9 * bound < error < 1.05 * bound  # met, so it is the right one
    ends = np.linspace(0.0, 6000.0, 6001)
    error = np.linalg.norm(motion.all_at(ends)[0] - circle(ends)[0], axis=1).max()
    assert error < (1.05 if known else 11.0) * bound


def test_each_body_on_its_own_and_uneven_times() -> None:
    """The third body's place is asked for by its number; steps may differ; samples come back."""
    start = np.array([RADIUS, 0.0, 0.0]), np.array([0.0, 8200.0, 500.0])
    times = np.cumsum(np.random.default_rng(5).uniform(5.0, 20.0, 200))
    states = [propagate(*start, shift + times, GM) for shift in (0.0, 900.0, 2000.0)]
    motion = sampled_motion(
        times, np.stack([s[0] for s in states]), np.stack([s[1] for s in states])
    )
    at = np.linspace(times[0], times[-1], 777)
    exact = propagate(*start, 2000.0 + at, GM)[0]
    found = motion.at(np.full(len(at), 2), at)
    assert np.linalg.norm(found - exact, axis=1).max() < 0.05  # 384th of (n 20 s)^4, e = 0.2
    assert motion.all_at(times) == pytest.approx(motion.positions, abs=1e-8)


@pytest.mark.parametrize(
    ("times", "shape", "words"),
    [
        ([0.0], (1, 1, 3), "at least two times"),
        ([0.0, 1.0], (2, 3), "at least two times"),
        ([0.0, 1.0], (1, 3, 3), "at least two times"),
        ([0.0, 0.0], (1, 2, 3), "times that increase"),
    ],
)
def test_what_is_refused(times: list[float], shape: tuple[int, ...], words: str) -> None:
    """Shapes and times that do not fit are said."""
    with pytest.raises(ValueError, match=words):
        sampled_motion(np.array(times), np.ones(shape))


def test_velocities_must_fit_and_be_finite() -> None:
    """A shape of their own or a NaN is said."""
    times, places = np.array([0.0, 1.0]), np.ones((1, 2, 3))
    with pytest.raises(ValueError, match="velocities of shape"):
        sampled_motion(times, places, np.ones((2, 3)))
    with pytest.raises(ValueError, match="finite"):
        sampled_motion(times, places, np.full((1, 2, 3), np.nan))
