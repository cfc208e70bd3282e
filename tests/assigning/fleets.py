"""Fleets for tests: a few invented craft about Mars, two-body, and cases they are made of."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from simcheck.arrays import Array
from simcheck.records.case import Member
from simcheck.records.fleet import AssignAim, Fleet, FleetCraft, Minimise, RingAngle
from tests.cases_for_tests import ENGINE, MARS, case, orbit, ring

ORBITS = {
    "Heron": (3936.0, 14696.0, 30.0, 50.0, 48.0, 130.0),
    "Curlew": (4106.0, 16296.0, 41.0, 72.0, 300.0, 20.0),
    "Egret": (5296.0, 12796.0, 33.0, 56.0, 170.0, 265.0),
    "Godwit": (4226.0, 10596.0, 36.0, 62.0, 95.0, 310.0),
}
"""Radii in km and angles in degrees, invented."""


def craft(name: str, slot: int | None = None, propellant_kg: float = 300.0) -> FleetCraft:
    position, velocity = start(name)
    return FleetCraft(
        name=name,
        slot=slot,
        dry_mass_kg=310.0,
        propellant_kg=propellant_kg,
        position_m=position,
        velocity_m_s=velocity,
        engine=ENGINE,
        thrusters=None,
    )


def start(name: str) -> tuple[Array, Array]:
    position, velocity = orbit(MARS, *ORBITS[name])
    return np.asarray(position), np.asarray(velocity)


def fleet(
    *members: FleetCraft,
    slots: int = 4,
    days: float = 1.0,
    minimise: Minimise = "total-dv",
    angle: RingAngle = "fixed",
    held: tuple[Member, ...] = (),
    separation_m: float = 0.0,
) -> Fleet:
    """A fleet of these craft for a ring of 10 h."""
    base = case(goal=ring(10.0, slots=slots), days=days, members=held, separation_m=separation_m)
    return Fleet(base=base, craft=members, aim=AssignAim(minimise=minimise, ring_angle=angle))


def at(one: FleetCraft, position: Array, velocity: Array) -> FleetCraft:
    """The craft somewhere else."""
    return replace(one, position_m=position, velocity_m_s=velocity)
