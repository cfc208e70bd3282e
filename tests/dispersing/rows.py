"""Rows of made-up flights."""

from __future__ import annotations

import numpy as np

from simcheck.records.dispersion import COLUMNS, ROW, Rows


def some(count: int, seed: int = 0, failing: float = 0.3) -> Rows:
    """Rows of normal numbers; some flights fail, and some of those have no value."""
    rng = np.random.default_rng(seed)
    rows = np.zeros(count, dtype=ROW)
    rows["sample"] = np.arange(count)
    rows["within"] = rng.random(count) >= failing
    for name, kind, _, _ in COLUMNS:
        if kind == "<f8":
            rows[name] = rng.normal(size=count)
    lost = (rows["within"] == 0) & (rng.random(count) < 0.2)
    rows["outcome"] = 2 * lost
    for name in ("phase_deg", "period_s", "eccentricity_k", "closest_approach_m"):
        rows[name][lost] = np.nan
    return rows
