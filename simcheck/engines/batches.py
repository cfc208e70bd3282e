"""The fast engine's batches: many flights at once, one SIMD lane each, for dispersions.

The motion is `TaylorPropagator`'s, to rounding. heyoka steps the lanes of a batch side by side,
each with its own step size; only its returns are common: where one lane meets a stop or breaks
down, all come back. So lanes cut short are flown on, or anew without the one that broke down.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from functools import cache
from typing import Any, NamedTuple, TypeAlias

import heyoka as hy
import numpy as np
from numpy.typing import NDArray

from simcheck.arrays import Array
from simcheck.engines.base import G0, Steering, Stop
from simcheck.engines.equations import (
    EVENT,
    LIT,
    THRUST,
    TIDE,
    ZONAL,
    Terms,
    lit_beyond,
    motion_equations,
    outer_parameters,
    shadow_expression,
    stop_expression,
    sun_ahead,
    terms_of,
)
from simcheck.engines.gravity import Gravity
from simcheck.engines.pulls import longest_arc
from simcheck.engines.taylor import GUARD_S, TOLERANCE
from simcheck.kernels.vectors import cross, dot, norm

LANES = int(hy.recommended_simd_size())
_ON_THE_STOP = 1e-13  # as `Stop.reached` has it
_STOPPED = -1  # heyoka's outcome where the first event ends an arc
_IN_TIME = 1e-12  # share of a span by which a lane that went through may seem to miss its end

Flags: TypeAlias = NDArray[np.bool_]
_Group: TypeAlias = Callable[[Any, Array, Array, Array], tuple[Array, Flags]]


class ThrustBatch(NamedTuple):
    """A burn of n lanes: `Thrust` with arrays (n,), direction (n, 3).

    steering is one for all lanes, or flags (n,) that are true where a lane turns with RSW.
    """

    thrust_n: Array
    isp_s: Array
    steering: Steering | Flags
    direction: Array

    def of(self, rows: NDArray[np.intp]) -> ThrustBatch:
        """The burn of some of the lanes."""
        steering = self.steering if isinstance(self.steering, str) else self.steering[rows]
        return ThrustBatch(self.thrust_n[rows], self.isp_s[rows], steering, self.direction[rows])


class AdvanceBatch(NamedTuple):
    """Where n lanes ended: times (n,), states (n, 7), and whether a stop ended them (n,)."""

    times: Array
    states: Array
    stopped: Flags


class TaylorBatches:
    """Motion of n lanes at once, any n. Not shared between threads: its integrators hold state.

    A lane's end depends on that lane alone, bit for bit: not on the others, their number or its
    place. A lane that breaks down, or whose numbers are not finite, ends as NaN; nothing raises.
    tolerance is that of the Taylor series; a looser one is quicker.
    """

    def __init__(self, gravity: Gravity, tolerance: float = TOLERANCE) -> None:
        self.gravity, self.tolerance = gravity, tolerance
        self._length = gravity.radius
        self._time = np.sqrt(gravity.radius**3 / gravity.gm)
        self._speed = self._length / self._time
        self._scale = np.array([self._length] * 3 + [self._speed] * 3)
        self._terms, self._longest = terms_of(gravity), longest_arc(gravity)

    def advance(
        self, times: Array, states: Array, until: Array, thrust: ThrustBatch | None = None
    ) -> Array:
        """Move states (n, 7) from times (n,) to until (n,), in s; (n, 7).

        A coast may go back in time. A lane with nowhere to go, such as a burn that would go back,
        comes back as it was.
        """
        ends = np.array(states, dtype=np.float64)
        idle = until == times if thrust is None else until <= times
        ta = _integrator("coast" if thrust is None else "burn", self.tolerance, self._terms)
        for rows, begin, end in self._windows(np.flatnonzero(~idle), times, until):
            lanes = self._lanes(rows, begin, ends, end, thrust)
            found = _through(ta, lanes, _to_the_end, lanes.start.shape[1])
            ends[rows] = self._physical(found, ends[rows])
        return ends

    def _windows(
        self, rows: NDArray[np.intp], times: Array, until: Array
    ) -> Iterator[tuple[NDArray[np.intp], Array, Array]]:
        """Lanes still on their way, and the times (n,) between which one window takes each lane.

        Equal parts of a lane's span, none longer than a window: all of it where there is no sky.
        """
        if np.isinf(self._longest):
            if len(rows):
                yield rows, times, until
            return
        with np.errstate(invalid="ignore"):
            parts = np.ceil(np.abs(until - times) / self._longest)
            parts = np.where(np.isfinite(parts), np.maximum(parts, 1.0), 1.0)
        for part in range(int(np.max(parts[rows], initial=0.0))):
            rows = rows[parts[rows] > part]
            begin = times + (until - times) * (part / parts)
            end = times + (until - times) * ((part + 1) / parts)
            yield rows, begin, np.where(part + 1 == parts, until, end)

    def sample(self, times: Array, states: Array, grid: Array) -> Array:
        """Coasting positions and velocities (n, m, 6) at increasing times `grid` (n, m).

        No lane's grid begins before its time, and none repeats a time: heyoka raises ValueError.
        """
        n, m = grid.shape
        if not n * m:
            return np.empty((n, m, 6))
        states = np.asarray(states, dtype=np.float64)
        found = np.empty((n, m, 6))
        with np.errstate(invalid="ignore"):
            long = np.abs(grid[:, -1] - times) > self._longest
        for rows in (np.flatnonzero(~long), np.flatnonzero(long)):
            if len(rows):
                sample = self._sample_in_parts if long[rows[0]] else self._sample_at_once
                found[rows] = sample(times[rows], states[rows], grid[rows])
        return found

    def _sample_at_once(self, times: Array, states: Array, grid: Array) -> Array:
        lanes = self._lanes(np.arange(len(times)), times, states, grid, None)
        ta = _integrator("coast", self.tolerance, self._terms)
        found = _through(ta, lanes, _on_the_grid, 6 * grid.shape[1])
        found = found.reshape(*grid.shape, 6)
        found *= self._scale
        return found

    def _sample_in_parts(self, times: Array, states: Array, grid: Array) -> Array:
        """Half the samples from the last state of the other half, until each fits a window."""
        half = grid.shape[1] // 2
        if half == 0:
            return self.advance(times, states, grid[:, 0])[:, None, :6]
        first = self.sample(times, states, grid[:, :half])
        middle = np.concatenate([first[:, -1], states[:, 6:]], axis=1)
        return np.concatenate([first, self.sample(grid[:, half - 1], middle, grid[:, half:])], 1)

    def until_stop(
        self,
        times: Array,
        states: Array,
        until: Array,
        thrust: ThrustBatch,
        stop: Stop | Sequence[Stop],
    ) -> AdvanceBatch:
        """A burn from times (n,) until each lane's stop, or until (n,) at the latest.

        stop is one for all lanes or one a lane. A start exactly on the stop does not end a burn.
        """
        now, ends = np.array(times, dtype=np.float64), np.array(states, dtype=np.float64)
        stopped = np.zeros(len(now), dtype=bool)
        event = self._event(stop, len(now))
        rows = np.flatnonzero(~(until <= now) & self._on_the_stop(ends, event))
        guard = np.minimum(now[rows] + GUARD_S, until[rows])
        ends[rows] = self.advance(now[rows], ends[rows], guard, thrust.of(rows))
        now[rows] = guard
        left = np.flatnonzero(~(until <= now))
        for among, begin, end in self._windows(left, now.copy(), until):
            rows = among[~stopped[among]]
            if not len(rows):
                break
            lanes = self._lanes(rows, begin, ends, end, thrust, event)
            ta = _integrator("stop", self.tolerance, self._terms)
            found = _through(ta, lanes, _to_the_stop, 9)
            ends[rows] = self._physical(found[:, :-2], ends[rows])
            stopped[rows] = found[:, -1] == 1.0
            ended = np.where(stopped[rows], begin[rows] + found[:, -2] * self._time, end[rows])
            now[rows] = np.where(np.isnan(found[:, -1]), np.nan, ended)
        return AdvanceBatch(now, ends, stopped)

    @np.errstate(all="ignore")
    def _lanes(
        self,
        rows: NDArray[np.intp],
        times: Array,
        states: Array,
        until: Array,
        thrust: ThrustBatch | None,
        event: Array | None = None,
    ) -> _Lanes:
        """What the integrators fly, at gm = radius = 1, of the lanes `rows`."""
        states = states[rows]
        start = states[:, :6] / self._scale
        used = 3 if thrust is None else 11 if event is None else 18
        pars = np.zeros((len(rows), max(used, self._terms.parameters)))
        pars[:, ZONAL] = self.gravity.zonals
        if thrust is not None:
            start = np.concatenate([start, np.ones((len(rows), 1))], axis=1)
            pars[:, THRUST] = self._push(thrust.of(rows), states[:, 6])
        if event is not None:
            pars[:, EVENT] = event[rows]
        spans = (until[rows].T - times[rows]).T.reshape(len(rows), -1)
        if self._terms.parameters:
            pars[:, TIDE:] = outer_parameters(
                self.gravity, times[rows], spans[:, -1], states[:, :3]
            )
        return _Lanes(start, pars, spans / self._time)

    def _push(self, thrust: ThrustBatch, mass: Array) -> Array:
        push = np.zeros((len(mass), 8))
        push[:, 0] = thrust.thrust_n / mass * (self._time / self._speed)
        push[:, 1] = thrust.thrust_n / (G0 * thrust.isp_s) / mass * self._time
        turning = thrust.steering
        if isinstance(turning, str):
            turning = np.full(len(mass), turning == "rsw")
        push[:, 2:5] = np.where(turning[:, None], 0.0, thrust.direction)
        push[:, 5:8] = np.where(turning[:, None], thrust.direction, 0.0)
        return push

    def _physical(self, found: Array, before: Array) -> Array:
        """SI again. Adding zero makes -0 plain, whose sign idle steps beside others may lose."""
        ends = np.empty_like(before)
        ends[:, :6] = found[:, :6] * self._scale + 0.0
        gone = np.isnan(found[:, 0])
        ends[:, 6] = np.where(gone, np.nan, before[:, 6])
        if found.shape[1] > 6:
            ends[:, 6] = found[:, 6] * before[:, 6]
        return ends

    def _event(self, stop: Stop | Sequence[Stop], n: int) -> Array:
        """Parameters (n, 7) of the stop function at gm = radius = 1."""
        momentum = self._length * self._speed
        size = np.array([self._speed**2, *[momentum] * 4, momentum**2, 1.0])
        stops = [stop] if isinstance(stop, Stop) else stop
        rows = [[s.energy, *s.plane, s.length, s.square, s.constant] for s in stops]
        return np.array(np.broadcast_to(np.array(rows).reshape(-1, 7) * size, (n, 7)))

    @np.errstate(all="ignore")
    def _on_the_stop(self, states: Array, event: Array) -> Flags:
        """Lanes (n,) whose stop function is zero to rounding: the twin of `Stop.reached`."""
        r, v = states[:, :3] / self._length, states[:, 3:6] / self._speed
        h = cross(r, v)
        hn, energy = norm(h), dot(v, v) / 2 - 1 / norm(r)
        plane = event[:, 1:4]
        terms = [event[:, 0] * energy, dot(h, plane), event[:, 4] * hn, event[:, 5] * hn**2]
        total, size = event[:, 6], np.abs(event[:, 6]) + norm(plane) * hn
        for term in terms:
            total, size = total + term, size + np.abs(term)
        return np.asarray(np.abs(total) <= _ON_THE_STOP * size)


class _Lanes(NamedTuple):
    """Scaled starts (n, 6 or 7), parameters (n, k) and times to reach (n, m) from zero."""

    start: Array
    pars: Array
    spans: Array


@cache
def _integrator(kind: str, tolerance: float, terms: Terms) -> Any:
    """Compile one batch integrator: "coast", "burn" or "stop" (a burn that a stop may end)."""
    equations = motion_equations(thrusting=kind != "coast", terms=terms)
    events = [hy.t_event_batch(stop_expression())] if kind == "stop" else []
    events += _shadow_events(terms)
    start = np.ones((len(equations), LANES))
    return hy.taylor_adaptive_batch(
        equations, start, tol=tolerance, t_events=events, **terms.compiling
    )


def _shadow_events(terms: Terms) -> list[Any]:
    """An event at the shadow's edge that switches the push of sunlight and flies on."""
    if not terms.sunlight:
        return []

    def switch(ta: Any, direction: int, lane: int) -> bool:
        if not sun_ahead(ta.pars[:, lane], ta.state[:3, lane], ta.time[lane], terms):
            ta.pars[LIT, lane] = lit_beyond(direction, ta.last_h[lane])
        return True

    return [hy.t_event_batch(shadow_expression(terms), callback=switch)]


def _through(ta: Any, lanes: _Lanes, fly: _Group, width: int) -> Array:
    """Fly lanes in groups; those cut short again, without the one that broke down beside them.

    `fly` gives groups' results (g, width, LANES), the last NaN where cut short, and which lanes
    broke down (g, LANES). Lanes of like spans go together: a group takes its longest's steps.
    """
    result = np.full((len(lanes.start), width), np.nan)
    rows = np.flatnonzero(np.logical_and.reduce([np.isfinite(x).all(axis=1) for x in lanes]))
    rows = rows[np.argsort(np.abs(lanes.spans[rows, -1]), kind="stable")]
    while len(rows):
        padded = np.minimum(np.arange(-(-len(rows) // LANES) * LANES), len(rows) - 1)
        groups = rows[padded].reshape(-1, LANES)
        found, broken = fly(ta, *(_side_by_side(part[groups]) for part in lanes))
        result[groups] = np.swapaxes(found, 1, 2)
        short = ~np.isfinite(found[:, -1]) | broken
        result[groups[short]] = np.nan
        left = (short & ~broken).reshape(-1)[: len(rows)]
        if left.all():
            break
        rows = rows[left]
    return result


def _side_by_side(part: Array) -> Array:
    """Groups (g, LANES, k) as heyoka lays them out, (g, k, LANES)."""
    return np.ascontiguousarray(np.swapaxes(part, 1, 2))


def _to_the_end(ta: Any, start: Array, pars: Array, spans: Array) -> tuple[Array, Flags]:
    """Final states (g, 6 or 7, LANES) after spans (g, 1, LANES)."""
    ends, reached = np.empty_like(start), np.empty_like(spans)
    state, par, now = ta.state, ta.pars, ta.time
    for g, span in enumerate(spans[:, 0].tolist()):
        if ta.with_events:
            ta.reset_cooldowns()
        ta.set_time(0.0)
        state[:] = start[g]
        par[:] = pars[g]
        ta.propagate_until(span)
        ends[g] = state
        reached[g] = now
    broken = ~(np.isfinite(ends).all(axis=1) & np.isfinite(reached[:, 0]))
    short = ~(np.abs(reached - spans) <= _IN_TIME * np.abs(spans))
    return np.where(short, np.nan, ends), broken


def _on_the_grid(ta: Any, start: Array, pars: Array, grid: Array) -> tuple[Array, Flags]:
    """States (g, m * 6, LANES) at the times grid (g, m, LANES)."""
    g_count, m, _ = grid.shape
    found, broken = np.empty((g_count, m * 6, LANES)), np.zeros((g_count, LANES), dtype=bool)
    state, par = ta.state, ta.pars
    firsts = grid[:, 0].tolist()
    for g, first in enumerate(firsts):
        if ta.with_events:
            ta.reset_cooldowns()
        ta.set_time(0.0)
        state[:] = start[g]
        par[:] = pars[g]
        ta.propagate_until(first)  # heyoka's grids begin where the state is
        ta.set_time(first)
        found[g] = ta.propagate_grid(grid[g])[-1].reshape(-1, LANES)
        broken[g] = ~np.isfinite(state).all(axis=0)
    return found, broken


def _to_the_stop(ta: Any, start: Array, pars: Array, spans: Array) -> tuple[Array, Flags]:
    """State, time and whether a stop ended it (g, 9, LANES), of lanes flown for spans at most.

    A stop returns all lanes: each is noted when it ends, and the others are flown on, which goes
    by the same steps. What a lane does after its end is not looked at.
    """
    found = np.full((len(start), 9, LANES), np.nan)
    broken = np.zeros((len(start), LANES), dtype=bool)
    state, now = ta.state, ta.time
    for g, span in enumerate(spans[:, 0].tolist()):
        ta.reset_cooldowns()
        ta.set_time(0.0)
        state[:] = start[g]
        ta.pars[:] = pars[g]
        flying = set(range(LANES))
        while flying and not broken[g].any():
            ta.propagate_until(span)
            for lane, (outcome, *_) in enumerate(ta.propagate_res):
                stopped = int(outcome) == _STOPPED
                if lane in flying and (stopped or outcome == hy.taylor_outcome.time_limit):
                    found[g, :, lane] = *state[:, lane], now[lane], stopped
                    span[lane] = now[lane]
                    flying.discard(lane)
            broken[g] = ~np.isfinite(state).all(axis=0)
    return found, broken
