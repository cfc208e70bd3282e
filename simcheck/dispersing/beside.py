"""Linear covariance beside Monte Carlo, outcome by outcome: each checks the other.

Where errors are small the flights must spread as the derivatives say; where the two part, straight
lines no longer hold.
"""

from __future__ import annotations

import math
from collections.abc import Iterable

import numpy as np

from simcheck.arrays import Array
from simcheck.dispersing.flights import Job
from simcheck.dispersing.linear import linear_covariance
from simcheck.errors import FlightError
from simcheck.flying.draws import engine_draws
from simcheck.kernels.spreads import power_sums, spread_interval
from simcheck.kernels.vectors import wrap
from simcheck.records.dispersion import OUTCOMES, Rows
from simcheck.records.linear import Comparison, Linear, LinearBeside, LinearOutcome

CONFIDENCE = 0.99
METHOD = (
    f"chi-square interval of {CONFIDENCE:.0%} with the degrees of freedom that the flights' own "
    "fourth moments give"
)

_APART = 0.05
_FEWEST = 30  # flights, or their fourth moment says nothing
_MOST_DRAWN = 20_000  # flights whose draws are looked at for missed burns, the first ones
_ROUNDING = {
    "phase_deg": 1e-7,
    "period_s": 1e-5,
    "eccentricity": 1e-9,
    "plane_deg": 1e-8,
    "dv_used_m_s": 1e-7,
    "propellant_used_kg": 1e-7,
}
"""A spread that is nothing: what rounding makes of flights that are all the same."""


def linear_beside(job: Job, blocks: Iterable[Rows]) -> LinearBeside:
    """The linear covariance of a job's plan beside the rows of its flights, some at a time.

    Flights with a team are not compared: the linear numbers are of nobody correcting. Where there
    is no linear covariance it says why; nothing raises.
    """
    try:
        found = linear_covariance(job.case, job.plan)
    except FlightError as error:
        return LinearBeside(closed_loop=job.closed_loop, linear=None, why_not=str(error))
    if job.closed_loop:
        return LinearBeside(closed_loop=True, linear=found)
    count, sums = _summed(job, found, blocks)
    if count < _FEWEST:
        return LinearBeside(closed_loop=False, linear=found, flights=count)
    comparisons = tuple(_comparison(of, sums[k], count) for k, of in enumerate(found.outcomes))
    return LinearBeside(
        closed_loop=False, linear=found, flights=count, comparisons=comparisons, method=METHOD
    )


def _comparison(of: LinearOutcome, sums: Array, count: int) -> Comparison:
    flown, low, high = spread_interval(sums, count, of.kind, CONFIDENCE)
    apart = not low <= of.spread <= high and abs(of.spread - flown) > _APART * flown
    something = max(of.spread, flown) > _ROUNDING[of.outcome]
    return Comparison(
        outcome=of.outcome,
        kind=of.kind,
        linear=of.spread,
        flown=flown,
        low=low,
        high=high,
        parts=bool(apart and something),
    )


def _summed(job: Job, found: Linear, blocks: Iterable[Rows]) -> tuple[int, Array]:
    """How many flights there are to compare, and the power sums (outcomes, 4) of their outcomes."""
    count, looked, parts = 0, 0, []
    for block in blocks:
        rows = block
        if job.case.errors.missed_burn > 0:
            rows = block[: _MOST_DRAWN - looked]
        looked += len(rows)
        values = _values(found, _flown(job, rows))
        count += values.shape[1]
        parts.append(power_sums(values.T))
        if len(rows) < len(block):
            break
    width = len(found.outcomes)
    total = [math.fsum(part) for part in np.reshape(parts, (len(parts), 4 * width)).T]
    return count, np.reshape(total, (4, width)).T


def _values(found: Linear, rows: Rows) -> Array:
    """What is spread, outcome by outcome (outcomes, n): signed ones from the nominal flight's."""
    values = np.stack([rows[of.outcome] for of in found.outcomes])
    values -= np.array([[of.nominal if of.kind == "sigma" else 0.0] for of in found.outcomes])
    phase = [of.outcome for of in found.outcomes].index("phase_deg")
    values[phase] = np.degrees(wrap(np.radians(values[phase])))
    return np.asarray(values[:, np.isfinite(values).all(axis=0)])


def _flown(job: Job, rows: Rows) -> Rows:
    """The rows flown to the end with every burn made."""
    chance, burns = job.case.errors.missed_burn, len(job.plan.commands)
    rows = rows[rows["outcome"] == OUTCOMES.index("flown")]
    if chance > 0:
        draws = (engine_draws(job.seed, int(sample), burns) for sample in rows["sample"])
        missed = [any(d.missed(k, chance) for k in range(burns)) for d in draws]
        rows = rows[~np.array(missed, dtype=bool)]
    return rows
