"""Random numbers: keyed by seed and sample, and by nothing else."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from simcheck.flying.draws import Draws, drawn, perfect

seeds, samples = st.integers(0, 2**32), st.integers(0, 10**6)


@given(seed=seeds, sample=samples, few=st.integers(0, 5), more=st.integers(5, 12))
def test_a_burns_draws_do_not_depend_on_the_number_of_burns(seed, sample, few, more):
    """Flight and early burns get the same numbers however many burns follow."""
    short, long = drawn(seed, sample, few), drawn(seed, sample, more)
    assert short.flight.tobytes() == long.flight.tobytes()
    assert short.burns.tobytes() == long.burns[:few].tobytes()


@given(seed=seeds, sample=samples)
def test_the_key_is_seed_and_sample(seed, sample):
    """The same key draws the same; another seed or sample draws others."""
    one = drawn(seed, sample, 3)
    assert one.burns.tobytes() == drawn(seed, sample, 3).burns.tobytes()
    for other in (drawn(seed + 1, sample, 3), drawn(seed, sample + 1, 3)):
        assert not np.any(one.burns == other.burns)
        assert not np.any(one.flight == other.flight)


def test_draws_are_standard_normals_without_correlation():
    """Over 4000 samples mean, spread and correlation are those of independent standard normals.

    4.5 sigma of each estimator, 24 numbers a sample: one in 500 such suites would fail by chance,
    and the seed is fixed.
    """
    n = 4000
    rows = np.array([[*d.flight, *d.burns.ravel()] for d in (drawn(7, k, 2) for k in range(n))])
    assert np.all(np.abs(rows.mean(axis=0)) < 4.5 / np.sqrt(n))
    assert np.all(np.abs(rows.var(axis=0) - 1) < 4.5 * np.sqrt(2 / n))
    off = np.corrcoef(rows.T) - np.eye(rows.shape[1])
    assert np.all(np.abs(off) < 4.5 / np.sqrt(n))
    # The test can fail: a column with a fifth of another in it shows.
    mixed = rows.copy()
    mixed[:, 0] += 0.2 * mixed[:, 1]
    assert np.abs(np.corrcoef(mixed.T)[0, 1]) > 4.5 / np.sqrt(n)


def test_a_perfect_flight_draws_zeros():
    """Zeros stand for no error."""
    assert not np.any(perfect(3).burns)
    assert not np.any(perfect(3).flight)
    assert perfect(0).burns.shape == (0, 8)


def test_names_share_no_number():
    """Thrust, Isp, position and velocity have numbers of their own."""
    d = Draws(flight=np.arange(8.0), burns=np.zeros((0, 8)))
    named = [d.thrust, d.isp, *d.position, *d.velocity]
    assert named == list(range(8))


def test_shapes_are_checked():
    """Another number of draws a burn is refused."""
    with pytest.raises(ValueError, match="burns"):
        Draws(flight=np.zeros(8), burns=np.zeros((2, 7)))
