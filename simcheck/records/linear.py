"""Linear covariance: what the errors do to a flight to first order, and Monte Carlo beside it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, TypeAlias

from simcheck.arrays import Array, frozen_array

Spread: TypeAlias = Literal["sigma", "rms"]

LINEAR_QUANTITIES = (
    "phase_deg",
    "period_s",
    "eccentricity_k",
    "eccentricity_h",
    "plane_x_deg",
    "plane_y_deg",
    "dv_used_m_s",
    "propellant_used_kg",
)
"""What is differentiated, in the order of rows and columns, each named as in a flight's row: the
signed parts of the four errors in the ring frame, Δv and propellant."""


@dataclass(frozen=True, kw_only=True, eq=False)
class LinearSource:
    """One error source: derivatives (8, n) of the quantities by its n standard normals.

    The normals stand in the order in which `flying.draws` draws them, burn after burn.
    """

    source: str
    matrix: Array

    def __post_init__(self) -> None:
        rows = (len(LINEAR_QUANTITIES), None)
        object.__setattr__(self, "matrix", frozen_array(self.matrix, rows, "matrix"))


@dataclass(frozen=True, kw_only=True, eq=False)
class LinearOutcome:
    """One outcome: its value without errors, and its spread.

    The spread is a standard deviation ("sigma"), or for a length, which is never negative, its root
    mean square ("rms"): the nominal one and the variance of both parts together.
    """

    outcome: str
    nominal: float
    kind: Spread
    spread: float


@dataclass(frozen=True, kw_only=True, eq=False)
class Linear:
    """Linear covariance of a plan flown open loop.

    nominal (8,) and covariance (8, 8) are in the order of `LINEAR_QUANTITIES`. drivers
    gives each outcome the sources' shares in its variance (of a length: about the nominal one),
    largest first. left_out names the sources of the case that have no derivative.
    """

    nominal: Array
    sources: tuple[LinearSource, ...]
    covariance: Array
    outcomes: tuple[LinearOutcome, ...]
    drivers: dict[str, dict[str, float]]
    left_out: tuple[str, ...]

    def __post_init__(self) -> None:
        count = len(LINEAR_QUANTITIES)
        object.__setattr__(self, "nominal", frozen_array(self.nominal, (count,), "nominal"))
        both = frozen_array(self.covariance, (count, count), "covariance")
        object.__setattr__(self, "covariance", both)


@dataclass(frozen=True, kw_only=True, eq=False)
class Comparison:
    """One outcome's spread, linear and as flown, with the interval of the latter.

    parts tells whether the linear one lies outside the interval and more than 5 % off.
    """

    outcome: str
    kind: Spread
    linear: float
    flown: float
    low: float
    high: float
    parts: bool


@dataclass(frozen=True, kw_only=True, eq=False)
class LinearBeside:
    """Linear covariance beside Monte Carlo.

    linear is None where there is none, and why_not says why. comparisons is empty for flights with
    a team, which the linear numbers do not speak of, and for too few flights; flights counts those
    compared: flown to the end, with every burn made. method says how the intervals were found.
    """

    closed_loop: bool
    linear: Linear | None
    why_not: str = ""
    flights: int = 0
    comparisons: tuple[Comparison, ...] = ()
    method: str = ""
