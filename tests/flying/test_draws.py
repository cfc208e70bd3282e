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


# Tracking, accelerometer, missed ignitions


@given(seed=seeds, sample=samples, few=st.integers(0, 5), more=st.integers(5, 12))
def test_an_estimates_draws_do_not_depend_on_the_number_of_burns(seed, sample, few, more):
    """Accelerometer and early estimates get the same numbers however many follow."""
    short, long = drawn(seed, sample, few), drawn(seed, sample, more)
    assert short.accelerometer == long.accelerometer
    assert short.estimates.tobytes() == long.estimates[:few].tobytes()


def test_tracking_is_drawn_apart_from_the_engines():
    """Estimates and accelerometer are standard normals, correlated with nothing of the engines.

    4.5 sigma of each estimator over 4000 samples, as above. The seed is fixed.
    """
    n = 4000
    found = [drawn(8, k, 1) for k in range(n)]
    rows = np.array([[d.accelerometer, *d.estimates[0], *d.flight, *d.burns[0]] for d in found])
    assert np.all(np.abs(rows[:, :7].mean(axis=0)) < 4.5 / np.sqrt(n))
    assert np.all(np.abs(rows[:, :7].var(axis=0) - 1) < 4.5 * np.sqrt(2 / n))
    off = np.corrcoef(rows.T) - np.eye(rows.shape[1])
    assert np.abs(off).max() < 4.5 / np.sqrt(n)


def test_a_perfect_flight_is_tracked_perfectly():
    """Zeros stand for no error of an estimate or the accelerometer either, one estimate a burn."""
    assert perfect(3).estimates.shape == (3, 6)
    assert not np.any(perfect(3).estimates)
    assert perfect(3).accelerometer == 0.0


def test_shapes_of_estimates_are_checked():
    """Another number of draws an estimate is refused."""
    with pytest.raises(ValueError, match="estimates"):
        Draws(flight=np.zeros(8), burns=np.zeros((2, 8)), estimates=np.zeros((2, 5)))


@pytest.mark.parametrize("chance", [0.01, 0.3])
def test_ignitions_fail_as_often_as_is_said(chance):
    """Over 20,000 burns the share of missed ones is the chance, to 4 sigma of a binomial share."""
    found = [drawn(9, k, 10) for k in range(2000)]
    share = np.mean([d.missed(index, chance) for d in found for index in range(10)])
    room = 4 * np.sqrt(chance * (1 - chance) / 20_000)
    assert abs(share - chance) < room
    assert abs(share - 1.6 * chance) > room  # the test can fail


def test_what_cannot_fail_does_not():
    """At no chance no ignition fails, however low its draw; at a higher chance no fewer fail."""
    low = Draws(flight=np.zeros(8), burns=np.full((1, 8), -40.0))
    assert not low.missed(0, 0.0)
    assert low.missed(0, 1e-9)
    d = drawn(9, 0, 200)
    lost = [{k for k in range(200) if d.missed(k, chance)} for chance in (0.05, 0.2, 0.9)]
    assert lost[0] < lost[1] < lost[2]
