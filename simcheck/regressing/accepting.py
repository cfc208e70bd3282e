"""From what was found to the baseline that a person accepts.

A value that has not drifted beyond its allowance keeps what stood there, so that small drifts do
not add up unseen and a file changes only where something did.
"""

from __future__ import annotations

import dataclasses

from simcheck.records.baseline import Baseline, CaseRegression, Trial
from simcheck.records.measures import Value, rounded
from simcheck.regressing.comparing import allowed_drift
from simcheck.version import VERSION


def accepted(case: CaseRegression, trial: Trial) -> Baseline | None:
    """The baseline to keep of a case: the old one where nothing is new; None after a failure."""
    if case.standing == "failed":
        return None
    dispersed = "dispersion.within" in case.found.values
    made = dataclasses.replace(trial, samples=trial.samples if dispersed else 0)
    old = case.baseline
    if old is not None and case.standing == "same" and _same_start(case, made, old):
        return old
    kept = {x.path for x in case.differences if x.move == "same"}
    values: dict[str, Value] = {}
    for path, value in case.found.values.items():
        if old is not None and path in kept:
            values[path] = old.values[path]
        else:
            values[path] = _rounded(case, path, value)
    return Baseline(
        simcheck=VERSION,
        trial=made,
        inputs_sha256=case.inputs_sha256,
        values=values,
        allowed={} if old is None else old.allowed,
    )


def _same_start(case: CaseRegression, made: Trial, old: Baseline) -> bool:
    """Whether the old baseline was made of the same case in the same way."""
    same_way = (made.planner, made.effort) == (old.trial.planner, old.trial.effort)
    same_flights = made.samples == 0 or (made.samples, made.seed) == (
        old.trial.samples,
        old.trial.seed,
    )
    return same_way and same_flights and case.inputs_sha256 == old.inputs_sha256


def _rounded(case: CaseRegression, path: str, value: Value) -> Value:
    if isinstance(value, str):
        return value
    return rounded(value, allowed_drift(path, value, case.found, case.baseline))
