"""One chunk of samples flown: the work of a worker, a pure function of its arguments."""

from __future__ import annotations

import math
from dataclasses import dataclass
from importlib.util import find_spec

import numpy as np

from simcheck import judging
from simcheck.arrays import Array
from simcheck.errors import SimcheckError
from simcheck.flying.mission import fly_plan
from simcheck.flying.together import team_of
from simcheck.planning.registry import DEFAULT, Planner, planner
from simcheck.records.case import Case
from simcheck.records.dispersion import (
    COLUMNS,
    OUTCOMES,
    Rows,
    columns_of,
    member_column,
    row_of,
)
from simcheck.records.flight import Flight
from simcheck.records.plan import Plan
from simcheck.records.quantities import QUANTITIES, listed_tolerances


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
    samples = range(first, first + count)
    ours = not job.closed_loop or job.planner == DEFAULT
    return _lanes(job, samples) if ours and find_spec("heyoka") else _alone(job, samples)


def _alone(job: Job, samples: range | list[int]) -> Rows:
    rows = np.zeros(len(samples), dtype=row_of(columns_of(job.case)))
    asked = planner(job.planner)
    for index, sample in enumerate(samples):
        rows[index] = _row(job, sample, asked)
    return rows


def _lanes(job: Job, samples: range) -> Rows:
    """Flights side by side; those out of the ordinary one by one."""
    from simcheck.flying.lanes import fly_lanes

    case = job.case
    flown = fly_lanes(case, job.plan, job.seed, samples, closed_loop=job.closed_loop)
    rows = np.zeros(len(samples), dtype=row_of(columns_of(case)))
    rows["sample"] = samples
    rows["burns"], rows["decisions"] = flown.burns, flown.decisions
    rows["phase_deg"], rows["plane_deg"] = np.degrees(flown.phase), np.degrees(flown.plane)
    rows["period_s"], rows["eccentricity"] = flown.period, flown.eccentricity
    rows["eccentricity_k"], rows["eccentricity_h"] = flown.e_vector.T
    x, y, z = flown.normal.T
    rows["plane_x_deg"] = np.degrees(np.arctan2(x, z))
    rows["plane_y_deg"] = np.degrees(np.arctan2(y, z))
    rows["dv_used_m_s"], rows["propellant_used_kg"] = flown.dv, flown.propellant
    rows["arrival_time_s"] = flown.arrival
    rows["lowest_altitude_m"] = flown.lowest - case.body.radius_m
    rows["closest_approach_m"] = np.min(flown.nearest, axis=0) if case.members else np.nan
    for index, distance in enumerate(flown.nearest):
        rows[member_column(index)] = distance
    rows["within"] = _within(case, rows, flown.largest)
    special = np.flatnonzero(flown.alone)
    if len(special):
        rows[special] = _alone(job, [int(samples[k]) for k in special])
    return rows


def _within(case: Case, rows: Rows, largest: Array) -> Array:
    """Whether each row keeps every tolerance and limit, as `judging` has them."""
    tolerances, limits = listed_tolerances(case.tolerance), case.limits
    good = np.ones(len(rows), dtype=bool)
    for quantity in QUANTITIES:
        if quantity.error in tolerances:
            good &= np.abs(rows[quantity.error]) <= tolerances[quantity.error]
    good &= rows["arrival_time_s"] <= limits.duration_s
    good &= rows["dv_used_m_s"] <= limits.dv_m_s
    good &= rows["propellant_used_kg"] <= case.craft.propellant_kg
    good &= rows["lowest_altitude_m"] >= limits.min_altitude_m
    good &= largest <= limits.max_radius_m
    if case.members and limits.separation_m > 0:
        good &= rows["closest_approach_m"] >= limits.separation_m
    return np.asarray(good)


def _row(job: Job, sample: int, asked: Planner) -> tuple[float, ...]:
    try:
        team = team_of(job.case, job.plan, job.planner, asked)
        flight = fly_plan(
            job.case, job.plan, seed=job.seed, sample=sample, reference=False, team=team
        )
    except (SimcheckError, ArithmeticError, ValueError):
        # It counts as a failure and keeps its number: `fly --sample` shows what went wrong.
        unknown = len(COLUMNS) - 5 + len(job.case.members)
        return (sample, len(OUTCOMES) - 1, 0, 0, 0, *[math.nan] * unknown)
    good = judging.judge(job.case, flight).verdict == "within"
    errors, parts = flight.errors, flight.components
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
        parts.eccentricity_k,
        parts.eccentricity_h,
        parts.plane_x_deg,
        parts.plane_y_deg,
        flight.dv_used_m_s,
        flight.propellant_used_kg,
        flight.arrival_time_s,
        flight.lowest_altitude_m,
        math.nan if closest is None else closest,
        *_closest(job.case, flight),
    )


def _closest(case: Case, flight: Flight) -> list[float]:
    """Closest approach to each member, m; NaN where nothing was flown."""
    least = {member.name: math.nan for member in case.members}
    for approach in flight.approaches:
        least[approach.member] = min(approach.distance_m, least[approach.member])
    return list(least.values())
