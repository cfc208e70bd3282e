"""From a fresh tracking solution to advice: where the craft stands, and what to do next."""

from __future__ import annotations

import math

import numpy as np

from simcheck.arrays import Array
from simcheck.engines.choosing import fast_propagator
from simcheck.engines.gravity import gravity_of
from simcheck.errors import FlightError, InputError, NoPlanError
from simcheck.flying.team import Situation, foreseen
from simcheck.kernels.transfers import apsis_radii
from simcheck.kernels.vectors import TAU, norm, wrap
from simcheck.measuring import Averages, RingMotion, average, offsets, resolve_ring, slot_rate
from simcheck.planning.later import seen_from, shifted
from simcheck.planning.registry import Planner
from simcheck.planning.trimming import MARGIN
from simcheck.records.advice import Advice
from simcheck.records.case import Case
from simcheck.records.estimate import Estimate
from simcheck.records.flight import FlownErrors
from simcheck.records.plan import Plan, State
from simcheck.records.quantities import QUANTITIES, error_of, listed_tolerances
from simcheck.records.wish import Preference, Wish

_DAY = 86400.0
_STEP = 1e-6  # of position and speed, for the errors' slopes


def advise(case: Case, estimate: Estimate, planner: Planner, prefer: Preference) -> Advice:
    """What to do next from an estimate.

    Nothing where every listed error is inside half its tolerance, or inside it and too small for
    any burn. Raises InputError for a state that is no orbit, NoPlanError where an error is outside
    and the planner finds nothing that can be done.
    """
    propagator = fast_propagator(gravity_of(case))
    motion = resolve_ring(case.ring, propagator)
    state = _state(case, estimate)
    low = float(apsis_radii(state[:3], state[3:6], propagator.gravity.gm)[0])
    if low < case.body.radius_m:
        raise InputError(
            f"{estimate.source or 'the estimate'}: this orbit comes down on {case.body.name}: its "
            f"periapsis is {(case.body.radius_m - low) / 1e3:.1f} km below the surface"
        )
    try:
        found = average(propagator, estimate.time_s, state, motion)
    except FlightError as trouble:
        raise InputError(f"{estimate.source or 'the estimate'}: {trouble}") from None
    errors = _errors(case, motion, found, estimate.time_s)
    drift = math.degrees(TAU / found.period - slot_rate(motion, found)) * _DAY
    tolerances = listed_tolerances(case.tolerance)
    uses = {
        q.name: abs(error_of(errors, q)) / tolerances[q.error]
        for q in QUANTITIES
        if q.error in tolerances
    }
    why = in_words(case, errors, uses)
    plan, left = None, None
    if max(uses.values(), default=0.0) > MARGIN:
        try:
            plan = _asked(case, estimate, motion, planner, prefer)
        except NoPlanError as none:
            if max(uses.values()) > 1.0:
                raise
            why = f"{why} What is off stays: {none}."
    if plan is not None and plan.commands:
        now = _situation(case, estimate, motion, plan)
        left = foreseen(now, estimate, plan.commands)
    return Advice(
        estimate=estimate,
        errors=errors,
        sigma=_sigma(case, estimate, motion, errors),
        within={name: use <= 1.0 for name, use in uses.items()},
        drift_deg_day=drift,
        holds_days=_holds(errors.phase_deg, drift, tolerances.get("phase_deg")),
        plan=plan,
        left=left,
        why=why,
    )


def in_words(case: Case, errors: FlownErrors, uses: dict[str, float]) -> str:
    """The errors in plain words, those outside their tolerance first named as such."""
    behind = "behind" if errors.phase_deg < 0 else "ahead of"
    text = f"{case.craft.name} is {abs(errors.phase_deg):.2f} deg {behind} slot {case.craft.slot}"
    longer = "long" if errors.period_s > 0 else "short"
    off = f"{abs(errors.period_s):.2f} s too {longer}"
    text += f", its period {off if abs(errors.period_s) >= 0.005 else 'right'}"
    text += f", its eccentricity {errors.eccentricity:.5f}"
    text += f" and its plane {errors.plane_deg:.3f} deg off the ring's."
    out = [name for name, use in uses.items() if use > 1.0]
    if out:
        return f"{text} Outside tolerance: {', '.join(out)}."
    if max(uses.values(), default=0.0) > MARGIN:
        return f"{text} Within every tolerance, but not by half."
    return f"{text} Within half of every tolerance: nothing to do."


def nothing_left(estimate: Estimate) -> Plan:
    """The plan of a craft that has no burn left to make."""
    return Plan(
        planner="",
        summary="no burn left",
        burns=(),
        total_dv_m_s=0.0,
        arrival_time_s=estimate.time_s,
        arrival_state=State(position_m=estimate.position_m, velocity_m_s=estimate.velocity_m_s),
        lower_bound_dv_m_s=None,
        alternatives=(),
        commands=(),
        commanded_dv_m_s=0.0,
    )


def _asked(
    case: Case, estimate: Estimate, motion: RingMotion, planner: Planner, prefer: Preference
) -> Plan:
    over = estimate.time_s - case.limits.duration_s
    if over >= 0:
        raise NoPlanError(
            f"no burn fits [limits] duration = {case.limits.duration_s / _DAY:.2f} d: the state is "
            f"{over / _DAY:.2f} d later",
            limit="duration",
            excess=over,
        )
    later = seen_from(case, estimate, motion, fast_propagator(gravity_of(case)))
    flying = shifted(nothing_left(estimate), -estimate.time_s)
    try:
        return shifted(planner(later, Wish(prefer=prefer, flying=flying)), estimate.time_s)
    except NoPlanError as none:
        hours = later.limits.duration_s / 3600
        left = f"with {hours:.2f} h left, " if math.isfinite(hours) else ""
        text = f"from the state on, {left}{none}"
        raise NoPlanError(text, limit=none.limit, excess=none.excess) from none


def _situation(case: Case, estimate: Estimate, motion: RingMotion, plan: Plan) -> Situation:
    return Situation(
        case=case,
        motion=motion,
        propagator=fast_propagator(gravity_of(case)),
        estimate=estimate,
        plan=plan,
        remaining=plan.commands,
        spent_m_s=0.0,
        trims_left=0,
    )


def _state(case: Case, estimate: Estimate) -> Array:
    mass = case.craft.mass_kg if estimate.mass_kg is None else estimate.mass_kg
    if mass < case.craft.dry_mass_kg:
        raise InputError(
            f"{estimate.source or 'the estimate'}: a mass of {mass:g} kg is below "
            f"the craft's dry mass of {case.craft.dry_mass_kg:g} kg"
        )
    return np.concatenate([estimate.position_m, estimate.velocity_m_s, [mass]])


def _errors(case: Case, motion: RingMotion, found: Averages, time: float) -> FlownErrors:
    """The four errors at `time`, the phase taken back along the fitted line."""
    off = offsets(found, motion, case.craft.slot)
    back = (TAU / found.period - slot_rate(motion, found)) * (found.time - time)
    return FlownErrors(
        phase_deg=math.degrees(float(wrap(off.phase - back))),
        period_s=off.period,
        eccentricity=off.eccentricity,
        plane_deg=math.degrees(off.plane),
    )


def _holds(phase: float, drift: float, tolerance: float | None) -> float | None:
    """Days until the phase leaves its tolerance; 0 if it is outside, None if it never does."""
    if tolerance is None:
        return None
    if abs(phase) > tolerance:
        return 0.0
    return None if drift == 0 else (tolerance - math.copysign(1.0, drift) * phase) / abs(drift)


def _sigma(
    case: Case, estimate: Estimate, motion: RingMotion, errors: FlownErrors
) -> FlownErrors | None:
    """One-sigma sizes of the four errors from the estimate's covariance, to first order."""
    if estimate.covariance is None:
        return None
    propagator = fast_propagator(gravity_of(case))
    state = _state(case, estimate)

    def six(state: Array) -> Array:
        found = average(propagator, estimate.time_s, state, motion)
        now = _errors(case, motion, found, estimate.time_s)
        return np.array([now.phase_deg, now.period_s, *found.e_vector, *found.normal[:2]])

    here, slopes = six(state), np.zeros((6, 6))
    for j in range(6):
        step = _STEP * float(norm(state[:3] if j < 3 else state[3:6]))
        moved = state.copy()
        moved[j] += step
        slopes[:, j] = (six(moved) - here) / step
    spread = slopes @ estimate.covariance @ slopes.T
    return FlownErrors(
        phase_deg=math.sqrt(max(spread[0, 0], 0.0)),
        period_s=math.sqrt(max(spread[1, 1], 0.0)),
        eccentricity=_along(here[2:4], spread[2:4, 2:4]),
        plane_deg=math.degrees(_along(here[4:6], spread[4:6, 4:6])),
    )


def _along(vector: Array, spread: Array) -> float:
    """One sigma of a plane vector's length; of its larger axis where the vector is that short."""
    length = math.hypot(*vector)
    widest = math.sqrt(max(float(np.linalg.eigvalsh(spread)[-1]), 0.0))
    if length <= widest:
        return widest
    way = vector / length
    return math.sqrt(max(float(way @ spread @ way), 0.0))
