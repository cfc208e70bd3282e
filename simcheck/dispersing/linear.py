"""Linear covariance of a plan flown open loop.

Each error source is carried to the end of the flight by the derivatives of `tangents`; the signed
errors there are those of `measuring.average`. Reference: Geller (2006), J. Guid. Control Dyn. 29,
1404.
"""

from __future__ import annotations

import math
from importlib.util import find_spec

import numpy as np

from simcheck.arrays import Array
from simcheck.dispersing.tangents import Course, Normals, linear_course
from simcheck.engines.choosing import fast_propagator
from simcheck.engines.gravity import gravity_of
from simcheck.errors import FlightError
from simcheck.kernels.vectors import norm, wrap
from simcheck.measuring import RingMotion, resolve_ring, slot_period
from simcheck.records.case import Case
from simcheck.records.linear import Linear, LinearOutcome, LinearSource
from simcheck.records.plan import Plan

_PARTS = {
    "phase_deg": (0,),
    "period_s": (1,),
    "eccentricity": (2, 3),
    "plane_deg": (4, 5),
    "dv_used_m_s": (6,),
    "propellant_used_kg": (7,),
}
"""Each outcome and the quantities that it is made of: two are the components of a length."""

_STEP = 1e-5  # of radius, speed and revolution: curvature and rounding both below 1e-7


def linear_covariance(case: Case, plan: Plan) -> Linear:
    """The linear covariance of a plan flown open loop with the case's errors.

    Raises FlightError where there is none: heyoka is missing, or the flight without errors does not
    end on an orbit that can be measured.
    """
    if find_spec("heyoka") is None:
        raise FlightError("linear covariance needs heyoka, which is not installed here")
    motion = resolve_ring(case.ring, fast_propagator(gravity_of(case)))
    normals = Normals(case.errors, len(plan.commands))
    course = linear_course(case, plan, normals)
    signed, slopes = _measured(case, motion, course)
    nominal = np.append(signed, [course.dv, case.craft.mass_kg - course.state[6]])
    moved = np.vstack([course.by_state[:6], course.by_time])
    matrix = np.vstack([slopes @ moved, course.by_dv, -course.by_state[6]])
    if not (np.isfinite(matrix).all() and np.isfinite(nominal).all()):
        raise FlightError("the flight without errors has no derivatives at its end")
    sources = tuple(
        LinearSource(source=name, matrix=matrix[:, part]) for name, part in normals.columns.items()
    )
    covariance = matrix @ matrix.T
    return Linear(
        nominal=nominal,
        sources=sources,
        covariance=covariance,
        outcomes=tuple(_outcome(name, nominal, covariance) for name in _PARTS),
        drivers=_drivers(sources, covariance),
        left_out=("missed_burn",) if case.errors.missed_burn > 0 else (),
    )


def _measured(case: Case, motion: RingMotion, course: Course) -> tuple[Array, Array]:
    """The six signed errors (6,) at the flight's end, and their derivatives (6, 7).

    By position, velocity and time of the last cutoff: differences of the averages themselves.
    """
    from simcheck.engines.batches import TaylorBatches
    from simcheck.measuring_lanes import average_lanes

    size = [float(norm(course.state[:3]))] * 3 + [float(norm(course.state[3:6]))] * 3
    steps = _STEP * np.array([*size, motion.period_s])
    shifts = np.concatenate([np.zeros((1, 7)), np.diag(steps), -np.diag(steps)])
    states = np.tile(course.state, (len(shifts), 1))
    states[:, :6] += shifts[:, :6]
    times = course.time + shifts[:, 6]
    found = average_lanes(TaylorBatches(gravity_of(case)), times, states, motion)
    longitude = found.longitude - motion.longitude(case.craft.slot, found.time)
    # Wrapped at the flight itself only: its neighbours may lie beyond 180 deg.
    phase = wrap(longitude[0]) + wrap(longitude - longitude[0])
    x, y, z = found.normal.T
    leans = [np.degrees(np.arctan2(x, z)), np.degrees(np.arctan2(y, z))]
    period = found.period - slot_period(motion, found.time, found.period)
    signed = np.stack([np.degrees(phase), period, *found.e_vector.T, *leans])
    return signed[:, 0], (signed[:, 1:8] - signed[:, 8:]) / (2 * steps)


def _outcome(name: str, nominal: Array, covariance: Array) -> LinearOutcome:
    parts = list(_PARTS[name])
    variance = float(np.sum(np.diag(covariance)[parts]))
    if len(parts) == 1:
        value, spread = float(nominal[parts[0]]), math.sqrt(variance)
        return LinearOutcome(outcome=name, nominal=value, kind="sigma", spread=spread)
    value = float(np.hypot(*nominal[parts]))
    if name == "plane_deg":
        value = plane_angle(*nominal[parts])
    spread = math.hypot(value, math.sqrt(variance))
    return LinearOutcome(outcome=name, nominal=value, kind="rms", spread=spread)


def plane_angle(x_deg: float, y_deg: float) -> float:
    """The angle between two normals, deg, of which one leans by x and y: their length if small."""
    leans = np.radians([x_deg, y_deg])
    behind = np.sign(np.cos(leans[0]))
    return float(np.degrees(np.arctan2(np.hypot(*np.tan(leans)), behind)))


def _drivers(sources: tuple[LinearSource, ...], covariance: Array) -> dict[str, dict[str, float]]:
    """Each source's share in each outcome's variance, largest first."""
    found = {}
    for name, parts in _PARTS.items():
        rows = list(parts)
        whole = float(np.sum(np.diag(covariance)[rows]))
        moved = {source.source: float(np.sum(source.matrix[rows] ** 2)) for source in sources}
        found[name] = {
            source: part / whole if whole else 0.0
            for source, part in sorted(moved.items(), key=lambda item: -item[1])
        }
    return found
