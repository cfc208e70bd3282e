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
from simcheck.engines.base import Advance, Event, Stop, Thrust, counted, watched
from simcheck.engines.equations import (
    EVENT,
    LIT,
    THRUST,
    TIDE,
    ZONAL,
    Terms,
    apsis_expression,
    lit_beyond,
    motion_equations,
    plane_expression,
    set_outer,
    shadow_expression,
    stop_expression,
    sun_ahead,
    terms_of,
)
from simcheck.engines.gravity import Gravity
from simcheck.engines.pulls import ends_of_arcs, longest_arc, unknown
from simcheck.errors import FlightError

TOLERANCE = 1e-16
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
        self._terms, self._longest = terms_of(gravity), longest_arc(gravity)

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
        found = Advance(time, state, False)
        for end in ends_of_arcs(time, until, self._longest):
            found = self._arc(found.time, found.state, end, thrust, stop)
            if found.stopped:
                break
        return found

    def _arc(
        self, time: float, state: Array, until: float, thrust: Thrust | None, stop: Stop | None
    ) -> Advance:
        """A part of an arc over which one polynomial gives where each other body is."""
        kind = "coast" if thrust is None else "stop" if stop else "burn"
        ta = _integrator(kind, self._terms)
        self._prepare(ta, time, state, until, thrust)
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
        if not abs(times[-1] - time) <= self._longest:
            return self._sample_in_parts(time, state, times)
        ta = _integrator("coast", self._terms)
        self._prepare(ta, time, state, float(times[-1]), None)
        grid = (np.asarray(times, dtype=np.float64) - time) / self._time
        skip = int(grid[0] > 0.0)  # the grid has to begin where the state is
        rows = ta.propagate_grid(np.concatenate([np.zeros(skip), grid]))[-1][skip:]
        rows = rows * self._scale[:6]
        if rows.shape[0] != len(times):
            raise FlightError(f"the Taylor integration of a coast from {time:.3f} s broke down")
        return np.concatenate([rows, np.full((len(rows), 1), state[6])], axis=1)

    def _sample_in_parts(self, time: float, state: Array, times: Array) -> Array:
        """Half the samples from the last state of the other half, until each fits a window."""
        half = len(times) // 2
        if half == 0:
            return self.advance(time, state, float(times[0])).state[None]
        first = self.sample(time, state, times[:half])
        return np.concatenate([first, self.sample(float(times[half - 1]), first[-1], times[half:])])

    def passages(self, time: float, state: Array, until: float, normal: Array) -> list[Event]:
        """See the contract in `simcheck.engines.base`."""
        nodes, apsides = watched(state, normal, self.gravity)
        if until <= time or not (nodes or apsides):
            return []
        hits: list[tuple[bool, float, Array]] = []
        begin, there = time, state
        for end in ends_of_arcs(time, until, self._longest):
            found, ended = self._passed(begin, there, end, normal, (nodes, apsides))
            hits += found
            begin, there = end, ended
        return counted(hits, time, state, self.gravity)

    def _passed(
        self, time: float, state: Array, until: float, normal: Array, which: tuple[bool, bool]
    ) -> tuple[list[tuple[bool, float, Array]], Array]:
        """Whether a node, time and state of each passage in one window, and the window's end."""
        ta, found = _event_integrator(*which, self._terms)
        found.clear()
        self._prepare(ta, time, state, until, None)
        if which[0]:
            ta.pars[EVENT.start : EVENT.start + 3] = normal
        outcome = ta.propagate_until((until - time) / self._time)[0]
        if outcome != hy.taylor_outcome.time_limit:
            raise FlightError(f"the Taylor integration of a coast from {time:.3f} s broke down")
        ended = self._leave(ta, state, None)
        times, row_of = np.unique([time + t * self._time for _, t in found], return_inverse=True)
        rows = self.sample(time, state, times)
        return [
            (index == 0, float(times[row]), rows[row])
            for (index, _), row in zip(found, row_of, strict=True)
        ], ended

    def _prepare(
        self, ta: Any, time: float, state: Array, until: float, thrust: Thrust | None
    ) -> None:
        if ta.with_events:
            ta.reset_cooldowns()
        ta.time = 0.0
        ta.pars[:] = 0.0
        ta.pars[ZONAL] = self.gravity.zonals
        if self._terms.parameters:
            outer = ta.pars[TIDE : self._terms.parameters]
            set_outer(outer, self.gravity, self._terms, time, until - time, state[:3])
            if outer[-1] != outer[-1]:  # NaN
                raise FlightError(unknown(self.gravity, time, until))
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
def _integrator(kind: str, terms: Terms) -> Any:
    """Compile one integrator: "coast", "burn" or "stop" (a burn that a stop may end)."""
    equations = motion_equations(thrusting=kind != "coast", terms=terms)
    events = [hy.t_event(stop_expression())] if kind == "stop" else []
    events += shadow_events(terms)
    start = [1.0] * len(equations)
    return hy.taylor_adaptive(equations, start, tol=TOLERANCE, t_events=events, **terms.compiling)


@cache
def _event_integrator(
    nodes: bool, apsides: bool, terms: Terms
) -> tuple[Any, list[tuple[int, float]]]:
    """A coasting integrator that notes (0, time) at each node and (1, time) at each apsis."""
    found: list[tuple[int, float]] = []
    events = []
    if nodes:
        note = lambda ta, t, d: found.append((0, t))  # noqa: E731
        events.append(hy.nt_event(plane_expression(), note))
    if apsides:
        mark = lambda ta, t, d: found.append((1, t))  # noqa: E731
        events.append(hy.nt_event(apsis_expression(), mark))
    equations = motion_equations(thrusting=False, terms=terms)
    kinds = {"nt_events": events, "t_events": shadow_events(terms)}
    ta = hy.taylor_adaptive(equations, [1.0] * 6, tol=TOLERANCE, **kinds, **terms.compiling)
    return ta, found


def shadow_events(terms: Terms) -> list[Any]:
    """An event at the shadow's edge that switches the push of sunlight and flies on."""
    if not terms.sunlight:
        return []

    def switch(ta: Any, direction: int) -> bool:
        if not sun_ahead(ta.pars, ta.state[:3], ta.time, terms):
            ta.pars[LIT] = lit_beyond(direction, ta.last_h)
        return True

    return [hy.t_event(shadow_expression(terms), callback=switch)]
