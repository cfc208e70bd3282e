"""How other bodies move all slots of a ring to and fro, beside the mean motion of the ring."""

from __future__ import annotations

from collections.abc import Callable
from typing import NamedTuple

import numpy as np

from simcheck.arrays import Array
from simcheck.engines.gravity import Gravity
from simcheck.engines.pulls import tidal_rate

_KNOTS = 2  # a segment of the quickest track


class Wander(NamedTuple):
    """How far other bodies move all slots of a ring to and fro, none at the epoch.

    angles and rates (n,), rad and rad/s, at knots from `start` on, `step` s apart.
    """

    start: float
    step: float
    angles: Array
    rates: Array

    def at(self, time: float | Array) -> Array:
        """Angle at `time` (...), on cubics between the knots; NaN outside them."""
        place = (np.asarray(time, dtype=np.float64) - self.start) / self.step
        inside = (place >= 0.0) & (place <= len(self.angles) - 1)
        left = np.clip(np.where(inside, place, 0.0).astype(np.int64), 0, len(self.angles) - 2)
        u = np.where(inside, place - left, np.nan)
        a, b = self.angles[left], self.angles[left + 1]
        da, db = self.step * self.rates[left], self.step * self.rates[left + 1]
        gap = b - a
        return np.asarray(a + u * (da + u * ((3 * gap - 2 * da - db) + u * (da + db - 2 * gap))))


def wander_of(gravity: Gravity, normals: Callable[[Array], Array], rate: float) -> Wander | None:
    """The integral of the tide's swing over the mean motion `rate`; None without other bodies.

    normals gives the ring's (n, 3) at times (n,). Simpson's rule between knots; 48 knots a
    revolution of the quickest body leave 1e-7 of it.
    """
    tracks = gravity.sky.pulling if gravity.sky is not None else ()
    if not tracks:
        return None
    start = max(track.start_s for track in tracks)
    end = min(track.end_s for track in tracks)
    step = min(track.step_s for track in tracks) / _KNOTS
    count = int((end - start) / step)
    if count < 1:
        return None
    times: Array = np.asarray(start + step / 2 * np.arange(2 * count + 1))
    swing = tidal_rate(gravity, times, normals(times)) / rate
    parts = step / 6 * (swing[:-2:2] + 4 * swing[1::2] + swing[2::2])
    wander = Wander(start, step, np.append(0.0, np.cumsum(parts)), swing[::2])
    return wander._replace(angles=wander.angles - wander.at(0.0))
