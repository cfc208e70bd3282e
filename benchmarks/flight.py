"""How fast dispersed flights go: scipy's loop, both our engines, bare heyoka and our batches.

    python benchmarks/flight.py

One flight is a coast, a burn, a coast, a burn and a coast of some fourteen revolutions about a
body with J2. The invented samples differ in start and burns. All rows fly the same samples and are
measured in turns in one run after a warm-up, so their ratios hold on any machine; the least of the
turns counts. Bare heyoka is its batch integrator called on arrays laid out beforehand, at gm =
radius = 1, without a line of ours in between. The last two rows average the elements of the ends.
"""

from __future__ import annotations

import math
import time
from collections.abc import Callable
from typing import NamedTuple

import heyoka as hy
import numpy as np
from scipy.integrate import solve_ivp

from simcheck.engines.base import G0, Gravity, Propagator, Thrust
from simcheck.engines.batches import LANES, TaylorBatches, ThrustBatch
from simcheck.engines.reference import ReferencePropagator
from simcheck.engines.taylor import THRUST, TOLERANCE, TaylorPropagator, motion_equations
from simcheck.kernels.elements import state_from_classical
from simcheck.measuring import RingMotion, average, resolve_ring
from simcheck.measuring_lanes import average_lanes
from simcheck.records.case import Ring

SAMPLES = 1000
FEW = 4  # flights of the plain loop
SOME = 100  # flights of the scalar engine
TURNS = 5
TIGHT = 3e-14  # DOP853 at the tightest that scipy allows, which comes nearest to the Taylor series
MARS = Gravity(4.282837e13, 3396190.0, 1.96045e-3)
RADIUS, INCLINATION = 2.0 * MARS.radius, 0.6
NEWTON, ISP, MASS = 400.0, 318.0, 1200.0


class Flights(NamedTuple):
    """Starts (n, 7), ends of the five arcs (5, n) in s, the two burns' directions (2, n, 3)."""

    states: np.ndarray
    until: np.ndarray
    newton: np.ndarray
    isp: np.ndarray
    directions: np.ndarray

    def first(self, n: int) -> Flights:
        """The first n of them."""
        return Flights(
            self.states[:n],
            self.until[:, :n],
            self.newton[:n],
            self.isp[:n],
            self.directions[:, :n],
        )


def samples(n: int) -> Flights:
    """Starts scattered by a km, burns by a per cent and half a degree."""
    rng = np.random.default_rng(1)
    r, v = state_from_classical(RADIUS, 0.01, INCLINATION, 1.0, 0.5, 0.3, MARS.gm)
    states = np.tile([*r, *v, MASS], (n, 1))
    states[:, :3] += 1e3 * rng.normal(size=(n, 3))
    states[:, 3:6] += 0.5 * rng.normal(size=(n, 3))
    turn = 2 * math.pi * math.sqrt(RADIUS**3 / MARS.gm)
    lengths = np.array([4.3 * turn, 240.0, 5.0 * turn, 180.0, 4.6 * turn])[:, None]
    lengths = lengths + [[0.0], [2.4], [0.0], [1.8], [0.0]] * rng.normal(size=(5, n))
    directions = np.array([[0.0, 1.0, 0.0], [0.0, 0.8, 0.6]])[:, None] + np.zeros((2, n, 3))
    directions += 0.01 * rng.normal(size=directions.shape)
    directions /= np.linalg.norm(directions, axis=-1, keepdims=True)
    newton, isp = NEWTON * (1 + 0.01 * rng.normal(size=n)), ISP * (1 + 0.003 * rng.normal(size=n))
    return Flights(states, np.cumsum(lengths, axis=0), newton, isp, directions)


def plain(flights: Flights) -> np.ndarray:
    """What one writes first: solve_ivp an arc, floats in the right-hand side."""
    return np.array([_plain_flight(flights, k) for k in range(len(flights.states))])


def _plain_flight(flights: Flights, k: int) -> np.ndarray:
    y, now = flights.states[k], 0.0
    scale = np.array([RADIUS] * 3 + [2e3] * 3 + [MASS])
    for arc, until in enumerate(flights.until[:, k]):
        newton = flights.newton[k] if arc % 2 else 0.0
        direction = flights.directions[arc // 2, k].tolist() if arc % 2 else [0.0, 0.0, 0.0]
        args = (float(newton), float(newton / (G0 * flights.isp[k])), *direction)
        y = solve_ivp(
            _rates, (now, until), y, "DOP853", rtol=TIGHT, atol=TIGHT * scale, args=args
        ).y[:, -1]
        now = until
    return y


def _rates(
    _: float, y: np.ndarray, newton: float, flow: float, r_: float, s_: float, w_: float
) -> list[float]:
    x, yy, z, vx, vy, vz, m = y.tolist()
    r2 = x * x + yy * yy + z * z
    r = math.sqrt(r2)
    pull = -MARS.gm / (r2 * r)
    j = 1.5 * MARS.j2 * MARS.radius**2 / r2
    u = 5 * z * z / r2
    ax, ay = pull * x * (1 + j * (1 - u)), pull * yy * (1 + j * (1 - u))
    az = pull * z * (1 + j * (3 - u))
    if newton:
        hx, hy_, hz = yy * vz - z * vy, z * vx - x * vz, x * vy - yy * vx
        h = math.sqrt(hx * hx + hy_ * hy_ + hz * hz)
        sx, sy, sz = hy_ * z - hz * yy, hz * x - hx * z, hx * yy - hy_ * x
        a = newton / m
        ax += a * (r_ * x / r + s_ * sx / (h * r) + w_ * hx / h)
        ay += a * (r_ * yy / r + s_ * sy / (h * r) + w_ * hy_ / h)
        az += a * (r_ * z / r + s_ * sz / (h * r) + w_ * hz / h)
    return [vx, vy, vz, ax, ay, az, -flow]


def scalar(flights: Flights, p: Propagator) -> np.ndarray:
    """One of our scalar engines, a flight at a time."""
    ends = []
    for k, start in enumerate(flights.states):
        y, now = start, 0.0
        for arc, until in enumerate(flights.until[:, k]):
            thrust = None
            if arc % 2:
                thrust = Thrust(
                    thrust_n=flights.newton[k],
                    isp_s=flights.isp[k],
                    steering="rsw",
                    direction=flights.directions[arc // 2, k],
                )
            y, now = p.advance(now, y, float(until), thrust).state, float(until)
        ends.append(y)
    return np.array(ends)


def batches(flights: Flights) -> np.ndarray:
    """Our batches, all flights an arc at a time."""
    b, y, now = TaylorBatches(MARS), flights.states, np.zeros(len(flights.states))
    for arc, until in enumerate(flights.until):
        thrust = None
        if arc % 2:
            thrust = ThrustBatch(flights.newton, flights.isp, "rsw", flights.directions[arc // 2])
        y, now = b.advance(now, y, until, thrust), until
    return y


class Bare:
    """heyoka's batch integrator alone, for flights laid out beforehand (a multiple of LANES)."""

    def __init__(self, flights: Flights) -> None:
        n = len(flights.states) // LANES * LANES
        f = flights.first(n)
        self.time = math.sqrt(MARS.radius**3 / MARS.gm)
        self.scale = np.array([MARS.radius] * 3 + [MARS.radius / self.time] * 3 + [MASS])
        self.starts = _grouped(f.states / self.scale)
        lengths = np.diff(f.until, axis=0, prepend=0.0) / self.time
        self.spans = [row.reshape(-1, LANES).tolist() for row in lengths]
        pars = np.zeros((2, n, 11))
        pars[:, :, 0] = MARS.j2
        pars[:, :, THRUST.start] = f.newton / MASS * self.time**2 / MARS.radius
        pars[:, :, THRUST.start + 1] = f.newton / (G0 * f.isp) / MASS * self.time
        pars[:, :, THRUST.start + 5 : THRUST.stop] = f.directions
        self.pushes = [_grouped(row) for row in pars]
        self.coast, self.burn = (_integrator(thrusting=on) for on in (False, True))
        self.coast.pars[:] = [[MARS.j2], [0.0], [0.0]]
        self.ends = np.empty_like(self.starts)

    def __call__(self) -> np.ndarray:
        coast, burn, ends, starts = self.coast, self.burn, self.ends, self.starts
        still, lit, push = coast.state, burn.state, burn.pars
        (one, two, three, four, five), (first, second) = self.spans, self.pushes
        for g in range(len(starts)):
            still[:] = starts[g, :6]
            coast.set_time(0.0)
            coast.propagate_until(one[g])
            lit[:6], lit[6], push[:] = still, 1.0, first[g]
            burn.set_time(0.0)
            burn.propagate_until(two[g])
            still[:] = lit[:6]
            coast.set_time(0.0)
            coast.propagate_until(three[g])
            lit[:6], push[:] = still, second[g]
            burn.set_time(0.0)
            burn.propagate_until(four[g])
            still[:] = lit[:6]
            coast.set_time(0.0)
            coast.propagate_until(five[g])
            ends[g, :6], ends[g, 6] = still, lit[6]
        return ends

    def physical(self) -> np.ndarray:
        """The ends (n, 7) in SI."""
        return np.swapaxes(self.ends, 1, 2).reshape(-1, 7) * self.scale


def _grouped(rows: np.ndarray) -> np.ndarray:
    return np.ascontiguousarray(np.swapaxes(rows.reshape(-1, LANES, rows.shape[1]), 1, 2))


def _integrator(*, thrusting: bool) -> hy.taylor_adaptive_batch:
    equations = motion_equations(thrusting=thrusting)
    return hy.taylor_adaptive_batch(equations, np.ones((len(equations), LANES)), tol=TOLERANCE)


def ring_motion() -> RingMotion:
    """The ring that the ends' elements are averaged in."""
    ring = Ring(
        size="radius",
        size_value=RADIUS,
        inclination_rad=INCLINATION,
        raan_rad=1.0,
        slots=4,
        argument_of_latitude_rad=0.0,
    )
    return resolve_ring(ring, TaylorPropagator(MARS))


def seconds(work: Callable[[], object]) -> float:
    """Wall time of one call."""
    start = time.perf_counter()
    work()
    return time.perf_counter() - start


def main() -> None:
    """Print microseconds a flight and ratios to bare heyoka's, and how far the ends disagree."""
    all_, some, few = (samples(SAMPLES).first(n) for n in (SAMPLES, SOME, FEW))
    bare, motion = Bare(all_), ring_motion()
    b, p = TaylorBatches(MARS), TaylorPropagator(MARS)
    ends, times = batches(all_), all_.until[-1]
    rows: dict[str, tuple[int, Callable[[], object]]] = {
        "plain scipy loop": (FEW, lambda: plain(few)),
        "ReferencePropagator": (FEW, lambda: scalar(few, ReferencePropagator(MARS))),
        "TaylorPropagator": (SOME, lambda: scalar(some, p)),
        "bare heyoka batches": (SAMPLES, bare),
        "TaylorBatches": (SAMPLES, lambda: batches(all_)),
        "average, a flight at a time": (
            SOME,
            lambda: [average(p, float(times[k]), ends[k], motion) for k in range(SOME)],
        ),
        "average_lanes": (SAMPLES, lambda: average_lanes(b, times, ends, motion)),
    }
    for _, work in rows.values():
        work()
    turns = [{name: seconds(work) / n for name, (n, work) in rows.items()} for _ in range(TURNS)]
    least = {name: min(turn[name] for turn in turns) for name in rows}
    for name, value in least.items():
        speed = least["bare heyoka batches"] / value
        print(f"{name:28s} {1e6 * value:10.1f} us a flight  {speed:8.4f} x bare heyoka's speed")
    gain = least["plain scipy loop"] / least["TaylorBatches"]
    print(f"TaylorBatches over the plain scipy loop: {gain:.0f}")
    gain = least["ReferencePropagator"] / least["TaylorBatches"]
    print(f"TaylorBatches over the reference engine, scipy on numpy arrays: {gain:.0f}")
    for name, other in (
        ("plain scipy loop", plain(few)),
        ("TaylorPropagator", scalar(some, p)),
        ("bare heyoka batches", bare.physical()),
    ):
        off = np.linalg.norm((other - ends[: len(other)])[:, :3], axis=1).max()
        print(f"ends off TaylorBatches', {name}: {off:.2g} m")


if __name__ == "__main__":
    main()
