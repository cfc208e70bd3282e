"""How close craft come to each other while they move, and where those that arrived stay.

All craft are sampled at common times, as densely as the shortest period among them asks for, with
every ignition and cutoff among the times; between samples the closest approach is followed on
cubics (`clearances.nearest`). Members are looked at in each craft's own flight.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import combinations

import numpy as np

from simcheck.arrays import Array
from simcheck.clearances import SAMPLES_A_REVOLUTION, nearest
from simcheck.engines.base import Propagator, Thrust
from simcheck.kernels.transfers import period_of
from simcheck.records.fleet import Approach
from simcheck.records.flight import Arc, Flight, MassState

_MOST = 400_000  # samples of a craft, 22 MB: 1,600 revolutions, beyond which they are thinned


def approaches(
    propagator: Propagator, names: Sequence[str], flights: Sequence[Flight], separation_m: float
) -> tuple[Approach, ...]:
    """The closest approach of every two craft, from the epoch until the last has arrived.

    Flights that ended sooner go on without thrust, those that ended in the ground stay out of it
    from then on.
    """
    until = max((flight.arrival_time_s for flight in flights), default=0.0)
    times = _times(propagator, flights, until)
    tracks = [_track(propagator, flight, times) for flight in flights]
    found = []
    for one, other in combinations(range(len(flights)), 2):
        both = min(len(tracks[one]), len(tracks[other]))
        distance, when = nearest(tracks[one][:both] - tracks[other][:both], times[:both])
        found.append(
            Approach(
                one=names[one],
                other=names[other],
                distance_m=distance,
                time_s=when,
                kept=not distance < separation_m,
            )
        )
    return tuple(found)


def _times(propagator: Propagator, flights: Sequence[Flight], until: float) -> Array:
    """Common times (t,) from 0 to the end, every change of any craft's arcs among them."""
    edges, periods = {0.0, until}, []
    for flight in flights:
        for arc in flight.arcs:
            edges |= {time for time in (arc.start_s, arc.end_s) if 0.0 < time < until}
            for end in (arc.start, arc.end):
                period = float(period_of(end.position_m, end.velocity_m_s, propagator.gravity.gm))
                if np.isfinite(period):
                    periods.append(period)
    step = min(periods, default=np.inf) / SAMPLES_A_REVOLUTION
    count = 3 + int(min(until / step, _MOST))
    return np.unique(np.concatenate([np.linspace(0.0, until, count), sorted(edges)]))


def _track(propagator: Propagator, flight: Flight, times: Array) -> Array:
    """States (t, 7) of a flight at the times, fewer where it ended in the ground."""
    rows, done = [], 0
    for arc, last in _with_last(flight.arcs):
        ends = np.searchsorted(times, arc.end_s, side="right")
        until = len(times) if last and flight.outcome != "hit-the-body" else int(ends)
        if until > done:
            rows.append(_states(propagator, arc, times[done:until]))
            done = until
    return np.concatenate(rows) if rows else np.empty((0, 7))


def _with_last(arcs: Sequence[Arc]) -> Iterator[tuple[Arc, bool]]:
    for index, arc in enumerate(arcs):
        yield arc, index == len(arcs) - 1


def _states(propagator: Propagator, arc: Arc, times: Array) -> Array:
    """States (t, 7) along an arc, beyond its end where it is a coast."""
    start = _state(arc.start)
    if arc.kind == "coast" or arc.direction is None or arc.steering is None:
        return propagator.sample(arc.start_s, start, times)
    thrust = Thrust(
        thrust_n=arc.thrust_n, isp_s=arc.isp_s, steering=arc.steering, direction=arc.direction
    )
    rows, time, state = [], arc.start_s, start
    for until in times:
        time, state, _ = propagator.advance(time, state, float(until), thrust)
        rows.append(state)
    return np.array(rows)


def _state(there: MassState) -> Array:
    return np.concatenate([there.position_m, there.velocity_m_s, [there.mass_kg]])
