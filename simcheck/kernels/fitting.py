"""Least-squares fit of a secular line under periodic terms."""

from __future__ import annotations

import numpy as np

from simcheck.arrays import Array


def fit_line(times: Array, values: Array, rate: float, harmonics: int = 2) -> tuple[Array, Array]:
    """Fit a straight line plus `harmonics` periodic terms of angular frequency `rate`.

    times (n,) s; values (n,) or (n, m); rate rad/s. Returns the line's value at times[-1] and its
    slope, each shaped like values[0]. The periodic terms are fitted and thrown away.
    """
    x = times - times[-1]
    span = float(-x[0])
    angles = np.outer(rate * x, np.arange(1, harmonics + 1))
    design = np.concatenate(
        [np.ones((len(x), 1)), x[:, None] / span, np.cos(angles), np.sin(angles)], axis=1
    )
    solution = np.linalg.lstsq(design, values, rcond=None)[0]
    return np.asarray(solution[0]), np.asarray(solution[1] / span)
