"""A plan: impulses in two-body motion, and the commands that stand for them with real engines."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, TypeAlias

from simcheck.arrays import Array, frozen_array
from simcheck.records.case import Cutoff

Steering: TypeAlias = Literal["inertial", "rsw"]
Quantity: TypeAlias = Literal["period_s", "apsis_radius_m", "tilt"]
Optimality: TypeAlias = Literal["local optimum", "not a local optimum"]


@dataclass(frozen=True, kw_only=True, eq=False)
class Burn:
    """One impulse of the plan, two-body motion, inertial axes, seconds from the epoch.

    purpose is a short fixed word for what it does; reason the sentence with numbers.
    """

    label: str
    purpose: str
    reason: str
    time_s: float
    position_m: Array
    dv_m_s: Array
    dv_rsw_m_s: Array
    magnitude_m_s: float

    def __post_init__(self) -> None:
        for name in ("position_m", "dv_m_s", "dv_rsw_m_s"):
            object.__setattr__(self, name, frozen_array(getattr(self, name), (3,), name))


@dataclass(frozen=True, kw_only=True, eq=False)
class Watch:
    """What ends a burn with cutoff "orbit": quantity reaches target, or 1.25 times its duration.

    "tilt" is the sine of the angle by which the orbit normal has turned towards `direction`.
    """

    quantity: Quantity
    target: float
    direction: Array | None = None

    def __post_init__(self) -> None:
        if self.direction is not None:
            object.__setattr__(self, "direction", frozen_array(self.direction, (3,), "direction"))


@dataclass(frozen=True, kw_only=True, eq=False)
class Command:
    """What is commanded for a burn: direction is a unit vector in the axes of `steering`.

    burn is the label of the plan's burn; dv_m_s what a perfect engine delivers in duration_s.
    """

    burn: str
    engine: Literal["engine", "thrusters"]
    ignition_s: float
    duration_s: float
    steering: Steering
    direction: Array
    dv_m_s: float
    cutoff: Cutoff
    watch: Watch | None = None

    def __post_init__(self) -> None:
        object.__setattr__(self, "direction", frozen_array(self.direction, (3,), "direction"))


@dataclass(frozen=True, kw_only=True, eq=False)
class State:
    """A position and velocity, inertial axes."""

    position_m: Array
    velocity_m_s: Array

    def __post_init__(self) -> None:
        object.__setattr__(self, "position_m", frozen_array(self.position_m, (3,), "position"))
        object.__setattr__(self, "velocity_m_s", frozen_array(self.velocity_m_s, (3,), "velocity"))


@dataclass(frozen=True, kw_only=True, eq=False)
class Alternative:
    """Another plan that was costed: what it would do, and why it was not chosen."""

    summary: str
    burns: int
    total_dv_m_s: float
    arrival_time_s: float
    why_not: str


@dataclass(frozen=True, kw_only=True, eq=False)
class Primer:
    """The plan against Lawden's conditions for a local optimum, for its own arrival time.

    verdict says whether they hold, why in words with numbers. at_burns are the primer's lengths at
    the burns (one each, where a burn is not held by a limit); largest_between the largest length at
    any other time, reached at largest_time_s; miss by how much the conditions at the burns fail.
    time_s and length (m,) are the history.
    """

    verdict: Optimality
    why: str
    at_burns: Array
    largest_between: float
    largest_time_s: float
    miss: float
    time_s: Array
    length: Array

    def __post_init__(self) -> None:
        for name in ("at_burns", "time_s", "length"):
            object.__setattr__(self, name, frozen_array(getattr(self, name), (None,), name))


@dataclass(frozen=True, kw_only=True, eq=False)
class Plan:
    """The burns in order. lower_bound_dv_m_s is the time-open, phase-free two-body minimum.

    total_dv_m_s sums the impulses; commanded_dv_m_s what the commands deliver when nothing fails,
    finite-burn losses included. planner names who made it; primer is None where a planner gives no
    proof or the plan has no burn. warnings say in words what whoever flies it must know beforehand,
    such as where a plan from a message parts from the case.
    """

    planner: str
    summary: str
    burns: tuple[Burn, ...]
    total_dv_m_s: float
    arrival_time_s: float
    arrival_state: State
    lower_bound_dv_m_s: float | None
    alternatives: tuple[Alternative, ...]
    commands: tuple[Command, ...]
    commanded_dv_m_s: float
    primer: Primer | None = None
    warnings: tuple[str, ...] = ()
