"""Dated plans in two-body motion, as the searches make them and the re-aiming takes them."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from simcheck.arrays import Array
from simcheck.kernels.vectors import norm


class Impulse(NamedTuple):
    """One burn of a candidate: what it is for, where, from and to which velocity, when."""

    purpose: str
    position: Array
    before: Array
    after: Array
    time: float

    @property
    def dv(self) -> Array:
        """Δv (3,) in m/s."""
        return np.asarray(self.after - self.before)

    @property
    def size(self) -> float:
        """Magnitude in m/s."""
        return float(norm(self.after - self.before))


class Phasing(NamedTuple):
    """How the phase is met: k revolutions of period_s after the impulse numbered `after`.

    one_fewer_dv is the total in m/s with one revolution fewer, NaN where that is impossible.
    """

    after: int
    revolutions: int
    period_s: float
    one_fewer_dv: float


class Candidate(NamedTuple):
    """A dated plan in two-body motion. waits are whole revolutions before each leg."""

    route: str
    impulses: tuple[Impulse, ...]
    waits: tuple[int, ...]
    phasing: Phasing | None

    @property
    def dv(self) -> float:
        """Sum in m/s."""
        return float(sum(norm(impulse.dv) for impulse in self.impulses))

    @property
    def arrival(self) -> float:
        """Time of the last impulse in s."""
        return self.impulses[-1].time if self.impulses else 0.0
