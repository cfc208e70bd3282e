"""What every plan must keep to: what is checked, and what a broken one is told."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import pytest
from hypothesis import Phase, given, settings

import simcheck
from simcheck.errors import NoPlanError
from simcheck.planning.planner import plan_ring
from simcheck.records.case import Case
from simcheck.records.plan import Plan
from simcheck.records.wish import Wish
from simcheck.testing import assert_plan_keeps, cases, planned
from tests.cases_for_tests import case
from tests.planning.plans import sound, sound_case


@cache
def planned_case() -> tuple[Case, Plan]:
    made = case(slot=3, forces=("j2",), dv_m_s=1500.0)
    return made, simcheck.plan(made)


def test_a_good_plan_keeps_everything() -> None:
    """The verdict on its perfect flight comes back."""
    verdict = assert_plan_keeps(*planned_case(), used=0.1)
    assert verdict.verdict == "within"
    assert verdict.used["phase"] < 0.1


def test_what_cannot_be_flown() -> None:
    """The guard's faults, before anything is flown."""
    made, plan = planned_case()
    with pytest.raises(AssertionError, match=r"cannot be flown:\n  plan: total_dv_m_s: expected"):
        assert_plan_keeps(made, replace(plan, total_dv_m_s=1.0))


def test_what_ends_elsewhere() -> None:
    """A plan that leads nowhere, with every error outside."""
    with pytest.raises(AssertionError) as raised:
        assert_plan_keeps(sound_case(), sound())
    text = str(raised.value)
    assert text.startswith("flown perfectly, the plan does not keep:\n  the phase error of")
    for name in ("period", "eccentricity", "plane"):
        assert f"the {name} error of" in text


def test_a_limit_that_is_broken() -> None:
    """Named with its numbers."""
    made, plan = planned_case()
    tight = replace(made, limits=replace(made.limits, dv_m_s=plan.commanded_dv_m_s - 1.0))
    with pytest.raises(AssertionError, match=r"m/s, 1 m/s more than the limit|more than the limit"):
        assert_plan_keeps(tight, plan)


def test_less_than_the_whole_tolerance_may_be_asked_for() -> None:
    """A flight within, but not by as much as `used` says, is told so."""
    made, plan = planned_case()
    with pytest.raises(AssertionError, match=r"error uses .* of its tolerance, more than 1e-12"):
        assert_plan_keeps(made, plan, used=1e-12)


def test_cases_without_a_plan_are_left_out() -> None:
    """They neither fail nor count; the wish is handed on."""
    told: list[Wish] = []

    def never(made: Case, wish: Wish) -> Plan:
        told.append(wish)
        if made.forces:
            raise NoPlanError("no", limit="dv", excess=1.0)
        return sound()

    @settings(max_examples=10, phases=(Phase.generate,))
    @given(cases())
    def look(made: Case) -> None:
        assert planned(never, made, Wish(prefer="dv")).summary == "two burns"
        assert made.forces == ()

    look()
    assert {wish.prefer for wish in told} == {"dv"}


def sloppy(made: Case, wish: Wish) -> Plan:
    """A planner that leaves out the last burn."""
    plan = plan_ring(made, wish)
    left = plan.commands[:-1]
    return replace(plan, commands=left, commanded_dv_m_s=sum(x.dv_m_s for x in left))


def test_a_sloppy_planner_is_caught() -> None:
    """The five lines that a team writes find what is wrong with it."""

    @settings(max_examples=1, phases=(Phase.generate,))
    @given(cases(body="Mars", forces=(), with_limits=False, with_errors=False))
    def five_lines(made: Case) -> None:
        assert_plan_keeps(made, planned(sloppy, made))

    with pytest.raises(AssertionError, match="flown perfectly, the plan does not keep"):
        five_lines()
