"""Flight and case to verdict: each listed tolerance and each limit, kept or not.

A tolerance or limit is kept when the value equals it; a value that is not a number keeps nothing.
"""

from __future__ import annotations

import math
from typing import NamedTuple

from simcheck.records.case import Case
from simcheck.records.flight import Flight, Outcome, Verdict
from simcheck.records.quantities import QUANTITIES, Quantity, error_of, listed_tolerances

_ROUNDING_KG = 1e-9  # an emptied tank may read this much less than nothing


class LimitUse(NamedTuple):
    """What a flight used of one limit; margin is what is left of it, negative when it is broken."""

    name: str
    unit: str
    used: float
    limit: float
    margin: float

    @property
    def kept(self) -> bool:
        """Whether the limit holds; no number keeps none."""
        return self.margin >= (-_ROUNDING_KG if self.unit == "kg" else 0.0)

    @property
    def key(self) -> str:
        """Its key in `margins`, unit included."""
        return f"{self.name}_{self.unit.replace('/', '_')}"


_ENDED: dict[Outcome, str] = {
    "flown": "the flight was flown to its end",
    "out-of-propellant": "the flight ran out of propellant",
    "hit-the-body": "the flight came down on the body",
    "left-the-body": "the flight left the body",
}


def judge(case: Case, flight: Flight) -> Verdict:
    """Judge a flight by the case's tolerances and limits.

    The verdict is "within" only if all of them hold and the flight was flown to its end.
    """
    tolerances = listed_tolerances(case.tolerance)
    within, used = {}, {}
    findings = [] if flight.outcome == "flown" else [_ENDED[flight.outcome]]
    for quantity in QUANTITIES:
        if quantity.error not in tolerances:
            continue
        error, tolerance = error_of(flight.errors, quantity), tolerances[quantity.error]
        within[quantity.name] = abs(error) <= tolerance
        used[quantity.name] = _share(abs(error), tolerance)
        if not within[quantity.name]:
            findings.append(_outside(quantity, error, tolerance))
    limits = limit_uses(case, flight)
    findings += [_broken(limit) for limit in limits if not limit.kept]
    kept = {limit.name: limit.kept for limit in limits}
    good = flight.outcome == "flown" and all(within.values()) and all(kept.values())
    return Verdict(
        verdict="within" if good else "outside",
        within=within,
        kept=kept,
        used=used,
        margins={limit.key: limit.margin for limit in limits},
        findings=tuple(findings),
    )


def limit_uses(case: Case, flight: Flight) -> list[LimitUse]:
    """Every limit that stands: those given, the body's surface, and the propellant on board."""
    limits, propellant = case.limits, case.craft.propellant_kg
    uses = []
    if math.isfinite(limits.duration_s):
        uses.append(_at_most("duration", "s", flight.arrival_time_s, limits.duration_s))
    if math.isfinite(limits.dv_m_s):
        uses.append(_at_most("dv", "m/s", flight.dv_used_m_s, limits.dv_m_s))
    uses.append(_at_most("propellant", "kg", flight.propellant_used_kg, propellant))
    uses.append(_at_least("altitude", "m", flight.lowest_altitude_m, limits.min_altitude_m))
    if math.isfinite(limits.max_radius_m):
        uses.append(_at_most("radius", "m", flight.largest_radius_m, limits.max_radius_m))
    if limits.separation_m > 0.0 and case.members:
        closest = flight.closest_approach_m
        nearest = math.nan if closest is None else closest
        uses.append(_at_least("separation", "m", nearest, limits.separation_m))
    return uses


def _at_most(name: str, unit: str, used: float, limit: float) -> LimitUse:
    return LimitUse(name, unit, used, limit, limit - used)


def _at_least(name: str, unit: str, used: float, limit: float) -> LimitUse:
    return LimitUse(name, unit, used, limit, used - limit)


def _share(error: float, tolerance: float) -> float:
    if tolerance > 0.0:
        return error / tolerance
    return 0.0 if error == 0.0 else math.inf


def _outside(quantity: Quantity, error: float, tolerance: float) -> str:
    if math.isnan(error):
        return f"the {quantity.name} error could not be measured"
    unit = f" {quantity.unit}" if quantity.unit else ""
    return (
        f"the {quantity.name} error of {error:.6g}{unit} is outside its tolerance"
        f" of {tolerance:.6g}{unit}"
    )


_BROKEN = {
    "duration": "the craft arrives after {used} s, {excess} s later than the limit of {limit} s",
    "dv": "the flight used {used} m/s, {excess} m/s more than the limit of {limit} m/s",
    "propellant": "the flight used {used} kg of propellant, {excess} kg more than is on board",
    "altitude": "the lowest altitude is {used} m, {excess} m below the limit of {limit} m",
    "radius": "the largest radius is {used} m, {excess} m above the limit of {limit} m",
    "separation": "a member came as close as {used} m, {excess} m nearer than allowed",
}


def _broken(limit: LimitUse) -> str:
    if math.isnan(limit.used):
        return f"the limit on {limit.name} could not be judged"
    return _BROKEN[limit.name].format(
        used=f"{limit.used:.6g}", limit=f"{limit.limit:.6g}", excess=f"{-limit.margin:.6g}"
    )
