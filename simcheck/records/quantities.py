"""The four errors: their names, units and tolerances."""

from __future__ import annotations

import math
from typing import NamedTuple

from simcheck.records.case import Tolerance
from simcheck.records.flight import FlownErrors


class Quantity(NamedTuple):
    """One of the four errors: its name in `within`, its field, its unit, its tolerance's field."""

    name: str
    error: str
    unit: str
    tolerance: str


QUANTITIES = (
    Quantity("phase", "phase_deg", "deg", "phase_rad"),
    Quantity("period", "period_s", "s", "period_s"),
    Quantity("eccentricity", "eccentricity", "", "eccentricity"),
    Quantity("plane", "plane_deg", "deg", "plane_rad"),
)


def listed_tolerances(tolerance: Tolerance) -> dict[str, float]:
    """The tolerances that the case lists, by the name of their error, in its unit."""
    found = {}
    for quantity in QUANTITIES:
        value = getattr(tolerance, quantity.tolerance)
        if value is not None:
            value = math.degrees(value) if quantity.tolerance.endswith("_rad") else value
            found[quantity.error] = float(f"{value:.12g}")  # what was written, not its rounding
    return found


def error_of(errors: FlownErrors, quantity: Quantity) -> float:
    """One of the four errors, in the unit of `quantity`."""
    return float(getattr(errors, quantity.error))
