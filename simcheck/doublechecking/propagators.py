"""The propagators at other accuracies, each a `Propagator` made from one that is there."""

from __future__ import annotations

from typing import Any

import numpy as np

from simcheck.arrays import Array
from simcheck.engines.base import Advance, Event, Propagator, Stop, Thrust
from simcheck.errors import FlightError
from simcheck.kernels.kepler import orbital_period
from simcheck.kernels.vectors import norm

_BURN_PIECES = 16


class Stepwise:
    """A propagator that is stopped and started again, `pieces` times in a local circular period.

    Where that is more often than it steps, its steps are refined by so much, whatever it is.
    """

    def __init__(self, inner: Propagator, pieces: int) -> None:
        self.inner, self.pieces = inner, pieces
        self.name, self.gravity = inner.name, inner.gravity

    def advance(
        self,
        time: float,
        state: Array,
        until: float,
        thrust: Thrust | None = None,
        stop: Stop | None = None,
    ) -> Advance:
        """See the contract in `simcheck.engines.base`."""
        if thrust is not None and until < time:
            return self.inner.advance(time, state, until, thrust, stop)
        longest = abs(until - time) / (1 if thrust is None else _BURN_PIECES)
        end, left = Advance(time, state, False), abs(until - time)
        while left > 0.0 and not end.stopped:
            around = float(orbital_period(1.0 / norm(end.state[:3]), self.gravity.gm))
            step = min(around / self.pieces, longest)
            last = left < 1.5 * step
            knot = until if last else end.time + np.copysign(step, until - time)
            end = self.inner.advance(end.time, end.state, float(knot), thrust, stop)
            left = 0.0 if last else abs(until - end.time)
        return end

    def sample(self, time: float, state: Array, times: Array) -> Array:
        """See the contract in `simcheck.engines.base`."""
        rows, now = [], Advance(time, np.asarray(state, dtype=np.float64), False)
        for until in times.tolist():
            now = self.advance(now.time, now.state, until)
            rows.append(now.state)
        return np.array(rows).reshape(-1, 7)

    def passages(self, time: float, state: Array, until: float, normal: Array) -> list[Event]:
        """See the contract in `simcheck.engines.base`."""
        return self.inner.passages(time, state, until, normal)


class OneLane:
    """The fast propagator's batches at a tolerance of one's own, one flight at a time.

    `passages` are those of `inner`, the fast propagator itself.
    """

    def __init__(self, inner: Propagator, tolerance: float) -> None:
        from simcheck.engines.batches import TaylorBatches

        self.inner, self._batches = inner, TaylorBatches(inner.gravity, tolerance)
        self.name, self.gravity = inner.name, inner.gravity

    def advance(
        self,
        time: float,
        state: Array,
        until: float,
        thrust: Thrust | None = None,
        stop: Stop | None = None,
    ) -> Advance:
        """See the contract in `simcheck.engines.base`."""
        start, there, goal = np.array([time]), np.array([state]), np.array([until])
        if thrust is not None and stop is not None:
            found = self._batches.until_stop(start, there, goal, _burn(thrust), stop)
            end = Advance(float(found.times[0]), found.states[0], bool(found.stopped[0]))
        else:
            burn = None if thrust is None else _burn(thrust)
            state = self._batches.advance(start, there, goal, burn)[0]
            end = Advance(until if burn is None else max(until, time), state, False)
        if not np.isfinite(end.state).all():
            raise FlightError(f"the Taylor integration of an arc from {time:.3f} s broke down")
        return end

    def sample(self, time: float, state: Array, times: Array) -> Array:
        """See the contract in `simcheck.engines.base`."""
        rows = self._batches.sample(np.array([time]), np.array([state]), times[None])[0]
        if not np.isfinite(rows).all():
            raise FlightError(f"the Taylor integration of a coast from {time:.3f} s broke down")
        return np.concatenate([rows, np.full((len(rows), 1), state[6])], axis=1)

    def passages(self, time: float, state: Array, until: float, normal: Array) -> list[Event]:
        """See the contract in `simcheck.engines.base`."""
        return self.inner.passages(time, state, until, normal)


def _burn(thrust: Thrust) -> Any:
    from simcheck.engines.batches import ThrustBatch

    return ThrustBatch(
        np.array([thrust.thrust_n]),
        np.array([thrust.isp_s]),
        thrust.steering,
        thrust.direction[None],
    )
