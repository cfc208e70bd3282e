"""Derivatives of arcs under other bodies and sunlight, against differences."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from simcheck.engines.base import Thrust
from simcheck.engines.gravity import Gravity
from simcheck.engines.taylor import TaylorPropagator
from simcheck.engines.variational import tangent
from simcheck.kernels.vectors import norm
from tests.engines import skies
from tests.engines.bench import state
from tests.engines.skies import (
    BURN,
    HIGH,
    MOON,
    SAIL,
    START,
    quick,
)
from tests.engines.test_variational import assert_like
from tests.helpers import assert_metres, assert_metres_per_second

STEPS = np.array([10.0, 10.0, 10.0, 0.01, 0.01, 0.01, 1.0])


def slopes(gravity: Gravity, y: np.ndarray, span: float, thrust: Thrust | None) -> np.ndarray:
    """End (7,) by start (7, 7), by differences of the fast engine."""
    p, columns = TaylorPropagator(gravity), []
    for k, step in enumerate(STEPS):
        shift = np.eye(7)[k] * step
        up, down = (p.advance(START, y + s * shift, START + span, thrust).state for s in (1, -1))
        columns.append((up - down) / (2 * step))
    return np.stack(columns, axis=1)


@pytest.mark.parametrize("span", [2e4, 6e5, -3e5])
def test_the_tangent_of_a_coast(span: float) -> None:
    """By differences, through windows: their curvature leaves 1e-5. The end is the flight's own."""
    gravity = skies.about_the_moon(skies.sky(light=None))
    found = tangent(gravity, HIGH, span, start=START)
    assert_like(found.by_state, slopes(gravity, HIGH, span, None), 1e-5)
    p = TaylorPropagator(gravity)
    end = p.advance(START, HIGH, START + span).state
    assert_metres(found.state[:3], end[:3], 1e-5)
    later, sooner = (p.advance(START, HIGH, START + span + s).state for s in (5.0, -5.0))
    assert_metres_per_second(found.rates[:3], (later - sooner)[:3] / 10.0, 1e-3)
    assert norm(found.rates[3:6] - (later - sooner)[3:6] / 10.0) < 1e-6


@pytest.mark.parametrize("steering", ["rsw", "inertial"])
def test_the_tangent_of_a_burn_over_windows(steering: str) -> None:
    """A burn of 5.5 hours by its start, its thrust, Isp and direction."""
    gravity, span = quick(), 20_000.0
    thrust = replace(BURN, thrust_n=10.0, steering=steering)
    found = tangent(gravity, HIGH, span, thrust, start=START)
    assert_like(found.by_state, slopes(gravity, HIGH, span, thrust), 1e-5)

    def end(**change: object) -> np.ndarray:
        return (
            TaylorPropagator(gravity)
            .advance(START, HIGH, START + span, replace(thrust, **change))
            .state
        )

    assert_metres(found.state[:3], end()[:3], 1e-5)
    by_thrust = (end(thrust_n=10.1) - end(thrust_n=9.9)) / 0.2
    assert_like(found.by_thrust, by_thrust, 1e-4)
    by_isp = (end(isp_s=303.0) - end(isp_s=297.0)) / 6.0
    assert_like(found.by_isp, by_isp, 1e-3)
    for axis in range(3):
        shift = 1e-3 * np.eye(3)[axis]
        by_axis = (
            end(direction=thrust.direction + shift) - end(direction=thrust.direction - shift)
        ) / 2e-3
        assert_like(found.by_direction[:, axis], by_axis, 1e-4)


def test_the_tangent_in_sunlight() -> None:
    """The push is in it; how the shadow's edge moves with the state is left out, as it says."""
    y = state(3.0, 0.02, np.pi / 2, raan=np.pi / 2 + 1.0, body=MOON)  # faces the Sun
    sail = replace(SAIL, area_to_mass_m2_kg=500.0)
    gravity = skies.about_the_moon(skies.sky(light=sail))
    found = tangent(gravity, y, 1e5, start=START)
    end = TaylorPropagator(gravity).advance(START, y, START + 1e5).state
    dark = TaylorPropagator(skies.about_the_moon(skies.sky(light=None)))
    assert norm(dark.advance(START, y, START + 1e5).state[:3] - end[:3]) > 1e5
    assert_metres(found.state[:3], end[:3], 1e-5)
    assert_like(found.by_state, slopes(gravity, y, 1e5, None), 1e-5)
