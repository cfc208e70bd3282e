"""One chunk of samples flown: the work of a worker, a pure function of its arguments."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from simcheck import judging
from simcheck.errors import SimcheckError
from simcheck.flying.mission import fly_plan
from simcheck.flying.operating import Team
from simcheck.flying.team import stepwise
from simcheck.planning.registry import planner
from simcheck.records.case import Case
from simcheck.records.dispersion import COLUMNS, OUTCOMES, ROW, Rows
from simcheck.records.plan import Plan


@dataclass(frozen=True, kw_only=True, eq=False)
class Job:
    """What a dispersion flies: a case, its plan, the seed, and the planner of its flight team."""

    case: Case
    plan: Plan
    seed: int
    planner: str

    @property
    def closed_loop(self) -> bool:
        """Whether a flight team decides on the way."""
        operations = self.case.operations
        return operations.replan == "each-burn" or operations.max_trims > 0


def fly_chunk(job: Job, first: int, count: int) -> Rows:
    """Rows (count,) of samples first, first + 1, ...; a row does not depend on its neighbours."""
    team = Team(stepwise, planner(job.planner)) if job.closed_loop else None
    rows = np.zeros(count, dtype=ROW)
    for index in range(count):
        rows[index] = _row(job, first + index, team)
    return rows


def _row(job: Job, sample: int, team: Team | None) -> tuple[float, ...]:
    try:
        flight = fly_plan(
            job.case, job.plan, seed=job.seed, sample=sample, reference=False, team=team
        )
    except (SimcheckError, ArithmeticError, ValueError):
        # It counts as a failure and keeps its number: `fly --sample` shows what went wrong.
        return (sample, len(OUTCOMES) - 1, 0, 0, 0, *[math.nan] * (len(COLUMNS) - 5))
    good = judging.judge(job.case, flight).verdict == "within"
    errors = flight.errors
    closest = flight.closest_approach_m
    return (
        sample,
        OUTCOMES.index(flight.outcome),
        int(good),
        sum(arc.kind == "burn" for arc in flight.arcs),
        len(flight.decisions),
        errors.phase_deg,
        errors.period_s,
        errors.eccentricity,
        errors.plane_deg,
        flight.dv_used_m_s,
        flight.propellant_used_kg,
        flight.arrival_time_s,
        flight.lowest_altitude_m,
        math.nan if closest is None else closest,
    )
