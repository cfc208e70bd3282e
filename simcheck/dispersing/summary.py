"""Rows of many flights to what they say together: how likely, how much, because of what.

Intervals are exact or free of any distribution, since the rows are independent samples. Percentiles
are over the flights that have a value; the share that has none is in the outcomes.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from functools import partial

import numpy as np

from simcheck.arrays import Array
from simcheck.dispersing.flights import Job
from simcheck.flying.draws import Draws, drawn
from simcheck.kernels.statistics import (
    binomial_interval,
    decided,
    order_statistic,
    quantile,
    quantile_interval,
    rate_sequence,
    samples_to_decide,
    settled,
    shares_of_variance,
)
from simcheck.records.dispersion import (
    COLUMNS,
    OUTCOMES,
    Dispersion,
    Driver,
    DvColumns,
    Percentiles,
    Rows,
    Share,
)
from simcheck.records.plan import Plan
from simcheck.records.quantities import QUANTITIES, listed_tolerances

LEVELS = (1.0, 5.0, 50.0, 95.0, 99.0, 99.87)
"""Percentiles given, in per cent; 99.87 is three sigma of a Gaussian, one-sided."""

_LOADS = {"99 %": 0.99, "99.87 %": 0.9987}
_WORST = 10
_METHOD = (
    "squared standardised coefficients of a linear regression on the standard normals drawn for "
    "each error source, burns added up; what no line explains is given as the rest"
)
_UNITS = {name: unit for name, _, unit, _ in COLUMNS}
_DRIVEN = ("phase_deg", "period_s", "eccentricity", "plane_deg", "dv_used_m_s")
_ENOUGH = 10  # samples for each number drawn, or no driver is named
_REGRESSED = 20_000  # samples that drivers are found from, the first ones
_MARGIN = 0.0  # no rule for a policy margin is asked for yet


def summarise(job: Job, rows: Rows, stopped_by: str, *, looked_on: bool = False) -> Dispersion:
    """What the rows say, in the case's terms.

    looked_on: the run could have stopped at any chunk, which the decision then allows for.
    """
    aim, count = job.case.dispersion, len(rows)
    judge = settled if looked_on else decided
    interval = rate_sequence if looked_on else binomial_interval
    good = int(np.sum(rows["within"]))
    low, high = interval(good, count, aim.confidence)
    share = Share(
        count=good,
        probability=good / count,
        low=float(low),
        high=float(high),
        confidence=aim.confidence,
        interval="beta-binomial confidence sequence" if looked_on else "Clopper-Pearson",
    )
    spent = rows["propellant_used_kg"][rows["within"] == 1]
    drivers = _drivers(job, rows)
    return Dispersion(
        samples=count,
        seed=job.seed,
        closed_loop=job.closed_loop,
        within=share,
        decision=judge(good, count, aim.success, aim.confidence),
        asked=aim.success,
        more_samples=float(samples_to_decide(good, count, aim.success, aim.confidence)),
        percentiles={
            name: percentiles(rows[name], _UNITS[name], aim.confidence)
            for name, kind, _, _ in COLUMNS
            if kind == "<f8"
        },
        dv=_dv_columns(job.plan, rows, aim.confidence),
        load_kg={name: _load(spent, level, aim.confidence)[0] for name, level in _LOADS.items()},
        load_high_kg={
            name: _load(spent, level, aim.confidence)[1] for name, level in _LOADS.items()
        },
        drivers=drivers,
        method=_METHOD if drivers else "none: too few samples, or no error varies",
        outcomes={
            name: int(np.sum(rows["outcome"] == number)) for number, name in enumerate(OUTCOMES)
        },
        failures=tuple(int(k) for k in rows["sample"][rows["within"] == 0]),
        worst=_worst(job, rows),
        stopped_by=stopped_by,
    )


def percentiles(values: Array, unit: str, confidence: float) -> Percentiles:
    """Percentiles of the values that are numbers, each with its order-statistic interval.

    One so far out that not a single sample is expected beyond it is not known.
    """
    known = np.sort(values[np.isfinite(values)])
    shares = np.array(LEVELS) / 100
    if not len(known):
        none = (math.nan,) * len(LEVELS)
        return Percentiles(
            unit=unit, mean=math.nan, levels=LEVELS, values=none, low=none, high=none
        )
    low, high = quantile_interval(len(known), shares, confidence)
    return Percentiles(
        unit=unit,
        mean=float(np.mean(known)),
        levels=LEVELS,
        values=tuple(
            float(x) if _reached(len(known), p) else math.nan
            for x, p in zip(quantile(known, shares), shares, strict=True)
        ),
        low=tuple(float(x) for x in order_statistic(known, low)),
        high=tuple(float(x) for x in order_statistic(known, high)),
    )


def _reached(samples: int, share: float) -> bool:
    return samples * min(share, 1 - share) >= 1 - 1e-9


def _load(spent: Array, level: float, confidence: float) -> tuple[float, float]:
    """Propellant that this share of the flights does with, and its upper bound; NaN if too few."""
    if not _reached(len(spent), level):
        return math.nan, math.nan
    known = np.sort(spent)
    _, high = quantile_interval(len(known), level, confidence)
    return float(quantile(known, level)), float(order_statistic(known, high))


def _dv_columns(plan: Plan, rows: Rows, confidence: float) -> DvColumns:
    return DvColumns(
        deterministic=plan.total_dv_m_s,
        finite_burn_loss=plan.commanded_dv_m_s - plan.total_dv_m_s,
        statistical=percentiles(rows["dv_used_m_s"] - plan.commanded_dv_m_s, "m/s", confidence),
        margin=_MARGIN,
    )


def _worst(job: Job, rows: Rows) -> tuple[int, ...]:
    """The samples furthest outside, worst first; a flight without a value is worse than any."""
    tolerances = listed_tolerances(job.case.tolerance)
    uses = [
        np.abs(rows[q.error]) / tolerances[q.error] for q in QUANTITIES if q.error in tolerances
    ]
    use = np.max(uses, axis=0) if uses else np.zeros(len(rows))
    use = np.where(np.isfinite(use), use, np.inf)
    order = np.lexsort((rows["sample"], -use))[:_WORST]
    return tuple(int(k) for k in rows["sample"][order])


def _drivers(job: Job, rows: Rows) -> tuple[Driver, ...]:
    """Each error source's share in each outcome's variance, largest first."""
    rows = rows[:_REGRESSED]
    known = np.all([np.isfinite(rows[name]) for name in _DRIVEN], axis=0)
    rows = rows[known]
    sources = _sources(job)
    inputs: dict[str, list[Array]] = {name: [] for name in sources}
    for sample in rows["sample"]:
        draws = drawn(job.seed, int(sample), len(job.plan.commands))
        for name, pick in sources.items():
            inputs[name].append(pick(draws))
    if (
        not sources
        or not len(rows)
        or len(rows) < _ENOUGH * sum(len(x[0]) for x in inputs.values() if x)
    ):
        return ()
    columns = np.hstack([np.array(inputs[name]) for name in sources])
    outputs = np.stack([rows[name] for name in _DRIVEN], axis=-1)
    shares = np.nan_to_num(shares_of_variance(columns, outputs))
    found, at = [], 0
    for name in sources:
        width = len(inputs[name][0])
        for j, outcome in enumerate(_DRIVEN):
            share = float(np.sum(shares[at : at + width, j]))
            found.append(Driver(source=name, outcome=outcome, share=share))
        at += width
    for j, outcome in enumerate(_DRIVEN):
        found.append(Driver(source="rest", outcome=outcome, share=float(shares[-1, j])))
    order = {name: i for i, name in enumerate(_DRIVEN)}
    return tuple(sorted(found, key=lambda d: (order[d.outcome], -d.share)))


def _sources(job: Job) -> dict[str, Callable[[Draws], Array]]:
    """The error sources that are on, each with the normals that are drawn for it."""
    e = job.case.errors
    flight = {
        "thrust_bias": (e.thrust_bias, slice(0, 1)),
        "isp_bias": (e.isp_bias, slice(1, 2)),
        "initial_position": (e.initial_position_m, slice(2, 5)),
        "initial_velocity": (e.initial_velocity_m_s, slice(5, 8)),
    }
    burn = {
        "magnitude_proportional": (e.magnitude_proportional, slice(0, 1)),
        "magnitude_fixed": (e.magnitude_fixed_m_s, slice(1, 2)),
        "pointing_proportional": (e.pointing_proportional_rad, slice(2, 4)),
        "pointing_fixed": (e.pointing_fixed_m_s, slice(4, 6)),
        "ignition_time": (e.ignition_time_s, slice(6, 7)),
    }
    found: dict[str, Callable[[Draws], Array]] = {}
    for name, (size, part) in flight.items():
        if size > 0:
            found[name] = partial(_of_flight, part)
    for name, (size, part) in burn.items():
        if size > 0:
            found[name] = partial(_of_burns, part)
    return found


def _of_flight(part: slice, draws: Draws) -> Array:
    return draws.flight[part]


def _of_burns(part: slice, draws: Draws) -> Array:
    return draws.burns[:, part].ravel()
