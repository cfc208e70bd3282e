"""Re-aiming: from impulses in two-body motion to finite burns in J2, or an honest word."""

from __future__ import annotations

import re
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from simcheck.engines.base import G0, Thrust
from simcheck.errors import FlightError
from simcheck.kernels.vectors import norm
from simcheck.measuring import average, offsets
from simcheck.planning.aiming import aim
from simcheck.planning.burns import Burns, burn_seconds, chosen_engine, first_burns
from simcheck.planning.candidates import Candidate
from simcheck.planning.commanding import Range, command
from simcheck.planning.phasing import build, offers
from simcheck.planning.problem import problem_of
from simcheck.planning.searching import all_routes
from simcheck.planning.shooting import Flown, Shooter
from simcheck.records.case import Case, Engine
from tests.cases_for_tests import ENGINE, MARS, case, orbit
from tests.helpers import assert_relative, assert_seconds

GOAL = 0.1  # of each tolerance: the project's own bar
THRUSTERS = Engine(name="thrusters", thrust_n=8.0, isp_s=220.0, min_burn_s=0.05)


def best(made: Case) -> Candidate:
    """The cheapest phased candidate of a case."""
    posed = problem_of(made, 0.35)
    found = [offer for route in all_routes(posed) for offer in offers(posed, route)]
    for offer in sorted(found, key=lambda offer: offer.dv):
        candidate = build(posed, offer)
        if candidate is not None:
            return candidate
    raise AssertionError("no candidate")


def aimed(made: Case) -> tuple[Range, Burns, Flown]:
    """Range, burns after aiming and what they fly, flown again from the start."""
    site = Range(made)
    start = first_burns(best(made), made.craft, made.engine, made.thrusters, MARS.gm_m3_s2)
    burns, _ = aim(site.setup, start, site.propagator_at, site.motion_at)
    return site, burns, Shooter(site.setup, site.propagator, 1.0).fly(burns)


@pytest.mark.parametrize("thrust", [1e6, 400.0, 120.0])
@pytest.mark.parametrize(
    "forces",
    [pytest.param((), id="two-body", marks=pytest.mark.slow), pytest.param(("j2",), id="j2")],
)
def test_aiming_converges_from_impulses(forces: tuple[()], thrust: float) -> None:
    """With any engine, in J2 or without, the burns end up inside a tenth of each tolerance."""
    engine = Engine(name="engine", thrust_n=thrust, isp_s=318.0, max_burn_s=3600.0)
    _, _, flown = aimed(case(MARS, slot=3, forces=forces, engine=engine, days=40.0))
    assert flown.worst < GOAL


def test_the_miss_is_what_the_verdict_measures() -> None:
    """Flown arc by arc here, the averages of the end give the errors that aiming saw."""
    made = case(MARS, slot=3, forces=("j2",))
    site, burns, flown = aimed(made)
    miss, state, now = flown.miss, site.start, 0.0
    rows = zip(flown.ignitions, burns.dvs, burns.steering, burns.engines, strict=True)
    for ignition, dv, steering, engine in rows:
        length = burn_seconds(float(norm(dv)), float(state[6]), engine)
        state = site.propagator.advance(now, state, ignition).state
        thrust = Thrust(
            thrust_n=engine.thrust_n,
            isp_s=engine.isp_s,
            steering=steering,
            direction=dv / norm(dv),
        )
        state = site.propagator.advance(ignition, state, ignition + length, thrust).state
        now = ignition + length
    off = offsets(average(site.propagator, now, state, site.motion), site.motion, made.craft.slot)
    tolerance = made.tolerance
    assert tolerance.phase_rad
    assert tolerance.plane_rad
    assert abs(off.phase / tolerance.phase_rad - miss[0]) < 1e-3
    assert abs(off.eccentricity / 0.002 - np.hypot(miss[2], miss[3])) < 1e-3
    assert abs(np.tan(off.plane) / tolerance.plane_rad - np.hypot(miss[4], miss[5])) < 1e-3


def test_unaimed_impulses_miss_in_j2() -> None:
    """The negative control: without aiming the same burns are far off."""
    made = case(MARS, slot=3, forces=("j2",))
    site = Range(made)
    start = first_burns(best(made), made.craft, made.engine, None, MARS.gm_m3_s2)
    miss = Shooter(site.setup, site.propagator, 1.0).fly(start).miss
    assert np.max(np.abs(miss)) > 1.0


def test_aiming_says_how_far_it_came() -> None:
    """Where it cannot converge it raises, with how far it came and what the trouble was."""
    made = case(MARS, slot=3, forces=("j2",))
    weak = Engine(name="engine", thrust_n=1.0, isp_s=318.0)
    site = Range(replace(made, engine=weak))
    start = first_burns(best(made), made.craft, weak, None, MARS.gm_m3_s2)
    with pytest.raises(FlightError, match=r"re-aiming came .*\d+% of the way"):
        aim(site.setup, start, site.propagator_at, site.motion_at)


@pytest.mark.parametrize(("dv", "name"), [(100.0, "engine"), (0.05, "thrusters")])
def test_small_burns_are_given_to_the_thrusters(dv: float, name: str) -> None:
    """The engine, unless its shortest burn is too long."""
    assert chosen_engine(dv, 600.0, ENGINE, THRUSTERS).name == name
    assert chosen_engine(dv, 600.0, ENGINE, None).name == "engine"


def test_burn_length_is_the_rocket_equation() -> None:
    """100 m/s from 600 kg with 400 N and 318 s: the mass after is m exp(-dv/v_e)."""
    seconds = burn_seconds(100.0, 600.0, ENGINE)
    spent = seconds * 400.0 / (G0 * 318.0)
    assert_relative(600.0 - spent, 600.0 * np.exp(-100.0 / (G0 * 318.0)), 1e-12)


@pytest.mark.reference("Curtis, Ex. 6.1, from memory; the length derived")
def test_burn_length_of_a_published_impulse() -> None:
    """1722.524 m/s from 2000 kg, isp 300 s and 10 kN takes 260.7632 s with g0 = 9.807."""
    engine = Engine(name="engine", thrust_n=10e3, isp_s=300.0 * 9.807 / G0)
    seconds = burn_seconds(1722.524, 2000.0, engine)
    assert_seconds(seconds, 260.7632, 1e-3)


def test_commands_stand_for_the_burns() -> None:
    """Each command's Δv is what its engine delivers in its duration, masses in turn."""
    made = case(MARS, slot=3, forces=("j2",), thrusters=THRUSTERS)
    site = Range(made)
    done = command(site, best(made))
    assert done.broken is None
    mass, total = made.craft.mass_kg, 0.0
    for one in done.commands:
        engine = made.engine if one.engine == "engine" else THRUSTERS
        assert_relative(burn_seconds(one.dv_m_s, mass, engine), one.duration_s, 1e-9)
        assert_relative(norm(one.direction), 1.0, 1e-12)
        mass *= np.exp(-one.dv_m_s / (G0 * engine.isp_s))
        total += one.dv_m_s
    assert_relative(total, done.dv_m_s, 1e-12)
    assert_relative(done.arrival_s, done.commands[-1].ignition_s + done.commands[-1].duration_s, 0)


@pytest.mark.parametrize(
    ("limits", "broken"),
    [
        ({"min_altitude_m": 1000e3}, "min_altitude"),
        ({"max_radius_m": 12.7e6}, "max_radius"),
        ({"dv_m_s": 500.0}, "dv"),
    ],
)
def test_broken_limits_are_named(limits: dict[str, Any], broken: str) -> None:
    """A candidate aimed in a case of narrower limits says which of them it breaks."""
    start = orbit(MARS, 3846.0, 13196.0, 28.0, 40.0, 75.0, 200.0)
    candidate = best(case(MARS, start, slot=3))
    site = Range(case(MARS, start, slot=3, **limits))
    found = command(site, candidate).broken
    assert found is not None
    assert found.limit == broken
    assert found.excess > 0
    digits = re.search(r"[\d,.]+", found.why)
    assert digits is not None  # by how much, in words too, rounded to what a person needs
    assert abs(float(digits[0].replace(",", "")) - found.excess) < max(0.5, 1e-3 * found.excess)


def test_burns_are_not_moved_past_the_time_allowed() -> None:
    """A candidate too late for the case is refused, or says that it breaks the duration."""
    candidate = best(case(MARS, slot=3))
    site = Range(case(MARS, slot=3, days=0.5 * candidate.arrival / 86400))
    try:
        broken = command(site, candidate).broken
    except FlightError:
        return
    assert broken is not None
    assert broken.limit == "duration"
