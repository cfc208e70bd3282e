"""What is preferred of several plans, the trade between them, and that it is always the same."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest

import simcheck
from simcheck.planning.candidates import Candidate
from simcheck.planning.phasing import build, offers
from simcheck.planning.problem import problem_of
from simcheck.planning.routes import handbook_routes
from simcheck.planning.searching import ARCS, Entry, ordered, search, trade
from simcheck.records.wish import Wish
from tests.cases_for_tests import EARTH, MARS, MOON, case, orbit, ring
from tests.planning.problems import miss, problem

HOUR_S = 3600.0


def entry(dv: float, arrival: float) -> Entry:
    """An entry with nothing behind it."""
    return Entry(dv, arrival, "", Candidate("", (), (), None))


FOUR = [entry(100.0, 50.0), entry(100.3, 40.0), entry(103.0, 20.0), entry(150.0, 10.0)]


@pytest.mark.parametrize(
    ("prefer", "first"), [("balance", 40.0), ("dv", 50.0), ("time", 10.0)], ids=str
)
def test_each_preference_has_its_first(prefer: str, first: float) -> None:
    """The earliest of the nearly cheapest, the cheapest, the earliest."""
    assert ordered(FOUR, prefer)[0].arrival == first  # type: ignore[arg-type]
    assert ordered([], "balance") == []


def test_the_trade_holds_what_no_other_beats() -> None:
    """Each later one is cheaper, dominated ones are gone, and near twins are one."""
    more = [*FOUR, entry(160.0, 30.0), entry(100.0, 60.0), entry(149.9, 10.5)]
    front = trade(more, most=10)
    assert [e.arrival for e in front] == [10.5, 20.0, 50.0]
    assert all(one.dv > two.dv for one, two in pairwise(front))
    assert len(trade([entry(100.0 + k, 200.0 - k) for k in range(100)], most=5)) <= 6


def test_preferences_on_a_real_case() -> None:
    """In two-body motion: time costs Δv, and the default lies between."""
    made = case(MARS, slot=3, min_altitude_m=200e3, dv_m_s=1500.0)
    plans = {p: simcheck.plan(made, prefer=p) for p in ("balance", "dv", "time")}
    dv = {p: plan.total_dv_m_s for p, plan in plans.items()}
    arrival = {p: plan.arrival_time_s for p, plan in plans.items()}
    # "dv" takes the earliest of those within 1e-4 of the cheapest.
    assert dv["dv"] * (1 - 1e-4) <= dv["balance"] <= dv["dv"] * 1.005
    assert dv["balance"] < dv["time"] <= 1500.0
    assert arrival["time"] < arrival["balance"] <= arrival["dv"]
    last = plans["time"].commands[-1]
    assert last.ignition_s + last.duration_s < arrival["time"] + last.duration_s


def test_the_default_is_the_earliest_of_the_nearly_cheapest() -> None:
    """No plan of the trade is both earlier and within the share that does not matter."""
    plan = simcheck.plan(case(MARS, slot=3, min_altitude_m=200e3))
    cheapest = min([plan.total_dv_m_s, *(a.total_dv_m_s for a in plan.alternatives)])
    for other in plan.alternatives:
        near = other.total_dv_m_s <= cheapest * 1.0045
        assert not near or other.arrival_time_s >= plan.arrival_time_s - 1.0
    rows = [(plan.arrival_time_s, plan.total_dv_m_s)]
    rows += [(a.arrival_time_s, a.total_dv_m_s) for a in plan.alternatives]
    for one, two in pairwise(sorted(rows)):
        assert two[1] <= one[1] * 1.0001


@pytest.mark.parametrize("effort", [1, 2])
def test_the_same_wish_gives_the_same_plan(effort: int) -> None:
    """Bit for bit, with the drawn starts that a greater effort adds."""
    posed = replace(problem(), end_s=14 * HOUR_S)
    wish = Wish(effort=effort, seed=5)
    one, two = (search([posed], wish).entries[0].candidate(posed) for _ in range(2))
    assert one is not None
    assert two is not None
    assert [x.time for x in one.impulses] == [x.time for x in two.impulses]
    assert all(
        np.array_equal(x.after, y.after) for x, y in zip(one.impulses, two.impulses, strict=True)
    )


SCENES = {
    "Mars, from inside": (
        MARS,
        orbit(MARS, 4200.0, 9300.0, 48.0, 2.0, 292.0, 237.0),
        11867.0,
        50.0,
    ),
    "Moon, across": (MOON, orbit(MOON, 2481.0, 14083.0, 48.7, 127.9, 256.6, 12.4), 9516.0, 45.2),
    "Earth, from outside": (
        EARTH,
        orbit(EARTH, 19121.0, 32648.0, 38.2, 52.6, 305.0, 230.3),
        16246.0,
        37.2,
    ),
}


@pytest.mark.parametrize("name", SCENES)
@pytest.mark.parametrize("turns", [0.8, 1.6, 6.0])
def test_no_textbook_sequence_reaches_the_slot_for_less(name: str, turns: float) -> None:
    """For the same time limit, and the chosen plan ends on the slot."""
    body, start, radius, tilt = SCENES[name]
    goal = ring(radius_km=radius, inclination=tilt, raan=55.0)
    period = 2 * np.pi * np.sqrt((radius * 1e3) ** 3 / body.gm_m3_s2)
    made = case(body, start, goal, days=turns * period / 86400, slot=2, max_radius_m=2e8)
    posed = problem_of(made, ARCS[-1])
    found = search([posed])
    dated = [
        c.dv
        for route in handbook_routes(posed)
        for offer in offers(posed, route)
        if (c := build(posed, offer)) is not None
    ]
    if not found.entries:
        assert not dated
        return
    assert found.entries[0].dv <= min(dated, default=np.inf) * 1.0045 + 1e-6
    candidate = found.entries[0].candidate(posed)
    assert candidate is not None
    distance, speed = miss(posed, candidate)
    assert distance < 1.0
    assert speed < 1e-3
    assert candidate.arrival <= posed.end_s
