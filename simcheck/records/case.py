"""A loaded case: what the engineer asked for, as floats in SI units and radians.

One record a table of the case file; `simcheck.files.case_toml` is the only writer.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import Literal, TypeAlias

from simcheck.arrays import Array, frozen_array
from simcheck.records.hold import HoldAim
from simcheck.records.network import NetworkAim
from simcheck.records.sky import Sky

Force: TypeAlias = Literal["j2", "j3", "j4", "third-bodies", "sunlight-pressure"]
Cutoff: TypeAlias = Literal["duration", "velocity", "orbit"]
Replan: TypeAlias = Literal["never", "each-burn"]
RingSize: TypeAlias = Literal["period", "radius"]


@dataclass(frozen=True, kw_only=True, eq=False)
class Body:
    """The central body. `sources` maps each constant's name to where its value comes from.

    prime_meridian_rad is the angle at the epoch from the inertial x axis to the prime meridian,
    about the pole; it grows by a turn every rotation_period_s (negative: backwards). axes says in
    words where the inertial axes point.
    """

    name: str
    gm_m3_s2: float
    radius_m: float
    j2: float = 0.0
    j3: float = 0.0
    j4: float = 0.0
    rotation_period_s: float | None = None
    prime_meridian_rad: float | None = None
    axes: str = ""
    sources: dict[str, str] = field(default_factory=dict)


@dataclass(frozen=True, kw_only=True, eq=False)
class Ring:
    """The ring as asked for: either its (nodal) period or its mean radius fixes the other.

    size says which of the two `size_value` is: "period" in seconds or "radius" in metres.
    argument_of_latitude_rad is that of slot 0 at the epoch; slot k is 2*pi*k/slots ahead of it.
    """

    size: RingSize
    size_value: float
    inclination_rad: float
    raan_rad: float
    slots: int
    argument_of_latitude_rad: float


@dataclass(frozen=True, kw_only=True, eq=False)
class Member:
    """A relay already on the ring: on its slot exactly, or (slot None) in a state of its own."""

    name: str
    slot: int | None
    position_m: Array | None = None
    velocity_m_s: Array | None = None

    def __post_init__(self) -> None:
        if self.position_m is not None and self.velocity_m_s is not None:
            object.__setattr__(self, "position_m", frozen_array(self.position_m, (3,), "position"))
            object.__setattr__(
                self, "velocity_m_s", frozen_array(self.velocity_m_s, (3,), "velocity")
            )


@dataclass(frozen=True, kw_only=True, eq=False)
class Craft:
    """The craft that moves; position and velocity osculating at the epoch, inertial axes."""

    name: str
    slot: int
    dry_mass_kg: float
    propellant_kg: float
    position_m: Array
    velocity_m_s: Array

    def __post_init__(self) -> None:
        object.__setattr__(self, "position_m", frozen_array(self.position_m, (3,), "position"))
        object.__setattr__(self, "velocity_m_s", frozen_array(self.velocity_m_s, (3,), "velocity"))

    @property
    def mass_kg(self) -> float:
        """Dry mass and propellant together."""
        return self.dry_mass_kg + self.propellant_kg


@dataclass(frozen=True, kw_only=True, eq=False)
class Engine:
    """An engine (or the set of small thrusters) as commanded: always at full thrust."""

    name: Literal["engine", "thrusters"]
    thrust_n: float
    isp_s: float
    min_burn_s: float = 0.0
    max_burn_s: float = math.inf
    cutoff: Cutoff = "duration"


@dataclass(frozen=True, kw_only=True, eq=False)
class Errors:
    """One-sigma error sizes; zero means perfect. Shares of one, radians, SI."""

    thrust_bias: float = 0.0
    isp_bias: float = 0.0
    magnitude_proportional: float = 0.0
    magnitude_fixed_m_s: float = 0.0
    pointing_proportional_rad: float = 0.0
    pointing_fixed_m_s: float = 0.0
    ignition_time_s: float = 0.0
    initial_position_m: float = 0.0
    initial_velocity_m_s: float = 0.0
    navigation_position_m: float = 0.0
    navigation_velocity_m_s: float = 0.0
    missed_burn: float = 0.0
    accelerometer_scale: float = 0.0


@dataclass(frozen=True, kw_only=True, eq=False)
class Operations:
    """How the flight team works. Exactly one of settle_s and settle_revolutions is not None."""

    replan: Replan = "never"
    max_trims: int = 0
    settle_s: float | None = None
    settle_revolutions: float | None = 1.0


@dataclass(frozen=True, kw_only=True, eq=False)
class DispersionAim:
    """What `[dispersion]` asks for. At most one of the margins, a share of Δv or a Δv, is not 0."""

    samples: int = 1000
    success: float = 0.99
    confidence: float = 0.9
    margin_share: float = 0.0
    margin_m_s: float = 0.0


@dataclass(frozen=True, kw_only=True, eq=False)
class Tolerance:
    """What is aimed at and judged; None is neither."""

    phase_rad: float | None = None
    period_s: float | None = None
    eccentricity: float | None = None
    plane_rad: float | None = None


@dataclass(frozen=True, kw_only=True, eq=False)
class Limits:
    """Constraints of the search and of the flight; infinity where the case is silent."""

    duration_s: float = math.inf
    dv_m_s: float = math.inf
    min_altitude_m: float = 0.0
    max_radius_m: float = math.inf
    separation_m: float = 0.0


@dataclass(frozen=True, kw_only=True, eq=False)
class Case:
    """Everything a planner and a flight need to know. epoch is the file's TDB text, or None."""

    title: str
    epoch: str | None
    body: Body
    forces: tuple[Force, ...]
    ring: Ring
    members: tuple[Member, ...]
    craft: Craft
    engine: Engine
    thrusters: Engine | None
    errors: Errors
    operations: Operations
    dispersion: DispersionAim
    tolerance: Tolerance
    limits: Limits
    network: NetworkAim = field(default_factory=NetworkAim)
    hold: HoldAim = field(default_factory=HoldAim)
    sky: Sky | None = None
    path: str = ""
    inputs_sha256: str = ""
