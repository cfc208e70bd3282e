"""A perfect flight computed by other means: error bars, and whether its verdict is firm."""

from __future__ import annotations

import math

from simcheck.doublechecking.bars import deviation, error_bars, firmness, limit_bars
from simcheck.doublechecking.variations import averagings, posings, propagators, site_of
from simcheck.errors import InputError
from simcheck.judging import judge
from simcheck.records.case import Case
from simcheck.records.deep import DeepCheck
from simcheck.records.flight import Flight
from simcheck.records.plan import Plan
from simcheck.records.quantities import QUANTITIES, error_of

_NOWHERE = DeepCheck(
    firm=False,
    why="There are no errors to double-check: the flight ended on no orbit.",
    overturned=(),
    errors=(),
    limits=(),
    variations=(),
    averaging=(),
)


def doublecheck(case: Case, plan: Plan, flight: Flight) -> DeepCheck:
    """Compute a plan's perfect flight otherwise and compare.

    Raises InputError for a flight whose errors were drawn.
    """
    if flight.sample is not None:
        raise InputError(
            f"expected a perfect flight to double-check, got sample {flight.sample};"
            " leave out --sample"
        )
    if not all(math.isfinite(error_of(flight.errors, quantity)) for quantity in QUANTITIES):
        return _NOWHERE
    site, verdict = site_of(case, plan, flight), judge(case, flight)
    varied = [*propagators(site), *posings(site)]
    variations = tuple(deviation(case, flight, one) for one in varied)
    changed = [one.name for one in variations if one.verdict != verdict.verdict]
    errors, limits = error_bars(case, flight, varied), limit_bars(case, flight, varied)
    firm, why = firmness(verdict, errors + limits, changed)
    return DeepCheck(
        firm=firm,
        why=why,
        overturned=tuple(changed),
        errors=errors,
        limits=limits,
        variations=variations,
        averaging=tuple(deviation(case, flight, one) for one in averagings(site)),
    )
