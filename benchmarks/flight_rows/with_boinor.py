"""Flights by boinor's Cowell propagator an arc, its compiled J2 term and thrust as perturbations.

Its accuracy is set by `rtol`; the absolute tolerance is fixed at 1e-12 in km and km/s, which is
below the relative one except for speeds at the tightest. It carries no mass: thrust follows from
the time since the arc's start. Its dense output, three evaluations a step, cannot be switched off.
"""

from __future__ import annotations

import numpy as np
from astropy import units as u
from boinor.bodies import Body, Sun
from boinor.core.perturbations import J2_perturbation
from boinor.core.propagation.base import func_twobody
from boinor.frames import Planes
from boinor.twobody.propagation import CowellPropagator
from boinor.twobody.states import RVState
from flight_rows.samples import MARS, Arc, Flights
from flight_rows.with_numba import add_thrust
from numba import njit

BODY = Body(Sun, MARS.gm * u.m**3 / u.s**2, "body", R=MARS.radius * u.m)
J2, RADIUS_KM = MARS.j2, MARS.radius / 1e3


def cowell(flights: Flights, rtol: float) -> np.ndarray:
    """Ends (n, 7) by DOP853 at this relative tolerance."""
    return np.array([_flight(flights, k, rtol) for k in range(len(flights.states))])


def _flight(flights: Flights, k: int, rtol: float) -> np.ndarray:
    y, m = flights.states[k] / 1e3, flights.states[k, 6]
    state = RVState(BODY, (y[:3] << u.km, y[3:6] << u.km / u.s), Planes.EARTH_EQUATOR)
    for arc in flights.arcs(k):
        propagator = CowellPropagator(rtol=rtol, f=_motion(arc, m))
        state = propagator.propagate(state, (arc.until - arc.start) << u.s)
        m -= arc.flow * (arc.until - arc.start)
    r, v = state.to_value()
    return np.array([*(1e3 * r), *(1e3 * v), m])


def _motion(arc: Arc, mass: float) -> object:
    args = (arc.newton / 1e3, mass, arc.flow, *arc.direction)
    return lambda t, y, gm: _rates(t, y, gm, *args)


@njit
def _rates(
    t: float,
    y: np.ndarray,
    gm: float,
    kilonewton: float,
    mass: float,
    flow: float,
    r_: float,
    s_: float,
    w_: float,
) -> np.ndarray:
    rates = func_twobody(t, y, gm)
    rates[3:] += J2_perturbation(t, y, gm, J2, RADIUS_KM)
    if kilonewton:
        add_thrust(rates, y, kilonewton / (mass - flow * t), r_, s_, w_)
    return rates
