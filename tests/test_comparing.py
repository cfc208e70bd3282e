"""Two plans side by side: burns find their partners, and better means what it should."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from simcheck import comparing
from simcheck.comparing import compare
from simcheck.records.comparison import Comparison, Figure
from simcheck.records.flight import Flight, FlownErrors
from simcheck.records.plan import Burn, Plan
from tests.cli import samples

CASE = samples.case()


def burn(label: str, time_s: float, *dv: float) -> Burn:
    size = float(np.linalg.norm(dv))
    along = np.array([0.0, size, 0.0])
    made = samples.burn(1, size, label=label, time_s=time_s, magnitude_m_s=size)
    return samples.changed(made, dv_m_s=np.array(dv), dv_rsw_m_s=along)


def plan(*burns: Burn, **fields: Any) -> Plan:
    total = sum(one.magnitude_m_s for one in burns)
    return samples.plan(burns=burns, total_dv_m_s=total, commands=(), **fields)


@pytest.fixture
def flights(monkeypatch: pytest.MonkeyPatch) -> dict[int, Flight]:
    """Flights by their plan's arrival time, in place of flying it; else the sample flight."""
    made: dict[int, Flight] = {}
    monkeypatch.setattr(
        comparing,
        "fly_plan",
        lambda case, plan, reference: made.get(int(plan.arrival_time_s), samples.flight()),
    )
    return made


def figure(comparison: Comparison, name: str) -> Figure:
    return next(one for one in comparison.figures if one.name == name)


A = plan(burn("B1", 100.0, 50.0, 0.0, 0.0), burn("B2", 900.0, 0.0, 80.0, 0.0))
B = plan(
    burn("B1", 300.0, 40.0, 40.0, 0.0),
    burn("B2", 500.0, 0.0, 0.0, 9.0),
    burn("B3", 700.0, 0.0, 70.0, 0.0),
)


def test_burns_are_paired_by_what_they_do(flights: Any) -> None:
    """The burn that only one plan has stands alone, and the others keep their order."""
    pairs = compare(CASE, A, CASE, B).burns
    labels = [(one.a and one.a.label, one.b and one.b.label) for one in pairs]
    assert labels == [("B1", "B1"), (None, "B2"), ("B2", "B3")]
    first, alone, last = pairs
    assert first.later_s == 200.0
    assert first.more_m_s == pytest.approx(np.hypot(40.0, 40.0) - 50.0, rel=1e-12)
    assert first.turned_deg == pytest.approx(45.0, rel=1e-12)
    assert first.turned_rsw_deg == 0.0
    assert (last.later_s, last.more_m_s, last.turned_deg) == (-200.0, -10.0, 0.0)
    assert (alone.later_s, alone.more_m_s, alone.turned_deg) == (None, None, None)


def test_a_burn_goes_with_the_one_that_is_like_it(flights: Any) -> None:
    """Neither with the first nor with the largest."""
    pairs = compare(CASE, plan(burn("X", 0.0, 0.0, 0.0, 8.0)), CASE, B).burns
    labels = [(one.a and one.a.label, one.b and one.b.label) for one in pairs]
    assert labels == [(None, "B1"), ("X", "B2"), (None, "B3")]


def test_the_other_way_round_it_is_the_same(flights: Any) -> None:
    """Swapped, differences change their sign and better its name."""
    swap = {"A": "B", "B": "A", "alike": "alike", None: None}
    one, two = compare(CASE, A, CASE, B), compare(CASE, B, CASE, A)
    for here, there in zip(one.figures, two.figures, strict=True):
        assert (here.name, here.better) == (there.name, swap[there.better])
        assert here.difference == -(there.difference or 0.0)
    pairs = [(x.b and x.b.label, x.a and x.a.label) for x in two.burns]
    assert pairs == [(x.a and x.a.label, x.b and x.b.label) for x in one.burns]


def test_a_plan_against_itself_is_alike(flights: Any) -> None:
    """Nothing differs and nothing is better."""
    found = compare(CASE, A, CASE, A)
    assert all(one.difference == 0.0 and one.better in {None, "alike"} for one in found.figures)
    assert all(one.later_s == one.more_m_s == one.turned_deg == 0.0 for one in found.burns)
    assert found.summary == "Against A, B costs the same and arrives with it; both are within."


def test_no_burns_are_no_pairs(flights: Any) -> None:
    """A plan without burns leaves the other's alone."""
    assert compare(CASE, plan(), CASE, plan()).burns == ()
    assert [one.a for one in compare(CASE, plan(), CASE, A).burns] == [None, None]


def test_better_is_cheaper_sooner_and_with_more_to_spare(flights: Any) -> None:
    """Less Δv and time are better, more margin is; what explains other numbers is neither."""
    dear = samples.changed(B, arrival_time_s=1.0, commanded_dv_m_s=900.0)
    flights[1] = samples.flight(
        arrival_time_s=200_000.0, dv_used_m_s=900.0, propellant_used_kg=150.0
    )
    found = compare(CASE, A, CASE, dear)
    better = {one.name: one.better for one in found.figures}
    assert better["commanded_dv_m_s"] == better["propellant_used_kg"] == "A"
    assert better["arrival_time_s"] == better["duration_s"] == "B"
    assert better["dv_m_s"] == better["propellant_kg"] == "A"
    assert better["above_lower_bound_m_s"] == "A"
    assert better["altitude_m"] == "alike"
    assert better["burns"] is better["losses_m_s"] is better["lower_bound_dv_m_s"] is None
    assert figure(found, "commanded_dv_m_s").difference == 98.0
    assert found.summary == (
        "Against A, B costs 98.000 m/s more and arrives 0.579 days earlier; both are within."
    )


def test_an_error_is_better_only_by_a_share_of_its_tolerance(flights: Any) -> None:
    """Where the aiming happened to stop is alike; a sign counts for nothing."""
    other = samples.changed(A, arrival_time_s=1.0)
    # Of tolerances 0.5 deg, 5 s, 0.002 and 0.1 deg the sample flight uses 2, 4, 5 and 4 %.
    flights[1] = samples.flight(
        errors=FlownErrors(phase_deg=0.011, period_s=-0.6, eccentricity=1e-5, plane_deg=0.0039)
    )
    found = compare(CASE, A, CASE, other)
    better = [one.better for one in found.figures if one.group == "end"]
    assert better == ["alike", "A", "B", "alike"]
    assert figure(found, "period_s").difference == pytest.approx(-0.8, rel=1e-12)


def test_what_was_not_measured_is_not_better(flights: Any) -> None:
    """A craft that came down has no errors, and its verdict says so."""
    other = samples.changed(A, arrival_time_s=1.0)
    flights[1] = samples.flight(outcome="hit-the-body", errors=samples.no_orbit())
    found = compare(CASE, A, CASE, other)
    assert {one.better for one in found.figures if one.group == "end"} == {None}
    assert found.summary.endswith("A is within, B is outside.")


def test_two_cases_are_judged_each_by_its_own(flights: Any) -> None:
    """A limit that only one case has stands alone; a tolerance counts as a share of its own."""
    strict = samples.case(limits=samples.changed(CASE.limits, dv_m_s=float("inf")))
    strict = samples.changed(
        strict, tolerance=samples.changed(CASE.tolerance, period_s=0.1), title="Another"
    )
    found = compare(CASE, A, strict, A)
    assert (found.a.verdict.verdict, found.b.verdict.verdict) == ("within", "outside")
    assert figure(found, "dv_m_s").b is None
    assert figure(found, "dv_m_s").better is None
    assert figure(found, "period_s").better == "A"
    assert found.b.title == "Another"


def test_a_plan_without_a_floor_has_none_to_compare(flights: Any) -> None:
    """A plan of somebody else's may not know the least Δv."""
    found = compare(CASE, A, CASE, samples.changed(A, lower_bound_dv_m_s=None))
    assert figure(found, "above_lower_bound_m_s").difference is None
