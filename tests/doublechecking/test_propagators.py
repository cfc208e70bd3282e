"""Propagators at other accuracies move as the plain ones do, but for what was asked of them."""

from __future__ import annotations

import numpy as np
import pytest

from simcheck.doublechecking.propagators import OneLane, Stepwise
from simcheck.engines.base import Propagator, Thrust, stop_at_period
from simcheck.engines.choosing import fast_propagator, reference_propagator
from simcheck.engines.gravity import gravity_of
from simcheck.engines.reference import ReferencePropagator
from simcheck.errors import FlightError
from simcheck.kernels.vectors import norm
from tests.doublechecking import bench
from tests.helpers import assert_metres, assert_seconds

GRAVITY = gravity_of(bench.case())
FAST = fast_propagator(GRAVITY)
START = np.concatenate([*bench.cases.START, [610.0]])
DAY = 86400.0
THRUST = Thrust(thrust_n=400.0, isp_s=318.0, steering="rsw", direction=bench.ALONG)
OTHERS = {
    "steps": Stepwise(FAST, 60),
    "lane": OneLane(FAST, 1e-15),
    "reference steps": Stepwise(reference_propagator(GRAVITY), 250),
}


@pytest.mark.parametrize("other", OTHERS.values(), ids=OTHERS)
def test_the_motion_is_the_same(other: Propagator) -> None:
    """Coasts there and back, burns and samples end where the fast propagator has them."""
    near = 1e-3  # m after half a day; the three agree to some 1e-5
    for until in (0.5 * DAY, -0.1 * DAY):
        there = other.advance(0.0, START, until)
        assert there.time == until
        assert_metres(there.state[:3], FAST.advance(0.0, START, until).state[:3], near)
    burnt, expected = (x.advance(5.0, START, 305.0, THRUST).state for x in (other, FAST))
    assert_metres(burnt[:3], expected[:3], near)
    assert burnt[6] == pytest.approx(expected[6], rel=1e-14)
    times = np.array([0.0, 10.0, 20000.0])
    rows = other.sample(0.0, START, times)
    assert_metres(rows[:, :3], FAST.sample(0.0, START, times)[:, :3], near)
    assert np.all(rows[:, 6] == START[6])
    back = other.advance(50.0, START, 20.0, THRUST)
    assert (back.time, back.stopped) == (50.0, False)
    assert np.array_equal(back.state, START)


@pytest.mark.parametrize("other", OTHERS.values(), ids=OTHERS)
def test_a_stop_is_found_where_it_is(other: Propagator) -> None:
    """A burn ends early at its stop, to a microsecond, and says so."""
    stop = stop_at_period(24_500.0, GRAVITY.gm)
    one, two = (x.advance(0.0, START, 900.0, THRUST, stop) for x in (FAST, other))
    assert one.stopped
    assert two.stopped
    assert 1.0 < one.time < 899.0
    assert_seconds(two.time, one.time, 1e-6)


def test_more_steps_are_finer_steps() -> None:
    """A sloppy propagator that is stopped and started again comes nearer to the truth."""
    sloppy = ReferencePropagator(GRAVITY, 1e-6)
    truth = FAST.advance(0.0, START, DAY).state
    off = [
        norm(x.advance(0.0, START, DAY).state[:3] - truth[:3])
        for x in (sloppy, Stepwise(sloppy, 50), Stepwise(sloppy, 100))
    ]
    assert off[1] < 0.1 * off[0]
    assert off[2] < 0.1 * off[1]  # of eighth order: twice the steps are worth a factor of 256


def test_a_looser_lane_is_less_accurate() -> None:
    """The tolerance asked for is the one that acts."""
    truth = FAST.advance(0.0, START, 5 * DAY).state
    off = [
        norm(OneLane(FAST, tolerance).advance(0.0, START, 5 * DAY).state[:3] - truth[:3])
        for tolerance in (1e-15, 1e-12)
    ]
    assert off[1] > 3.0 * off[0]


def test_what_breaks_down_is_an_error() -> None:
    """A start at no place raises, as the contract has it."""
    nowhere = np.full(7, np.nan)
    for call in (
        lambda: OTHERS["lane"].advance(0.0, nowhere, 10.0),
        lambda: OTHERS["lane"].sample(0.0, nowhere, np.array([1.0, 2.0])),
    ):
        with pytest.raises(FlightError, match="broke down"):
            call()
