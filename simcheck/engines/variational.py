"""Derivatives of an arc's end by its start and by its burn: the motion's variational equations.

The same equations as `simcheck.engines.taylor`, with those of all first derivatives beside them, in
one integrator for coasts and burns: a coast is a burn whose thrust is zero. It is compiled without
optimisation: that takes a tenth of the time, and these arcs are flown once a plan. Reference for
variational equations: Montenbruck and Gill (2000), Satellite Orbits, section 7.2.
"""

from __future__ import annotations

import itertools
from functools import cache
from typing import Any, NamedTuple

import heyoka as hy
import numpy as np

from simcheck.arrays import Array
from simcheck.engines.base import G0, Stop, Thrust
from simcheck.engines.equations import (
    THRUST,
    TIDE,
    ZONAL,
    Terms,
    motion_equations,
    set_outer,
    terms_of,
)
from simcheck.engines.gravity import Gravity
from simcheck.engines.pulls import ends_of_arcs, longest_arc, pull, unknown
from simcheck.engines.taylor import TOLERANCE, shadow_events
from simcheck.errors import FlightError
from simcheck.kernels.vectors import cross, norm, rsw_frame

_MOTION = slice(0, 6)  # columns of the scaled derivatives: position and velocity at the start,
_FLOW = 6  # the mass flow,
_PUSH = slice(7, 10)  # and the thrust's acceleration at the start, along the axes of the steering


class Tangent(NamedTuple):
    """End of an arc and its derivatives, SI: state (7,) and by_state (7, 7).

    by_thrust (7,) is a newton, by_isp (7,) a second, both at a fixed length of the burn;
    by_direction (7, 3) takes the three components as free. rates (7,) are the motion's at the end,
    which is the derivative by the length. Those of a coast by thrust, Isp and direction are zero.
    """

    state: Array
    by_state: Array
    by_thrust: Array
    by_isp: Array
    by_direction: Array
    rates: Array


def tangent(
    gravity: Gravity, state: Array, span: float, thrust: Thrust | None = None, *, start: float = 0.0
) -> Tangent:
    """Fly a state (7,) from `start` for `span` seconds and give its end with all first derivatives.

    A coast may go back in time. An exactly radial orbit has no derivatives here (no RSW axes), and
    the shadow's edge none: how it moves with the state is left out of the push of sunlight.
    Raises FlightError where the motion cannot be computed.
    """
    ends = ends_of_arcs(start, start + span, longest_arc(gravity))
    if len(ends) == 1:
        return _tangent(gravity, state, start, span, thrust)
    total = _tangent(gravity, state, start, ends[0] - start, thrust)
    for begin, end in itertools.pairwise(ends):
        total = _joined(total, _tangent(gravity, total.state, begin, end - begin, thrust))
    return total


def _joined(first: Tangent, then: Tangent) -> Tangent:
    """Two parts of one arc, the same burn in both."""
    return Tangent(
        then.state,
        then.by_state @ first.by_state,
        then.by_state @ first.by_thrust + then.by_thrust,
        then.by_state @ first.by_isp + then.by_isp,
        then.by_state @ first.by_direction + then.by_direction,
        then.rates,
    )


def _tangent(
    gravity: Gravity, state: Array, start: float, span: float, thrust: Thrust | None
) -> Tangent:
    """An arc over which one polynomial gives where each other body is."""
    length = gravity.radius
    time = float(np.sqrt(length**3 / gravity.gm))
    scale = np.array([length] * 3 + [length / time] * 3)
    mass = float(state[6])
    push, flow = _scaled_burn(thrust, mass, time, length)
    terms = terms_of(gravity)
    outer = np.zeros(max(terms.parameters - TIDE, 0))
    set_outer(outer, gravity, terms, start, span, state[:3])
    if missing := unknown(gravity, start, start + span):
        raise FlightError(missing)
    ta = _prepared(gravity, state[:6] / scale, push, flow, thrust, outer)
    end, partials = _flown(ta, span / time, thrust)
    after = np.append(end[:6] * scale, end[6] * mass)
    out = np.append(scale, mass)[:, None]
    by_state = np.zeros((7, 7))
    by_state[:, _MOTION] = out * partials[:, _MOTION] / scale
    by_flow, by_push = out[:, 0] * partials[:, _FLOW], out * partials[:, _PUSH]
    # The mass at the start acts by what it makes of thrust and flow; the end's is a multiple of it.
    by_state[:, 6] = -(by_flow * flow + by_push @ push) / mass
    by_state[6, 6] += end[6]
    rates = _rates(gravity, start + span, after, thrust)
    if thrust is None:
        nothing = np.zeros(7)
        return Tangent(after, by_state, nothing, nothing, np.zeros((7, 3)), rates)
    return Tangent(
        after,
        by_state,
        (by_flow * flow + by_push @ push) / thrust.thrust_n,
        -by_flow * flow / thrust.isp_s,
        by_push * float(thrust.thrust_n / mass * time**2 / length),
        rates,
    )


def stop_gradient(stop: Stop, state: Array, gm: float) -> Array:
    """Derivatives (7,) of a stop function by the state (7,); none by the mass."""
    r, v = state[:3], state[3:6]
    h = cross(r, v)
    by_h = np.asarray(stop.plane) + stop.length * h / norm(h) + 2 * stop.square * h
    by_r = stop.energy * gm * r / norm(r) ** 3 + cross(v, by_h)
    by_v = stop.energy * v + cross(by_h, r)
    return np.concatenate([by_r, by_v, [0.0]])


def _scaled_burn(
    thrust: Thrust | None, mass: float, time: float, length: float
) -> tuple[Array, float]:
    """Thrust acceleration (3,) and flow at the start, a share of the mass, at gm = radius = 1."""
    if thrust is None:
        return np.zeros(3), 0.0
    acceleration = thrust.thrust_n / mass * time**2 / length
    return acceleration * thrust.direction, thrust.flow_kg_s / mass * time


def _prepared(
    gravity: Gravity, start: Array, push: Array, flow: float, thrust: Thrust | None, outer: Array
) -> Any:
    """The integrator, set on a scaled start (6,)."""
    turning = thrust is not None and thrust.steering == "rsw"
    ta = _integrator(terms_of(gravity))
    if ta.with_events:
        ta.reset_cooldowns()
    ta.time = 0.0
    ta.pars[:] = 0.0
    ta.pars[ZONAL] = gravity.zonals
    # The push is the direction's length, so that derivatives by it are there without thrust too.
    zero = np.zeros(3)
    ta.pars[THRUST] = [1.0, flow, *(zero if turning else push), *(push if turning else zero)]
    ta.pars[TIDE : TIDE + len(outer)] = outer
    ta.state[:] = 0.0
    ta.state[:7] = [*start, 1.0]
    ta.state[7:].reshape(7, -1)[range(6), range(6)] = 1.0
    return ta


def _flown(ta: Any, span: float, thrust: Thrust | None) -> tuple[Array, Array]:
    """Scaled end (7,) and its derivatives (7, 10) in the order of the columns above."""
    outcome = ta.propagate_until(span)[0]
    if outcome != hy.taylor_outcome.time_limit:
        raise FlightError("the Taylor integration of an arc's derivatives broke down")
    turning = thrust is not None and thrust.steering == "rsw"
    found = ta.state[7:].reshape(7, -1)
    first = _PUSH.start + 3 * turning
    return ta.state[:7].copy(), np.hstack([found[:, : _PUSH.start], found[:, first : first + 3]])


@cache
def _integrator(terms: Terms) -> Any:
    """Compile the integrator of the motion with its derivatives by the columns above."""
    equations = motion_equations(thrusting=True, terms=terms)
    first = THRUST.start
    columns = list(hy.make_vars("x", "y", "z", "vx", "vy", "vz"))
    columns += [hy.par[i] for i in range(first + 1, first + 8)]
    system = hy.var_ode_sys(equations, columns, order=1)
    start = [1.0] * len(equations)
    events = shadow_events(terms)
    return hy.taylor_adaptive(
        system, start, tol=TOLERANCE, t_events=events, compact_mode=True, opt_level=0
    )


def _rates(gravity: Gravity, time: float, state: Array, thrust: Thrust | None) -> Array:
    """Rates (7,) of the state (7,)."""
    r, v, mass = state[:3], state[3:6], state[6]
    acceleration = -gravity.gm * r / norm(r) ** 3 + pull(gravity, time, r)
    if thrust is None:
        return np.concatenate([v, acceleration, [0.0]])
    frame = np.eye(3) if thrust.steering == "inertial" else rsw_frame(r, v)
    acceleration = acceleration + thrust.thrust_n / mass * (thrust.direction @ frame)
    return np.concatenate([v, acceleration, [-thrust.thrust_n / (G0 * thrust.isp_s)]])
