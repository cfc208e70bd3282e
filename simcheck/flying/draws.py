"""The only place that draws random numbers: counter-based streams keyed by seed and sample.

A sample's numbers depend on nothing else: not on how many samples are flown, in what order, or by
how many workers; nor on how many burns or estimates a flight turns out to need. Reference: Salmon
et al. (2011), Philox; numpy's SeedSequence.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from statistics import NormalDist

import numpy as np

from simcheck.arrays import Array, frozen_array

MOST_BURNS = 200
"""Burns and estimates that a flight of a team that replans may come to."""

_FLIGHT = 8  # standard normals a flight: thrust, isp, position (3), velocity (3)
_BURN = 8  # magnitude (2), pointing (4), ignition time, whether it is missed
_ESTIMATE = 6  # position (3), velocity (3)
_MISSED = 7


@dataclass(frozen=True, kw_only=True, eq=False)
class Draws:
    """Standard normals of one flight: flight (8,), burns (n, 8), estimates (m, 6).

    accelerometer is one number. Zeros fly perfectly.
    """

    flight: Array
    burns: Array
    estimates: Array = field(default_factory=lambda: np.zeros((0, _ESTIMATE)))
    accelerometer: float = 0.0

    def __post_init__(self) -> None:
        object.__setattr__(self, "flight", frozen_array(self.flight, (_FLIGHT,), "flight"))
        object.__setattr__(self, "burns", frozen_array(self.burns, (None, _BURN), "burns"))
        fixed = frozen_array(self.estimates, (None, _ESTIMATE), "estimates")
        object.__setattr__(self, "estimates", fixed)

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

    def missed(self, index: int, chance: float) -> bool:
        """Whether the ignition of burn `index` fails, at this chance."""
        if not 0 < chance < 1:
            return chance >= 1
        return float(self.burns[index, _MISSED]) < NormalDist().inv_cdf(chance)


def perfect(burns: int) -> Draws:
    """Draws of a flight without errors, of this many burns and estimates."""
    return Draws(
        flight=np.zeros(_FLIGHT),
        burns=np.zeros((burns, _BURN)),
        estimates=np.zeros((burns, _ESTIMATE)),
    )


def drawn(seed: int, sample: int, burns: int) -> Draws:
    """Draws of one sample. Those of a burn or estimate do not depend on how many follow."""
    engines, tracking = _stream(seed, sample), _stream(seed, sample, 1)
    accelerometer = float(tracking.standard_normal())
    return Draws(
        flight=engines.standard_normal(_FLIGHT),
        burns=engines.standard_normal((burns, _BURN)),
        estimates=tracking.standard_normal((burns, _ESTIMATE)),
        accelerometer=accelerometer,
    )


def engine_draws(seed: int, sample: int, burns: int) -> Draws:
    """The same without estimates: all that an open-loop flight needs, at half the cost."""
    engines = _stream(seed, sample)
    return Draws(
        flight=engines.standard_normal(_FLIGHT),
        burns=engines.standard_normal((burns, _BURN)),
        accelerometer=float(_stream(seed, sample, 1).standard_normal()),
    )


def _stream(seed: int, *key: int) -> np.random.Generator:
    return np.random.Generator(np.random.Philox(np.random.SeedSequence(seed, spawn_key=key)))
