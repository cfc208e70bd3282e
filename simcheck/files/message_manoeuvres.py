"""A manoeuvre as an orbit parameter or orbit comprehensive message describes it."""

from __future__ import annotations

import math
from dataclasses import dataclass

from simcheck.arrays import Array, frozen_array
from simcheck.files.epochs import Instant


@dataclass(frozen=True, kw_only=True, eq=False)
class Manoeuvre:
    """A burn of a message; vectors in the axes of `frame`, those of `frame_epoch` if they have one.

    It begins offset_s after the date `ignition` (which keeps every digit of relative times) and
    lasts duration_s, 0 for an impulse. What it does is dv_m_s (3,), or thrust_n (3,) with the
    specific impulse isp_s; exactly one of the two is not None. delta_mass_kg is negative, NaN where
    the message is silent, as isp_s is. line is where it stands.
    """

    ignition: Instant
    offset_s: float = 0.0
    duration_s: float
    delta_mass_kg: float = math.nan
    frame: str
    frame_epoch: Instant | None = None
    dv_m_s: Array | None = None
    thrust_n: Array | None = None
    isp_s: float = math.nan
    label: str | None = None
    device: str | None = None
    purpose: str | None = None
    line: int | None = None

    def __post_init__(self) -> None:
        for name in ("dv_m_s", "thrust_n"):
            vector = getattr(self, name)
            if vector is not None:
                object.__setattr__(self, name, frozen_array(vector, (3,), name))

    def starts(self, epoch: Instant) -> float:
        """When it begins, in seconds past a date."""
        return self.ignition.seconds_since(epoch) + self.offset_s
