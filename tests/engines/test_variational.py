"""Derivatives of arcs: against differences, closed forms and what the motion keeps."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest

from simcheck.engines.base import (
    G0,
    Steering,
    Stop,
    Thrust,
    stop_at_apsis,
    stop_at_period,
    stop_at_tilt,
)
from simcheck.engines.gravity import Gravity
from simcheck.engines.taylor import TaylorPropagator
from simcheck.engines.variational import Tangent, stop_gradient, tangent
from simcheck.errors import FlightError
from simcheck.kernels.transition import transition
from simcheck.kernels.vectors import unit
from tests.engines.bench import gravity, period, state
from tests.helpers import assert_metres, assert_relative

NOWHERE = Gravity(1e-6, 1.0)
"""Gravity too weak to be felt a megametre away."""

STEPS = np.array([1e3, 1e3, 1e3, 1.0, 1.0, 1.0, 1.0])
"""Of differences: m, m/s, kg. Curvature and rounding then leave below 1e-7 of a derivative."""

DIRECTION = unit(np.array([0.3, 0.9, -0.2]))
BURN_S = 600.0
both_steerings = pytest.mark.parametrize("steering", ["inertial", "rsw"])


def burn(
    steering: Steering,
    newton: float = 400.0,
    isp: float = 318.0,
    direction: np.ndarray = DIRECTION,
) -> Thrust:
    return Thrust(thrust_n=newton, isp_s=isp, steering=steering, direction=direction)


def slope(end: Callable[[float], np.ndarray], step: float) -> np.ndarray:
    """Difference of an end (7,) over five points, right to the fourth order."""
    near, far = end(step) - end(-step), end(2 * step) - end(-2 * step)
    return (8 * near - far) / (12 * step)


def assert_like(found: np.ndarray, expected: np.ndarray, within: float) -> None:
    """Derivatives (7, ...) agree to a fraction of the largest of their kind (m, m/s or kg)."""
    for part in (slice(0, 3), slice(3, 6), slice(6, 7)):
        size = max(float(np.max(np.abs(expected[part]))), 1e-4)
        assert np.max(np.abs(found[part] - expected[part])) <= within * size


@pytest.mark.parametrize("revolutions", [-0.4, 0.3, 2.2])
def test_a_coast_by_its_start(revolutions: float) -> None:
    """All zonals on: the matrix is that of differences, and the end is the fast propagator's."""
    body, y = gravity(), state()
    flown = TaylorPropagator(body)
    span = revolutions * period(y, body.gm)
    found = tangent(body, y, span)
    for k, step in enumerate(STEPS):
        by_k = slope(lambda h, k=k: flown.advance(0.0, y + h * np.eye(7)[k], span).state, step)
        assert_like(found.by_state[:, k], by_k, 1e-6)
    assert_metres(found.state[:3], flown.advance(0.0, y, span).state[:3], 1e-6)
    later = slope(lambda h: flown.advance(0.0, y, span + h).state, 1.0)
    assert_like(found.rates, later, 1e-6)


@both_steerings
def test_a_burn_by_its_start_and_its_engine(steering: Steering) -> None:
    """State, thrust, Isp, direction and length, one by one, are those of differences."""
    body, y = gravity(), state()
    flown = TaylorPropagator(body)

    def end(y: np.ndarray = y, span: float = BURN_S, **of: float | np.ndarray) -> np.ndarray:
        return flown.advance(0.0, y, span, burn(steering, **of)).state  # type: ignore[arg-type]

    found = tangent(body, y, BURN_S, burn(steering))
    assert_metres(found.state[:3], end()[:3], 1e-7)
    assert_relative(found.state[6], end()[6], 1e-14)
    for k, step in enumerate(STEPS):
        by_k = slope(lambda h, k=k: end(y + h * np.eye(7)[k]), step)
        assert_like(found.by_state[:, k], by_k, 1e-6)
    assert_like(found.by_thrust, slope(lambda h: end(newton=400.0 + h), 1.0), 1e-6)
    assert_like(found.by_isp, slope(lambda h: end(isp=318.0 + h), 0.1), 1e-6)
    assert_like(found.rates, slope(lambda h: end(span=BURN_S + h), 1.0), 1e-6)
    for k, axis in enumerate(np.eye(3)):
        by_k = slope(lambda h, axis=axis: end(direction=DIRECTION + h * axis), 1e-2)
        assert_like(found.by_direction[:, k], by_k, 1e-6)


@pytest.mark.parametrize("e", [0.0, 0.3, 0.85])
@pytest.mark.parametrize("revolutions", [-1.6, 0.3, 5.7])
def test_a_coast_in_two_body_motion(e: float, revolutions: float) -> None:
    """Battin's closed form: the matrix to 1e-10 of its largest entries."""
    body, y = gravity(zonal=False), state(e=e)
    span = revolutions * period(y, body.gm)
    found = tangent(body, y, span)
    r, v, closed = transition(y[None, :3], y[None, 3:6], np.array([span]), body.gm)
    assert_metres(found.state[:3], r[0], 1e-3)
    assert np.linalg.norm(found.state[3:6] - v[0]) < 1e-6
    for part in (slice(0, 3), slice(3, 6)):
        for columns in (slice(0, 3), slice(3, 6)):
            expected = closed[0, part, columns]
            wrong = np.abs(found.by_state[part, columns] - expected)
            assert np.max(wrong) < 1e-10 * np.max(np.abs(expected))


@pytest.mark.parametrize("revolutions", [0.3, 12.0])
def test_a_coast_is_symplectic(revolutions: float) -> None:
    """Zonal gravity comes of a potential: transposed matrix, J, matrix give J again.

    In units of the body's radius and its speed; rounding grows with the square of the matrix.
    """
    body, y = gravity(), state()
    found = tangent(body, y, revolutions * period(y, body.gm))
    speed = np.sqrt(body.gm / body.radius)
    scale = np.array([body.radius] * 3 + [speed] * 3)
    matrix = found.by_state[:6, :6] * scale / scale[:, None]
    unity = np.block([[np.zeros((3, 3)), np.eye(3)], [-np.eye(3), np.zeros((3, 3))]])
    wrong = np.abs(matrix.T @ unity @ matrix - unity)
    assert np.max(wrong) < 1e-14 * np.max(np.abs(matrix)) ** 2


def test_a_coast_of_no_length() -> None:
    """The start comes back, its matrix is one, and no burn has a say."""
    y = state()
    found = tangent(gravity(), y, 0.0)
    assert np.allclose(found.state, y, rtol=1e-15, atol=0.0)
    assert np.allclose(found.by_state, np.eye(7), rtol=0.0, atol=1e-15)
    assert not np.any([*found.by_thrust, *found.by_isp, *found.by_direction.ravel()])


@both_steerings
def test_twice_the_mass_needs_twice_the_thrust(steering: Steering) -> None:
    """Mass and thrust grown alike leave the motion as it is, and the end's mass grows with them."""
    y = state()
    found: Tangent = tangent(gravity(), y, BURN_S, burn(steering))
    together = y[6] * found.by_state[:, 6] + 400.0 * found.by_thrust
    size = np.abs(400.0 * found.by_thrust)
    assert np.all(np.abs(together[:6]) <= 1e-12 * size[:6])
    assert_relative(together[6], found.state[6], 1e-13)


def test_without_gravity_it_is_the_rocket_equation() -> None:
    """Δv and mass by thrust and Isp, in closed form."""
    y = np.array([1e6, 0.0, 0.0, 0.0, 1.0, 0.0, 1000.0])
    force = burn("inertial", newton=500.0, isp=300.0, direction=np.array([0.0, 0.0, 1.0]))
    found = tangent(NOWHERE, y, BURN_S, force)
    exhaust, burnt = 300.0 * G0, 500.0 / (300.0 * G0) * BURN_S
    after = 1000.0 - burnt
    assert_relative(found.state[5], exhaust * np.log(1000.0 / after), 1e-12)
    assert_relative(found.by_thrust[5], BURN_S / after, 1e-11)
    assert_relative(found.by_thrust[6], -BURN_S / exhaust, 1e-12)
    assert_relative(
        found.by_isp[5], G0 * np.log(1000.0 / after) - exhaust * burnt / 300.0 / after, 1e-11
    )
    assert_relative(found.by_isp[6], burnt / 300.0, 1e-12)


@pytest.mark.parametrize(
    "stop",
    [
        stop_at_period(2e4, gravity().gm),
        stop_at_apsis(6e6, gravity().gm),
        stop_at_tilt(unit(np.array([1.0, 2.0, 0.5])), 0.1),
        Stop(energy=1e-7, plane=(1e-11, 2e-11, 3e-11), length=2e-11, square=1e-21, constant=1.0),
    ],
)
def test_the_slope_of_a_stop(stop: Stop) -> None:
    """By differences, for every quantity that is watched."""
    gm, y = gravity().gm, state()
    found = stop_gradient(stop, y, gm)
    for k, step in enumerate(1e-2 * STEPS):
        ends = [float(stop.value(y + h * np.eye(7)[k], gm)) for h in (step, -step)]
        by_k = (ends[0] - ends[1]) / (2 * step)
        size = np.max(np.abs(found[3 * (k // 3) : 3 * (k // 3) + 3]))
        assert abs(found[k] - by_k) <= 1e-6 * size


def test_what_cannot_be_computed_is_said() -> None:
    """No number at the start: an error, not numbers."""
    y = state()
    y[0] = np.nan
    with pytest.raises(FlightError, match="broke down"):
        tangent(gravity(), y, 100.0)
