"""What to do next, as text: where the craft stands, the burns, and what waiting saves."""

from __future__ import annotations

import math
from dataclasses import replace

from rich.console import RenderableType
from rich.text import Text

from simcheck.kernels.vectors import angle_between, norm
from simcheck.measuring import RingMotion
from simcheck.records.advice import Advice
from simcheck.records.case import Case
from simcheck.records.quantities import QUANTITIES, Quantity, error_of, listed_tolerances
from simcheck.records.reconstruction import Reconstruction
from simcheck.report.judged_text import CAUTION
from simcheck.report.plan_text import burn_blocks, moment, totals, trade, warnings
from simcheck.report.tables import facts, heading, note, stacked, table, word
from simcheck.report.words import clean, fixed, kilograms, share, significant

_TOTALS = ("Δv commanded", "propellant", "arrival")
_NO_DRIFT = 1e-4  # deg/day
_SOON = 1000.0  # days
_AXES = ("radial", "along-track", "cross-track")
_FITS = 3.0  # sigmas that no Δv explains; 6 in a million by chance (chi-square 27, 3 degrees)


def trim_text(
    case: Case, advice: Advice, ring: RingMotion, made: Reconstruction | None = None
) -> RenderableType:
    """Everything that `simcheck trim` says."""
    return stacked(
        heading(case.title),
        facts(_state(case, advice)),
        *([] if made is None else _made(case, made)),
        heading("Where the craft stands"),
        note(advice.why),
        Text(),
        table(
            ("error", ">now", ">1 sigma", ">tolerance", ">share used", "", ">after the burns"),
            [_row(quantity, case, advice) for quantity in QUANTITIES],
        ),
        facts([("doing nothing", doing_nothing(case, advice))]),
        *_burns(case, advice, ring),
        Text(),
        note(CAUTION),
    )


def _state(case: Case, advice: Advice) -> list[tuple[str, str]]:
    estimate = advice.estimate
    mass = case.craft.mass_kg if estimate.mass_kg is None else estimate.mass_kg
    said = "" if estimate.mass_kg is not None else " (the state has none: as in the case file)"
    return [
        ("craft", f"{case.craft.name}, to slot {case.craft.slot}"),
        ("state from", clean(estimate.source)),
        ("at", moment(case, estimate.time_s)),
        (
            "position, speed",
            f"radius {float(norm(estimate.position_m)) / 1e3:.3f} km,"
            f" {float(norm(estimate.velocity_m_s)):.3f} m/s",
        ),
        ("mass", kilograms(mass) + said),
    ]


def _made(case: Case, made: Reconstruction) -> list[RenderableType]:
    """What the burn before the state made of its command."""
    names = _AXES if made.steering == "rsw" else ("x", "y", "z")
    spread = made.covariance
    sigmas = [math.sqrt(spread[k, k]) if spread is not None else math.nan for k in range(3)]
    pairs = zip(names, made.commanded_m_s.tolist(), made.dv_m_s.tolist(), sigmas, strict=True)
    rows = [
        (
            name,
            *(fixed(value, 3, sign=True) for value in (asked, got, got - asked)),
            "" if math.isnan(sigma) else fixed(sigma, 3),
        )
        for name, asked, got, sigma in pairs
    ]
    size, asked = float(norm(made.dv_m_s)), float(norm(made.commanded_m_s))
    off = math.degrees(float(angle_between(made.dv_m_s, made.commanded_m_s))) if size else math.nan
    told = [
        ("burn", f"{made.burn}: {made.purpose}, by the {made.engine}"),
        ("ignition", f"{moment(case, made.start_s)}, as commanded"),
        (
            "size",
            f"{fixed(size, 3, 'm/s')}, {fixed(100.0 * (size / asked - 1.0), 2, '%', sign=True)}",
        ),
        ("direction", "" if math.isnan(off) else f"{fixed(off, 3, 'deg')} off"),
        ("misfit", "" if made.misfit is None else _misfit(made.misfit)),
    ]
    columns = ("Δv, m/s", ">commanded", ">made", ">more", ">1 sigma")
    return [heading("The burn just made"), facts(told), table(columns, rows)]


def _misfit(sigmas: float) -> str:
    text = f"{fixed(sigmas, 1)} sigma that no Δv explains"
    return text if sigmas <= _FITS else f"{text}: NOT THIS BURN ALONE, or the errors are larger"


def _row(quantity: Quantity, case: Case, advice: Advice) -> tuple[str | Text, ...]:
    tolerances = listed_tolerances(case.tolerance)
    signed = quantity.name in {"phase", "period"}
    error = error_of(advice.errors, quantity)
    value = significant(error, quantity.unit, sign=signed)
    sigma = (
        "" if advice.sigma is None else significant(error_of(advice.sigma, quantity), quantity.unit)
    )
    left = ""
    if advice.left is not None:
        after = error_of(advice.left, quantity)
        left = significant(after, sign=signed)
        if quantity.error in tolerances:
            left += " within" if abs(after) <= tolerances[quantity.error] else " OUTSIDE"
    if quantity.error not in tolerances:
        return quantity.name, value, sigma, "none", "", "not judged", left
    tolerance = tolerances[quantity.error]
    return (
        quantity.name,
        value,
        sigma,
        significant(tolerance, quantity.unit),
        share(abs(error) / tolerance),
        word(abs(error) <= tolerance, "within", "OUTSIDE"),
        left,
    )


def doing_nothing(case: Case, advice: Advice) -> str:
    """What becomes of the phase without a burn."""
    if case.tolerance.phase_rad is None:
        return "the phase is not judged"
    drift = f"the phase drifts by {significant(advice.drift_deg_day, 'deg/day', sign=True)}"
    if abs(advice.drift_deg_day) < _NO_DRIFT:
        drift = "the phase does not drift"
    still = advice.holds_days is None or abs(advice.drift_deg_day) < _NO_DRIFT
    if still and advice.holds_days != 0.0:
        return f"{drift} and stays within its tolerance"
    if advice.holds_days is not None and advice.holds_days > 0:
        days = fixed(advice.holds_days, 1, "days")
        return f"{drift} and leaves its tolerance in {days}"
    phase, rate = advice.errors.phase_deg, advice.drift_deg_day
    tolerance = math.degrees(case.tolerance.phase_rad)
    back = (abs(phase) - tolerance) / abs(rate) if rate else math.inf
    if phase * rate < 0 and back < _SOON:
        days = fixed(back, 1, "days")
        return f"the phase is outside; {drift}, back inside its tolerance in {days}, and on"
    return f"the phase is outside its tolerance and stays there; {drift}"


def _burns(case: Case, advice: Advice, ring: RingMotion) -> list[RenderableType]:
    plan, estimate = advice.plan, advice.estimate
    if plan is None:
        fine = all(advice.within.values())
        return [
            heading("Burns to do next"),
            note("None is needed." if fine else "None can be made."),
        ]
    if estimate.mass_kg is not None:
        aboard = max(estimate.mass_kg - case.craft.dry_mass_kg, 0.0)
        case = replace(case, craft=replace(case.craft, propellant_kg=aboard))
    return [
        heading("Burns to do next"),
        note(plan.summary),
        *([facts(warnings(plan))] if plan.warnings else []),
        *burn_blocks(case, plan, ring),
        heading("Totals"),
        facts([pair for pair in totals(case, plan) if pair[0] in _TOTALS]),
        *trade(plan, "Waiting longer to pay less"),
    ]
