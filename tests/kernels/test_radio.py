"""Free-space loss, against the recommendation's rule and a textbook's example."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from simcheck.kernels.radio import decibels, free_space_loss_db, range_of_loss


@pytest.mark.reference("Recommendation ITU-R P.525, loss in MHz and km (from memory)")
@pytest.mark.parametrize(("mhz", "km"), [(401.5, 1000.0), (2200.0, 20000.0), (8400.0, 73030.5)])
def test_the_practical_rule(mhz: float, km: float) -> None:
    """32.4 + 20 log f + 20 log d; the constant is 32.45 with another digit."""
    rule = 32.45 + 2 * float(decibels(mhz)) + 2 * float(decibels(km))
    assert free_space_loss_db(km * 1e3, mhz * 1e6) == pytest.approx(rule, abs=0.005)


@pytest.mark.reference("Pratt and Bostian, Satellite Communications, example 4.2 (from memory)")
def test_a_textbooks_link() -> None:
    """10 W through 17 dB over 40 000 km at 11 GHz into 52.3 dB: 205.3 dB lost, -126.0 dBW."""
    loss = float(free_space_loss_db(40_000e3, 11e9))
    assert loss == pytest.approx(205.3, abs=0.05)
    assert float(decibels(10.0)) + 17.0 + 52.3 - loss == pytest.approx(-126.0, abs=0.05)


@given(st.floats(1e2, 1e11), st.floats(1e6, 1e11))
def test_the_range_of_a_loss_is_its_inverse(distance: float, frequency: float) -> None:
    """A distance comes back from its loss, and twice the distance loses 6.02 dB more."""
    loss = free_space_loss_db(distance, frequency)
    # A rounding of 300 dB is 6e-14 dB, a share of 7e-15.
    assert range_of_loss(loss, frequency) == pytest.approx(distance, rel=1e-13)
    assert free_space_loss_db(2 * distance, frequency) - loss == pytest.approx(6.0206, abs=1e-4)
