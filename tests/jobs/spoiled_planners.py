"""Our planner with a bug put in on purpose, a planner each, for `--planner NAME`.

A bug in commands leaves the plan's own numbers as they are: only the flight can tell. A bug in what
the planner reads makes a good plan for another case.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace

import numpy as np

from simcheck.arrays import Array
from simcheck.flying.mission import fly_plan
from simcheck.kernels.vectors import rsw_frame
from simcheck.planning.planner import plan_ring
from simcheck.records.case import Case
from simcheck.records.flight import Arc
from simcheck.records.plan import Plan
from simcheck.records.wish import Wish

Turned = Callable[[Array, Arc], Array]

_PLANS: dict[str, tuple[Plan, tuple[Arc, ...]]] = {}


def _planned(case: Case) -> tuple[Plan, tuple[Arc, ...]]:
    """The good plan and its burns as flown, made once for all bugs."""
    if case.title not in _PLANS:
        plan = plan_ring(case)
        flight = fly_plan(case, plan, reference=False)
        _PLANS[case.title] = plan, tuple(arc for arc in flight.arcs if arc.kind == "burn")
    return _PLANS[case.title]


def _turned(case: Case, axis: int, which: Callable[[list[float]], int]) -> Plan:
    """The plan with one burn's part along an RSW axis the other way round."""
    plan, burns = _planned(case)
    frames = [rsw_frame(arc.start.position_m, arc.start.velocity_m_s) for arc in burns]
    parts = []
    for command, frame in zip(plan.commands, frames, strict=True):
        local = command.steering == "rsw"
        parts.append(command.direction if local else frame @ command.direction)
    sizes = [
        abs(float(part[axis])) * command.dv_m_s
        for part, command in zip(parts, plan.commands, strict=True)
    ]
    index = which(sizes)
    mirrored = parts[index] * np.where(np.arange(3) == axis, -1.0, 1.0)
    command = plan.commands[index]
    direction = mirrored if command.steering == "rsw" else frames[index].T @ mirrored
    commands = list(plan.commands)
    commands[index] = replace(command, direction=direction)
    return replace(plan, commands=tuple(commands))


def swapped_node(case: Case, wish: Wish) -> Plan:
    """Takes a descending node for the ascending one: the plane is turned the wrong way."""
    return _turned(case, 2, lambda sizes: int(np.argmax(sizes)))


def wrong_sign(case: Case, wish: Wish) -> Plan:
    """Starts the way to the slot with the along-track burn of the opposite sign."""
    return _turned(case, 1, lambda sizes: 0)


def period_off(case: Case, wish: Wish) -> Plan:
    """Aims at a ring whose period is 1 % longer."""
    ring = case.ring
    power = 1.0 if ring.size == "period" else 2.0 / 3.0  # Kepler's third law
    aimed = replace(ring, size_value=ring.size_value * 1.01**power)
    return plan_ring(replace(case, ring=aimed), wish)


def degrees(case: Case, wish: Wish) -> Plan:
    """Reads the ring's argument of latitude and node in degrees as if they were in radians."""
    ring = case.ring
    aimed = replace(
        ring,
        argument_of_latitude_rad=math.degrees(ring.argument_of_latitude_rad),
        raan_rad=math.degrees(ring.raan_rad)
        if ring.argument_of_latitude_rad == 0.0
        else ring.raan_rad,
    )
    return plan_ring(replace(case, ring=aimed), wish)


def lazy(case: Case, wish: Wish) -> Plan:
    """No longer optimises: the plans arrive, but cost more."""
    return plan_ring(case, replace(wish, effort=0))


def late(case: Case, wish: Wish) -> Plan:
    """Dates every burn by a clock that is 100 s slow."""
    plan, _ = _planned(case)
    return replace(
        plan, commands=tuple(replace(x, ignition_s=x.ignition_s + 100.0) for x in plan.commands)
    )
