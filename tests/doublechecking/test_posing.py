"""A flight posed otherwise is the same flight: its numbers come back the same, in the old units."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from simcheck.doublechecking import posing
from simcheck.doublechecking.flights import flown_again
from simcheck.doublechecking.posing import Posing, begun_otherwise, rescaled, turned
from simcheck.engines.choosing import fast_propagator
from simcheck.engines.gravity import gravity_of
from simcheck.kernels.vectors import cross, dot, unit
from simcheck.measuring import resolve_ring
from simcheck.records.case import Case, Member
from simcheck.records.flight import Flight
from simcheck.records.plan import Plan, Watch
from tests.doublechecking import bench

Pose = Callable[[Case, Plan], Posing]


def begun(case: Case, plan: Plan) -> Posing:
    fast = fast_propagator(gravity_of(case))
    return begun_otherwise(case, plan, resolve_ring(case.ring, fast), fast)


POSES: dict[str, Pose] = {
    "epoch": begun,
    "turn": lambda case, plan: turned(case, plan, 1.0),
    "units": lambda case, plan: rescaled(case, plan, 0.7, 3.3, 0.2),
}


def again(case: Case, plan: Plan, pose: Pose) -> tuple[Flight, Flight]:
    """The flight, and the same as it reads in another posing."""
    nominal, posed = bench.flown(case, plan), pose(case, plan)
    fast = fast_propagator(gravity_of(posed.case))
    motion = resolve_ring(posed.case.ring, fast)
    look = posed.begun_s == 0.0
    return nominal, flown_again(nominal, posed, fast, motion, look=look)


def assert_alike(one: Flight, two: Flight) -> None:
    """All numbers that are judged agree to rounding, which a day's flight makes grow."""
    assert two.errors.phase_deg == pytest.approx(one.errors.phase_deg, abs=1e-9)
    assert two.errors.period_s == pytest.approx(one.errors.period_s, abs=1e-8)
    for name in ("eccentricity_k", "eccentricity_h", "plane_x_deg", "plane_y_deg"):
        before, after = getattr(one.components, name), getattr(two.components, name)
        assert after == pytest.approx(before, abs=1e-11)
    assert two.outcome == one.outcome
    for name in ("dv_used_m_s", "propellant_used_kg", "arrival_time_s"):
        assert getattr(two, name) == pytest.approx(getattr(one, name), rel=1e-11, abs=1e-11)
    for name in ("lowest_altitude_m", "largest_radius_m", "closest_approach_m"):
        if getattr(one, name) is not None:
            assert getattr(two, name) == pytest.approx(getattr(one, name), rel=1e-11)


def crowded(**other: Any) -> Case:
    """A case with a member on its slot and one in an orbit of its own."""
    r, v = bench.cases.orbit(bench.cases.MARS, 12000.0, 13000.0, 35.0, 60.0, 10.0, 100.0)
    stray = Member(name="N", slot=None, position_m=r, velocity_m_s=v)
    return bench.case(members=(Member(name="M", slot=1), stray), **other)


@pytest.mark.parametrize("pose", POSES.values(), ids=POSES)
@pytest.mark.parametrize("cutoff", ["duration", "velocity", "orbit"])
def test_a_posing_reads_the_same(pose: Pose, cutoff: Any) -> None:
    """However burns are cut off, and with members of either kind."""
    case, plan = crowded(), bench.two_burns(cutoff)
    nominal, other = again(case, plan, pose)
    assert {arc.ended for arc in nominal.arcs if arc.burn} == {cutoff}
    assert_alike(nominal, other)


@pytest.mark.parametrize("pose", POSES.values(), ids=POSES)
def test_a_watch_on_the_tilt_turns_too(pose: Pose) -> None:
    """The direction towards which a plane is turned is fixed in space, as the motion is."""
    case, plan = bench.case(), bench.two_burns()
    first = next(arc for arc in bench.flown(case, plan).arcs if arc.burn)
    before, after = (
        unit(cross(state.position_m, state.velocity_m_s)) for state in (first.start, first.end)
    )
    towards = unit(after - before)
    target = float(dot(towards, (before + 3 * after) / 4))
    watch = Watch(quantity="tilt", target=target, direction=towards)
    watching = replace(plan.commands[0], cutoff="orbit", watch=watch)
    nominal, other = again(case, replace(plan, commands=(watching, plan.commands[1])), pose)
    assert [arc.ended for arc in nominal.arcs if arc.burn] == ["orbit", "duration"]
    assert_alike(nominal, other)


@pytest.mark.parametrize("pose", POSES.values(), ids=POSES)
@pytest.mark.parametrize("inclination", bench.EQUATORIAL.values(), ids=bench.EQUATORIAL)
def test_an_equatorial_ring_reads_the_same(pose: Pose, inclination: float) -> None:
    """Where the ring has no node and angles count from the inertial x axis, in either sense."""
    case = crowded(goal=bench.ring(inclination=inclination))
    nominal, other = again(case, bench.two_burns(), pose)
    assert nominal.errors.eccentricity > 0.1  # or nothing would be seen
    assert_alike(nominal, other)


@pytest.mark.parametrize(
    "plan", [bench.two_burns(first_s=0.0), bench.plan()], ids=["early", "none"]
)
def test_the_start_moves_back_where_no_coast_comes_first(plan: Plan) -> None:
    """A burn at the epoch, or no burn at all: the flight begins earlier, and reads the same."""
    nominal, other = again(bench.case(), plan, begun)
    assert begun(bench.case(), plan).begun_s < -1000.0
    assert_alike(nominal, other)


def test_a_ring_of_a_radius_reads_the_same() -> None:
    """The unit of the ring's size is that of what it is given by."""
    case = crowded(goal=bench.cases.ring(radius_km=12_650.0))
    assert_alike(*again(case, bench.two_burns(), POSES["units"]))


def test_a_ring_left_behind_is_noticed() -> None:
    """Control: turned without its ring, the flight reads another phase and plane."""

    def forgetful(case: Case, plan: Plan) -> Posing:
        made = turned(case, plan, 1.0)
        return made._replace(case=replace(made.case, ring=case.ring))

    one, two = again(bench.case(), bench.two_burns(), forgetful)
    assert abs(two.errors.plane_deg - one.errors.plane_deg) > 1.0


def test_an_engine_left_behind_is_noticed(monkeypatch: pytest.MonkeyPatch) -> None:
    """Control: in other units with the old engine, the flight reads otherwise."""
    monkeypatch.setattr(posing, "_rescaled_engine", lambda engine, force, speed: engine)
    one, two = again(bench.case(), bench.two_burns(), POSES["units"])
    assert not np.isclose(one.errors.period_s, two.errors.period_s, rtol=1e-3)
