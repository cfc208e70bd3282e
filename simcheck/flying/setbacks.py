"""What if: each burn of a plan missed, or cut off halfway, and what it takes to recover.

Perfect knowledge and perfect burns otherwise. The team notices after the tracking that its
operations ask for, then asks the planner, which looks in closed form only, so that a table of a
dozen cases takes seconds: what a recovery costs here, a patient search may do a little cheaper.
"""

from __future__ import annotations

import math
from concurrent.futures import Executor
from typing import NamedTuple

import numpy as np

from simcheck.arrays import Array
from simcheck.engines.base import Propagator, Thrust
from simcheck.engines.choosing import fast_propagator
from simcheck.engines.gravity import gravity_of
from simcheck.errors import FlightError, NoPlanError, PlannerError
from simcheck.kernels.transfers import period_of
from simcheck.measuring import RingMotion, resolve_ring
from simcheck.planning.later import left_of, seen_from
from simcheck.planning.registry import Planner
from simcheck.records.case import Case, Engine
from simcheck.records.estimate import Estimate
from simcheck.records.plan import Command, Plan
from simcheck.records.setback import Setback
from simcheck.records.wish import Wish

LOSSES = (1.0, 0.5)
"""Shares of a burn that are lost."""

_DAY = 86400.0
_QUICK = 0  # effort: closed forms only


class _Scene(NamedTuple):
    case: Case
    plan: Plan
    planner: Planner
    propagator: Propagator
    motion: RingMotion


class _Way(NamedTuple):
    """How far a flight has come: time, state (7,) and the Δv spent, m/s."""

    time: float
    state: Array
    spent: float


def setbacks(
    case: Case, plan: Plan, planner: Planner, executor: Executor | None = None
) -> tuple[Setback, ...]:
    """For each burn of the plan, what losing all or half of it takes to recover from.

    executor, where given, works them out side by side; the answer does not depend on it.
    """
    propagator = fast_propagator(gravity_of(case))
    scene = _Scene(case, plan, planner, propagator, resolve_ring(case.ring, propagator))
    craft = case.craft
    state = np.concatenate([craft.position_m, craft.velocity_m_s, [craft.mass_kg]])
    way, cases = _Way(0.0, state, 0.0), list[_Loss]()
    for index, command in enumerate(plan.commands):
        cases += [_Loss(scene, index, lost, way) for lost in LOSSES]
        way = _burnt(scene, command, 1.0, way)
    if executor is None:
        return tuple(map(_recovery, cases))
    return tuple(executor.map(_recovery, cases))


def _burnt(scene: _Scene, command: Command, share: float, way: _Way) -> _Way:
    """The way after coasting to a burn and making a share of it."""
    light = max(command.ignition_s, way.time)
    state = scene.propagator.advance(way.time, way.state, light).state
    if share <= 0:
        return _Way(light, state, way.spent)
    engine = _engine(scene.case, command)
    thrust = Thrust(
        thrust_n=engine.thrust_n,
        isp_s=engine.isp_s,
        steering=command.steering,
        direction=command.direction,
    )
    end = light + share * command.duration_s
    after = scene.propagator.advance(light, state, end, thrust).state
    return _Way(end, after, way.spent + thrust.exhaust_m_s * math.log(state[6] / after[6]))


def _engine(case: Case, command: Command) -> Engine:
    engine = case.thrusters if command.engine == "thrusters" else case.engine
    if engine is None:
        raise FlightError(f"{command.burn} asks for thrusters; the case has none")
    return engine


class _Loss(NamedTuple):
    """What is lost where: burn `index` of the scene's plan, the way up to it flown as planned."""

    scene: _Scene
    burn: int
    lost: float
    way: _Way


def _recovery(loss: _Loss) -> Setback:
    """Lose a share of a burn, track, and ask the planner."""
    scene, index, lost, way = loss
    case, plan = scene.case, scene.plan
    label = plan.commands[index].burn
    way = _burnt(scene, plan.commands[index], 1.0 - lost, way)
    rest = plan.commands[index + 1 :]
    known = way.time + _settling(scene, way.state)
    while lost < 1.0 and rest and rest[0].ignition_s < known:  # not noticed in time: flown as it is
        way, rest = _burnt(scene, rest[0], 1.0, way), rest[1:]
        known = way.time + _settling(scene, way.state)
    state = scene.propagator.advance(way.time, way.state, known).state
    estimate = Estimate(
        time_s=known, position_m=state[:3], velocity_m_s=state[3:6], mass_kg=float(state[6])
    )
    later = seen_from(case, estimate, scene.motion, scene.propagator, spent_m_s=way.spent)
    due = tuple(x for x in rest if x.ignition_s >= known) if lost < 1.0 else ()
    try:
        fresh = scene.planner(later, Wish(effort=_QUICK, flying=left_of(plan, due, known)))
    except (NoPlanError, FlightError, PlannerError) as none:
        how = none.in_a_line if isinstance(none, PlannerError) else str(none)
        return Setback(
            burn=label, lost=lost, recovered=False, dv_m_s=math.nan, days=math.nan, how=how
        )
    return Setback(
        burn=label,
        lost=lost,
        recovered=True,
        dv_m_s=way.spent + fresh.commanded_dv_m_s - plan.commanded_dv_m_s,
        days=(known + fresh.arrival_time_s - plan.arrival_time_s) / _DAY,
        how=fresh.summary,
    )


def _settling(scene: _Scene, state: Array) -> float:
    operations = scene.case.operations
    if operations.settle_s is not None:
        return operations.settle_s
    period = float(period_of(state[:3], state[3:6], scene.propagator.gravity.gm))
    whole = period if math.isfinite(period) else scene.motion.period_s
    return (operations.settle_revolutions or 0.0) * whole
