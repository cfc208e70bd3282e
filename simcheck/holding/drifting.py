"""Relays of a ring left to themselves: flown side by side, and looked at from time to time.

Every look averages the elements over two revolutions against the slots, as a verdict does, by the
quick pass of `measuring_lanes`: good to 1e-4 deg about Mars, to 0.005 deg about the Moon, where
the Earth changes a relay's period by 1e-3 of itself within the look's window. The motion between is
integrated in full; nothing is averaged away, so that the hold is as true as a flight.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from simcheck.arrays import Array
from simcheck.engines.batches import TaylorBatches
from simcheck.kernels.vectors import TAU, wrap
from simcheck.measuring import REVOLUTIONS, RingMotion
from simcheck.measuring_lanes import glance_lanes
from simcheck.planning.lane_commands import Rows

TOLERANCE = 1e-12
"""Of the Taylor series: 1e-7 deg of phase in a year."""

_LOOKS = 400  # over a hold, about; a look a day for a year
_DAY = 86400.0


class Drift(NamedTuple):
    """Errors (m, n, 6) of m relays at n looks that end at `times` (n,), NaN where none is left.

    The errors are mean longitude, relative period, eccentricity vector (k, h), normal's x and y.
    """

    times: Array
    errors: Array

    def days(self, start: float) -> Array:
        """Looks (n,) in days after `start`."""
        return (self.times - start) / _DAY

    def begun(self, start: float, motion: RingMotion) -> Drift:
        """With a look at `start` before the others, as the first but for the phase by then."""
        first = self.errors[:, :1].copy()
        first[..., 0] += first[..., 1] * motion.rate * (self.times[0] - start)
        return Drift(np.append(start, self.times), np.concatenate([first, self.errors], axis=1))

    def parted(self, count: int) -> tuple[Drift, Drift]:
        """The first `count` relays, and the others."""
        return Drift(self.times, self.errors[:count]), Drift(self.times, self.errors[count:])

    @property
    def sizes(self) -> Array:
        """Phase, relative period (both signed), eccentricity and plane (m, n, 4), angles in rad."""
        e = self.errors
        sine = np.minimum(np.hypot(e[..., 4], e[..., 5]), 1.0)
        flat, tilt = np.hypot(e[..., 2], e[..., 3]), np.arcsin(sine)
        return np.asarray(np.stack([e[..., 0], e[..., 1], flat, tilt], axis=-1))

    def spacing(self) -> Array:
        """Angle to the next relay ahead less the nominal one, rad (m, n); of one relay zero."""
        phase = self.errors[..., 0]
        ahead = np.roll(phase, -1, axis=0)
        return np.asarray(wrap(ahead - phase), dtype=np.float64)


def look_times(start: float, duration: float, period: float) -> Array:
    """When looks at a ring begin: the first at the start, the last to end with the hold."""
    length = REVOLUTIONS * period
    step = max(duration / _LOOKS, length)
    if duration / _LOOKS < _DAY:
        step = max(min(_DAY, duration / 20), length)
    count = max(int((duration - length) / step), 0)
    return np.asarray(start + step * np.arange(count + 1), dtype=np.float64)


def drift(
    batches: TaylorBatches,
    motion: RingMotion,
    slots: Rows,
    states: Array,
    looks: Array,
    ground: float = 0.0,
) -> Drift:
    """Fly states (m, 7) of relays on `slots` (m,) from the first of the times `looks` (n,) on.

    A relay is lost once its averaged periapsis is not above `ground`, m from the centre.
    """
    m = len(states)
    errors = np.full((m, len(looks), 6), np.nan)
    now, there = np.full(m, looks[0]), states
    for index, time in enumerate(looks):
        there = batches.advance(now, there, np.full(m, time))
        now = np.full(m, time)
        seen = glance_lanes(batches, now, there, motion, slots)
        errors[:, index] = seen.errors
    down = periapsis(errors, motion) <= ground
    errors[np.logical_or.accumulate(down, axis=1)] = np.nan
    errors[..., 0] = unwrapped(errors[..., 0])
    return Drift(looks + REVOLUTIONS * motion.period_s, errors)


def periapsis(errors: Array, motion: RingMotion) -> Array:
    """Averaged periapsis (...), m from the centre, of relays with these errors (..., 6)."""
    axis = motion.radius_m * (1.0 + errors[..., 1]) ** (2.0 / 3.0)
    return np.asarray(axis * (1.0 - np.hypot(errors[..., 2], errors[..., 3])))


def unwrapped(angles: Array) -> Array:
    """Angles (m, n) without jumps; NaN stays where it is."""
    steps = np.diff(angles, axis=-1)
    turns = np.where(np.isfinite(steps), np.rint(steps / TAU), 0.0)
    found = angles.copy()
    found[:, 1:] -= TAU * np.cumsum(turns, axis=-1)
    return found
