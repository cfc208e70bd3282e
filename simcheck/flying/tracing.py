"""A flight sampled for pictures: where the craft was in the ring frame, and how far off its slot.

The arcs are flown once more from their own starts. Errors are osculating, not averaged: against the
orbit that a relay on the slot has at that time, so that the short-period terms, which all orbits
there share, cancel. Near the slot they are then the verdict's: to 1e-5 deg and 2e-5 s about Mars
under J2, to 1e-3 deg and 1e-2 s about the Moon under the Earth's pull. Far from it those terms,
some 1e-3 of an orbit, are in them.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from simcheck.arrays import Array
from simcheck.engines.base import Propagator, Thrust
from simcheck.engines.choosing import fast_propagator
from simcheck.engines.gravity import gravity_of
from simcheck.kernels.elements import (
    classical_from_state,
    equinoctial_from_state,
    state_from_classical,
)
from simcheck.kernels.kepler import orbital_period
from simcheck.kernels.transfers import period_of
from simcheck.kernels.vectors import TAU, cross, dot, norm, rsw_frame, unit, wrap
from simcheck.measuring import REVOLUTIONS, RingMotion, relay_state
from simcheck.planning.commanding import member_states
from simcheck.records.case import Case
from simcheck.records.flight import Arc, Flight, MassState
from simcheck.records.quantities import listed_tolerances
from simcheck.records.trace import Trace, TracedBurn, TracedMember

_A_TURN = 120  # samples a revolution of a coast ...
_MOST = 9000  # ... and of all coasts together, if it is not less than ...
_LEAST = 24  # ... these a revolution
_A_BURN = 13
_POSED = 24
_CURVE = 241  # points of an osculating orbit


class _Place(NamedTuple):
    """What a flight is traced in."""

    case: Case
    motion: RingMotion
    propagator: Propagator


def trace(case: Case, flight: Flight, ring: RingMotion) -> Trace:
    """Sample a flight of a case whose ring is resolved as `ring`.

    Raises FlightError where the motion of the slot or of a member cannot be computed.
    """
    place = _Place(case, ring, fast_propagator(gravity_of(case)))
    times, states, of = _sampled(place, flight.arcs)
    frames = ring.frame(times)
    end = float(times[-1])
    errors = _errors(place, times, states, frames)
    longitudes = ring.longitude(np.arange(case.ring.slots), end)
    around = np.stack([np.cos(longitudes), np.sin(longitudes), 0.0 * longitudes], axis=-1)
    return Trace(
        craft=case.craft.name,
        body=case.body.name,
        body_radius_m=case.body.radius_m,
        ring_radius_m=ring.radius_m,
        slot=case.craft.slot,
        axes=frames[-1],
        pole=frames[-1] @ np.array([0.0, 0.0, 1.0]),
        time_s=times,
        arc=of,
        position_m=_turned(frames, states[:, :3]),
        phase_deg=np.degrees(errors[0]),
        period_s=errors[1],
        eccentricity=errors[2],
        plane_deg=np.degrees(errors[3]),
        burns=tuple(_burn(place, arc) for arc in flight.arcs if arc.kind == "burn"),
        members=_members(place, times, states, frames),
        before_m=_orbit(place, states[0], frames[0]),
        after_m=_orbit(place, states[-1], frames[-1]),
        slots_m=ring.radius_m * around,
        tolerances=listed_tolerances(case.tolerance),
        separation_m=case.limits.separation_m,
    )


def _sampled(place: _Place, arcs: tuple[Arc, ...]) -> tuple[Array, Array, NDArray[np.intp]]:
    """Times (n,), states (n, 7) and the arc of each; an arc's end is there again as a start."""
    turns = [_turns(place, arc) for arc in arcs]
    dense = max(_LEAST, min(_A_TURN, int(_MOST / max(sum(turns), 1e-9))))
    times, states = [], []
    for arc, turn in zip(arcs, turns, strict=True):
        burning = arc.kind == "burn"
        count = _A_BURN if burning else 2 + int(dense * turn)
        grid = np.linspace(arc.start_s, arc.end_s, count)
        times.append(grid)
        states.append(_burning(place, arc, grid) if burning else _coasting(place, arc, grid))
    of = np.repeat(np.arange(len(arcs), dtype=np.intp), [len(grid) for grid in times])
    return np.concatenate(times), np.concatenate(states), of


def _turns(place: _Place, arc: Arc) -> float:
    """Revolutions of a coast; 1 on an open orbit."""
    if arc.kind == "burn":
        return 0.0
    period = float(
        period_of(arc.start.position_m, arc.start.velocity_m_s, place.propagator.gravity.gm)
    )
    return (arc.end_s - arc.start_s) / period if np.isfinite(period) else 1.0


def _state(state: MassState) -> Array:
    return np.array([*state.position_m, *state.velocity_m_s, state.mass_kg])


def _coasting(place: _Place, arc: Arc, times: Array) -> Array:
    return place.propagator.sample(arc.start_s, _state(arc.start), times)


def _burning(place: _Place, arc: Arc, times: Array) -> Array:
    thrust, time, state = _thrust(arc), arc.start_s, _state(arc.start)
    rows = []
    for until in times:
        time, state, _ = place.propagator.advance(time, state, float(until), thrust)
        rows.append(state)
    return np.array(rows)


def _thrust(arc: Arc) -> Thrust | None:
    if arc.steering is None or arc.direction is None:
        return None
    return Thrust(
        thrust_n=arc.thrust_n, isp_s=arc.isp_s, steering=arc.steering, direction=arc.direction
    )


def _turned(frames: Array, vectors: Array) -> Array:
    return np.asarray(np.einsum("...ij,...j->...i", frames, vectors))


def _errors(
    place: _Place, times: Array, states: Array, frames: Array
) -> tuple[Array, Array, Array, Array]:
    """Phase (rad), period (s), eccentricity, plane (rad), each (n,), against the slot's relay."""
    gm = place.propagator.gravity.gm
    ours = _elements(states, frames, gm)
    theirs = _elements(_slot_states(place, times), frames, gm)
    return (
        np.asarray(wrap(ours[0] - theirs[0])),
        ours[1] - theirs[1],
        np.asarray(np.hypot(*(ours[2] - theirs[2]))),
        np.asarray(np.arctan2(norm(cross(ours[3], theirs[3])), dot(ours[3], theirs[3]))),
    )


def _slot_states(place: _Place, times: Array) -> Array:
    """States (n, 7) of a relay on the slot.

    It stays there by itself but for the pull of other bodies, which bends the ring: then it is put
    there anew every two revolutions or, on a flight so long that this would be often, every
    `_POSED`-th part of it, counted from the end, where the verdict is measured.
    """
    begins = np.zeros(1)
    if place.propagator.gravity.sky is not None:
        end = float(times[-1])
        span = max(REVOLUTIONS * place.motion.period_s, end / _POSED)
        begins = np.maximum(np.arange(end - span, -span, -span)[::-1], 0.0)
    once, back = np.unique(times, return_inverse=True)
    of = np.searchsorted(begins, once, side="right") - 1
    rows = []
    for k, begin in enumerate(begins):
        if np.any(of == k):
            state = relay_state(place.motion, place.propagator, place.case.craft.slot, float(begin))
            relay = np.append(state, 1.0)
            rows.append(place.propagator.sample(float(begin), relay, once[of == k]))
    return np.concatenate(rows)[back]


def _elements(states: Array, frames: Array, gm: float) -> tuple[Array, Array, Array, Array]:
    """Mean longitude, period, (k, h) first and orbit normal, ring frame; NaN where open."""
    position, velocity = _turned(frames, states[:, :3]), _turned(frames, states[:, 3:6])
    found = equinoctial_from_state(position, velocity, gm)
    with np.errstate(all="ignore"):
        period = np.asarray(orbital_period(1.0 / found.a, gm))
    period = np.where(np.isfinite(period), period, np.nan)
    vector = np.where(np.isfinite(period), np.stack([found.k, found.h]), np.nan)
    return found.longitude, period, vector, unit(cross(position, velocity))


def _burn(place: _Place, arc: Arc) -> TracedBurn:
    """The Δv along the thrust in the middle of the burn; an arc turns by little meanwhile."""
    middle = (arc.start_s + arc.end_s) / 2
    state = _burning(place, arc, np.array([middle]))[0]
    frame = place.motion.frame(middle)
    direction = np.zeros(3) if arc.direction is None else np.asarray(arc.direction)
    if arc.steering == "rsw":
        direction = direction @ rsw_frame(state[:3], state[3:6])
    return TracedBurn(
        label=arc.burn or "",
        start_s=arc.start_s,
        end_s=arc.end_s,
        position_m=frame @ state[:3],
        dv_m_s=arc.dv_m_s * (frame @ direction),
    )


def _members(place: _Place, times: Array, states: Array, frames: Array) -> tuple[TracedMember, ...]:
    once, back = np.unique(times, return_inverse=True)
    rows = []
    given = member_states(place.case, place.motion, place.propagator)
    for member, start in zip(place.case.members, given, strict=True):
        there = place.propagator.sample(0.0, start, once)[back]
        rows.append(
            TracedMember(
                name=member.name,
                slot=member.slot,
                position_m=frames[-1] @ there[-1, :3],
                distance_m=np.asarray(norm(states[:, :3] - there[:, :3])),
            )
        )
    return tuple(rows)


def _orbit(place: _Place, state: Array, frame: Array) -> Array:
    """The osculating orbit of a state (7,) as a closed curve (k, 3) in a ring frame."""
    gm = place.propagator.gravity.gm
    found = classical_from_state(frame @ state[:3], frame @ state[3:6], gm)
    if not found.e < 1.0:
        return np.zeros((0, 3))
    around = np.linspace(0.0, TAU, _CURVE)
    fixed = (found.p, found.e, found.i, found.raan, found.argp)
    return state_from_classical(*fixed, found.nu + around, gm)[0]
