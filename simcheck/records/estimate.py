"""What is known of the craft at a time: a tracking solution, not the truth."""

from __future__ import annotations

from dataclasses import dataclass

from simcheck.arrays import Array, frozen_array


@dataclass(frozen=True, kw_only=True, eq=False)
class Estimate:
    """Position and velocity at time_s past the epoch, inertial axes, as the flight team has them.

    mass_kg is None where the source does not say. covariance, where given, is that of position and
    velocity together, (6, 6) in m and m/s, inertial axes. source says in words where it is from.
    """

    time_s: float
    position_m: Array
    velocity_m_s: Array
    mass_kg: float | None = None
    covariance: Array | None = None
    source: str = ""

    def __post_init__(self) -> None:
        object.__setattr__(self, "position_m", frozen_array(self.position_m, (3,), "position"))
        object.__setattr__(self, "velocity_m_s", frozen_array(self.velocity_m_s, (3,), "velocity"))
        if self.covariance is not None:
            fixed = frozen_array(self.covariance, (6, 6), "covariance")
            object.__setattr__(self, "covariance", fixed)
