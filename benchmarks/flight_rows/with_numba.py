"""Flights by scipy's solve_ivp an arc, with a right-hand side that numba compiles."""

from __future__ import annotations

import math

import numpy as np
from flight_rows.samples import MARS, SIZES, Flights
from numba import njit
from scipy.integrate import solve_ivp

GM, BULGE = MARS.gm, 1.5 * MARS.j2 * MARS.radius**2


def compiled(flights: Flights, tolerance: float) -> np.ndarray:
    """Ends (n, 7) by DOP853 at this relative tolerance."""
    return np.array([_flight(flights, k, tolerance) for k in range(len(flights.states))])


def _flight(flights: Flights, k: int, tolerance: float) -> np.ndarray:
    y = flights.states[k]
    for arc in flights.arcs(k):
        args = (arc.newton, arc.flow, *arc.direction)
        span, near = (arc.start, arc.until), tolerance * SIZES
        y = solve_ivp(_rates, span, y, "DOP853", rtol=tolerance, atol=near, args=args).y[:, -1]
    return y


@njit
def _rates(
    _: float, y: np.ndarray, newton: float, flow: float, r_: float, s_: float, w_: float
) -> np.ndarray:
    r2 = y[0] * y[0] + y[1] * y[1] + y[2] * y[2]
    pull, j, u = -GM / (r2 * math.sqrt(r2)), BULGE / r2, 5 * y[2] * y[2] / r2
    across = pull * (1 + j * (1 - u))
    rates = np.array(
        [y[3], y[4], y[5], across * y[0], across * y[1], pull * (1 + j * (3 - u)) * y[2], -flow]
    )
    if newton:
        add_thrust(rates, y, newton / y[6], r_, s_, w_)
    return rates


@njit
def add_thrust(rates: np.ndarray, y: np.ndarray, a: float, r_: float, s_: float, w_: float) -> None:
    """Add an acceleration `a` along a direction in RSW to the rates of position and velocity."""
    x, yy, z = y[0], y[1], y[2]
    hx, hy, hz = yy * y[5] - z * y[4], z * y[3] - x * y[5], x * y[4] - yy * y[3]
    r, h = math.sqrt(x * x + yy * yy + z * z), math.sqrt(hx * hx + hy * hy + hz * hz)
    along, aside, out = a * r_ / r, a * s_ / (h * r), a * w_ / h
    rates[3] += along * x + aside * (hy * z - hz * yy) + out * hx
    rates[4] += along * yy + aside * (hz * x - hx * z) + out * hy
    rates[5] += along * z + aside * (hx * yy - hy * x) + out * hz
