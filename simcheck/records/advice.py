"""What to do next from a measured state."""

from __future__ import annotations

from dataclasses import dataclass

from simcheck.records.estimate import Estimate
from simcheck.records.flight import FlownErrors
from simcheck.records.plan import Plan


@dataclass(frozen=True, kw_only=True, eq=False)
class Advice:
    """The errors of an estimate against the slot, and the burns that mend them.

    errors are those at the estimate's time, sigma their one-sigma sizes where the estimate has a
    covariance; within says for each listed tolerance whether it is met now. drift_deg_day is the
    phase's drift and holds_days how long the phase stays within its tolerance if nothing is done:
    0 if it is outside, None if it never leaves. plan holds the burns to do next, on the case's
    clock, None where none is needed; its alternatives are other waits. left are the errors once
    it is flown. why says in words what was found.
    """

    estimate: Estimate
    errors: FlownErrors
    sigma: FlownErrors | None
    within: dict[str, bool]
    drift_deg_day: float
    holds_days: float | None
    plan: Plan | None
    left: FlownErrors | None
    why: str
