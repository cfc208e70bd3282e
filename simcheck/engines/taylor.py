"""The fast propagator: adaptive Taylor series through heyoka, compiled once a process.

Reference: Biscani and Izzo (2021), MNRAS 504, 2614. Lengths and times are scaled by the body's
radius so that gm = 1 and one error tolerance suits positions and speeds alike; every constant is a
run-time parameter, so one compiled integrator a kind of arc serves all bodies, engines and flights.
"""

from __future__ import annotations

from functools import cache
from typing import Any

import heyoka as hy
import numpy as np

from simcheck.arrays import Array
from simcheck.engines.base import (
    Advance,
    Event,
    Gravity,
    Stop,
    Thrust,
    counted,
    watched,
)
from simcheck.errors import FlightError

TOLERANCE = 1e-16
ZONAL = slice(0, 3)
THRUST = slice(3, 11)  # thrust acceleration at unit mass, flow, inertial (3), rsw (3)
EVENT = slice(11, 18)
GUARD_S = 1e-3  # flown without looking for the stop, where a burn begins exactly on it


class TaylorPropagator:
    """A `Propagator` on heyoka. Not shared between threads: its integrators hold state."""

    name = "taylor"

    def __init__(self, gravity: Gravity) -> None:
        self.gravity = gravity
        self._length = gravity.radius
        self._time = np.sqrt(gravity.radius**3 / gravity.gm)
        speed = self._length / self._time
        self._scale = np.array([self._length] * 3 + [speed] * 3 + [1.0])
        self._zonal = np.array([gravity.j2, gravity.j3, gravity.j4])

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
        if stop is not None and thrust is not None and stop.reached(state, self.gravity.gm):
            time, state, _ = self.advance(time, state, min(time + GUARD_S, until), thrust)
            if time >= until:
                return Advance(time, state, False)
        ta = _integrator("coast" if thrust is None else "stop" if stop else "burn")
        self._prepare(ta, state, thrust)
        if stop is not None and thrust is not None:
            ta.pars[EVENT] = self._event_parameters(stop)
        outcome = ta.propagate_until((until - time) / self._time)[0]
        stopped = outcome not in (hy.taylor_outcome.time_limit, hy.taylor_outcome.success)
        if stopped and (stop is None or int(outcome) < -1):
            raise FlightError(f"the Taylor integration of an arc from {time:.3f} s broke down")
        end = time + float(ta.time) * self._time if stopped else until
        return Advance(end, self._leave(ta, state, thrust), stopped)

    def sample(self, time: float, state: Array, times: Array) -> Array:
        """See the contract in `simcheck.engines.base`."""
        if len(times) == 0:
            return np.empty((0, 7))
        ta = _integrator("coast")
        self._prepare(ta, state, None)
        grid = (np.asarray(times, dtype=np.float64) - time) / self._time
        skip = int(grid[0] > 0.0)  # the grid has to begin where the state is
        rows = ta.propagate_grid(np.concatenate([np.zeros(skip), grid]))[-1][skip:]
        rows = rows * self._scale[:6]
        if rows.shape[0] != len(times):
            raise FlightError(f"the Taylor integration of a coast from {time:.3f} s broke down")
        return np.concatenate([rows, np.full((len(rows), 1), state[6])], axis=1)

    def passages(self, time: float, state: Array, until: float, normal: Array) -> list[Event]:
        """See the contract in `simcheck.engines.base`."""
        nodes, apsides = watched(state, normal, self.gravity)
        if until <= time or not (nodes or apsides):
            return []
        ta, found = _event_integrator(nodes, apsides)
        found.clear()
        self._prepare(ta, state, None)
        if nodes:
            ta.pars[EVENT.start : EVENT.start + 3] = normal
        outcome = ta.propagate_until((until - time) / self._time)[0]
        if outcome != hy.taylor_outcome.time_limit:
            raise FlightError(f"the Taylor integration of a coast from {time:.3f} s broke down")
        times, row_of = np.unique([time + t * self._time for _, t in found], return_inverse=True)
        rows = self.sample(time, state, times)
        hits = [
            (index == 0, float(times[row]), rows[row])
            for (index, _), row in zip(found, row_of, strict=True)
        ]
        return counted(hits, time, state, self.gravity)

    def _prepare(self, ta: Any, state: Array, thrust: Thrust | None) -> None:
        if ta.with_events:
            ta.reset_cooldowns()
        ta.time = 0.0
        ta.pars[:] = 0.0
        ta.pars[ZONAL] = self._zonal
        ta.state[:] = (state / self._scale)[: len(ta.state)]
        if thrust is None:
            return
        ta.state[6] = 1.0  # mass as a share of the arc's first
        acceleration = thrust.thrust_n / state[6] * self._time**2 / self._length
        flow = thrust.flow_kg_s / state[6] * self._time
        zero = np.zeros(3)
        fixed, turning = (
            (thrust.direction, zero) if thrust.steering == "inertial" else (zero, thrust.direction)
        )
        ta.pars[THRUST] = [acceleration, flow, *fixed, *turning]

    def _leave(self, ta: Any, state: Array, thrust: Thrust | None) -> Array:
        end = np.empty(7)
        end[:6] = ta.state[:6] * self._scale[:6]
        end[6] = state[6] if thrust is None else ta.state[6] * state[6]
        return end

    def _event_parameters(self, stop: Stop) -> Array:
        speed2 = (self._length / self._time) ** 2
        momentum = self._length**2 / self._time
        return np.array(
            [
                stop.energy * speed2,
                *(np.array(stop.plane) * momentum),
                stop.length * momentum,
                stop.square * momentum**2,
                stop.constant,
            ]
        )


@cache
def _integrator(kind: str) -> Any:
    """Compile one integrator: "coast", "burn" or "stop" (a burn that a stop may end)."""
    equations = motion_equations(thrusting=kind != "coast")
    events = [hy.t_event(stop_expression())] if kind == "stop" else []
    return hy.taylor_adaptive(equations, [1.0] * len(equations), tol=TOLERANCE, t_events=events)


@cache
def _event_integrator(nodes: bool, apsides: bool) -> tuple[Any, list[tuple[int, float]]]:
    """A coasting integrator that notes (0, time) at each node and (1, time) at each apsis."""
    found: list[tuple[int, float]] = []
    events = []
    if nodes:
        note = lambda ta, t, d: found.append((0, t))  # noqa: E731
        events.append(hy.nt_event(_plane_expression(), note))
    if apsides:
        mark = lambda ta, t, d: found.append((1, t))  # noqa: E731
        events.append(hy.nt_event(_apsis_expression(), mark))
    equations = motion_equations(thrusting=False)
    ta = hy.taylor_adaptive(equations, [1.0] * 6, tol=TOLERANCE, nt_events=events)
    return ta, found


def motion_equations(*, thrusting: bool) -> list[Any]:
    """Rates of x, y, z, vx, vy, vz and, of a burn, of m; the parameters are laid out above."""
    r = hy.make_vars("x", "y", "z")
    v = hy.make_vars("vx", "vy", "vz")
    acceleration = _gravity(r)
    if not thrusting:
        return [*zip(r, v, strict=True), *zip(v, acceleration, strict=True)]
    m = hy.make_vars("m")
    h, rn, hn = _cross(r, v), hy.sqrt(_dot(r, r)), hy.sqrt(_dot(_cross(r, v), _cross(r, v)))
    s = _cross(h, r)
    first = THRUST.start
    push = hy.par[first] / m
    fixed = [hy.par[first + 2 + i] for i in range(3)]
    turning = [hy.par[first + 5 + i] for i in range(3)]
    thrust = [
        push
        * (
            fixed[i]
            + turning[0] * r[i] / rn
            + turning[1] * s[i] / (rn * hn)
            + turning[2] * h[i] / hn
        )
        for i in range(3)
    ]
    total = [a + b for a, b in zip(acceleration, thrust, strict=True)]
    return [
        *zip(r, v, strict=True),
        *zip(v, total, strict=True),
        (m, -hy.par[first + 1]),
    ]


def _gravity(r: list[Any]) -> list[Any]:
    """Point mass and zonal terms at gm = radius = 1; the kernel `zonal_acceleration` explains."""
    j2, j3, j4 = (hy.par[i] for i in range(3))
    r2 = _dot(r, r)
    rn = hy.sqrt(r2)
    s = r[2] / rn
    u = s * s  # products, since the series of a general power divides by s, zero at the equator
    p2, d2 = (3.0 * u - 1.0) / 2.0, 3.0 * s
    p3, d3 = (5.0 * u - 3.0) * s / 2.0, (15.0 * u - 3.0) / 2.0
    p4, d4 = (35.0 * u * u - 30.0 * u + 3.0) / 8.0, (35.0 * u - 15.0) * s / 2.0
    b2, b3, b4 = j2 / r2, j3 / (r2 * rn), j4 / (r2 * r2)
    radial = 3.0 * b2 * p2 + 4.0 * b3 * p3 + 5.0 * b4 * p4
    polar = -(b2 * d2 + b3 * d3 + b4 * d4)
    along = (radial - s * polar - 1.0) / (r2 * rn)
    return [along * r[0], along * r[1], along * r[2] + polar / r2]


def stop_expression() -> Any:
    """The stop function at gm = radius = 1, of the parameters `EVENT`."""
    r, v = hy.make_vars("x", "y", "z"), hy.make_vars("vx", "vy", "vz")
    h = _cross(r, v)
    h2 = _dot(h, h)
    p = [hy.par[EVENT.start + i] for i in range(7)]
    energy = _dot(v, v) / 2.0 - 1.0 / hy.sqrt(_dot(r, r))
    return p[0] * energy + _dot(p[1:4], h) + p[4] * hy.sqrt(h2) + p[5] * h2 + p[6]


def _plane_expression() -> Any:
    return _dot([hy.par[EVENT.start + i] for i in range(3)], hy.make_vars("x", "y", "z"))


def _apsis_expression() -> Any:
    return _dot(hy.make_vars("x", "y", "z"), hy.make_vars("vx", "vy", "vz"))


def _dot(a: list[Any], b: list[Any]) -> Any:
    return a[0] * b[0] + a[1] * b[1] + a[2] * b[2]


def _cross(a: list[Any], b: list[Any]) -> list[Any]:
    return [
        a[1] * b[2] - a[2] * b[1],
        a[2] * b[0] - a[0] * b[2],
        a[0] * b[1] - a[1] * b[0],
    ]
