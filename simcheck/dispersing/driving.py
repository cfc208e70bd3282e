"""Which error source moves which outcome, by regression on the numbers drawn."""

from __future__ import annotations

from collections.abc import Callable
from typing import TypeAlias

import numpy as np

from simcheck.arrays import Array
from simcheck.dispersing.flights import Job
from simcheck.dispersing.tallying import Table
from simcheck.flying.draws import Draws, engine_draws
from simcheck.kernels.regression import shares_of_variance
from simcheck.records.case import Errors
from simcheck.records.dispersion import Driver, Rows

Pick: TypeAlias = Callable[[Draws], Array]

METHOD = (
    "squared standardised coefficients of a linear regression on the standard normals drawn for "
    "each error source, burns added up; eccentricity and plane, which are lengths, by the variance "
    "of their two signed components about their mean, added up; what no line explains is given as "
    "the rest"
)

_OUTCOMES = {
    "phase_deg": ("phase_deg",),
    "period_s": ("period_s",),
    "eccentricity": ("eccentricity_k", "eccentricity_h"),
    "plane_deg": ("plane_x_deg", "plane_y_deg"),
    "dv_used_m_s": ("dv_used_m_s",),
}
"""Each outcome with the columns whose variances add up to what is shared out."""

_COLUMNS = tuple(name for names in _OUTCOMES.values() for name in names)
_ENOUGH = 10  # samples for each number drawn, or no driver is named
_REGRESSED = 10_000  # samples that drivers are found from, the first ones: to 0.02 at worst


def drivers(job: Job, table: Table, count: int) -> tuple[Driver, ...]:
    """Each error source's share in each outcome's variance, largest first; none from too few."""
    sources = _sources(job.case.errors)
    rows = np.concatenate(list(table.blocks(min(count, _REGRESSED))))
    rows = rows[np.all([np.isfinite(rows[name]) for name in _COLUMNS], axis=0)]
    if not sources or not len(rows):
        return ()
    widths = [len(x) for x in _inputs(job, rows[:1], sources)]
    if len(rows) < _ENOUGH * sum(widths):
        return ()
    inputs = np.empty((len(rows), sum(widths)))
    for k in range(len(rows)):
        inputs[k] = np.concatenate(_inputs(job, rows[k : k + 1], sources))
    outputs = np.stack([rows[name] for name in _COLUMNS], axis=-1)
    shares = _together(np.nan_to_num(shares_of_variance(inputs, outputs)), np.var(outputs, axis=0))
    of_source = np.split(shares, np.cumsum(widths))  # the rest last
    found = [
        Driver(source=source, outcome=outcome, share=float(share))
        for source, part in zip((*sources, "rest"), of_source, strict=True)
        for outcome, share in zip(_OUTCOMES, part.sum(axis=0), strict=True)
    ]
    order = list(_OUTCOMES)
    return tuple(sorted(found, key=lambda d: (order.index(d.outcome), -d.share)))


def _together(shares: Array, variances: Array) -> Array:
    """Shares (k, columns) of columns' variances to shares (k, outcomes) of their sums."""
    found, at = [], 0
    for names in _OUTCOMES.values():
        part = variances[at : at + len(names)]
        weights = part / part.sum() if part.sum() > 0 else part
        found.append(shares[:, at : at + len(names)] @ weights)
        at += len(names)
    return np.stack(found, axis=-1)


def _inputs(job: Job, row: Rows, sources: dict[str, Pick]) -> list[Array]:
    """The normals drawn for the sample of one row, source by source."""
    draws = engine_draws(job.seed, int(row["sample"][0]), len(job.plan.commands))
    return [pick(draws) for pick in sources.values()]


def _sources(errors: Errors) -> dict[str, Pick]:
    """The error sources that are on, each with what picks the normals drawn for it."""
    e = errors
    known = {
        "thrust_bias": (e.thrust_bias, _of_flight(0, 1)),
        "isp_bias": (e.isp_bias, _of_flight(1, 2)),
        "initial_position": (e.initial_position_m, _of_flight(2, 5)),
        "initial_velocity": (e.initial_velocity_m_s, _of_flight(5, 8)),
        "accelerometer_scale": (e.accelerometer_scale, _of_accelerometer),
        "magnitude_proportional": (e.magnitude_proportional, _of_burns(0, 1)),
        "magnitude_fixed": (e.magnitude_fixed_m_s, _of_burns(1, 2)),
        "pointing_proportional": (e.pointing_proportional_rad, _of_burns(2, 4)),
        "pointing_fixed": (e.pointing_fixed_m_s, _of_burns(4, 6)),
        "ignition_time": (e.ignition_time_s, _of_burns(6, 7)),
    }
    return {name: pick for name, (size, pick) in known.items() if size > 0}


def _of_flight(first: int, end: int) -> Pick:
    return lambda draws: draws.flight[first:end]


def _of_burns(first: int, end: int) -> Pick:
    return lambda draws: draws.burns[:, first:end].ravel()


def _of_accelerometer(draws: Draws) -> Array:
    return np.array([draws.accelerometer])
