"""A burn reconstructed from states around it: against burns made by other means, and its sigmas."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from simcheck.arrays import Array
from simcheck.engines.base import G0, Thrust
from simcheck.engines.choosing import reference_propagator
from simcheck.engines.gravity import gravity_of
from simcheck.errors import InputError
from simcheck.flying.mission import fly_plan
from simcheck.flying.reconstructing import reconstruct
from simcheck.kernels.vectors import angle_between, rotation, unit
from simcheck.records.case import Case, Engine, Errors
from simcheck.records.estimate import Estimate
from simcheck.records.plan import Command, Cutoff, Plan, State, Steering
from tests.cases_for_tests import MARS, OPEN, case, orbit, ring
from tests.helpers import assert_metres_per_second

TRACKING = Errors(navigation_position_m=50.0, navigation_velocity_m_s=0.02)
IGNITION, SIZE = 7200.0, 60.0
AFTER = 16000.0


def relay(errors: Errors = TRACKING) -> Case:
    """An invented craft about Mars, 610 kg, 400 N, with J2."""
    start = orbit(MARS, 5000.0, 9000.0, 28.0, 40.0, 75.0, 200.0)
    made = case(MARS, start, ring(12.0), forces=("j2",), tolerance=OPEN)
    return replace(made, errors=errors)


def command(
    at: Case,
    name: str = "B1",
    ignition: float = IGNITION,
    steering: Steering = "rsw",
    cutoff: Cutoff = "duration",
) -> Command:
    engine, mass = at.engine, at.craft.mass_kg
    burnt = mass * -math.expm1(-SIZE / (G0 * engine.isp_s))
    return Command(
        burn=name,
        engine="engine",
        ignition_s=ignition,
        duration_s=burnt * G0 * engine.isp_s / engine.thrust_n,
        steering=steering,
        direction=unit(np.array([0.2, 0.9, -0.3])),
        dv_m_s=SIZE,
        cutoff=cutoff,
    )


def plan_of(*commands: Command) -> Plan:
    return Plan(
        planner="test",
        summary="invented",
        burns=(),
        total_dv_m_s=0.0,
        arrival_time_s=0.0,
        arrival_state=State(position_m=np.ones(3), velocity_m_s=np.ones(3)),
        lower_bound_dv_m_s=None,
        alternatives=(),
        commands=commands,
        commanded_dv_m_s=SIZE,
    )


def start_of(at: Case) -> Array:
    return np.concatenate([at.craft.position_m, at.craft.velocity_m_s, [at.craft.mass_kg]])


def flown(
    at: Case, made: Command, thrust: Thrust, duration: float, *, late: float = 0.0, until: float
) -> Array:
    """The state (7,) after a burn, by the propagator that the reconstruction does not use."""
    slow = reference_propagator(gravity_of(at))
    ignition = made.ignition_s + late
    lit = slow.advance(0.0, start_of(at), ignition).state
    cut = slow.advance(ignition, lit, ignition + duration, thrust).state
    return slow.advance(ignition + duration, cut, until).state


def seen(state: Array, time: float = AFTER, **fields: object) -> Estimate:
    made = Estimate(time_s=time, position_m=state[:3], velocity_m_s=state[3:6], source="tracking")
    return replace(made, **fields)  # type: ignore[arg-type]


@pytest.mark.parametrize("steering", ["rsw", "inertial"])
@pytest.mark.parametrize("cutoff", ["duration", "velocity"])
def test_a_burn_by_another_propagator(steering: Steering, cutoff: Cutoff) -> None:
    """A burn 3 % weak and 1 deg off, flown by the slow propagator, comes back to 10 nm/s.

    The two propagators agree to some micrometres in these four hours; the burn to 0.5 nm/s.
    """
    at = relay()
    asked = command(at, steering=steering, cutoff=cutoff)
    along = rotation(0, math.radians(1.0)) @ asked.direction
    engine, size = at.engine, 0.97 * SIZE
    burnt = at.craft.mass_kg * -math.expm1(-size / (G0 * engine.isp_s))
    full = burnt * G0 * engine.isp_s / engine.thrust_n
    duration = asked.duration_s if cutoff == "duration" else full
    force = engine.thrust_n * full / duration
    thrust = Thrust(thrust_n=force, isp_s=engine.isp_s, steering=steering, direction=along)
    there = flown(at, asked, thrust, duration, until=AFTER)
    found = reconstruct(at, plan_of(asked), seen(there))
    assert_metres_per_second(found.dv_m_s, size * along, within=1e-8)
    assert (found.burn, found.engine, found.steering) == ("B1", "engine", steering)
    assert found.duration_s == pytest.approx(duration, rel=1e-9)
    assert found.thrust_n == pytest.approx(force, rel=1e-9)
    assert found.mass_before_kg - found.mass_after_kg == pytest.approx(burnt, rel=1e-9)
    assert found.misfit is not None
    assert found.misfit < 1e-6
    assert_metres_per_second(found.commanded_m_s, SIZE * asked.direction, within=1e-12)


def test_a_flight_with_errors_drawn() -> None:
    """What a simulated engine made of its command is found from the true states around the burn."""
    errors = replace(TRACKING, thrust_bias=0.02, isp_bias=0.003, pointing_proportional_rad=0.02)
    at = relay(errors)
    plan = plan_of(command(at))
    flight = fly_plan(at, plan, seed=4, sample=7, reference=False)
    (arc,) = [arc for arc in flight.arcs if arc.kind == "burn"]
    last = flight.arcs[-1].end
    end = seen(np.concatenate([last.position_m, last.velocity_m_s]), flight.arcs[-1].end_s)
    found = reconstruct(at, plan, end)
    truth = arc.dv_m_s * np.asarray(arc.direction)
    assert math.degrees(float(angle_between(truth, found.commanded_m_s))) > 0.3
    assert_metres_per_second(found.dv_m_s, truth, within=2e-3)  # the Isp is not known: 0.3 %


def test_its_sigmas_hold() -> None:
    """Over many flights with known errors the covariance is that of what is found.

    Errors of the start, of tracking and of the ignition. Of n draws the mean of a chi-square with
    three degrees of freedom is 3 with a sigma of sqrt(6 / n), a third of it 1 with sqrt(2 / 3 n).
    """
    errors = replace(
        TRACKING, initial_position_m=200.0, initial_velocity_m_s=0.03, ignition_time_s=2.0
    )
    at, rng, count = relay(errors), np.random.default_rng(11), 90
    asked = command(at)
    engine, truth = at.engine, np.array([10.0, 53.0, -20.0])
    burnt = at.craft.mass_kg * -math.expm1(-np.linalg.norm(truth) / (G0 * engine.isp_s))
    force = burnt * G0 * engine.isp_s / asked.duration_s
    thrust = Thrust(thrust_n=force, isp_s=engine.isp_s, steering="rsw", direction=unit(truth))
    distances, misfits = [], []
    for _ in range(count):
        away = np.repeat([200.0, 0.03], 3) * rng.standard_normal(6)
        craft = replace(
            at.craft,
            position_m=at.craft.position_m + away[:3],
            velocity_m_s=at.craft.velocity_m_s + away[3:],
        )
        late = 2.0 * float(rng.standard_normal())
        true = flown(
            replace(at, craft=craft), asked, thrust, asked.duration_s, late=late, until=AFTER
        )
        noise = np.repeat([50.0, 0.02], 3) * rng.standard_normal(6)
        found = reconstruct(at, plan_of(asked), seen(true[:6] + noise))
        off = found.dv_m_s - truth
        distances.append(off @ np.linalg.solve(np.asarray(found.covariance), off))
        misfits.append(float(found.misfit or 0.0) ** 2)
    assert abs(np.mean(distances) - 3.0) < 3.0 * math.sqrt(6.0 / count)
    assert abs(np.mean(misfits) - 1.0) < 3.0 * math.sqrt(2.0 / 3.0 / count)


def test_a_state_before_the_burn() -> None:
    """Of two burns the second is found once there is a state between them."""
    at = relay()
    first, second = command(at), command(at, "B2", 20000.0)
    thrust = Thrust(thrust_n=400.0, isp_s=318.0, steering="rsw", direction=first.direction)
    between = flown(at, first, thrust, first.duration_s, until=AFTER)
    slow = reference_propagator(gravity_of(at))
    lit = slow.advance(AFTER, between, 20000.0).state
    weak = replace(thrust, thrust_n=390.0)
    cut = slow.advance(20000.0, lit, 20000.0 + second.duration_s, weak).state
    there = slow.advance(20000.0 + second.duration_s, cut, 30000.0).state
    plan = plan_of(first, second)
    with pytest.raises(InputError, match="tells of one burn, and B1, B2 lie before it"):
        reconstruct(at, plan, seen(there, 30000.0))
    before = seen(between, AFTER, mass_kg=float(between[6]))
    found = reconstruct(at, plan, seen(there, 30000.0), before)
    assert found.burn == "B2"
    assert found.thrust_n == pytest.approx(390.0, rel=1e-5)


def test_a_burn_that_was_missed() -> None:
    """A craft that coasted made no Δv, whatever was commanded."""
    at = relay()
    there = reference_propagator(gravity_of(at)).advance(0.0, start_of(at), AFTER).state
    found = reconstruct(at, plan_of(command(at)), seen(there))
    assert float(np.linalg.norm(found.dv_m_s)) < 1e-4


def test_nothing_known_of_the_errors() -> None:
    """Without any error in the case or the state there is a Δv, and no sigma."""
    at = relay(Errors())
    asked = command(at)
    thrust = Thrust(thrust_n=400.0, isp_s=318.0, steering="rsw", direction=asked.direction)
    there = flown(at, asked, thrust, asked.duration_s, until=AFTER)
    found = reconstruct(at, plan_of(asked), seen(there))
    assert (found.covariance, found.misfit) == (None, None)
    assert_metres_per_second(found.dv_m_s, SIZE * asked.direction, within=1e-4)
    known = seen(there, covariance=np.diag([1e4] * 3 + [1e-4] * 3))
    assert reconstruct(at, plan_of(asked), known).covariance is not None


def test_another_burn_shows_in_the_misfit() -> None:
    """A burn an hour late is no burn at its time: three hours later the misfit is many sigmas."""
    at = relay()
    asked = command(at)
    thrust = Thrust(thrust_n=400.0, isp_s=318.0, steering="rsw", direction=asked.direction)
    there = flown(at, asked, thrust, asked.duration_s, late=3600.0, until=AFTER)
    found = reconstruct(at, plan_of(asked), seen(there))
    assert found.misfit is not None
    assert found.misfit > 30.0


@pytest.mark.parametrize(
    ("time", "before", "message"),
    [
        (7100.0, None, "no burn of the plan lies before this state, at 7100 s"),
        (7210.0, None, "this state is of a time when B1 still burns"),
        (16000.0, 7210.0, "the state before it is of a time when B1 burns"),
        (16000.0, 8000.0, "no burn of the plan lies before this state"),
    ],
)
def test_states_that_tell_nothing(time: float, before: float | None, message: str) -> None:
    """Exactly one burn has to lie between the states, whole."""
    at = relay()
    plan, state = plan_of(command(at)), start_of(at)
    first = None if before is None else seen(state, before)
    with pytest.raises(InputError, match=message):
        reconstruct(at, plan, seen(state, time), first)


def test_a_state_that_no_burn_leads_to() -> None:
    """A state on the other side of the body is told as such, with the burn."""
    at = relay()
    state = start_of(at)
    state[:3] *= -40.0
    with pytest.raises(InputError, match="no burn at the time of B1 leads from"):
        reconstruct(at, plan_of(command(at)), seen(state))


def test_thrusters_are_those_commanded() -> None:
    """A burn by the thrusters has their thrust and specific impulse."""
    small = Engine(name="thrusters", thrust_n=50.0, isp_s=220.0)
    at = replace(relay(), thrusters=small)
    asked = replace(command(at), engine="thrusters", dv_m_s=5.0, duration_s=60.86)
    thrust = Thrust(thrust_n=50.0, isp_s=220.0, steering="rsw", direction=asked.direction)
    there = flown(at, asked, thrust, asked.duration_s, until=AFTER)
    found = reconstruct(at, plan_of(asked), seen(there))
    assert (found.engine, found.isp_s) == ("thrusters", 220.0)
    assert found.thrust_n == pytest.approx(50.0, rel=1e-4)
