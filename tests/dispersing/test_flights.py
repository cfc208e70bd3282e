"""Chunks of closed-loop flights: rows that depend on nothing but the sample, whoever decides."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from itertools import pairwise
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from simcheck.dispersing import flights
from simcheck.dispersing.flights import Job, fly_chunk
from simcheck.errors import FlightError
from simcheck.flying.lanes import fly_lanes
from simcheck.flying.mission import fly_plan
from simcheck.flying.operating import Team
from simcheck.flying.team import stepwise
from simcheck.flying.together import team_of
from simcheck.judging import judge
from simcheck.planning.planner import plan_ring
from simcheck.planning.registry import Planner
from simcheck.records.case import Case, Operations
from simcheck.records.dispersion import COLUMNS, OUTCOMES, Rows, columns_of
from simcheck.records.plan import Plan
from simcheck.records.wish import Wish
from tests.flying.bench import same
from tests.flying.loops import REALISTIC, TRACKED, relay, relay_plan

SAMPLES = 24


def floats(made: Case) -> list[str]:
    return [name for name, kind, *_ in columns_of(made) if kind == "<f8"]


def job(planner: str = "ring", operations: Operations = TRACKED) -> Job:
    made = relay(REALISTIC, operations)
    return Job(case=made, plan=relay_plan(), seed=2, planner=planner)


@cache
def whole() -> Rows:
    """All samples in one chunk."""
    return fly_chunk(job(), 0, SAMPLES)


@settings(max_examples=8)
@given(cuts=st.sets(st.integers(1, SAMPLES - 1), max_size=5))
def test_rows_do_not_depend_on_the_cuts(cuts: set[int]) -> None:
    """However the samples are cut into chunks, the same bytes."""
    edges = [0, *sorted(cuts), SAMPLES]
    parts = [fly_chunk(job(), a, b - a) for a, b in pairwise(edges)]
    assert b"".join(part.tobytes() for part in parts) == whole().tobytes()


def test_single_samples_are_the_same_bytes() -> None:
    """Each by itself, in reverse."""
    for k in reversed(range(0, SAMPLES, 5)):
        assert fly_chunk(job(), k, 1).tobytes() == whole()[k : k + 1].tobytes()


def row_of(made: Case, name: str, sample: int, planner: Planner = plan_ring) -> dict[str, float]:
    """A row's numbers from a flight alone, with its full record, as `fly --sample` has it."""
    team = team_of(made, relay_plan(), name, planner)
    one = fly_plan(made, relay_plan(), seed=2, sample=sample, reference=False, team=team)
    parts = one.components
    closest = one.closest_approach_m
    return {
        "within": float(judge(made, one).verdict == "within"),
        "burns": sum(arc.kind == "burn" for arc in one.arcs),
        "decisions": len(one.decisions),
        "phase_deg": one.errors.phase_deg,
        "period_s": one.errors.period_s,
        "eccentricity": one.errors.eccentricity,
        "plane_deg": one.errors.plane_deg,
        "eccentricity_k": parts.eccentricity_k,
        "eccentricity_h": parts.eccentricity_h,
        "plane_x_deg": parts.plane_x_deg,
        "plane_y_deg": parts.plane_y_deg,
        "dv_used_m_s": one.dv_used_m_s,
        "propellant_used_kg": one.propellant_used_kg,
        "arrival_time_s": one.arrival_time_s,
        "lowest_altitude_m": one.lowest_altitude_m,
        "closest_approach_m": np.nan if closest is None else closest,
        "closest_1_m": min(x.distance_m for x in one.approaches),
    }


def test_flights_alone_have_the_rows_of_lanes() -> None:
    """Every column of a lane's row is that flight's, to the rounding of one against many.

    Lowest altitudes are from samples, to 300 m; distances to members are right to a metre.
    """
    made = job().case
    assert not fly_lanes(made, relay_plan(), 2, range(6), closed_loop=True).alone.any()
    for sample in range(6):
        one, row = row_of(made, "ring", sample), whole()[sample]
        for name in ("within", "burns", "decisions"):
            assert row[name] == one[name], name
        assert set(floats(made)) <= set(one)
        for name in floats(made):
            loose = {"lowest_altitude_m": 300.0, "closest_approach_m": 1.0, "closest_1_m": 1.0}
            assert row[name] == pytest.approx(
                one[name], rel=0.0 if name in loose else 1e-6, abs=loose.get(name, 1e-7)
            ), name
        assert OUTCOMES[row["outcome"]] == "flown"


def quick(made: Case, wish: Wish) -> Plan:
    """Our planner, looking less hard."""
    return plan_ring(made, replace(wish, effort=0))


def test_flights_out_of_the_ordinary_are_the_flights_alone(monkeypatch: pytest.MonkeyPatch) -> None:
    """A sample that misses a burn is flown alone within its chunk: its row to the bit."""
    monkeypatch.setattr(flights, "planner", lambda name: quick)
    made = relay(replace(REALISTIC, missed_burn=0.1))
    lanes = fly_lanes(made, relay_plan(), 2, range(12), closed_loop=True)
    odd = np.flatnonzero(lanes.alone)
    assert 0 < len(odd) < 12
    first = int(odd[0])
    rows = fly_chunk(Job(case=made, plan=relay_plan(), seed=2, planner="ring"), first, 1)
    expected = row_of(made, "ring", first, quick)
    for name, value in expected.items():
        assert rows[0][name] == value or np.isnan(value), name


def test_another_planner_is_asked_step_by_step(monkeypatch: pytest.MonkeyPatch) -> None:
    """A foreign planner's flights are `stepwise`'s, with that planner, and no lane is flown."""
    asked: list[Any] = []

    def mine(made: Case, wish: Wish) -> Plan:
        asked.append(wish)
        return plan_ring(made, wish)

    def refuse(*args: Any, **kwargs: Any) -> Any:
        raise AssertionError("flown in lanes")

    monkeypatch.setattr(flights, "planner", lambda name: {"mine": mine}[name])
    monkeypatch.setattr("simcheck.flying.lanes.fly_lanes", refuse)
    rows = fly_chunk(job("mine"), 0, 2)
    assert len(asked) >= 2
    made = job().case
    for k in range(2):
        one = fly_plan(
            made,
            relay_plan(),
            seed=2,
            sample=k,
            reference=False,
            team=Team(stepwise, plan_ring),
        )
        assert rows[k]["phase_deg"] == one.errors.phase_deg
        assert rows[k]["dv_used_m_s"] == one.dv_used_m_s
        assert rows[k]["decisions"] == len(one.decisions)


def test_open_loop_lanes_need_no_planner(monkeypatch: pytest.MonkeyPatch) -> None:
    """Where nobody decides, lanes are flown whatever planner made the plan."""
    monkeypatch.setattr(flights, "planner", lambda name: None)
    quiet = job("mine", Operations())
    assert not quiet.closed_loop
    rows = fly_chunk(quiet, 0, 3)
    assert (rows["decisions"] == 0).all()
    assert (rows["burns"] == 3).all()
    assert job(operations=Operations(max_trims=1)).closed_loop


def test_without_the_fast_engine_each_flies_alone(monkeypatch: pytest.MonkeyPatch) -> None:
    """No heyoka to be found: one by one, and no row is missing."""
    monkeypatch.setattr(flights, "find_spec", lambda name: None)
    seen: list[int] = []

    def row(job: Job, sample: int, *_: Any) -> tuple[float, ...]:
        seen.append(sample)
        return (sample, *[0] * len(COLUMNS))

    monkeypatch.setattr(flights, "_row", row)
    assert fly_chunk(job(), 4, 3)["sample"].tolist() == [4, 5, 6]
    assert seen == [4, 5, 6]


def test_a_flight_that_cannot_be_computed_keeps_its_number(monkeypatch: pytest.MonkeyPatch) -> None:
    """Its row says not flown, not within, and has no numbers."""

    def broken(*args: Any, **kwargs: Any) -> Any:
        raise FlightError("a test")

    monkeypatch.setattr(flights, "fly_plan", broken)
    monkeypatch.setattr(flights, "find_spec", lambda name: None)
    (row,) = fly_chunk(job(), 7, 1)
    assert (row["sample"], OUTCOMES[row["outcome"]], row["within"]) == (7, "not-flown", 0)
    assert all(np.isnan(row[name]) for name in floats(job().case))


def test_the_same_rows_again() -> None:
    """A second run of the same job, in this process, gives the same bytes and flights."""
    assert fly_chunk(job(), 0, SAMPLES).tobytes() == whole().tobytes()
    made = job().case
    flown = [
        fly_plan(
            made,
            relay_plan(),
            seed=2,
            sample=3,
            reference=False,
            team=team_of(made, relay_plan(), "ring", plan_ring),
        )
        for _ in range(2)
    ]
    assert same(*flown)
