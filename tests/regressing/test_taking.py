"""A case tried: found is what planning, flying and judging say, and failures are findings."""

from __future__ import annotations

import math
from pathlib import Path
from typing import Any

import numpy as np
import pytest

import simcheck
from simcheck.dispersing.flights import Job, fly_chunk
from simcheck.errors import FlightError, NoPlanError, PlannerError
from simcheck.records.baseline import Trial
from simcheck.records.case import Case
from simcheck.records.measures import measure_at
from simcheck.records.plan import Plan
from simcheck.records.wish import Wish
from simcheck.regressing import taking
from simcheck.regressing.taking import Flown, dispersed, found_values, scales, take
from tests.cases_for_tests import load, toml

ERRORS = {"thrust_bias": "0.05 %", "pointing_proportional": "0.05 deg"}


@pytest.fixture(scope="module")
def case(tmp_path_factory: pytest.TempPathFactory) -> Case:
    """An invented case without a phase, which is planned in no time, with errors."""
    return load(toml({"errors": ERRORS}), tmp_path_factory.mktemp("taking"))


@pytest.fixture(scope="module")
def run(case: Case) -> Flown:
    return taking.flown(case, Trial())


def test_it_is_what_the_verbs_give(case: Case, run: Flown) -> None:
    """Every value is the plan's, the flight's or the verdict's own, in the measures' order."""
    values = found_values(case, run)
    plan = simcheck.plan(case)
    flight = simcheck.fly(case, plan, reference=False)
    assert values["plan.total_dv_m_s"] == plan.total_dv_m_s
    assert values["plan.commanded_dv_m_s"] == plan.commanded_dv_m_s
    assert values["plan.burns"] == len(plan.commands)
    assert values["burn.B2.ignition_s"] == plan.commands[1].ignition_s
    assert values["error.period_s"] == flight.errors.period_s
    assert values["flight.arrival_time_s"] == flight.arrival_time_s
    assert values["margin.altitude_m"] == simcheck.judge(case, flight).margins["altitude_m"]
    assert all(measure_at(path) for path in values)


def test_only_what_is_listed_is_kept(case: Case, run: Flown) -> None:
    """The case aims at no phase, and has no limit of Δv."""
    values = found_values(case, run)
    assert "error.phase_deg" not in values
    assert "margin.dv_m_s" not in values
    assert scales(case, run.flight)["error.period_s"] == 5.0


def test_the_dispersion_is_that_of_the_same_samples(case: Case, run: Flown) -> None:
    """The share within, and the least Δv that 95 % of the flights do with."""
    found = dispersed(case, run.plan, Trial(samples=40))
    rows = fly_chunk(Job(case=case, plan=run.plan, seed=0, planner="ring"), 0, 40)
    assert found["dispersion.within"] == np.mean(rows["within"])
    assert found["dispersion.dv_95_m_s"] == np.sort(rows["dv_used_m_s"])[37]


def test_too_few_flights_have_no_high_percentile(case: Case, run: Flown) -> None:
    """Of ten flights not one is expected beyond 95 %."""
    assert math.isnan(float(dispersed(case, run.plan, Trial(samples=10))["dispersion.dv_95_m_s"]))


def test_nothing_is_dispersed_where_nothing_varies(run: Flown, tmp_path: Path) -> None:
    """Without errors, and where no flights are asked for."""
    calm = load(toml(), tmp_path)
    assert dispersed(calm, run.plan, Trial()) == {}


def test_no_plan_is_a_finding(tmp_path: Path) -> None:
    """With the limit that binds, and the message that says by how much."""
    found = take(load(toml({"limits": {"dv": "10 m/s"}}), tmp_path), Trial())
    assert found.values == {"plan.result": "no plan", "plan.limit": "dv"}
    assert "m/s more" in found.messages[0]
    assert found.failure is None
    assert found.seconds > 0.0


@pytest.mark.parametrize(
    ("error", "said"),
    [
        (FlightError("no way to compute it"), "no way to compute it"),
        (PlannerError("mine", ("it raised KeyError",), "again"), "mine is at fault: it raised"),
    ],
)
def test_what_cannot_be_computed_is_a_failure(
    case: Case, monkeypatch: pytest.MonkeyPatch, error: Exception, said: str
) -> None:
    """It says why, and has no values."""

    def broken(case: Case, wish: Wish) -> Plan:
        raise error

    monkeypatch.setattr(taking, "planner", lambda name: broken)
    found = take(case, Trial())
    assert found.values == {}
    assert found.failure is not None
    assert said in found.failure


def test_effort_and_seed_reach_the_planner(case: Case, monkeypatch: pytest.MonkeyPatch) -> None:
    """A trial asks as hard as it says."""
    asked: list[Any] = []

    def noted(case: Case, wish: Wish) -> Plan:
        asked.append((wish.effort, wish.seed, wish.prefer))
        raise NoPlanError("none", limit="dv", excess=1.0)

    monkeypatch.setattr(taking, "planner", lambda name: noted)
    take(case, Trial(effort=3, seed=5))
    assert asked == [(3, 5, "balance")]
