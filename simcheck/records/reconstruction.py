"""A burn as it was made, as tracking before and after it tells."""

from __future__ import annotations

from dataclasses import dataclass

from simcheck.arrays import Array, frozen_array
from simcheck.records.plan import Steering


@dataclass(frozen=True, kw_only=True, eq=False)
class Reconstruction:
    """The Δv of a burn estimated from the orbits around it, in the axes of its steering.

    dv_m_s (3,) is what it made and covariance (3, 3), m2/s2, how well that is known, None where
    nothing says how good the states are; commanded_m_s (3,) is what it was to make. The ignition
    and the specific impulse are those commanded: a Δv does not tell them. misfit is the root mean
    square, in sigmas, of what no Δv explains (three degrees of freedom): 1 on average.
    """

    burn: str
    purpose: str
    engine: str
    start_s: float
    duration_s: float
    steering: Steering
    dv_m_s: Array
    commanded_m_s: Array
    covariance: Array | None
    thrust_n: float
    isp_s: float
    mass_before_kg: float
    mass_after_kg: float
    misfit: float | None

    def __post_init__(self) -> None:
        for name in ("dv_m_s", "commanded_m_s"):
            object.__setattr__(self, name, frozen_array(getattr(self, name), (3,), name))
        if self.covariance is not None:
            fixed = frozen_array(self.covariance, (3, 3), "covariance")
            object.__setattr__(self, "covariance", fixed)
