"""The reference propagator: scipy's DOP853 on the plain equations, written to be read.

It checks the fast one, and serves where heyoka has no wheels. Reference: Hairer, Norsett and Wanner
(1993), Solving Ordinary Differential Equations I, section II.5.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from simcheck.arrays import Array
from simcheck.engines.base import Advance, Event, Stop, Thrust, counted, watched
from simcheck.engines.gravity import Gravity
from simcheck.engines.pulls import pull, unknown
from simcheck.errors import FlightError
from simcheck.kernels.vectors import dot, rsw_frame

_SCAN_POINTS = 8  # looks a step of the integrator at which an event function is examined
_NEWTON = 60


class ReferencePropagator:
    """A `Propagator` on scipy. tolerance is DOP853's relative one."""

    name = "reference"

    def __init__(self, gravity: Gravity, tolerance: float = 3e-14) -> None:
        self.gravity = gravity
        self.tolerance = tolerance

    def advance(
        self,
        time: float,
        state: Array,
        until: float,
        thrust: Thrust | None = None,
        stop: Stop | None = None,
    ) -> Advance:
        """See the contract in `simcheck.engines.base`."""
        if until == time or (thrust is not None and until < time):
            return Advance(time, np.array(state, dtype=np.float64), False)
        dense = stop is not None and thrust is not None
        solution = self._solve(time, state, until, thrust, dense=dense)
        if stop is not None and thrust is not None:
            roots = crossings(solution, lambda y: stop.value(y, self.gravity.gm))
            if roots:
                return Advance(roots[0], np.asarray(solution.sol(roots[0])), True)
        return Advance(until, np.asarray(solution.y[:, -1]), False)

    def sample(self, time: float, state: Array, times: Array) -> Array:
        """See the contract in `simcheck.engines.base`."""
        rows, now, current = [], time, np.asarray(state, dtype=np.float64)
        for until in times:
            # Every sample ends a step of its own: dense output is an order less accurate.
            now, current, _ = self.advance(now, current, float(until))
            rows.append(current)
        return np.array(rows).reshape(-1, 7)

    def passages(self, time: float, state: Array, until: float, normal: Array) -> list[Event]:
        """See the contract in `simcheck.engines.base`.

        Event functions are examined on dense output at `_SCAN_POINTS` points a step and at each
        extremum between them, so a double crossing inside one interval is found too.
        """
        has_nodes, has_apsides = watched(state, normal, self.gravity)
        if until <= time or not (has_nodes or has_apsides):
            return []
        solution = self._solve(time, state, until, None, dense=True)
        nodes = crossings(solution, lambda y: y[..., :3] @ normal) if has_nodes else []
        apsides = crossings(solution, lambda y: dot(y[..., :3], y[..., 3:6])) if has_apsides else []
        hits = [(True, t, np.asarray(solution.sol(t))) for t in nodes]
        hits += [(False, t, np.asarray(solution.sol(t))) for t in apsides]
        return counted(hits, time, state, self.gravity)

    def _solve(
        self, time: float, state: Array, until: float, thrust: Thrust | None, *, dense: bool
    ) -> Any:
        from scipy.integrate import solve_ivp

        if not np.all(np.isfinite(state)):  # solve_ivp would not come back
            raise FlightError(f"an arc from {time:.3f} s starts at no place: {state}")
        if missing := unknown(self.gravity, time, until):
            raise FlightError(missing)
        r = np.linalg.norm(state[:3])
        v = max(np.linalg.norm(state[3:6]), np.sqrt(self.gravity.gm / r))
        scale = np.array([r] * 3 + [v] * 3 + [state[6]])
        solution = solve_ivp(
            lambda t, y: self._rates(t, y, thrust),
            (time, until),
            np.asarray(state, dtype=np.float64),
            method="DOP853",
            rtol=self.tolerance,
            atol=self.tolerance * scale,
            dense_output=dense,
        )
        if not solution.success:
            raise FlightError(f"an arc from {time:.3f} s broke down: {solution.message}")
        return solution

    def _rates(self, time: float, y: Array, thrust: Thrust | None) -> Array:
        r, v = y[:3], y[3:6]
        acceleration = -self.gravity.gm / dot(r, r) ** 1.5 * r
        if not self.gravity.point_mass:
            acceleration = acceleration + pull(self.gravity, time, r)
        flow = 0.0
        if thrust is not None:
            direction = thrust.direction
            if thrust.steering == "rsw":
                direction = rsw_frame(r, v).T @ direction
            acceleration = acceleration + thrust.thrust_n / y[6] * direction
            flow = thrust.flow_kg_s
        return np.concatenate([v, acceleration, [-flow]])


def crossings(solution: Any, function: Any) -> list[float]:
    """Times (s) of all sign changes of function(states) along a dense solution of solve_ivp.

    A start exactly on zero does not count.
    """
    ts = solution.t
    share = np.arange(_SCAN_POINTS) / _SCAN_POINTS
    grid = np.append((ts[:-1, None] + np.diff(ts)[:, None] * share).ravel(), ts[-1])
    values = function(solution.sol(grid).T)
    turning = _turning_points(grid, values, solution, function)
    grid = np.concatenate([grid, turning])
    order = np.argsort(grid, kind="stable")
    grid = grid[order]
    values = function(solution.sol(grid).T)
    signs = np.sign(values)
    signs[0] = signs[1] if abs(values[0]) <= 1e-12 * np.max(np.abs(values)) else signs[0]
    changes = np.flatnonzero(signs[:-1] * signs[1:] < 0)
    roots = [_bisect(grid[i], grid[i + 1], solution, function) for i in changes]
    roots += [float(grid[i]) for i in range(1, len(grid)) if signs[i] == 0]
    return sorted(roots)


def _turning_points(grid: Array, values: Array, solution: Any, function: Any) -> Array:
    """Extrema of the event function that point towards zero, by golden-section search."""
    found = []
    for i in range(1, len(grid) - 1):
        left, mid, right = np.abs(values[i - 1 : i + 2])
        same = np.all(np.sign(values[i - 1 : i + 2]) == np.sign(values[i]))
        if same and mid <= left and mid <= right:
            sign = np.sign(values[i])
            low, high = grid[i - 1], grid[i + 1]
            ratio = (np.sqrt(5) - 1) / 2
            for _ in range(40):
                a, b = high - ratio * (high - low), low + ratio * (high - low)
                fa, fb = sign * function(solution.sol(np.array([a, b])).T)
                low, high = (low, b) if fa < fb else (a, high)
            found.append((low + high) / 2)
    return np.array(found)


def _bisect(low: float, high: float, solution: Any, function: Any) -> float:
    from scipy.optimize import brentq

    return float(
        brentq(lambda t: float(function(solution.sol(t))), low, high, xtol=1e-9, rtol=1e-15)
    )
