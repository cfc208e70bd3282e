"""A flight as flown, and the verdict on it."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal, TypeAlias

from simcheck.arrays import Array, frozen_array
from simcheck.records.plan import Steering

ArcKind: TypeAlias = Literal["coast", "burn"]
Action: TypeAlias = Literal["fly-on", "re-aim", "replan", "trim", "stop", "give-up"]
ApproachKind: TypeAlias = Literal["minimum", "start", "end"]
Outcome: TypeAlias = Literal["flown", "out-of-propellant", "hit-the-body", "left-the-body"]

NEAR = 10.0
"""Times the separation asked for within which every approach of a flight is listed."""


@dataclass(frozen=True, kw_only=True, eq=False)
class MassState:
    """Position, velocity and mass at one end of an arc, inertial axes."""

    position_m: Array
    velocity_m_s: Array
    mass_kg: float

    def __post_init__(self) -> None:
        object.__setattr__(self, "position_m", frozen_array(self.position_m, (3,), "position"))
        object.__setattr__(self, "velocity_m_s", frozen_array(self.velocity_m_s, (3,), "velocity"))


@dataclass(frozen=True, kw_only=True, eq=False)
class Arc:
    """A coast or a burn between two ignitions or cutoffs; thrust and direction as flown.

    direction is a unit vector in inertial axes, or in RSW turning with the craft; None in a coast.
    ended tells what ended a burn: its duration, its velocity, its orbit, or an empty tank.
    """

    kind: ArcKind
    burn: str | None
    start_s: float
    end_s: float
    thrust_n: float
    isp_s: float
    steering: Steering | None
    direction: Array | None
    start: MassState
    end: MassState
    dv_m_s: float = 0.0
    ended: str | None = None

    def __post_init__(self) -> None:
        if self.direction is not None:
            object.__setattr__(self, "direction", frozen_array(self.direction, (3,), "direction"))


@dataclass(frozen=True, kw_only=True, eq=False)
class Neighbour:
    """A member against the craft at the end of the flight: nominal and flown angle, degrees."""

    name: str
    spacing_deg: float
    phase_deg: float


@dataclass(frozen=True, kw_only=True, eq=False)
class Approach:
    """A close approach: a minimum of the distance to a member, and the arc in which it falls.

    kind is "start" or "end" where the flight begins with a distance that grows, or ends with one
    that falls. arc counts the flight's arcs from 0. relative_rsw_m is where the craft is seen from
    the member, in the member's RSW.
    """

    member: str
    kind: ApproachKind
    arc: int
    time_s: float
    distance_m: float
    relative_speed_m_s: float
    relative_rsw_m: Array

    def __post_init__(self) -> None:
        object.__setattr__(self, "relative_rsw_m", frozen_array(self.relative_rsw_m, (3,), "place"))


@dataclass(frozen=True, kw_only=True, eq=False)
class FlownErrors:
    """The four errors against the slot at the end of the flight; NaN where there is no orbit."""

    phase_deg: float
    period_s: float
    eccentricity: float
    plane_deg: float


@dataclass(frozen=True, kw_only=True, eq=False)
class Components:
    """The two errors that are lengths by their signed parts in the ring frame; NaN if no orbit.

    eccentricity_k and eccentricity_h are the averaged eccentricity vector along the ring's node and
    90 degrees past it; plane_x_deg and plane_y_deg how far the orbit's normal leans that way.
    """

    eccentricity_k: float = math.nan
    eccentricity_h: float = math.nan
    plane_x_deg: float = math.nan
    plane_y_deg: float = math.nan


@dataclass(frozen=True, kw_only=True, eq=False)
class Decision:
    """What the flight team did with one estimate, and what it could not know beside it.

    believed are the errors at the end if the burns that were left are flown perfectly from the
    estimate; true the same from the true state. burns names the burns to fly from here, which the
    decision may have changed; dv_left_m_s is what they add up to.
    """

    time_s: float
    action: Action
    why: str
    believed: FlownErrors
    true: FlownErrors
    position_off_m: float
    velocity_off_m_s: float
    burns: tuple[str, ...]
    dv_left_m_s: float


@dataclass(frozen=True, kw_only=True, eq=False)
class Flight:
    """One flight: its arcs, the last of them the coast over which it was measured.

    outcome tells how it ended; events are findings in plain words, in order of time. extremes hold
    the lowest altitude, largest radius and closest approach with their limits' units. sample is
    None for the perfect flight. decisions are those of a flight whose team replans or trims.
    approaches are, member by member and in order of time, those nearer than NEAR times the
    separation asked for, and each member's closest.
    """

    outcome: Outcome
    arcs: tuple[Arc, ...]
    errors: FlownErrors
    neighbours: tuple[Neighbour, ...]
    drift_deg_day: float
    holds_days: float | None
    dv_used_m_s: float
    propellant_used_kg: float
    arrival_time_s: float
    lowest_altitude_m: float
    largest_radius_m: float
    closest_approach_m: float | None
    closest_member: str | None
    events: tuple[str, ...]
    seed: int | None
    sample: int | None
    engine_disagreement_m: float | None
    propagator: str
    decisions: tuple[Decision, ...] = ()
    components: Components = Components()
    approaches: tuple[Approach, ...] = ()


@dataclass(frozen=True, kw_only=True, eq=False)
class Verdict:
    """within holds, for each listed tolerance, whether it is met; kept the same for each limit.

    used is the share of each tolerance that the error uses; margins what is left of each limit, by
    its name and unit, negative where it is broken. findings say in words what is not as it should.
    """

    verdict: Literal["within", "outside"]
    within: dict[str, bool]
    kept: dict[str, bool]
    used: dict[str, float]
    margins: dict[str, float]
    findings: tuple[str, ...]
