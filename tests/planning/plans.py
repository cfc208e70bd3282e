"""A hand-made plan that any guard must let pass: two burns, exact by the rocket equation."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np

from simcheck.engines.base import G0
from simcheck.planning.burns import burn_seconds
from simcheck.records.case import Case, Engine
from simcheck.records.plan import Burn, Command, Plan, State
from tests.cases_for_tests import case

THRUSTERS = Engine(name="thrusters", thrust_n=8.0, isp_s=220.0, min_burn_s=0.05)
SIZES = (300.0, 200.0)  # m/s
TIMES = (20_000.0, 60_000.0)  # s


def sound_case(**fields: Any) -> Case:
    """A relay about Mars of 610 kg, 300 of them propellant, with thrusters; invented."""
    return replace(case(thrusters=THRUSTERS), **fields)


def sound() -> Plan:
    """Burns of 300 and 200 m/s, each with its command centred on it; it leads nowhere."""
    made = sound_case()
    mass, commands = made.craft.mass_kg, []
    for k, (size, time) in enumerate(zip(SIZES, TIMES, strict=True), start=1):
        length = burn_seconds(size, mass, made.engine)
        commands.append(
            Command(
                burn=f"B{k}",
                engine="engine",
                ignition_s=time - length / 2,
                duration_s=length,
                steering="inertial",
                direction=np.array([0.0, 1.0, 0.0]),
                dv_m_s=size,
                cutoff="duration",
            )
        )
        mass *= float(np.exp(-size / (G0 * made.engine.isp_s)))
    return Plan(
        planner="by hand",
        summary="two burns",
        burns=tuple(_burn(k) for k in range(2)),
        total_dv_m_s=sum(SIZES),
        arrival_time_s=TIMES[-1],
        arrival_state=State(position_m=made.craft.position_m, velocity_m_s=made.craft.velocity_m_s),
        lower_bound_dv_m_s=None,
        alternatives=(),
        commands=tuple(commands),
        commanded_dv_m_s=sum(SIZES),
    )


def _burn(k: int) -> Burn:
    return Burn(
        label=f"B{k + 1}",
        purpose="test",
        reason="Made by hand.",
        time_s=TIMES[k],
        position_m=np.array([1e7, 0.0, 0.0]),
        dv_m_s=np.array([0.0, SIZES[k], 0.0]),
        dv_rsw_m_s=np.array([0.0, SIZES[k], 0.0]),
        magnitude_m_s=SIZES[k],
    )


def with_burn(k: int, **fields: Any) -> Plan:
    """The plan with other fields of burn k."""
    plan = sound()
    burns = list(plan.burns)
    burns[k] = replace(burns[k], **fields)
    return replace(plan, burns=tuple(burns))


def with_command(k: int, **fields: Any) -> Plan:
    """The plan with other fields of command k."""
    plan = sound()
    commands = list(plan.commands)
    commands[k] = replace(commands[k], **fields)
    return replace(plan, commands=tuple(commands))
