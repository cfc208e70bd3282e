"""Hand-made findings and baselines: a mission of two burns, as short as can be; all invented."""

from __future__ import annotations

from typing import Any

from simcheck.records.baseline import Baseline, CaseRegression, Found, Regression, Trial
from simcheck.records.case import Case
from simcheck.records.measures import Value
from simcheck.regressing.comparing import compare
from tests.cli import samples

CASE: Case = samples.case(path="cases/relay.toml")

VALUES: dict[str, Value] = {
    "plan.result": "planned",
    "plan.burns": 2.0,
    "plan.total_dv_m_s": 800.0,
    "plan.commanded_dv_m_s": 802.0,
    "plan.lower_bound_dv_m_s": 790.0,
    "burn.B1.ignition_s": 99_900.0,
    "burn.B1.dv_m_s": 501.0,
    "burn.B2.ignition_s": 199_900.0,
    "burn.B2.dv_m_s": 301.0,
    "flight.outcome": "flown",
    "flight.verdict": "within",
    "flight.arrival_time_s": 250_000.0,
    "error.phase_deg": -0.012,
    "error.period_s": 0.2,
    "error.eccentricity": 0.0001,
    "error.plane_deg": 0.004,
    "margin.duration_s": 1_046_000.0,
    "margin.dv_m_s": 698.0,
    "margin.propellant_kg": 80.0,
    "margin.altitude_m": 250_000.0,
    "margin.radius_m": 47_000_000.0,
    "margin.separation_m": 880_000.0,
    "dispersion.within": 0.985,
    "dispersion.dv_95_m_s": 830.0,
}

SCALES = {
    "error.phase_deg": 0.5,
    "error.period_s": 5.0,
    "error.eccentricity": 0.002,
    "error.plane_deg": 0.1,
    "margin.duration_s": 1_296_000.0,
    "margin.dv_m_s": 1500.0,
    "margin.propellant_kg": 200.0,
    "margin.altitude_m": 200e3,
    "margin.radius_m": 60e6,
    "margin.separation_m": 20e3,
}

NO_PLAN: dict[str, Value] = {"plan.result": "no plan", "plan.limit": "dv"}


def found(changes: dict[str, Value] | None = None, *, drop: tuple[str, ...] = ()) -> Found:
    """What is found of the mission, with other values, or without those whose path begins so."""
    values = {path: value for path, value in VALUES.items() if not path.startswith(drop or ("-",))}
    return Found(values=values | (changes or {}), scales=SCALES, seconds=1.25)


def baseline(changes: dict[str, Value] | None = None, **fields: Any) -> Baseline:
    """The mission's baseline, with other values."""
    made: dict[str, Any] = {
        "simcheck": "0.1.0",
        "trial": Trial(),
        "inputs_sha256": CASE.inputs_sha256,
        "values": VALUES | (changes or {}),
    }
    return Baseline(**(made | fields))


def compared(
    changes: dict[str, Value] | None = None,
    *,
    old: Baseline | None = None,
    case: Case = CASE,
    trial: Trial | None = None,
) -> CaseRegression:
    """The mission with other values, against its baseline or another one."""
    return compare(case, found(changes), old or baseline(), trial or Trial())


def regression(*cases: CaseRegression, left_out: int = 0) -> Regression:
    """Several cases together."""
    return Regression(trial=Trial(), cases=cases, left_out=left_out)


def moves(case: CaseRegression) -> dict[str, str]:
    """How each value moved that is not the same."""
    return {difference.path: difference.move for difference in case.moved}
