"""Replanning: what is left of a plan kept and re-aimed, trims near the slot, a fresh plan else."""

from __future__ import annotations

import re
from dataclasses import replace
from functools import lru_cache
from typing import Any

import numpy as np
import pytest

from simcheck.errors import FlightError, NoPlanError
from simcheck.flying.mission import fly_plan
from simcheck.kernels.vectors import TAU, angle_between, norm, wrap
from simcheck.planning import planner
from simcheck.planning.commanding import Range, commanded_burns, recommand
from simcheck.planning.later import seen_from, shifted
from simcheck.planning.planner import plan_ring
from simcheck.planning.replanning import DEARER, Kept, kept, kept_plan, preferred, trimmed
from simcheck.planning.shooting import Shooter
from simcheck.planning.trimming import trims
from simcheck.records.case import Case, Engine
from simcheck.records.estimate import Estimate
from simcheck.records.plan import Plan, State
from simcheck.records.wish import Wish
from tests.cases_for_tests import ENGINE, MARS, case
from tests.helpers import (
    assert_metres,
    assert_metres_per_second,
    assert_radians,
    assert_relative,
    assert_seconds,
)
from tests.planning.near_slot import near, uses

THRUSTERS = Engine(name="thrusters", thrust_n=20.0, isp_s=220.0, min_burn_s=0.02)
CASE = case(MARS, slot=3, forces=("j2",), thrusters=THRUSTERS, dv_m_s=900.0)
SETTLED_S = 600.0
"""From a cutoff to the estimate."""


@lru_cache
def planned() -> Plan:
    """A plan of several burns for CASE, made once."""
    plan = plan_ring(CASE)
    assert len(plan.commands) >= 3
    return plan


def state_after(burns: int, seconds: float) -> Estimate:
    """The exact state some seconds after that many of the plan's burns, all flown perfectly."""
    plan, site = planned(), Range(CASE)
    time, state = 0.0, site.start
    if burns:
        flight = fly_plan(CASE, replace(plan, commands=plan.commands[:burns]), reference=False)
        cut = [arc for arc in flight.arcs if arc.kind == "burn"][-1]
        time, end = cut.end_s, cut.end
        state = np.concatenate([end.position_m, end.velocity_m_s, [end.mass_kg]])
    then = time + seconds
    state = site.propagator.advance(time, state, then).state
    return Estimate(
        time_s=then, position_m=state[:3], velocity_m_s=state[3:6], mass_kg=float(state[6])
    )


def rest(known: Estimate, first: int) -> tuple[Case, Plan]:
    """The case and what is left of the plan from that burn on, both seen from the estimate."""
    plan, site = planned(), Range(CASE)
    spent = sum(x.dv_m_s for x in plan.commands[:first])
    later = seen_from(CASE, known, site.motion, site.propagator, spent_m_s=spent)
    return later, shifted(replace(plan, commands=plan.commands[first:]), -known.time_s)


def pushed(known: Estimate, *dv: float) -> Estimate:
    """The estimate with another velocity, by so many m/s."""
    return replace(known, velocity_m_s=known.velocity_m_s + np.array(dv))


def lands(made: Case, plan: Plan) -> bool:
    """Whether it ends inside half of every tolerance, flown in full, and keeps the limits."""
    flight = fly_plan(made, plan, reference=False)
    assert flight.dv_used_m_s <= made.limits.dv_m_s
    assert flight.arrival_time_s <= made.limits.duration_s
    return uses(made, flight.errors) < 0.5


def nothing(made: Case) -> Plan:
    """A plan with no burn left."""
    where = State(position_m=made.craft.position_m, velocity_m_s=made.craft.velocity_m_s)
    return Plan(
        planner="",
        summary="no burn left",
        burns=(),
        total_dv_m_s=0.0,
        arrival_time_s=0.0,
        arrival_state=where,
        lower_bound_dv_m_s=None,
        alternatives=(),
        commands=(),
        commanded_dv_m_s=0.0,
    )


def trim_of(made: Case, **wish: Any) -> Plan:
    """What the planner answers to a craft with no burn left."""
    return plan_ring(made, Wish(flying=nothing(made), **wish))


def answer(made: Case, **wish: Any) -> tuple[Plan | None, str]:
    """The same, or in words why there is none."""
    try:
        return trim_of(made, **wish), ""
    except NoPlanError as none:
        return None, f"{none.limit}: {none}"


# What is left, kept


def test_commands_taken_up_again_are_the_same_burns() -> None:
    """From the exact state after the first burn they fly on their dates and land as planned."""
    later, flying = rest(state_after(1, SETTLED_S), 1)
    site = Range(later)
    burns = commanded_burns(site, flying.commands)
    flown = Shooter(site.setup, site.propagator, 1.0).fly(burns)
    for i, x in enumerate(flying.commands):
        assert_metres_per_second(burns.dvs[i], x.dv_m_s * x.direction, 1e-9)
        # Places are where an arc of a conic leads from ignition: J2 shifts them by metres.
        assert_seconds(flown.ignitions[i], x.ignition_s, 0.05)
        assert_seconds(flown.durations[i], x.duration_s, 1e-3)
    assert flown.worst < 0.05
    for i in range(1, len(burns.sweeps)):  # a burn turns the plane about its place, nearly
        apart = angle_between(burns.places[i - 1], burns.places[i])
        assert_radians(abs(wrap(burns.sweeps[i])), apart, 0.01)
        period = (burns.sweeps[i] - wrap(burns.sweeps[i])) / TAU
        assert period == pytest.approx(round(period), abs=1e-9)


def test_what_is_left_of_a_good_plan_is_kept() -> None:
    """From the exact state it costs what was foreseen, to a thousandth of a per cent, and lands."""
    later, flying = rest(state_after(1, SETTLED_S), 1)
    plan = plan_ring(later, Wish(flying=flying))
    assert [x.burn for x in plan.commands] == [x.burn for x in flying.commands]
    foreseen = sum(x.dv_m_s for x in flying.commands)
    # Re-aiming looks for a cheaper way too, a step at a time.
    assert foreseen * (1 - 1e-4) < plan.commanded_dv_m_s < foreseen * (1 + 1e-5)
    assert lands(later, plan)


@pytest.mark.parametrize("dv", [(3.0, -2.0, 1.0), (-1.0, 2.0, -3.0)])
def test_a_burn_gone_wrong_is_made_good_by_the_rest(dv: tuple[float, ...]) -> None:
    """A few m/s off after the first burn, the rest is re-aimed and lands; as it stood it misses."""
    later, flying = rest(pushed(state_after(1, SETTLED_S), *dv), 1)
    assert not lands(later, flying)
    plan = plan_ring(later, Wish(flying=flying))
    assert [x.burn for x in plan.commands] == [x.burn for x in flying.commands]
    assert lands(later, plan)
    more = plan.commanded_dv_m_s - sum(x.dv_m_s for x in flying.commands)
    assert abs(more) < 3 * np.linalg.norm(dv)


def test_the_plan_kept_says_what_its_burns_are() -> None:
    """Impulses in the middle of their burns, with the old purposes, and the change in words."""
    later, flying = rest(pushed(state_after(1, SETTLED_S), 3.0, -2.0, 1.0), 1)
    site = Range(later)
    found = kept(site, flying)
    assert found is not None
    plan = kept_plan(site, found)
    assert plan.lower_bound_dv_m_s is None
    assert plan.primer is None
    purposes = {x.label: x.purpose for x in flying.burns}
    for burn, command, old in zip(plan.burns, plan.commands, flying.commands, strict=True):
        assert burn.label == command.burn == old.burn
        assert burn.purpose == purposes[burn.label]
        assert_seconds(burn.time_s, command.ignition_s + command.duration_s / 2, 1e-9)
        assert_relative(norm(burn.dv_m_s), command.dv_m_s, 1e-9)
        assert_relative(norm(burn.dv_rsw_m_s), command.dv_m_s, 1e-9)
        assert f"{command.dv_m_s - old.dv_m_s:+.3f} m/s" in burn.reason
        assert f"{command.ignition_s - old.ignition_s:+.1f} s" in burn.reason
    assert_relative(plan.total_dv_m_s, plan.commanded_dv_m_s, 1e-9)
    lit = fly_plan(later, replace(plan, commands=plan.commands[:1]), reference=False).arcs[0].end
    halfway = lit.position_m + lit.velocity_m_s * plan.commands[0].duration_s / 2
    fall = 0.5 * MARS.gm_m3_s2 / norm(lit.position_m) ** 2 * plan.commands[0].duration_s ** 2 / 4
    assert_metres(plan.burns[0].position_m, halfway, 1.1 * fall)


def test_nothing_left_is_not_kept() -> None:
    """Without commands there is nothing to keep."""
    assert kept(Range(CASE), nothing(CASE)) is None


@pytest.mark.parametrize(("dearer", "cheap"), [(0.0, True), (0.04, True), (0.07, False)])
def test_a_plan_kept_may_cost_a_little_more(dearer: float, cheap: bool) -> None:
    """5 % and 1 m/s over what was foreseen others are looked for."""
    aimed = recommand(Range(CASE), planned().commands)
    foreseen = aimed.dv_m_s / (1 + dearer)
    assert DEARER == 0.05
    assert Kept(aimed, planned(), foreseen).cheap is cheap


@pytest.mark.parametrize(
    ("dearer", "other", "taken"),
    [
        (1.04, 0.5, "kept"),  # about what was foreseen: nothing else is asked for
        (1.5, 1.0, "other"),
        (1.5, 1.46, "kept"),  # hardly cheaper
        (1.5, None, "kept"),  # nothing else is to be had
        (None, 1.0, "other"),
        (None, None, None),
    ],
)
def test_the_rest_of_a_plan_is_given_up_for_a_clearly_cheaper_one(
    dearer: float | None, other: float | None, taken: str | None, monkeypatch: Any
) -> None:
    """By what the rest costs over what was foreseen, and what a fresh plan costs."""
    flying, asked = planned(), []
    foreseen = flying.commanded_dv_m_s
    again = recommand(Range(CASE), flying.commands)._replace(dv_m_s=foreseen * (dearer or 1.0))

    def fresh(*_: Any) -> Plan:
        asked.append(True)
        if other is None:
            raise NoPlanError("nothing", limit="dv", excess=1.0)
        return replace(flying, summary="other", commanded_dv_m_s=foreseen * other)

    left = Kept(again, flying, foreseen) if dearer else None
    monkeypatch.setattr(planner, "kept", lambda *_: left)
    monkeypatch.setattr(planner, "_fresh", fresh)
    if taken is None:
        with pytest.raises(NoPlanError, match="nothing"):
            plan_ring(CASE, Wish(flying=flying))
        return
    plan = plan_ring(CASE, Wish(flying=flying))
    assert ("other" if plan.summary == "other" else "kept") == taken
    assert bool(asked) is (dearer != 1.04)


def test_burns_that_overlap_are_refused() -> None:
    """A burn that would begin before the one ahead of it has ended is an error in words."""
    one = planned().commands[1]
    again = replace(one, burn="B9", ignition_s=one.ignition_s + one.duration_s / 2)
    with pytest.raises(FlightError, match=r"B9 would begin \d+ s too early"):
        commanded_burns(Range(CASE), (one, again))


def test_thrusters_that_are_not_there_are_refused() -> None:
    """Commands for an engine that the case lacks are an error in words."""
    command = replace(planned().commands[0], engine="thrusters")
    with pytest.raises(FlightError, match="asks for thrusters; the case has none"):
        commanded_burns(Range(replace(CASE, thrusters=None)), (command,))


# What did not happen


@pytest.mark.parametrize("missed", [0, 1])
def test_after_a_missed_burn_another_plan_lands(missed: int) -> None:
    """An hour after a burn that did not happen, a plan is found that keeps every limit."""
    when = planned().commands[missed].ignition_s + 3600.0
    before = planned().commands[missed - 1] if missed else None
    gone = when - (before.ignition_s + before.duration_s if before else 0.0)
    known = state_after(missed, gone)
    later, flying = rest(known, missed)
    later = replace(later, limits=replace(later.limits, dv_m_s=900.0))
    flying = replace(flying, commands=flying.commands[1:])
    assert not lands(later, flying)
    plan = plan_ring(later, Wish(flying=flying))
    assert plan.commands
    assert all(x.ignition_s >= 0 for x in plan.commands)
    assert lands(later, plan)


def test_far_from_the_ring_with_no_burn_left_a_fresh_plan_is_made() -> None:
    """The same plan as for a case that begins there."""
    known = state_after(1, SETTLED_S)
    later, _ = rest(known, 1)
    assert trimmed(Range(later), Wish()) is None
    plan = trim_of(later, effort=0)
    fresh = plan_ring(later, Wish(effort=0))
    assert [x.burn for x in plan.commands] == [f"B{i + 1}" for i in range(len(plan.commands))]
    assert plan.commanded_dv_m_s == fresh.commanded_dv_m_s
    assert lands(later, plan)


# Trims


ALL = {"phase": 3.0, "period": 1e-3, "e": (2e-3, 1e-3), "plane": (0.1, 0.2)}


@pytest.mark.parametrize("errors", [ALL, {"phase": 170.0}, {"plane": (0.3, 0.0)}])
def test_near_the_slot_with_no_burn_left_it_is_trimmed(errors: Any) -> None:
    """Burns T1, T2 ... of few m/s, with reasons and other waits; flown, they land."""
    made = near(CASE, **errors)
    plan = trim_of(made)
    assert [x.label for x in plan.burns] == [f"T{i + 1}" for i in range(len(plan.burns))]
    assert [x.burn for x in plan.commands] == [x.label for x in plan.burns]
    assert plan.summary.startswith("trims within")
    assert all(x.purpose in ("trim", "plane trim") for x in plan.burns)
    assert all("Changes the period by" in x.reason for x in plan.burns)
    # Impulses are of the linear problem, and aiming finds what J2 and second order save.
    assert_relative(plan.total_dv_m_s, plan.commanded_dv_m_s, 0.25)
    assert lands(made, plan)


def test_a_reason_says_what_the_burn_does() -> None:
    """5.2 deg behind on a 12 h ring: a period shorter by 624 s over the revolutions waited."""
    made = near(CASE, phase=-5.2)
    plan = trim_of(made)
    turns = float(plan.summary.split()[2])
    assert f"Changes the period by {-624.0 / turns:+.0f}"[:27] in plan.burns[0].reason
    assert "deg ahead along the ring" in plan.burns[0].reason
    assert "ahead" not in plan.burns[-1].reason
    said = float(plan.burns[0].reason.split("this moves the craft ")[1].split()[0])
    assert_relative(said, 5.2, 0.03)


@pytest.mark.parametrize("prefer", ["time", "balance", "dv"])
def test_the_wish_says_which_trim_is_tried_first(prefer: Any) -> None:
    """The earliest, the cheapest, or the earliest within a thousandth of the tank's Δv of it."""
    site = Range(near(CASE, phase=3.0))
    found = trims(site)
    first = preferred(site, found, Wish(prefer=prefer))[0]
    dvs = np.array([trim.dv for trim in found])
    tank = 318.0 * 9.80665 * np.log(610.0 / 310.0)
    within = {
        "time": 0,
        "balance": int(np.argmax(dvs <= dvs.min() + 1e-3 * tank)),
        "dv": int(np.argmin(dvs)),
    }
    assert first is found[within[prefer]]
    assert within["time"] < within["balance"] < within["dv"]


@pytest.mark.parametrize("most", [1, 2, 3])
def test_trims_have_no_more_burns_than_are_left(most: int) -> None:
    """With too few burns left it does what it can, or says how many it would take."""
    plan, why = answer(near(CASE, **ALL), most_burns=most)
    if plan is None:
        assert re.match(rf"burns: no trim .* it would take \d burns, of {most} left", why)
    else:
        assert 1 <= len(plan.commands) <= most
    assert (plan is None) is (most == 1)


def test_one_burn_left_does_what_it_can() -> None:
    """An error a little beyond half its tolerance is no reason to fail with a burn left."""
    for errors in ({"phase": 0.3}, {"phase": 0.3, "plane": (0.06, 0.0)}, {"e": (1.2e-3, 0.0)}):
        made = near(CASE, **errors)
        plan, why = answer(made, most_burns=1)
        if plan is None:
            assert why.startswith("burns: ")
        else:
            assert len(plan.commands) <= 1
            assert uses(made, fly_plan(made, plan, reference=False).errors) < 1.0


def test_a_trim_that_no_engine_can_make_is_refused_in_words() -> None:
    """The shortest burn far too long: that limit is named, by how much, and the burn."""
    engine = replace(ENGINE, min_burn_s=500.0)
    limits = replace(CASE.limits, duration_s=1.3 * 43200.0)  # few waits to try
    made = near(replace(CASE, engine=engine, thrusters=None, limits=limits), phase=3.0)
    with pytest.raises(NoPlanError, match=r"needs a burn of .* s where the engine") as caught:
        trim_of(made)
    assert caught.value.limit == "min_burn"
    assert caught.value.excess > 0


def test_no_time_for_a_trim_is_said() -> None:
    """Less than the shortest wait left."""
    limits = replace(CASE.limits, duration_s=0.3 * 43200.0)
    made = near(replace(CASE, limits=limits), phase=3.0)
    with pytest.raises(NoPlanError, match="the time left is too short"):
        trim_of(made)


def test_nothing_to_trim_is_not_called_too_late() -> None:
    """With every error well inside its tolerance there is nothing to do, whatever the time left."""
    plan, why = answer(near(CASE, phase=0.1))
    assert "too short" not in why
    assert plan is None or plan.commands == ()
