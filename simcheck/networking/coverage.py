"""How much of the surface sees a relay, for what share of time, and how long it goes without.

The relays are turned into body-fixed axes and set against a grid of points, a product of unit
vectors each step, in chunks of time so that memory does not grow.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from simcheck.arrays import Array
from simcheck.kernels.sampled import SampledMotion
from simcheck.kernels.vectors import norm
from simcheck.kernels.visibility import Grid, cap_angle, surface_grid
from simcheck.networking.surface import body_fixed, turned_by
from simcheck.records.case import Body
from simcheck.records.network import Band, Coverage, NetworkAim

_ROWS, _ON_EQUATOR = 36, 90  # steps of 5 deg of latitude and 4 deg of longitude: 2064 points
_ROWS_OF_BAND = 2
_CHUNK = 256
_DAY_S = 86400.0

_Single = NDArray[np.float32]
_Whole = NDArray[np.int32]


def coverage(motion: SampledMotion, body: Body, aim: NetworkAim) -> Coverage:
    """Coverage of the surface over the time of the samples.

    Taken at the middles of as many equal steps as there are between the samples; a gap is known to
    a step. On this grid the share of the surface within one cap from 1 to 89 deg is off by 0.001
    at one time (one sigma over directions; by 0.011 where its edge runs along a row, below a polar
    relay), by less than 0.0002 in the mean over a revolution.
    """
    steps = len(motion.times) - 1
    start, end = float(motion.times[0]), float(motion.times[-1])
    step = (end - start) / steps
    days = max(1, math.floor((end - start) / _DAY_S * (1.0 + 1e-12)))
    tally = _Tally(surface_grid(_ROWS, _ON_EQUATOR), len(motion.positions), days)
    for first in range(0, steps, _CHUNK):
        k = np.arange(first, min(first + _CHUNK, steps))
        times: Array = np.asarray(start + (k + 0.5) * step, dtype=np.float64)
        day = np.minimum((times - start) // _DAY_S, days).astype(np.intp)
        if end - start < _DAY_S:
            day[:] = 0
        tally.add(_seen(tally.points, motion, body, aim, times), day, int(first))
    return tally.result(step, steps, aim)


def _seen(
    points: _Single, motion: SampledMotion, body: Body, aim: NetworkAim, times: Array
) -> NDArray[np.int8]:
    """How many relays each point sees at each time, (P, n)."""
    places = body_fixed(motion.all_at(times), turned_by(body, times))
    distance = norm(places)
    angle = cap_angle(distance, body.radius_m, aim.min_elevation_rad)
    # A relay below the surface, or too low for the elevation, sees nothing.
    least = np.where(angle >= 0.0, np.cos(angle), 2.0).astype(np.float32)
    toward = (places / distance[..., None]).astype(np.float32)
    count = np.zeros((len(points), len(times)), dtype=np.int8)
    for relay in range(len(places)):
        count += points @ toward[relay].T >= least[relay]
    return count


class _Tally:
    """What is kept of the steps already seen; every number a point, a day or a step."""

    def __init__(self, grid: Grid, relays: int, days: int) -> None:
        self.grid = grid
        self.points: _Single = grid.directions.astype(np.float32)
        self.weights: _Single = grid.weights.astype(np.float32)
        points = len(grid.weights)
        self.covered: _Whole = np.zeros(points, dtype=np.int32)
        self.relays: _Whole = np.zeros(points, dtype=np.int32)
        self.fewest = np.full(points, relays, dtype=np.int8)
        self.last: _Whole = np.full(points, -1, dtype=np.int32)
        self.gap: _Whole = np.zeros(points, dtype=np.int32)
        self.at_least = np.zeros(relays)
        self.by_day = np.zeros((days + 1, points), dtype=np.bool_)  # the last: an unfinished day
        self.instant: list[Array] = []

    def add(self, count: NDArray[np.int8], day: NDArray[np.intp], first: int) -> None:
        """Take in the next steps: relays seen (P, n), the day of each (n,), the first's number."""
        seen = count > 0
        self.covered += seen.sum(axis=1, dtype=np.int32)
        self.relays += count.sum(axis=1, dtype=np.int32)
        np.minimum(self.fewest, count.min(axis=1), out=self.fewest)
        for number in range(len(self.at_least)):
            shares = self.weights @ (count > number).astype(np.float32)
            self.at_least[number] += float(shares.sum(dtype=np.float64))
            if number == 0:
                self.instant.append(shares.astype(np.float64))
        for one in np.unique(day):
            self.by_day[one] |= seen[:, day == one].any(axis=1)
        self._lengthen(seen, first)

    def _lengthen(self, seen: NDArray[np.bool_], first: int) -> None:
        """Longest run of steps without a relay, runs that go on from before included."""
        gaps = np.flatnonzero(~seen.all(axis=1))
        steps = np.arange(first, first + seen.shape[1], dtype=np.int32)
        latest = np.where(seen[gaps], steps, self.last[gaps, None])
        latest = np.maximum.accumulate(latest, axis=1)
        self.gap[gaps] = np.maximum(self.gap[gaps], (steps - latest).max(axis=1))
        self.last[:] = steps[-1]
        self.last[gaps] = latest[:, -1]

    def result(self, step: float, steps: int, aim: NetworkAim) -> Coverage:
        """The record of it all."""
        instant = np.concatenate(self.instant)
        daily = self.by_day[:-1] @ self.grid.weights
        return Coverage(
            min_elevation_deg=math.degrees(aim.min_elevation_rad),
            instant_mean=_share(instant.mean()),
            instant_least=_share(instant.min()),
            daily_mean=_share(daily.mean()),
            daily_least=_share(daily.min()),
            at_least=tuple(_share(total / steps) for total in self.at_least),
            bands=tuple(self._band(band, step, steps) for band in range(_ROWS // _ROWS_OF_BAND)),
            points=len(self.grid.weights),
            step_s=step,
        )

    def _band(self, band: int, step: float, steps: int) -> Band:
        inside = self.grid.row // _ROWS_OF_BAND == band
        weights = self.grid.weights[inside] / self.grid.weights[inside].sum()
        share = self.covered[inside] / steps
        width = 180.0 * _ROWS_OF_BAND / _ROWS
        never = bool((self.covered[inside] == 0).any())
        return Band(
            south_deg=-90.0 + width * band,
            north_deg=-90.0 + width * (band + 1),
            share_mean=_share(weights @ share),
            share_worst=float(share.min()),
            longest_gap_s=math.inf if never else float(self.gap[inside].max()) * step,
            relays_mean=float(weights @ self.relays[inside]) / steps,
            relays_least=int(self.fewest[inside].min()),
        )


def _share(value: float) -> float:
    """A sum of weights as a share; what rounding leaves of 0 and 1 is taken off."""
    return min(1.0, max(0.0, round(float(value), 6)))
