"""The network of the ring as it is held: some days at the start, and some at the end.

Between them the links alone are followed, from the averaged elements of each look.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np

from simcheck.arrays import Array
from simcheck.engines.batches import TaylorBatches
from simcheck.engines.pulls import place_of
from simcheck.holding.drifting import Drift
from simcheck.holding.relays import Relays
from simcheck.kernels.elements import Equinoctial, state_from_equinoctial
from simcheck.kernels.vectors import TAU, norm
from simcheck.kernels.visibility import lowest_of_segment
from simcheck.measuring import RingMotion
from simcheck.networking.eclipses import season
from simcheck.networking.links import SLACK_M
from simcheck.networking.network import network
from simcheck.networking.sizing import budget_range
from simcheck.records.case import Case
from simcheck.records.network import Network, SeasonRow

_DAY = 86400.0
_REVOLUTIONS, _DAYS, _MOST_DAYS = 2.0, 3.0, 12.0  # looked at: the longer of the first two, at most
_SAMPLES = 180  # a revolution
_SEASON_ROWS = 40  # of the seasons of eclipses, over the hold
_PLACES = 72  # of a revolution at each look, at which links are tried


class Closed(NamedTuple):
    """Share of the hold that the full ring is closed, and the day of the first look at it open."""

    share: float | None
    opens_days: float | None


def served(
    case: Case, motion: RingMotion, batches: TaylorBatches, relays: Relays, looks: Array
) -> tuple[Network | None, Network | None]:
    """The network as the hold begins and, nothing being done, as it ends."""
    span = min(max(_REVOLUTIONS * motion.period_s, _DAYS * _DAY), _MOST_DAYS * _DAY)
    end = float(looks[0]) + case.hold.duration_s
    first = _seen(case, motion, batches, relays, (relays.time, relays.states), span, end)
    late = end - span
    if late <= relays.time + span:
        return first, None
    m = len(relays.slots)
    there = batches.advance(np.full(m, relays.time), relays.states, np.full(m, late))
    if not np.isfinite(there).all():
        return first, None
    return first, _seen(case, motion, batches, relays, (late, there), span, None)


def closed_over(case: Case, motion: RingMotion, relays: Relays, found: Drift) -> Closed:
    """Whether the links all around close at the looks of a hold, nothing being done.

    By a revolution of each relay's averaged orbit at each look; what the forces do within a
    revolution is left out, some km. A lost relay's links are open. None below three relays.
    """
    if len(relays.slots) < 3:
        return Closed(None, None)
    here = _places(motion, relays, found)
    there = np.roll(here, -1, axis=0)
    floor = case.body.radius_m + case.network.grazing_height_m - SLACK_M
    reach = min(case.network.max_range_m, budget_range(case.network.link)) + SLACK_M
    closed = (lowest_of_segment(here, there) >= floor) & (norm(there - here) <= reach)
    whole = closed.all(axis=0).mean(axis=1)
    opens = np.flatnonzero(whole < 1.0)
    days = found.days(relays.time)
    share = float(np.trapezoid(whole, days) / (days[-1] - days[0]))
    return Closed(min(share, 1.0), float(days[opens[0]]) if len(opens) else None)


def _places(motion: RingMotion, relays: Relays, found: Drift) -> Array:
    """Places (m, n, p, 3) in the ring frame over a revolution of each look."""
    phase, period, k, h, x, y = np.moveaxis(found.errors, -1, 0)[..., None]
    tilt = 1.0 + np.sqrt(1.0 - np.minimum(x * x + y * y, 1.0))
    nominal = TAU * relays.slots[:, None] / motion.ring.slots
    turn = TAU * np.arange(_PLACES) / _PLACES
    elements = Equinoctial(
        a=motion.radius_m * (1.0 + period) ** (2.0 / 3.0),
        h=h,
        k=k,
        p=x / tilt,
        q=-y / tilt,
        longitude=phase + nominal[..., None] + turn,
    )
    return state_from_equinoctial(elements, gm=1.0)[0]  # for the places any will do


def _seen(
    case: Case,
    motion: RingMotion,
    batches: TaylorBatches,
    relays: Relays,
    begin: tuple[float, Array],
    span: float,
    season_until: float | None,
) -> Network:
    start, states = begin
    times = np.linspace(start, start + span, 1 + math.ceil(span / motion.period_s * _SAMPLES))
    m = len(relays.slots)
    rows = batches.sample(np.full(m, start), states, np.broadcast_to(times, (m, len(times))))
    sun = None if case.sky is None or case.sky.sun is None else place_of(case.sky.sun, times)
    return network(
        relays.names,
        times,
        rows[..., :3],
        case.body,
        case.network,
        slots=[int(slot) for slot in relays.slots],
        ring_slots=case.ring.slots,
        velocities=rows[..., 3:],
        sun=sun,
        radius_m=motion.radius_m,
        season=() if season_until is None else _season(case, motion, start, season_until),
    )


def _season(case: Case, motion: RingMotion, start: float, until: float) -> tuple[SeasonRow, ...]:
    """Eclipses of the ring as planned, from now and then over the hold."""
    if case.sky is None or case.sky.sun is None:
        return ()
    times = np.linspace(start, until, _SEASON_ROWS + 1)
    normals = motion.frame(times)[:, 2]
    return season(times, normals, place_of(case.sky.sun, times), motion.radius_m, case.body)
