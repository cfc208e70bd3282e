"""Flights by what one writes first: solve_ivp an arc, plain floats in the right-hand side."""

from __future__ import annotations

import math

import numpy as np
from flight_rows.samples import MARS, SIZES, Flights
from scipy.integrate import solve_ivp


def plain(flights: Flights, tolerance: float) -> np.ndarray:
    """Ends (n, 7) by DOP853 at this relative tolerance."""
    return np.array([_flight(flights, k, tolerance) for k in range(len(flights.states))])


def _flight(flights: Flights, k: int, tolerance: float) -> np.ndarray:
    y = flights.states[k]
    for arc in flights.arcs(k):
        args = (arc.newton, arc.flow, *arc.direction)
        span, near = (arc.start, arc.until), tolerance * SIZES
        y = solve_ivp(_rates, span, y, "DOP853", rtol=tolerance, atol=near, args=args).y[:, -1]
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
