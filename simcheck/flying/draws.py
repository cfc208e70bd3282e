"""The only place that draws random numbers: one counter-based stream a sample.

Streams are keyed by (seed, sample), so a sample's numbers depend on nothing else: not on how many
are flown, in what order, or by how many workers. Reference: Salmon et al. (2011), Philox; numpy's
SeedSequence.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from simcheck.arrays import Array, frozen_array

_FLIGHT = 8  # standard normals a flight: thrust, isp, position (3), velocity (3)
_BURN = 8  # standard normals a burn: see BurnDraws; two are kept in reserve


@dataclass(frozen=True, kw_only=True, eq=False)
class Draws:
    """Standard normals of one flight: flight (8,), burns (n, 8). Zeros fly perfectly."""

    flight: Array
    burns: Array

    def __post_init__(self) -> None:
        object.__setattr__(self, "flight", frozen_array(self.flight, (_FLIGHT,), "flight"))
        object.__setattr__(self, "burns", frozen_array(self.burns, (None, _BURN), "burns"))

    @property
    def thrust(self) -> float:
        """The thrust bias."""
        return float(self.flight[0])

    @property
    def isp(self) -> float:
        """The Isp bias."""
        return float(self.flight[1])

    @property
    def position(self) -> Array:
        """The error of the initial position, (3,)."""
        return self.flight[2:5]

    @property
    def velocity(self) -> Array:
        """The error of the initial velocity, (3,)."""
        return self.flight[5:8]


def perfect(burns: int) -> Draws:
    """Draws of a flight without errors."""
    return Draws(flight=np.zeros(_FLIGHT), burns=np.zeros((burns, _BURN)))


def drawn(seed: int, sample: int, burns: int) -> Draws:
    """Draws of one sample. The numbers of a burn do not depend on how many burns follow."""
    sequence = np.random.SeedSequence(seed, spawn_key=(sample,))
    stream = np.random.Generator(np.random.Philox(sequence))
    return Draws(
        flight=stream.standard_normal(_FLIGHT),
        burns=stream.standard_normal((burns, _BURN)),
    )
