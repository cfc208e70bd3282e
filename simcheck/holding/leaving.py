"""When errors leave their tolerances."""

from __future__ import annotations

import numpy as np

from simcheck.arrays import Array
from simcheck.records.case import Tolerance
from simcheck.records.hold import Leaving


def leaving(
    tolerance: Tolerance, period: float, days: Array, sizes: Array, spacing: Array
) -> Leaving:
    """First days at which errors (n, 4) at `days` (n,), and the spacing (n,), exceed tolerances.

    The errors are phase rad, relative period, eccentricity and plane rad, as `Drift.sizes` has
    them. Between two looks the error is taken as a straight line.
    """
    relative = None if tolerance.period_s is None else tolerance.period_s / period
    return Leaving(
        phase_days=first_beyond(days, sizes[:, 0], tolerance.phase_rad),
        spacing_days=first_beyond(days, spacing, tolerance.phase_rad),
        period_days=first_beyond(days, sizes[:, 1], relative),
        eccentricity_days=first_beyond(days, sizes[:, 2], tolerance.eccentricity),
        plane_days=first_beyond(days, sizes[:, 3], tolerance.plane_rad),
    )


def first_beyond(days: Array, values: Array, limit: float | None) -> float | None:
    """The first day on which |values| (n,) exceed the limit; a value that is lost exceeds it."""
    if limit is None:
        return None
    size = np.abs(values)
    beyond = np.flatnonzero(~(size <= limit))
    if not len(beyond):
        return None
    index = int(beyond[0])
    if index == 0 or not np.isfinite(size[index]):
        return float(days[index]) if index else 0.0
    before, after = size[index - 1], size[index]
    share = (limit - before) / (after - before)
    return float(days[index - 1] + share * (days[index] - days[index - 1]))


def mean_drift(days: Array, phase: Array) -> float:
    """Slope of the straight line through phases (n,) in rad, deg/day; 0 of a single look."""
    known = np.isfinite(phase)
    if np.count_nonzero(known) < 2:
        return 0.0
    return float(np.degrees(np.polyfit(days[known], phase[known], 1)[0]))
