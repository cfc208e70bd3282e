"""Open-loop flights with errors of any size, and how many there are of each: for linear covariance.

The craft, ring and errors are invented.
"""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np

from simcheck.dispersing.tangents import Normals
from simcheck.flying.draws import engine_draws
from simcheck.flying.lanes import LaneFlights, fly_lanes
from simcheck.planning.planner import plan_ring
from simcheck.records.case import Case, Cutoff, Errors
from simcheck.records.dispersion import OUTCOMES, ROW, Rows
from simcheck.records.plan import Plan
from simcheck.records.wish import Wish
from tests.cases_for_tests import MARS, case

CUTOFFS: tuple[Cutoff, ...] = ("duration", "velocity", "orbit")
SEED = 4

SIZES = {
    "thrust_bias": 0.01,
    "isp_bias": 0.003,
    "magnitude_proportional": 0.005,
    "magnitude_fixed_m_s": 0.005,
    "pointing_proportional_rad": 0.01,
    "pointing_fixed_m_s": 0.003,
    "ignition_time_s": 0.2,
    "initial_position_m": 200.0,
    "initial_velocity_m_s": 0.05,
    "accelerometer_scale": 0.001,
}
"""One sigma of each error, as an ordinary case has them."""


def errors(share: float, *only: str) -> Errors:
    """A share of the ordinary errors: of all, or of those named."""
    return Errors(**{name: share * size for name, size in SIZES.items() if name in (only or SIZES)})


@cache
def relay(cutoff: Cutoff) -> tuple[Case, Plan]:
    """A relay about an oblate Mars, and a plan of three burns for it."""
    made = case(MARS, slot=3, forces=("j2",))
    made = replace(made, engine=replace(made.engine, cutoff=cutoff))
    return made, plan_ring(made, Wish(effort=0))


def values_of(flown: LaneFlights) -> np.ndarray:
    """The six outcomes (n, 6), in the units of a row."""
    phase, plane = np.degrees(flown.phase), np.degrees(flown.plane)
    parts = (phase, flown.period, flown.eccentricity, plane, flown.dv, flown.propellant)
    return np.stack(parts, axis=-1)


def rows_of(case: Case, plan: Plan, samples: int, seed: int = SEED) -> Rows:
    """Rows of flights side by side; one that would have to fly alone counts as not flown."""
    flown = fly_lanes(case, plan, seed, range(samples))
    rows = np.zeros(samples, dtype=ROW)
    rows["sample"] = np.arange(samples)
    names = ("phase_deg", "period_s", "eccentricity", "plane_deg", "dv_used_m_s")
    for name, values in zip((*names, "propellant_used_kg"), values_of(flown).T, strict=True):
        rows[name] = values
    rows["outcome"][flown.alone] = OUTCOMES.index("not-flown")
    return rows


def drawn_normals(normals: Normals, burns: int, samples: int, seed: int = SEED) -> np.ndarray:
    """The standard normals (samples, N) that flights are drawn with, in the order of `normals`."""
    found = np.empty((samples, normals.count))
    for sample, row in enumerate(found):
        draws = engine_draws(seed, sample, burns)
        parts = {
            "thrust_bias": draws.flight[:1],
            "isp_bias": draws.flight[1:2],
            "initial_position": draws.position,
            "initial_velocity": draws.velocity,
            "accelerometer_scale": np.array([draws.accelerometer]),
            "magnitude_proportional": draws.burns[:, 0],
            "magnitude_fixed": draws.burns[:, 1],
            "pointing_proportional": draws.burns[:, 2:4].ravel(),
            "pointing_fixed": draws.burns[:, 4:6].ravel(),
            "ignition_time": draws.burns[:, 6],
        }
        for name, part in normals.columns.items():
            row[part] = parts[name]
    return found
