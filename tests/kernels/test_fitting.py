"""The straight line under periodic terms."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from simcheck.kernels.fitting import fit_line
from tests.strategies import TAU

sizes = st.floats(-1.0, 1.0)


@given(
    level=st.floats(-1e3, 1e3),
    slope=st.floats(-10.0, 10.0),
    terms=st.lists(sizes, min_size=4, max_size=4),
    start=st.floats(-1e6, 1e6),
    share=st.floats(0.97, 1.03),
)
def test_line_and_two_harmonics_are_exact(level, slope, terms, start, share):
    """A line with two harmonics is taken apart exactly, over whole revolutions and nearly whole."""
    period = 5000.0
    times = start + np.arange(193) / 96 * period * share
    angle = TAU / period * (times - start)
    wave = sum(
        c * f(n * angle)
        for c, (f, n) in zip(
            terms, [(np.cos, 1), (np.sin, 1), (np.cos, 2), (np.sin, 2)], strict=True
        )
    )
    values = level + slope * (times - times[-1]) / period + wave
    last, rate = fit_line(times, values, TAU / period)
    # Roundings of times of 1e6 s: 1e-10 s, and of values of 1e3.
    assert float(last) == pytest.approx(level, abs=1e-10)
    assert float(rate) * period == pytest.approx(slope, abs=1e-10)


def test_columns_are_fitted_one_by_one():
    """Several columns give what each gives alone."""
    times = np.linspace(3.0, 9.0, 50)
    columns = np.stack([times**2, np.sin(times), 2 * times], axis=1)
    last, rate = fit_line(times, columns, 1.7, harmonics=3)
    assert last.shape == rate.shape == (3,)
    for i in range(3):
        alone = fit_line(times, columns[:, i], 1.7, harmonics=3)
        assert [float(x) for x in alone] == pytest.approx([last[i], rate[i]], abs=1e-12)


def test_a_harmonic_left_out_tilts_the_line():
    """A third harmonic leaks into the line of two, and not into that of three."""
    times = np.linspace(0.0, 2 * TAU, 193)
    values = times + 0.1 * np.sin(3 * times)
    assert abs(float(fit_line(times, values, 1.0)[1]) - 1.0) > 1e-3
    assert float(fit_line(times, values, 1.0, harmonics=3)[1]) == pytest.approx(1.0, abs=1e-13)
