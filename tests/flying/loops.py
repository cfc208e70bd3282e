"""What the tests of closed-loop flights share: an invented relay about Mars, and test doubles."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Iterator
from functools import cache
from typing import Any

import numpy as np

from simcheck.engines.choosing import fast_propagator
from simcheck.engines.gravity import gravity_of
from simcheck.errors import NoPlanError
from simcheck.flying.arcs import Flown
from simcheck.flying.draws import Draws, perfect
from simcheck.flying.operating import Site, Team, operate
from simcheck.flying.team import Choice, Situation, stepwise
from simcheck.measuring import RingMotion, relay_state, resolve_ring
from simcheck.planning.planner import plan_ring
from simcheck.planning.registry import Planner
from simcheck.records.case import Case, Engine, Errors, Member, Operations
from simcheck.records.estimate import Estimate
from simcheck.records.plan import Plan
from simcheck.records.wish import Wish
from tests.cases_for_tests import MARS, case, orbit

PERFECT = Errors()
REALISTIC = Errors(
    thrust_bias=0.01,
    pointing_proportional_rad=math.radians(1.0),
    navigation_position_m=50.0,
    navigation_velocity_m_s=0.005,
)
TRACKED = Operations(replan="each-burn", max_trims=6, settle_s=600.0, settle_revolutions=None)
"""Ten minutes of tracking, so that every burn is followed by a decision."""

TEAM = Team(stepwise, plan_ring)


def relay(errors: Errors = PERFECT, operations: Operations = TRACKED, **fields: Any) -> Case:
    """A relay about Mars, from near a ring of 12 h to its slot 3, with J2; invented."""
    made = case(
        start=orbit(MARS, 11500.0, 12300.0, 33.0, 61.0, 20.0, 100.0),
        forces=("j2",),
        slot=3,
        members=(Member(name="R1", slot=0),),
        thrusters=Engine(name="thrusters", thrust_n=8.0, isp_s=220.0, min_burn_s=0.05),
        propellant_kg=130.0,
        days=25.0,
    )
    return dataclasses.replace(made, errors=errors, operations=operations, **fields)


@cache
def relay_plan() -> Plan:
    """The planner's plan for it, made once: three burns, 91 m/s."""
    return plan_ring(relay())


def near_slot(behind_deg: float, *, faster: float = 0.0, time: float = 0.0) -> np.ndarray:
    """A state (7,) at `time` of a craft that far behind slot 3; its speed then raised a little."""
    c, motion = relay(), ring_of(relay())
    p = fast_propagator(gravity_of(c))
    behind = dataclasses.replace(
        c.ring,
        argument_of_latitude_rad=c.ring.argument_of_latitude_rad - math.radians(behind_deg),
    )
    y = np.append(relay_state(motion._replace(ring=behind), p, 3), 400.0)
    y = p.advance(0.0, y, time).state
    y[3:6] *= 1 + faster
    return y


def ring_of(c: Case) -> RingMotion:
    """How the slots of a case's ring move."""
    return resolve_ring(c.ring, fast_propagator(gravity_of(c)))


def estimate_of(y: np.ndarray, time: float = 0.0, **fields: Any) -> Estimate:
    """A state (7,) as a tracking solution."""
    made = Estimate(time_s=time, position_m=y[:3], velocity_m_s=y[3:6], source="a test")
    return dataclasses.replace(made, **fields)


def situation(
    y: np.ndarray,
    plan: Plan,
    *,
    errors: Errors = PERFECT,
    time: float = 0.0,
    **fields: Any,
) -> Situation:
    """What a team knows that believes the state (7,), flying `plan`."""
    c = relay(errors)
    made = Situation(
        case=c,
        motion=ring_of(c),
        propagator=fast_propagator(gravity_of(c)),
        estimate=estimate_of(y, time, mass_kg=float(y[6])),
        plan=plan,
        remaining=plan.commands,
        spent_m_s=0.0,
        trims_left=6,
        flown=(),
    )
    return made._replace(**fields)


def fly_by_hand(c: Case, draws: Draws, team: Team | None = TEAM, plan: Plan | None = None) -> Flown:
    """The operation alone, with draws made by hand."""
    p = fast_propagator(gravity_of(c))
    return operate(Site(c, p, ring_of(c), draws), plan or relay_plan(), team)


def hand(*, missed: tuple[int, ...] = (), **flight: float) -> Draws:
    """Draws of zeros but for failed ignitions, by their number, and biases: thrust, isp."""
    made = perfect(30)
    f, b = made.flight.copy(), made.burns.copy()
    for name, value in flight.items():
        f[{"thrust": 0, "isp": 1}[name]] = value
    for index in missed:
        b[index, 7] = -9.0
    return dataclasses.replace(made, flight=f, burns=b)


class Spy:
    """A policy that does as another one does and keeps what it was told and what it chose."""

    def __init__(self, policy: Any = stepwise) -> None:
        self.policy = policy
        self.told: list[Situation] = []
        self.chosen: list[Choice] = []

    def __call__(self, now: Situation, planner: Planner) -> Choice:
        self.told.append(now)
        self.chosen.append(self.policy(now, planner))
        return self.chosen[-1]


class OwnPlanner:
    """A planner that keeps what it was asked: first a plan of its own, then there is none."""

    def __init__(self, plan: Plan) -> None:
        self.plan = plan
        self.asked: list[tuple[Case, Wish]] = []

    def __call__(self, case: Case, wish: Wish) -> Plan:
        self.asked.append((case, wish))
        if len(self.asked) > 1:
            raise NoPlanError("no more of this", limit="test", excess=1.0)
        return self.plan


def always_on(now: Situation, planner: Planner) -> Choice:
    """A policy that never changes anything."""
    return Choice("fly-on", "as always", now.plan, now.remaining)


def numbers_in(thing: Any, seen: set[int] | None = None) -> Iterator[np.ndarray]:
    """Every number that can be reached from an object by fields, attributes and items, as arrays.

    Whole numbers and what a class or a module holds are left out.
    """
    seen = set() if seen is None else seen
    if isinstance(thing, float | np.floating | np.ndarray):
        yield np.ravel(thing)
        return
    if id(thing) in seen or isinstance(thing, str | bytes | int | type | None):
        return
    seen.add(id(thing))
    parts = list(thing.values()) if isinstance(thing, dict) else []
    parts += list(thing) if isinstance(thing, list | tuple | set | frozenset) else []
    parts += list(vars(thing).values()) if hasattr(thing, "__dict__") else []
    for part in parts:
        yield from numbers_in(part, seen)
