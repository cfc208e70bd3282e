"""How fast closed-loop flights of the demonstration go, beside the same flights by a scipy loop.

    python benchmarks/closed_loop.py

All fly the same samples with the same flight team: the same decisions, aims and averages. One has
its arcs by our batches, the others by scipy's DOP853, a lane at a time, with numpy arrays or with
plain floats in the right-hand side, at a tolerance that ends within a metre. What is no propagation
is the same in all.
"""

from __future__ import annotations

import math
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
from scipy.integrate import solve_ivp

import simcheck
from simcheck import api
from simcheck.dispersing.flights import Job, fly_chunk
from simcheck.engines.base import G0, Thrust
from simcheck.engines.batches import ThrustBatch
from simcheck.engines.gravity import Gravity
from simcheck.engines.reference import ReferencePropagator
from simcheck.flying import lanes

DEMO = Path(__file__).parents[1] / "cases" / "mars_ring.toml"
MANY, FEW, TURNS = 1000, 3, 3
RTOL = 1e-9  # ends within a metre of our batches after fourteen revolutions: see flight.py


class ScipyBatches:
    """What `TaylorBatches` does, one lane after another by solve_ivp; J2 and timed burns only."""

    def __init__(self, gravity: Gravity, tolerance: float = RTOL) -> None:
        self.gravity, self.tolerance = gravity, RTOL

    def advance(
        self,
        times: np.ndarray,
        states: np.ndarray,
        until: np.ndarray,
        thrust: ThrustBatch | None = None,
    ) -> np.ndarray:
        """Ends (n, 7)."""
        ends = np.array(states)
        for k, (start, end) in enumerate(zip(times, until, strict=True)):
            if end != start and np.isfinite([start, end]).all():
                rates = self._rates(*(_push(thrust, k) if thrust else _NONE))
                ends[k] = _flown(rates, start, states[k], end)[-1]
        return ends

    def sample(self, times: np.ndarray, states: np.ndarray, grid: np.ndarray) -> np.ndarray:
        """Positions and velocities (n, m, 6)."""
        rates = self._rates(*_NONE)
        rows = zip(times, states, grid, strict=True)
        return np.array([_flown(rates, t, state, row[-1], row)[:, :6] for t, state, row in rows])

    def _rates(
        self, newton: float, flow: float, p: float, q: float, n: float, turning: bool
    ) -> Callable[[float, np.ndarray], list[float]]:
        gm, j2 = self.gravity.gm, 1.5 * self.gravity.j2 * self.gravity.radius**2

        def rates(_: float, state: np.ndarray) -> list[float]:
            x, y, z, vx, vy, vz, m = state.tolist()
            r2 = x * x + y * y + z * z
            r = math.sqrt(r2)
            pull, j, u = -gm / (r2 * r), j2 / r2, 5 * z * z / r2
            ax, ay = pull * x * (1 + j * (1 - u)), pull * y * (1 + j * (1 - u))
            az = pull * z * (1 + j * (3 - u))
            if newton:
                a, b, c = p, q, n
                if turning:
                    hx, hy, hz = y * vz - z * vy, z * vx - x * vz, x * vy - y * vx
                    h = math.sqrt(hx * hx + hy * hy + hz * hz)
                    sx, sy, sz = hy * z - hz * y, hz * x - hx * z, hx * y - hy * x
                    a = p * x / r + q * sx / (h * r) + n * hx / h
                    b = p * y / r + q * sy / (h * r) + n * hy / h
                    c = p * z / r + q * sz / (h * r) + n * hz / h
                ax, ay, az = ax + newton / m * a, ay + newton / m * b, az + newton / m * c
            return [vx, vy, vz, ax, ay, az, -flow]

        return rates


class ArrayBatches:
    """The same on numpy arrays: our reference engine, at this tolerance."""

    def __init__(self, gravity: Gravity, tolerance: float = RTOL) -> None:
        self.gravity, self.tolerance = gravity, RTOL
        self.engine = ReferencePropagator(gravity, RTOL)

    def advance(
        self,
        times: np.ndarray,
        states: np.ndarray,
        until: np.ndarray,
        thrust: ThrustBatch | None = None,
    ) -> np.ndarray:
        """Ends (n, 7)."""
        ends = np.array(states)
        for k, (start, end) in enumerate(zip(times, until, strict=True)):
            if end != start and np.isfinite([start, end]).all():
                push = None if thrust is None else _thrust(thrust, k)
                ends[k] = self.engine.advance(float(start), states[k], float(end), push).state
        return ends

    def sample(self, times: np.ndarray, states: np.ndarray, grid: np.ndarray) -> np.ndarray:
        """Positions and velocities (n, m, 6)."""
        rows = zip(times, states, grid, strict=True)
        return np.array(
            [
                self.engine._solve(t, x, row[-1], None, dense=True).sol(row)[:6].T
                for t, x, row in rows
            ]
        )


def _thrust(thrust: ThrustBatch, k: int) -> Thrust:
    newton, turning = float(thrust.thrust_n[k]), thrust.steering
    flag = turning == "rsw" if isinstance(turning, str) else bool(turning[k])
    return Thrust(
        thrust_n=newton,
        isp_s=float(thrust.isp_s[k]),
        steering="rsw" if flag else "inertial",
        direction=thrust.direction[k],
    )


_NONE = (0.0, 0.0, 0.0, 0.0, 0.0, False)


def _push(thrust: ThrustBatch, k: int) -> tuple[float, float, float, float, float, bool]:
    """Thrust in N, flow in kg/s, direction, and whether it turns with RSW, of lane k."""
    newton, turning = float(thrust.thrust_n[k]), thrust.steering
    flag = turning == "rsw" if isinstance(turning, str) else bool(turning[k])
    return newton, newton / (G0 * float(thrust.isp_s[k])), *thrust.direction[k].tolist(), flag


def _flown(
    rates: Callable[[float, np.ndarray], list[float]],
    start: float,
    state: np.ndarray,
    end: float,
    times: np.ndarray | None = None,
) -> np.ndarray:
    near = RTOL * np.array([1e7] * 3 + [2e3] * 3 + [1e3])
    span = (float(start), float(end))
    return solve_ivp(rates, span, state, "DOP853", t_eval=times, rtol=RTOL, atol=near).y.T


def seconds(job: Job, count: int) -> tuple[float, np.ndarray]:
    """Wall time a flight of one process, and the rows."""
    start = time.perf_counter()
    rows = fly_chunk(job, 0, count)
    return (time.perf_counter() - start) / count, rows


def main() -> None:
    """Print milliseconds a flight of each, the ratios, and how far the flights are apart."""
    case = simcheck.load_case(DEMO)
    job = Job(case=case, plan=api.plan(case), seed=0, planner="ring")
    seconds(job, 4)
    ours = min((seconds(job, MANY) for _ in range(TURNS)), key=lambda pair: pair[0])
    print(f"our batches           {1e3 * ours[0]:10.2f} ms a flight, {1 / ours[0]:.0f} a second")
    for name, rival in (
        ("scipy, numpy arrays", ArrayBatches),
        ("scipy, plain floats", ScipyBatches),
    ):
        lanes._ground.cache_clear()
        lanes.TaylorBatches = rival  # type: ignore[misc, assignment]
        fly_chunk(job, 0, 1)
        time_, rows = min((seconds(job, FEW) for _ in range(TURNS)), key=lambda pair: pair[0])
        off = np.abs(rows["phase_deg"] - ours[1]["phase_deg"][:FEW]).max()
        print(
            f"{name}   {1e3 * time_:10.2f} ms a flight, {time_ / ours[0]:.0f} times ours (bar 300);"
            f" phases apart by at most {off:.1e} deg"
        )


if __name__ == "__main__":
    main()
