"""What the flights' tests share: an invented case about Mars, and plans made by hand."""

from __future__ import annotations

import dataclasses
import math
from typing import Any

import numpy as np

from simcheck.engines.base import G0
from simcheck.records.case import (
    Body,
    Case,
    Craft,
    DispersionAim,
    Engine,
    Errors,
    Limits,
    Member,
    Operations,
    Ring,
    Tolerance,
)
from simcheck.records.flight import Flight
from simcheck.records.plan import Command, Plan, State
from tests.engines.bench import MARS, state

ENGINE = Engine(name="engine", thrust_n=400.0, isp_s=318.0)
START = state(1.4, 0.3, 0.7, nu=2.0, mass=510.0)
"""A craft on an ellipse of 1.4 by 2.6 radii; its next apoapsis is some 3000 s away."""


def case(start: np.ndarray = START, *, propellant: float = 200.0, **fields: Any) -> Case:
    """A case in which the start state is flown; any field may be replaced."""
    made = Case(
        title="An invented ring about Mars",
        epoch=None,
        body=Body(
            name="Mars", gm_m3_s2=MARS.gm, radius_m=MARS.radius, j2=MARS.j2, j3=MARS.j3, j4=MARS.j4
        ),
        forces=("j2", "j3", "j4"),
        ring=Ring(
            size="radius",
            size_value=2.5 * MARS.radius,
            inclination_rad=0.7,
            raan_rad=1.0,
            slots=4,
            argument_of_latitude_rad=0.2,
        ),
        members=(Member(name="R1", slot=0), Member(name="R2", slot=1)),
        craft=Craft(
            name="R4",
            slot=3,
            dry_mass_kg=float(start[6]) - propellant,
            propellant_kg=propellant,
            position_m=start[:3],
            velocity_m_s=start[3:6],
        ),
        engine=ENGINE,
        thrusters=None,
        errors=Errors(),
        operations=Operations(),
        dispersion=DispersionAim(),
        tolerance=Tolerance(phase_rad=math.radians(0.5), period_s=5.0),
        limits=Limits(),
    )
    return dataclasses.replace(made, **fields)


def command(
    ignition: float = 2000.0, dv: float = 50.0, mass: float = 510.0, **fields: Any
) -> Command:
    """A burn along the track unless said otherwise; mass is what it is timed for."""
    exhaust = G0 * ENGINE.isp_s
    made = Command(
        burn="B1",
        engine="engine",
        ignition_s=ignition,
        duration_s=-mass * math.expm1(-dv / exhaust) * exhaust / ENGINE.thrust_n,
        steering="rsw",
        direction=np.array([0.0, 1.0, 0.0]),
        dv_m_s=dv,
        cutoff="duration",
    )
    return dataclasses.replace(made, **fields)


def plan(*commands: Command) -> Plan:
    """A plan that is nothing but its commands."""
    return Plan(
        planner="hand",
        summary="made by hand",
        burns=(),
        total_dv_m_s=sum(c.dv_m_s for c in commands),
        arrival_time_s=0.0,
        arrival_state=State(position_m=START[:3], velocity_m_s=START[3:6]),
        lower_bound_dv_m_s=None,
        alternatives=(),
        commands=commands,
        commanded_dv_m_s=sum(c.dv_m_s for c in commands),
    )


def burns(flight: Flight) -> list[Any]:
    """The arcs that were burns."""
    return [arc for arc in flight.arcs if arc.kind == "burn"]


def same(a: Any, b: Any) -> bool:
    """Whether two records are equal bit for bit, NaNs and arrays included."""
    if dataclasses.is_dataclass(a):
        names = [f.name for f in dataclasses.fields(a)]
        return type(a) is type(b) and all(same(getattr(a, n), getattr(b, n)) for n in names)
    if isinstance(a, tuple):
        return len(a) == len(b) and all(same(x, y) for x, y in zip(a, b, strict=True))
    if isinstance(a, np.ndarray | float):
        return np.asarray(a).tobytes() == np.asarray(b).tobytes()
    return bool(a == b)
