"""Hold a finished ring: how it drifts, what keeping it costs, and how it serves meanwhile."""

from __future__ import annotations

import math

import numpy as np

from simcheck.arrays import Array
from simcheck.engines.base import G0
from simcheck.engines.batches import TaylorBatches
from simcheck.engines.choosing import fast_propagator
from simcheck.engines.gravity import Gravity, gravity_of
from simcheck.errors import FlightError, InputError
from simcheck.holding.drifting import TOLERANCE, Drift, drift, look_times
from simcheck.holding.ends import EXACT, Posed, end_errors, pose_ends
from simcheck.holding.keeping import Kept, keep
from simcheck.holding.leaving import leaving, mean_drift
from simcheck.holding.relays import Relays, relays_of
from simcheck.holding.serving import closed_over, served
from simcheck.measuring import RingMotion, resolve_ring
from simcheck.planning.lane_errors import tolerances, uses
from simcheck.records.case import Case
from simcheck.records.flight import Flight
from simcheck.records.hold import EndError, Hold, HoldSeries, RelayHold, Upkeep

_DAY = 86400.0
_YEAR = 365.25 * _DAY
_MOST_NAMES = 6  # in a note
_FEW_REVOLUTIONS = 5.0  # in which the forces alone should leave no tolerance
_TIGHT = 1e-16  # of the flight that shows how far the numbers are good


def hold(case: Case, flight: Flight | None, *, upkeep: bool = True) -> Hold:
    """The finished ring of a case over its `hold.duration_s`.

    It begins where the flight ends, with the craft as it arrived; without a flight at the epoch,
    with the craft as planned. Raises FlightError where a relay's motion cannot be computed, or is
    not that of a ring; InputError where two relays are nearest to one slot, or the hold is shorter
    than four revolutions.
    """
    propagator = fast_propagator(gravity_of(case))
    motion = resolve_ring(case.ring, propagator)
    start, arrived = _arrival(flight)
    relays = relays_of(case, motion, propagator, start, arrived)
    looks = look_times(start, case.hold.duration_s, motion.period_s)
    if len(looks) < 2:
        raise InputError(
            f"a hold of {case.hold.duration_s / _DAY:g} days is too short to see a ring change:"
            f" follow it for four revolutions, {4 * motion.period_s / _DAY:.1f} days, or longer"
        )
    batches = TaylorBatches(propagator.gravity, TOLERANCE)
    posed = pose_ends(case, motion, propagator, relays)
    whole = drift(
        batches,
        motion,
        np.append(relays.slots, np.full(len(posed.names), case.craft.slot)),
        np.concatenate([relays.states, posed.states]),
        looks,
        case.body.radius_m,
    )
    found, ends = whole.begun(start, motion).parted(len(relays.names))
    _reject_lost(relays, found)
    kept = None
    if upkeep and not np.isinf(tolerances(case.tolerance, motion.period_s)).all():
        kept = keep(case, batches, motion, relays.slots, relays.states, looks)
    years = (looks[-1] - looks[0]) / _YEAR
    rows = _rows(case, motion, relays, found, kept, years)
    first, last = served(case, motion, batches, relays, looks)
    closed = closed_over(case, motion, relays, found)
    errors = _end_errors(case, motion, relays, posed, found, ends)
    notes = [*_notes(case, motion, relays, found), *_out_of_reach(rows, errors, motion)]
    return Hold(
        start_s=start,
        duration_s=case.hold.duration_s,
        relays=rows,
        end_errors=errors,
        series=_series(motion, relays, found, start),
        wander_deg=_wander(motion, found.times),
        tank_years=_tank(case, relays, rows, arrived),
        numerical_deg=_numerical(propagator.gravity, motion, relays, looks, found),
        network=first,
        network_end=last,
        ring_closed_share=closed.share,
        ring_opens_days=closed.opens_days,
        notes=tuple(notes),
    )


def _reject_lost(relays: Relays, found: Drift) -> None:
    began = zip(relays.names, found.errors[:, 0], strict=True)
    names = [name for name, errors in began if np.isnan(errors).any()]
    if names:
        raise FlightError(
            f"the orbit of {', '.join(names)} is not closed, or meets the body: there is no ring to"
            " hold"
        )


def _end_errors(
    case: Case, motion: RingMotion, relays: Relays, posed: Posed, found: Drift, ends: Drift
) -> tuple[EndError, ...]:
    """As the craft arrived, where it did, and as it might have."""
    arrived: tuple[EndError, ...] = ()
    if relays.craft is not None:
        own = Drift(found.times, found.errors[relays.craft : relays.craft + 1])
        arrived = end_errors(case, motion, relays.time, ["as it arrived"], own)
    return arrived + end_errors(case, motion, relays.time, posed.names, ends)


def _arrival(flight: Flight | None) -> tuple[float, Array | None]:
    """When the hold begins, and the state (7,) of the craft then."""
    if flight is None:
        return 0.0, None
    if flight.outcome != "flown" or not math.isfinite(flight.errors.phase_deg):
        raise FlightError("the flight does not end on an orbit that could be held")
    last = flight.arcs[-1]
    end = last.end
    return last.end_s, np.array([*end.position_m, *end.velocity_m_s, end.mass_kg])


def _rows(
    case: Case,
    motion: RingMotion,
    relays: Relays,
    found: Drift,
    kept: Kept | None,
    years: float,
) -> tuple[RelayHold, ...]:
    sizes, spacing = found.sizes, found.spacing()
    days = found.days(relays.time)
    rows = []
    for i, name in enumerate(relays.names):
        largest = np.nanmax(np.abs(sizes[i]), axis=0)
        rows.append(
            RelayHold(
                name=name,
                slot=int(relays.slots[i]),
                role=relays.roles[i],
                leaving=leaving(case.tolerance, motion.period_s, days, sizes[i], spacing[i]),
                phase_deg=math.degrees(largest[0]),
                spacing_deg=math.degrees(np.nanmax(np.abs(spacing[i]))),
                period_s=float(largest[1]) * motion.period_s,
                eccentricity=float(largest[2]),
                plane_deg=math.degrees(largest[3]),
                drift_deg_day=mean_drift(days, sizes[i, :, 0]),
                upkeep=None if kept is None else _upkeep(kept, i, years),
            )
        )
    return tuple(rows)


def _upkeep(kept: Kept, relay: int, years: float) -> Upkeep:
    return Upkeep(
        dv_m_s_year=float(kept.dv[relay] / years),
        burns_year=float(kept.burns[relay] / years),
        largest_use=float(kept.use[relay]),
        untrimmed=int(kept.untrimmed[relay]),
    )


def _series(motion: RingMotion, relays: Relays, found: Drift, start: float) -> HoldSeries:
    """The errors as they are drawn; a relay that left its orbit has its last ones to the end."""
    sizes = _filled(found.sizes)
    return HoldSeries(
        time_days=found.days(start),
        phase_deg=np.degrees(sizes[..., 0]),
        spacing_deg=np.degrees(_filled(found.spacing()[..., None])[..., 0]),
        period_s=sizes[..., 1] * motion.period_s,
        eccentricity=sizes[..., 2],
        plane_deg=np.degrees(sizes[..., 3]),
    )


def _filled(values: Array) -> Array:
    """Values (m, n, k) with the last number in place of each NaN after it."""
    finite = np.isfinite(values).all(axis=-1)
    last = np.maximum.accumulate(np.where(finite, np.arange(finite.shape[1]), 0), axis=1)
    return np.take_along_axis(values, last[..., None], axis=1)


def _wander(motion: RingMotion, times: Array) -> tuple[float, float]:
    """How far the slots swing beside their mean motion from the first look on, deg."""
    if motion.wander is None:
        return 0.0, 0.0
    swing = np.degrees(motion.wander.at(times) - motion.wander.at(times[0]))
    return float(np.min(swing, initial=0.0)), float(np.max(swing, initial=0.0))


def _tank(
    case: Case, relays: Relays, rows: tuple[RelayHold, ...], arrived: Array | None
) -> float | None:
    """Years that the propellant left on arrival makes the craft's upkeep."""
    if relays.craft is None or arrived is None:
        return None
    upkeep = rows[relays.craft].upkeep
    if upkeep is None or upkeep.dv_m_s_year <= 0.0:
        return None
    engine = case.engine if case.thrusters is None else case.thrusters
    ratio = max(float(arrived[6]) / case.craft.dry_mass_kg, 1.0)
    return G0 * engine.isp_s * math.log(ratio) / upkeep.dv_m_s_year


def _numerical(
    gravity: Gravity, motion: RingMotion, relays: Relays, looks: Array, found: Drift
) -> float:
    """Largest difference of a phase, deg, from the same flight with a series of full accuracy."""
    few = looks[[0, -1]] if len(looks) > 1 else looks
    other = drift(TaylorBatches(gravity, _TIGHT), motion, relays.slots, relays.states, few)
    gap = other.errors[:, -1, 0] - found.errors[:, -1, 0]
    return float(np.degrees(np.nanmax(np.abs(np.angle(np.exp(1j * gap))), initial=0.0)))


def _notes(case: Case, motion: RingMotion, relays: Relays, found: Drift) -> list[str]:
    said = []
    roles = zip(relays.names, relays.roles, strict=True)
    planned = [name for name, role in roles if role == "as planned"]
    if planned:
        many = len(planned) > _MOST_NAMES
        names = f"{len(planned)} of the relays" if many else ", ".join(planned)
        stand = (
            "relays exactly on their slots stand"
            if len(planned) > 1
            else ("a relay exactly on the slot stands")
        )
        said.append(f"{names}: nobody flies there in this case; {stand} in")
    days, limits = found.days(relays.time), tolerances(case.tolerance, motion.period_s)
    for name, errors in zip(relays.names, found.errors, strict=True):
        if np.max(uses(errors[:1], limits)) > 1.0:
            said.append(f"{name} begins outside its tolerances; to bring it in counts as upkeep")
        gone = np.flatnonzero(np.isnan(errors).any(axis=1))
        if len(gone):
            said.append(f"{name} comes down, or leaves, by day {days[gone[0]]:.0f}")
    if case.hold.duration_s < 30 * _DAY:
        said.append("a hold of less than a month says little of years")
    return said


def _out_of_reach(
    rows: tuple[RelayHold, ...], ends: tuple[EndError, ...], motion: RingMotion
) -> list[str]:
    """What to know where the forces alone leave a tolerance within a few revolutions."""
    exact = [row.leaving for row in rows if row.role == "as planned"]
    exact += [end.leaving for end in ends if end.what == EXACT]
    days = [one.first_days for one in exact if one.first_days is not None]
    if not days or min(days) * _DAY > _FEW_REVOLUTIONS * motion.period_s:
        return []
    return [
        f"even a relay exactly on its slot leaves a tolerance after {min(days):.1f} days: the"
        " forces move it further within a few revolutions than the tolerances allow, and no upkeep"
        " can hold it; allow more, or aim at a ring that they move less"
    ]
