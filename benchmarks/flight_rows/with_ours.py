"""Flights by our own engines: one at a time, and side by side."""

from __future__ import annotations

import numpy as np
from flight_rows.samples import INCLINATION, MARS, RADIUS, Flights

from simcheck.engines.base import Propagator, Thrust
from simcheck.engines.batches import TaylorBatches, ThrustBatch
from simcheck.engines.taylor import TOLERANCE, TaylorPropagator
from simcheck.measuring import RingMotion, resolve_ring
from simcheck.records.case import Ring


def scalar(flights: Flights, p: Propagator) -> np.ndarray:
    """Ends (n, 7) by one of our scalar engines, a flight at a time."""
    ends = []
    for k, start in enumerate(flights.states):
        y = start
        for arc in flights.arcs(k):
            thrust = None
            if arc.newton:
                thrust = Thrust(
                    thrust_n=arc.newton,
                    isp_s=arc.isp,
                    steering="rsw",
                    direction=np.array(arc.direction),
                )
            y = p.advance(arc.start, y, arc.until, thrust).state
        ends.append(y)
    return np.array(ends)


def batches(flights: Flights, tolerance: float = TOLERANCE) -> np.ndarray:
    """Ends (n, 7) by our batches, all flights an arc at a time."""
    b, y, now = TaylorBatches(MARS, tolerance), flights.states, np.zeros(len(flights.states))
    for arc, until in enumerate(flights.until):
        thrust = None
        if arc % 2:
            thrust = ThrustBatch(flights.newton, flights.isp, "rsw", flights.directions[arc // 2])
        y, now = b.advance(now, y, until, thrust), until
    return y


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
