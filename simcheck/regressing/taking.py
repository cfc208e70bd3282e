"""One case tried anew: planned, flown without errors, judged, dispersed a little."""

from __future__ import annotations

import dataclasses
import math
import time
from dataclasses import dataclass

import numpy as np

from simcheck.arrays import Array
from simcheck.dispersing.flights import Job, fly_chunk
from simcheck.errors import NoPlanError, PlannerError, SimcheckError
from simcheck.flying.mission import fly_plan
from simcheck.judging import judge, limit_uses
from simcheck.kernels.quantiles import quantile_place
from simcheck.planning.registry import planner
from simcheck.records.baseline import Found, Trial
from simcheck.records.case import Case
from simcheck.records.flight import Flight, Verdict
from simcheck.records.measures import Value
from simcheck.records.plan import Plan
from simcheck.records.quantities import QUANTITIES, error_of, listed_tolerances
from simcheck.records.wish import Wish

_HIGH = 0.95  # percentile of Δv: of 200 flights it leaves ten above, of which none decides alone


@dataclass(frozen=True, kw_only=True, eq=False)
class Flown:
    """A case planned, flown without errors and judged."""

    plan: Plan
    flight: Flight
    verdict: Verdict


def flown(case: Case, trial: Trial, *, reference: bool = False) -> Flown:
    """Plan a case and fly it without errors. Raises what planner and flight raise.

    reference flies the reference propagator too, which fills engine_disagreement_m.
    """
    plan = planner(trial.planner)(case, Wish(effort=trial.effort, seed=trial.seed))
    flight = fly_plan(case, plan, reference=reference)
    return Flown(plan=plan, flight=flight, verdict=judge(case, flight))


def take(case: Case, trial: Trial) -> Found:
    """Try a case; whatever of simcheck's errors it ends in is a finding like any other."""
    began = time.monotonic()
    try:
        run = flown(case, trial)
        found = found_of(case, run, trial)
    except SimcheckError as error:
        found = failed(error)
    return dataclasses.replace(found, seconds=time.monotonic() - began)


def found_of(case: Case, run: Flown, trial: Trial) -> Found:
    """What a flight says, and the few dispersed beside it."""
    return Found(
        values=found_values(case, run) | dispersed(case, run.plan, trial),
        scales=scales(case, run.flight),
        messages=run.verdict.findings,
    )


def failed(error: SimcheckError) -> Found:
    """What it says that there is no flight: no plan within the limits, or nothing at all."""
    if isinstance(error, NoPlanError):
        limit = " ".join(error.limit.split()) or "unknown"
        values: dict[str, Value] = {"plan.result": "no plan", "plan.limit": limit}
        return Found(values=values, messages=(str(error),))
    return Found(
        values={}, failure=error.in_a_line if isinstance(error, PlannerError) else str(error)
    )


def found_values(case: Case, run: Flown) -> dict[str, Value]:
    """Everything that a baseline keeps of a flight without errors, in order."""
    plan, flight = run.plan, run.flight
    values: dict[str, Value] = {
        "plan.result": "planned",
        "plan.burns": float(len(plan.commands)),
        "plan.total_dv_m_s": plan.total_dv_m_s,
        "plan.commanded_dv_m_s": plan.commanded_dv_m_s,
    }
    if plan.lower_bound_dv_m_s is not None:
        values["plan.lower_bound_dv_m_s"] = plan.lower_bound_dv_m_s
    for number, command in enumerate(plan.commands, start=1):
        values[f"burn.B{number}.ignition_s"] = command.ignition_s
        values[f"burn.B{number}.dv_m_s"] = command.dv_m_s
    values["flight.outcome"] = flight.outcome
    values["flight.verdict"] = run.verdict.verdict
    values["flight.arrival_time_s"] = flight.arrival_time_s
    tolerances = listed_tolerances(case.tolerance)
    for quantity in QUANTITIES:
        if quantity.error in tolerances:
            values[f"error.{quantity.error}"] = error_of(flight.errors, quantity)
    for name, margin in run.verdict.margins.items():
        values[f"margin.{name}"] = margin
    return values


def scales(case: Case, flight: Flight) -> dict[str, float]:
    """The tolerance of each error and the limit of each margin, by path."""
    found = {f"error.{name}": size for name, size in listed_tolerances(case.tolerance).items()}
    return found | {f"margin.{use.key}": use.limit for use in limit_uses(case, flight)}


def dispersed(case: Case, plan: Plan, trial: Trial) -> dict[str, Value]:
    """What a few flights with the errors drawn say; nothing where no error varies."""
    varies = any(size > 0.0 for size in vars(case.errors).values())
    if not varies or trial.samples == 0:
        return {}
    job = Job(case=case, plan=plan, seed=trial.seed, planner=trial.planner)
    rows = fly_chunk(job, 0, trial.samples)
    return {
        "dispersion.within": float(np.mean(rows["within"])),
        "dispersion.dv_95_m_s": _percentile(np.array(rows["dv_used_m_s"])),
    }


def _percentile(values: Array) -> float:
    """The high percentile of the values that are numbers, one of them; NaN where they are few."""
    known = np.sort(values[np.isfinite(values)])
    if len(known) * (1.0 - _HIGH) < 1.0 - 1e-9:
        return math.nan
    return float(known[int(quantile_place(np.array(len(known)), np.array(_HIGH)))])
