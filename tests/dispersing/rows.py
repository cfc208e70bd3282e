"""Rows of made-up flights."""

from __future__ import annotations

import numpy as np

from simcheck.records.case import Case
from simcheck.records.dispersion import COLUMNS, Rows, columns_of, member_column, row_of


def some(count: int, seed: int = 0, failing: float = 0.3, made: Case | None = None) -> Rows:
    """Rows of normal numbers; some flights fail, and some of those have no value.

    With the columns of a case's members, whose distances the closest approach is the least of.
    """
    rng = np.random.default_rng(seed)
    columns = COLUMNS if made is None else columns_of(made)
    rows = np.zeros(count, dtype=row_of(columns))
    rows["sample"] = np.arange(count)
    rows["within"] = rng.random(count) >= failing
    for name, kind, _, _ in columns:
        if kind == "<f8":
            rows[name] = rng.normal(size=count)
    members = [member_column(k) for k in range(len(columns) - len(COLUMNS))]
    if members:
        rows["closest_approach_m"] = np.min([rows[name] for name in members], axis=0)
    lost = (rows["within"] == 0) & (rng.random(count) < 0.2)
    rows["outcome"] = 2 * lost
    for name in ("phase_deg", "period_s", "eccentricity_k", "closest_approach_m", *members):
        rows[name][lost] = np.nan
    return rows
