"""When errors leave their tolerances: straight lines, ends, lost relays."""

from __future__ import annotations

import numpy as np
import pytest

from simcheck.holding.leaving import first_beyond, leaving, mean_drift
from simcheck.records.case import Tolerance
from simcheck.records.hold import Leaving

DAYS = np.arange(0.0, 11.0)


@pytest.mark.parametrize("sign", [1.0, -1.0])
def test_a_straight_line_leaves_where_it_crosses(sign: float) -> None:
    """0.3 a day from 0.1 on reaches 2 after 1.9 / 0.3 days, between two looks."""
    found = first_beyond(DAYS, sign * (0.1 + 0.3 * DAYS), 2.0)
    assert found == pytest.approx(1.9 / 0.3, abs=1e-12)


def test_what_is_on_the_limit_has_not_left_it() -> None:
    assert first_beyond(DAYS, np.full(11, 2.0), 2.0) is None
    assert first_beyond(DAYS, np.full(11, 2.0), None) is None
    assert first_beyond(DAYS, np.full(11, 2.0 + 1e-12), 2.0) == 0.0


def test_a_relay_that_comes_back_has_left() -> None:
    values = np.where(DAYS == 4.0, 3.0, 1.0)
    assert first_beyond(DAYS, values, 2.0) == pytest.approx(3.5)


def test_a_lost_relay_has_left_by_the_first_look_without_it() -> None:
    values = np.where(DAYS > 6.0, np.nan, 0.5)
    assert first_beyond(DAYS, values, 2.0) == 7.0


def test_each_error_has_its_own_tolerance() -> None:
    """Signed phase and period, in rad and as a share; what has no tolerance never leaves one."""
    rates = np.array([-0.02, 0.01, 0.001, 0.002])
    sizes = DAYS[:, None] * rates
    tolerance = Tolerance(phase_rad=0.1, period_s=50.0, plane_rad=0.01)
    found = leaving(tolerance, 1000.0, DAYS, sizes, 0.015 * DAYS)
    assert found.phase_days == pytest.approx(5.0)
    assert found.spacing_days == pytest.approx(0.1 / 0.015)
    assert found.period_days == pytest.approx(5.0)
    assert found.eccentricity_days is None
    assert found.plane_days == pytest.approx(5.0)
    assert found.first_days == pytest.approx(5.0)
    assert Leaving().first_days is None


def test_the_drift_is_the_slope_of_what_is_known() -> None:
    phase = np.radians(1.0 - 0.25 * DAYS)
    phase[8:] = np.nan
    assert mean_drift(DAYS, phase) == pytest.approx(-0.25, abs=1e-12)
    assert mean_drift(DAYS[:1], phase[:1]) == 0.0
