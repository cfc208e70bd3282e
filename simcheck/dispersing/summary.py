"""Rows of many flights to what they say together: how likely, how much, because of what.

Intervals are exact or free of any distribution, since the rows are independent samples. Percentiles
are over the flights that have a value; the share that has none is in the outcomes. Rows are read
some at a time and never sorted, so that memory does not grow with their number.
"""

from __future__ import annotations

import dataclasses
import math

import numpy as np

from simcheck.arrays import Array
from simcheck.dispersing.beside import linear_beside
from simcheck.dispersing.driving import METHOD, drivers
from simcheck.dispersing.flights import Job
from simcheck.dispersing.nearing import member_approaches
from simcheck.dispersing.tallying import NUMBERS, SPENT, Table, Tally, columns
from simcheck.engines.base import G0
from simcheck.kernels.quantiles import order_statistics, quantile_interval, quantile_place
from simcheck.kernels.rates import (
    binomial_interval,
    decided,
    rate_sequence,
    samples_to_decide,
    settled,
)
from simcheck.records.case import Case, DispersionAim
from simcheck.records.dispersion import (
    OUTCOMES,
    Dispersion,
    DvColumns,
    Percentiles,
    Share,
    columns_of,
)
from simcheck.records.plan import Plan

LEVELS = (1.0, 5.0, 50.0, 95.0, 99.0, 99.87)
"""Percentiles given, in per cent; 99.87 is three sigma of a Gaussian, one-sided."""

_TOGETHER = 7  # columns sorted at a time, so that memory does not grow with the members
_LOADS = (99.0, 99.87)


def summarise(
    job: Job, table: Table, count: int, stopped_by: str, *, looked_on: bool = False
) -> Dispersion:
    """What the first `count` rows say, in the case's terms.

    looked_on: the run could have stopped at any chunk, which the decision then allows for.
    """
    aim = job.case.dispersion
    tally = Tally(job.case, table, count)
    units = {name: unit for name, _, unit, _ in columns_of(job.case)}
    parts = _percentiles(tally, units, table, count, aim.confidence)
    named = dict(zip(NUMBERS, parts, strict=False))
    dv = _dv_columns(aim, job.plan, named["dv_used_m_s"])
    load, high, margin = _loads(job.case, parts[SPENT], dv.margin)
    found = drivers(job, table, count)
    judge = settled if looked_on else decided
    kept, approaches = member_approaches(
        job.case,
        table.blocks(count),
        parts[len(NUMBERS) : -1],
        lambda good: _share(good, count, aim.confidence, looked_on),
    )
    return Dispersion(
        samples=count,
        seed=job.seed,
        closed_loop=job.closed_loop,
        within=_share(tally.within, count, aim.confidence, looked_on),
        decision=judge(tally.within, count, aim.success, aim.confidence),
        asked=aim.success,
        more_samples=float(samples_to_decide(tally.within, count, aim.success, aim.confidence)),
        percentiles=named,
        dv=dv,
        load_kg=load,
        load_high_kg=high,
        margin_kg=margin,
        drivers=found,
        method=METHOD if found else "none: too few samples, or no error varies",
        outcomes=dict(zip(OUTCOMES, tally.outcomes.tolist(), strict=True)),
        failures=tuple(tally.failures),
        failures_left_out=count - tally.within - len(tally.failures),
        worst=tally.worst,
        stopped_by=stopped_by,
        linear=linear_beside(job, table.blocks(count)),
        approaches=approaches,
        separation=kept,
    )


def _share(good: int, count: int, confidence: float, looked_on: bool) -> Share:
    interval = rate_sequence if looked_on else binomial_interval
    low, high = interval(good, count, confidence)
    return Share(
        count=good,
        probability=good / count,
        low=float(low),
        high=float(high),
        confidence=confidence,
        interval="beta-binomial confidence sequence" if looked_on else "Clopper-Pearson",
    )


def _percentiles(
    tally: Tally, units: dict[str, str], table: Table, count: int, confidence: float
) -> list[Percentiles]:
    """Percentiles of each column's values that are numbers, with their order-statistic intervals.

    One so far out that not a single sample is expected beyond it is not known.
    """
    known, shares = tally.known[:, None], np.array(LEVELS) / 100
    reached = known * np.minimum(shares, 1 - shares) >= 1 - 1e-9
    value = np.where(reached, quantile_place(known, shares), np.nan)
    low, high = quantile_interval(known, shares, confidence)
    places = np.stack([value, low, high], axis=1)  # (columns, 3, levels)
    found = np.concatenate(
        [
            _statistics(tally, table, count, places, slice(first, first + _TOGETHER))
            for first in range(0, len(known), _TOGETHER)
        ]
    )
    return [
        Percentiles(
            unit=unit,
            mean=float(mean),
            levels=LEVELS,
            values=_floats(part[0]),
            low=_floats(part[1]),
            high=_floats(part[2]),
        )
        for unit, mean, part in zip(
            [*(units[x] for x in tally.names), "kg"], tally.mean, found, strict=True
        )
    ]


def _statistics(tally: Tally, table: Table, count: int, places: Array, part: slice) -> Array:
    """Values at places (columns, 3, levels) of some columns."""
    asked = places[part]
    return order_statistics(
        lambda: (columns(rows, tally.names, part) for rows in table.blocks(count)),
        asked.reshape(len(asked), -1),
    ).reshape(asked.shape)


def _floats(values: Array) -> tuple[float, ...]:
    return tuple(float(x) for x in values)


def _dv_columns(aim: DispersionAim, plan: Plan, used: Percentiles) -> DvColumns:
    commanded = plan.commanded_dv_m_s
    beyond = dataclasses.replace(
        used,
        mean=used.mean - commanded,
        values=tuple(x - commanded for x in used.values),
        low=tuple(x - commanded for x in used.low),
        high=tuple(x - commanded for x in used.high),
    )
    return DvColumns(
        deterministic=plan.total_dv_m_s,
        finite_burn_loss=commanded - plan.total_dv_m_s,
        statistical=beyond,
        margin=aim.margin_m_s + aim.margin_share * commanded,
    )


def _loads(
    case: Case, spent: Percentiles, margin_m_s: float
) -> tuple[dict[str, float], dict[str, float], dict[str, float]]:
    """Propellant that a share of the flights does with, its upper bound, and the margin's part.

    The margin is made by the engine from the mass that is left: the rocket equation.
    """
    burnt = -math.expm1(-margin_m_s / (G0 * case.engine.isp_s))  # of the mass at that time
    load, high, margin = {}, {}, {}
    for level in _LOADS:
        at, name = LEVELS.index(level), f"{level:g} %"
        value = spent.values[at]
        bound = spent.high[at] if math.isfinite(value) else math.nan
        margin[name] = (case.craft.mass_kg - value) * burnt
        load[name] = value + margin[name]
        high[name] = bound + (case.craft.mass_kg - bound) * burnt
    return load, high, margin
