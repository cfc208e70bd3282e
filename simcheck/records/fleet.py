"""Several craft for one ring: who they are, who goes to which slot, and what comes of it."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal, TypeAlias

from simcheck.arrays import Array, frozen_array
from simcheck.records.case import Case, Craft, Engine
from simcheck.records.flight import Flight, Verdict
from simcheck.records.plan import Plan

Minimise: TypeAlias = Literal["total-dv", "largest-share", "time"]
RingAngle: TypeAlias = Literal["fixed", "free"]
MINIMISE: tuple[Minimise, ...] = ("total-dv", "largest-share", "time")

Knowledge: TypeAlias = Literal["planned", "estimated", "bounded", "no plan", "not its slot"]


@dataclass(frozen=True, kw_only=True, eq=False)
class FleetCraft:
    """One craft of several; slot is the one that it must take, None where any open one will do."""

    name: str
    slot: int | None
    dry_mass_kg: float
    propellant_kg: float
    position_m: Array
    velocity_m_s: Array
    engine: Engine
    thrusters: Engine | None

    def __post_init__(self) -> None:
        object.__setattr__(self, "position_m", frozen_array(self.position_m, (3,), "position"))
        object.__setattr__(self, "velocity_m_s", frozen_array(self.velocity_m_s, (3,), "velocity"))

    def bound_for(self, slot: int) -> Craft:
        """The craft on its way to a slot."""
        return Craft(
            name=self.name,
            slot=slot,
            dry_mass_kg=self.dry_mass_kg,
            propellant_kg=self.propellant_kg,
            position_m=self.position_m,
            velocity_m_s=self.velocity_m_s,
        )


@dataclass(frozen=True, kw_only=True, eq=False)
class AssignAim:
    """What `[assign]` asks for.

    minimise is what the assignment makes least: the craft's Δv together, the largest share of its
    propellant that any craft uses, or the time until the last arrives. ring_angle "free" leaves the
    argument of latitude of slot 0 to the assignment.
    """

    minimise: Minimise = "total-dv"
    ring_angle: RingAngle = "fixed"


@dataclass(frozen=True, kw_only=True, eq=False)
class Fleet:
    """Several craft and the case that they share, whose own craft stands for any of them."""

    base: Case
    craft: tuple[FleetCraft, ...]
    aim: AssignAim = AssignAim()

    @property
    def open_slots(self) -> tuple[int, ...]:
        """Slots that no member holds."""
        held = {member.slot for member in self.base.members}
        return tuple(slot for slot in range(self.base.ring.slots) if slot not in held)

    def allowed(self, index: int) -> tuple[int, ...]:
        """Slots that a craft may take: its own, or the open ones that are nobody's own."""
        own = self.craft[index].slot
        if own is not None:
            return (own,)
        taken = {craft.slot for craft in self.craft}
        return tuple(slot for slot in self.open_slots if slot not in taken)

    def case(self, index: int, slot: int, argument_of_latitude_rad: float | None = None) -> Case:
        """The case of one craft on its way to a slot, with slot 0 at that angle or the fleet's."""
        ring, craft = self.base.ring, self.craft[index]
        if argument_of_latitude_rad is not None:
            ring = replace(ring, argument_of_latitude_rad=argument_of_latitude_rad)
        return replace(
            self.base,
            ring=ring,
            craft=craft.bound_for(slot),
            engine=craft.engine,
            thrusters=craft.thrusters,
            path="",
        )


@dataclass(frozen=True, kw_only=True, eq=False)
class Pair:
    """What it costs to bring a craft to a slot, as far as it was looked at.

    dv_m_s is the sum of the plan's impulses, share what they take of the propellant on board by the
    main engine, arrival_time_s that of the last one. known says what the numbers are: of a plan
    ("planned"), of a search in closed form ("estimated"), or only what no plan can be below
    ("bounded", arrival NaN); "no plan" has its reason in why; "not its slot" was not asked.
    """

    craft: str
    slot: int
    known: Knowledge
    dv_m_s: float
    share: float
    arrival_time_s: float
    why: str = ""


@dataclass(frozen=True, kw_only=True, eq=False)
class Assigned:
    """A craft with its slot, plan, perfect flight and verdict.

    share is what the flight uses of the propellant on board. waited_s is by how much its plan was
    put off to keep clear of another craft, waited_revolutions the same in turns of its first orbit.
    """

    craft: str
    slot: int
    share: float
    waited_s: float
    waited_revolutions: int
    plan: Plan
    flight: Flight
    verdict: Verdict


@dataclass(frozen=True, kw_only=True, eq=False)
class RunnerUp:
    """The next best assignment: whose slots differ, what it comes to, and what it costs more.

    firm: all of its pairs are planned, none is an estimate.
    """

    slots: dict[str, int]
    value: float
    more: float
    last_arrival_s: float
    firm: bool


@dataclass(frozen=True, kw_only=True, eq=False)
class Approach:
    """How close two craft come to each other, until the last craft has arrived."""

    one: str
    other: str
    distance_m: float
    time_s: float
    kept: bool


@dataclass(frozen=True, kw_only=True, eq=False)
class Angle:
    """An angle of slot 0 that was tried, and what the best assignment there is estimated at."""

    argument_of_latitude_deg: float
    value: float
    mean_arrival_s: float


@dataclass(frozen=True, kw_only=True, eq=False)
class Assignment:
    """Who goes where, and what comes of it.

    value is what was made least, in the unit of its name (m/s, a share, s), of the plans as first
    made; bound what no assignment can be below. order lists the craft as they arrive. angles are
    those tried where the ring's angle was free.
    """

    minimise: Minimise
    ring_angle: RingAngle
    argument_of_latitude_deg: float
    planner: str
    value: float
    bound: float
    total_dv_m_s: float
    largest_share: float
    last_arrival_s: float
    order: tuple[str, ...]
    assigned: tuple[Assigned, ...]
    pairs: tuple[Pair, ...]
    runner_up: RunnerUp | None
    approaches: tuple[Approach, ...]
    separation_m: float
    angles: tuple[Angle, ...]
    verdict: Literal["within", "outside"]
    findings: tuple[str, ...]
