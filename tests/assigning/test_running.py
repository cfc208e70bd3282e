"""Whole assignments: against planning every pair, and the cases that must be refused."""

from __future__ import annotations

import math
from dataclasses import replace
from itertools import permutations

import numpy as np
import pytest

import simcheck
from simcheck.assigning.estimating import estimate, share_of
from simcheck.assigning.running import assign
from simcheck.assigning.solving import ALIKE
from simcheck.dispersing.executors import HereExecutor
from simcheck.errors import InputError, NoPlanError
from simcheck.records.case import Case, Member
from simcheck.records.fleet import Assignment, Fleet
from simcheck.records.plan import Plan
from simcheck.records.wish import Preference, Wish
from tests.assigning.fleets import ORBITS, craft, fleet

FOUR = tuple(ORBITS)
WORKERS = 2
HELD = (Member(name="R0", slot=0),)


def plans(made: Fleet, prefer: Preference) -> dict[tuple[int, int], Plan | None]:
    """The plan of every pair, as `simcheck plan` makes it; None where there is none."""
    found: dict[tuple[int, int], Plan | None] = {}
    for row in range(len(made.craft)):
        for slot in made.allowed(row):
            try:
                found[row, slot] = simcheck.plan(made.case(row, slot), prefer=prefer)
            except NoPlanError:
                found[row, slot] = None
    return found


def least(made: Fleet, pairs: dict[tuple[int, int], Plan | None], of: str) -> float:
    """The least value of all permutations."""

    def cost(row: int, slot: int) -> float:
        plan = pairs[row, slot]
        if plan is None:
            return math.inf
        if of == "time":
            return plan.arrival_time_s
        if of == "total-dv":
            return plan.total_dv_m_s
        return share_of(made.case(row, slot), plan.total_dv_m_s)

    join = sum if of == "total-dv" else max
    slots, count = range(made.base.ring.slots), len(made.craft)
    return min(
        float(join(cost(row, slot) for row, slot in enumerate(chosen)))
        for chosen in permutations(slots, count)
    )


@pytest.mark.slow
def test_four_craft_go_where_trying_all_24_ways_says() -> None:
    """All 16 pairs planned one by one: no permutation has less Δv, or a smaller largest share.

    A day is short: what a craft pays differs by slot by a few to tens of m/s.
    """
    made = fleet(*map(craft, FOUR), days=0.8)
    pairs = plans(made, "dv")
    dv = [plan.total_dv_m_s for plan in pairs.values() if plan is not None]
    assert max(dv) > 1.05 * min(dv)
    for minimise in ("total-dv", "largest-share"):
        asked = replace(made, aim=replace(made.aim, minimise=minimise))
        found = simcheck.assign(asked, workers=WORKERS)
        best = least(made, pairs, minimise)
        assert best * (1 - 1e-9) <= found.value <= best * (1 + 2 * ALIKE)
        assert found.bound <= best * (1 + 1e-9)
        assert found.verdict == "within", found.findings


@pytest.mark.slow
def test_three_craft_arrive_as_early_as_trying_all_ways_says() -> None:
    """The last arrival of the best of all permutations of every pair's earliest plan."""
    made = fleet(*map(craft, FOUR[:3]), slots=3, days=0.8, minimise="time")
    found = simcheck.assign(made, workers=WORKERS)
    best = least(made, plans(made, "time"), "time")
    assert best * (1 - 1e-9) <= found.value <= best * (1 + 2 * ALIKE)
    assert best * (1 - 2 * ALIKE) <= found.bound <= best * (1 + 1e-9)


@pytest.fixture(scope="module")
def two() -> tuple[Fleet, Assignment]:
    """Two craft, three slots, one of them held; days enough."""
    made = fleet(craft("Heron"), craft("Egret", slot=2), slots=3, days=4.0, held=HELD)
    return made, simcheck.assign(made)


def test_held_and_own_slots_are_kept(two: tuple[Fleet, Assignment]) -> None:
    """Slot 0 is a member's, slot 2 the second craft's own; so the first goes to slot 1."""
    made, found = two
    assert made.open_slots == (1, 2)
    assert {one.craft: one.slot for one in found.assigned} == {"Heron": 1, "Egret": 2}
    assert found.runner_up is None
    known = {(pair.craft, pair.slot): pair.known for pair in found.pairs}
    assert known["Heron", 2] == known["Egret", 1] == "not its slot"
    assert ("Heron", 0) not in known


def test_an_own_slot_is_kept_where_others_are_cheaper() -> None:
    """In less than a day slot 0 is dear, but it is the craft's own: no other is even planned."""
    made = fleet(craft("Heron", slot=0), days=0.8)
    found = simcheck.assign(made)
    (one,) = found.assigned
    assert one.slot == 0
    assert one.plan.lower_bound_dv_m_s is not None
    assert one.plan.total_dv_m_s > 1.05 * one.plan.lower_bound_dv_m_s
    assert [(pair.slot, pair.known) for pair in found.pairs] == [(0, "planned")]
    wide = replace(made, craft=(*made.craft, craft("Egret")))
    known = {(x.craft, x.slot): x.known for x in simcheck.assign(wide).pairs}
    assert {known["Heron", slot] for slot in (1, 2, 3)} == {"not its slot"}
    assert known["Egret", 0] == "not its slot"


def test_what_is_told_fits_together(two: tuple[Fleet, Assignment]) -> None:
    """Sums, the order of arrivals and the flights are those of the plans, flown by `fly`."""
    made, found = two
    assert found.verdict == "within", found.findings
    assert found.total_dv_m_s == pytest.approx(sum(x.plan.total_dv_m_s for x in found.assigned))
    assert found.value == pytest.approx(found.total_dv_m_s)
    arrivals = {one.craft: one.flight.arrival_time_s for one in found.assigned}
    assert list(found.order) == sorted(arrivals, key=arrivals.__getitem__)
    assert found.last_arrival_s == max(arrivals.values())
    for row, one in enumerate(found.assigned):
        case = made.case(row, one.slot)
        flight = simcheck.fly(case, one.plan)
        assert flight.propellant_used_kg == one.flight.propellant_used_kg
        assert one.share == pytest.approx(flight.propellant_used_kg / 300.0)
        assert simcheck.judge(case, flight).verdict == one.verdict.verdict
    near = {frozenset((x.one, x.other)): x for x in found.approaches}
    assert set(near) == {frozenset(("Heron", "Egret"))}


def test_the_workers_do_not_matter(two: tuple[Fleet, Assignment]) -> None:
    """Bit for bit."""
    made, found = two
    again = simcheck.assign(made, workers=WORKERS)
    assert again.value == found.value
    for one, other in zip(found.assigned, again.assigned, strict=True):
        assert one.slot == other.slot
        assert one.flight.arrival_time_s == other.flight.arrival_time_s
        assert np.array_equal(
            one.flight.arcs[-1].end.position_m, other.flight.arcs[-1].end.position_m
        )


def test_a_craft_that_cannot_go_anywhere_is_named() -> None:
    """With its reason, that of its first slot."""
    made = fleet(craft("Heron"), craft("Egret", propellant_kg=30.0), slots=2)
    with pytest.raises(NoPlanError, match="Egret can reach none of the slots") as raised:
        simcheck.assign(made)
    assert "propellant" in str(raised.value)
    assert raised.value.limit == "propellant"
    assert raised.value.excess > 100.0


def test_craft_that_want_one_slot_are_named() -> None:
    """A planner that reaches slot 0 only: two craft, one slot between them."""

    def picky(case: Case, wish: Wish) -> Plan:
        if case.craft.slot != 0:
            raise NoPlanError("not there", limit="duration", excess=1.0)
        return simcheck.plan(case, prefer=wish.prefer)

    made = fleet(craft("Heron"), craft("Egret"), slots=2, days=4.0)
    with pytest.raises(
        NoPlanError, match=r"Heron, Egret are 2 craft.* only slot 0 between"
    ) as raised:
        assign(made, "picky", picky, HereExecutor())  # type: ignore[arg-type]
    assert raised.value.limit == "slots"
    assert raised.value.excess == 1.0


def test_a_free_angle_is_the_best_of_a_finer_scan() -> None:
    """Of 60 angles over the spacing, none is estimated cheaper, nor alike and earlier by more than
    the ring turns in the finest step; turning it does better than leaving it."""
    made = fleet(craft("Heron"), slots=4, days=4.0, angle="free")
    found = simcheck.assign(made, workers=WORKERS)
    step = 90.0 / 12 / 9  # degrees: twelve angles, twice three times finer
    assert min(np.diff([x.argument_of_latitude_deg for x in found.angles])) == pytest.approx(step)
    case, slots = made.case(0, 0), range(4)
    scan = estimate(case, slots, list(np.radians(np.linspace(0.0, 90.0, 60, endpoint=False))))
    least_dv, earliest = scan.dv_m_s.min(), scan.arrival_s.min()
    (one,) = found.assigned
    assert one.plan.total_dv_m_s <= least_dv * (1 + 2 * ALIKE)
    turn = 36000.0 * (step + 90.0 / 60) / 360.0
    assert one.plan.arrival_time_s <= earliest + turn
    fixed = simcheck.assign(made, free_angle=False)
    assert fixed.angles == ()
    assert one.plan.arrival_time_s < fixed.assigned[0].plan.arrival_time_s - turn


def test_a_held_slot_fixes_the_angle() -> None:
    made = fleet(craft("Heron"), held=HELD)
    with pytest.raises(InputError, match='fixed by "R0", which holds slot 0'):
        simcheck.assign(made, free_angle=True)


def test_an_unknown_planner_is_told_before_anything_is_done() -> None:
    with pytest.raises(InputError, match="--planner"):
        simcheck.assign(fleet(craft("Heron")), "nobody")
