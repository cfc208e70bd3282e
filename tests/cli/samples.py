"""Hand-made records: a case, a plan and a flight that fit together, as short as can be.

The numbers are invented; they need not be a good plan, only one that every output can show.
"""

from __future__ import annotations

import dataclasses
import math
from typing import Any, TypeVar

import numpy as np
from hypothesis import strategies as st

from simcheck.engines.base import G0
from simcheck.engines.gravity import gravity_of
from simcheck.measuring import RingMotion
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
from simcheck.records.flight import Arc, Flight, FlownErrors, MassState, Neighbour
from simcheck.records.plan import Alternative, Burn, Command, Plan, State, Watch

T = TypeVar("T")

RADIUS_M = 12_652_306.0
PERIOD_S = 43_200.0
SPEED_M_S = 1840.0


def changed(record: T, **fields: Any) -> T:
    """A copy of a record with other fields."""
    return dataclasses.replace(record, **fields)  # type: ignore[type-var]


def case(**fields: Any) -> Case:
    made = Case(
        title="A fourth relay for the ring",
        epoch="2031-04-12T06:00:00",
        body=Body(
            name="Mars",
            gm_m3_s2=4.282837e13,
            radius_m=3_396_190.0,
            j2=1.9566e-3,
            sources={"gm": "invented for a test", "j2": "invented for a test"},
        ),
        forces=("j2",),
        ring=Ring(
            size="period",
            size_value=PERIOD_S,
            inclination_rad=math.radians(35.0),
            raan_rad=math.radians(60.0),
            slots=4,
            argument_of_latitude_rad=math.radians(10.0),
        ),
        members=(Member(name="R1", slot=0), Member(name="R2", slot=1)),
        craft=Craft(
            name="R4",
            slot=3,
            dry_mass_kg=310.0,
            propellant_kg=200.0,
            position_m=np.array([4e6, 1e6, 2e6]),
            velocity_m_s=np.array([-500.0, 3000.0, 900.0]),
        ),
        engine=Engine(name="engine", thrust_n=400.0, isp_s=318.0),
        thrusters=Engine(name="thrusters", thrust_n=8.0, isp_s=220.0),
        errors=Errors(),
        operations=Operations(),
        dispersion=DispersionAim(),
        tolerance=Tolerance(
            phase_rad=math.radians(0.5),
            period_s=5.0,
            eccentricity=0.002,
            plane_rad=math.radians(0.1),
        ),
        limits=Limits(
            duration_s=15 * 86400.0,
            dv_m_s=1500.0,
            min_altitude_m=200e3,
            max_radius_m=60e6,
            separation_m=20e3,
        ),
        path="cases/relay.toml",
        inputs_sha256="ab" * 32,
    )
    return changed(made, **fields)


def burn(number: int, size: float, **fields: Any) -> Burn:
    made = Burn(
        label=f"B{number}",
        purpose="raise the periapsis",
        reason=f"At the apoapsis the craft is slow, so {size:.1f} m/s turn the plane too.",
        time_s=100_000.0 * number,
        position_m=np.array([RADIUS_M, 1e6, 2e6]),
        dv_m_s=np.array([0.0, size, 0.0]),
        dv_rsw_m_s=np.array([0.0, 0.6 * size, -0.8 * size]),
        magnitude_m_s=size,
    )
    return changed(made, **fields)


def command(number: int, size: float, **fields: Any) -> Command:
    made = Command(
        burn=f"B{number}",
        engine="engine",
        ignition_s=100_000.0 * number - 100.0,
        duration_s=200.0,
        steering="inertial",
        direction=np.array([0.0, 1.0, 0.0]),
        dv_m_s=size,
        cutoff="duration",
    )
    return changed(made, **fields)


def plan(**fields: Any) -> Plan:
    made = Plan(
        planner="ring",
        summary="two burns over three revolutions",
        burns=(burn(1, 500.0), burn(2, 300.0)),
        total_dv_m_s=800.0,
        arrival_time_s=250_000.0,
        arrival_state=State(
            position_m=np.array([RADIUS_M, 0.0, 0.0]),
            velocity_m_s=np.array([0.0, SPEED_M_S, 0.0]),
        ),
        lower_bound_dv_m_s=790.0,
        alternatives=(
            Alternative(
                summary="one revolution fewer",
                burns=2,
                total_dv_m_s=850.0,
                arrival_time_s=200_000.0,
                why_not="costs 50 m/s more and comes 13.9 h sooner",
            ),
        ),
        commands=(
            command(1, 501.0),
            command(
                2,
                301.0,
                engine="thrusters",
                steering="rsw",
                cutoff="orbit",
                watch=Watch(quantity="tilt", target=0.1, direction=np.array([0.0, 0.0, 1.0])),
            ),
        ),
        commanded_dv_m_s=802.0,
    )
    return changed(made, **fields)


def mass_state(mass_kg: float) -> MassState:
    return MassState(
        position_m=np.array([RADIUS_M, 0.0, 0.0]),
        velocity_m_s=np.array([0.0, SPEED_M_S, 0.0]),
        mass_kg=mass_kg,
    )


def flight(**fields: Any) -> Flight:
    full, after = 510.0, 510.0 * math.exp(-802.0 / (G0 * 318.0))
    coast = Arc(
        kind="coast",
        burn=None,
        start_s=0.0,
        end_s=99_900.0,
        thrust_n=0.0,
        isp_s=0.0,
        steering=None,
        direction=None,
        start=mass_state(full),
        end=mass_state(full),
    )
    thrusting = Arc(
        kind="burn",
        burn="B1",
        start_s=99_900.0,
        end_s=100_100.0,
        thrust_n=400.0,
        isp_s=318.0,
        steering="inertial",
        direction=np.array([0.0, 1.0, 0.0]),
        start=mass_state(full),
        end=mass_state(after),
        dv_m_s=802.0,
        ended="duration",
    )
    made = Flight(
        outcome="flown",
        arcs=(coast, thrusting),
        errors=FlownErrors(phase_deg=-0.01, period_s=0.2, eccentricity=1e-4, plane_deg=0.004),
        neighbours=(Neighbour(name="R1", spacing_deg=-90.0, phase_deg=-90.01),),
        drift_deg_day=0.002,
        holds_days=250.0,
        dv_used_m_s=802.0,
        propellant_used_kg=full - after,
        arrival_time_s=250_000.0,
        lowest_altitude_m=450e3,
        largest_radius_m=13e6,
        closest_approach_m=900e3,
        closest_member="R1",
        events=("ignition of B1 was 0.2 s late",),
        seed=None,
        sample=None,
        engine_disagreement_m=0.02,
        propagator="taylor",
    )
    return changed(made, **fields)


JSON = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats(allow_nan=False) | st.text(max_size=5),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=5), inner),
    max_leaves=10,
)


def alter(document: Any, data: st.DataObject) -> None:
    """Put any JSON value in place of any part of a document."""
    place, key = document, data.draw(st.sampled_from(sorted(document)))
    while isinstance(place[key], dict | list) and place[key] and data.draw(st.booleans()):
        place = place[key]
        keys = range(len(place)) if isinstance(place, list) else sorted(place)
        key = data.draw(st.sampled_from(keys))
    place[key] = data.draw(st.floats(allow_nan=False, allow_infinity=False) | JSON)


def ring(case: Case) -> RingMotion:
    """A ring's motion without its iteration, which no output depends on."""
    assert gravity_of(case).j2 >= 0.0
    return RingMotion(case.ring, RADIUS_M, PERIOD_S, -2.5e-8)


def no_orbit() -> FlownErrors:
    """The errors of a flight that ended on no closed orbit."""
    nan = math.nan
    return FlownErrors(phase_deg=nan, period_s=nan, eccentricity=nan, plane_deg=nan)
