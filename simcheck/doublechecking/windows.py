"""The averaging done otherwise, and the ring as another propagator sees it.

Both are read off plain samples, without `simcheck.measuring`'s window: this is also its own check.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from simcheck.arrays import Array
from simcheck.engines.base import Propagator
from simcheck.kernels.elements import equinoctial_from_state
from simcheck.kernels.fitting import fit_line
from simcheck.kernels.vectors import TAU, cross, unit
from simcheck.measuring import REVOLUTIONS, SAMPLES, Averages, RingMotion, gm_only, relay_state

_PASSES = 8  # that bring the window to whole revolutions: each leaves a hundredth of the rest


class Sampled(NamedTuple):
    """States (n, 7) at times (n,), evenly over a number of revolutions."""

    times: Array
    rows: Array


def sampled(
    propagator: Propagator,
    time: float,
    state: Array,
    period: float,
    revolutions: int = REVOLUTIONS,
    samples: int = SAMPLES,
) -> Sampled:
    """Fly a state (7,) for whole revolutions of a period in s, with so many samples in each."""
    times = time + np.arange(revolutions * samples + 1) / samples * period
    return Sampled(times, propagator.sample(time, state, times))


def averaged(flown: Sampled, motion: RingMotion, gm: float, period: float) -> Averages:
    """Averages over samples that span whole revolutions of about `period` (s)."""
    times, rows = flown
    frames = motion.frame(times)
    r = np.einsum("nij,nj->ni", frames, rows[:, :3])
    v = np.einsum("nij,nj->ni", frames, rows[:, 3:6])
    elements = equinoctial_from_state(r, v, gm)
    longitude, rate = fit_line(times, np.unwrap(elements.longitude), TAU / period)
    return Averages(
        float(times[-1]),
        float(longitude),
        TAU / float(rate),
        np.array([np.mean(elements.k[:-1]), np.mean(elements.h[:-1])]),
        np.mean(unit(cross(r, v))[:-1], axis=0),
        float(np.mean(np.linalg.norm(r[:-1], axis=1))),
    )


def averaged_over(
    propagator: Propagator,
    time: float,
    state: Array,
    motion: RingMotion,
    *,
    near: Averages,
    revolutions: int,
    samples: int,
) -> Averages:
    """Averages over another number of revolutions or samples, told at the time that `near` is.

    The window is made whole by repetition, begun with the period of `near`.
    """
    gm, period = propagator.gravity.gm, near.period
    found = near
    for _ in range(1 if gm_only(propagator) else _PASSES):
        flown = sampled(propagator, time, state, period, revolutions, samples)
        found = averaged(flown, motion, gm, period)
        period = found.period
    then = found.longitude + TAU / found.period * (near.time - found.time)
    return found._replace(time=near.time, longitude=then)


def ring_seen_by(other: Propagator, motion: RingMotion, propagator: Propagator) -> RingMotion:
    """The ring as another propagator would resolve it, to first order in how far the two differ.

    Both fly the relay on slot 0; what they measure differently is what the ring has otherwise.
    """
    if gm_only(propagator):
        return motion
    gm, period = propagator.gravity.gm, motion.period_s
    state = np.append(relay_state(motion, propagator, 0), 1.0)
    flown, again = (sampled(x, 0.0, state, period) for x in (propagator, other))
    seen = motion
    if not motion.equatorial:
        turning = _node_rate(again, motion) - _node_rate(flown, motion)
        seen = motion._replace(node_rate=motion.node_rate + turning)
    if motion.ring.size == "radius":  # Kepler's law brings the other relay back to the radius
        one, two = averaged(flown, motion, gm, period), averaged(again, seen, gm, period)
        longer = two.period / one.period * (one.radius / two.radius) ** 1.5
        seen = seen._replace(period_s=period * longer)
    return seen


def _node_rate(flown: Sampled, motion: RingMotion) -> float:
    """Rate of the node in rad/s, of samples over whole revolutions of the ring."""
    normal = cross(flown.rows[:, :3], flown.rows[:, 3:6])
    node = np.unwrap(np.arctan2(normal[:, 0], -normal[:, 1]))
    return float(fit_line(flown.times, node, motion.rate, harmonics=6)[1])
