"""A burn reconstructed from the state before it and a tracked state after it.

The Δv is the one with which the flight from the one state arrives at the other, by least squares
weighted with what is not known: the state after it, the state before it carried along the flight,
and the ignition time. Whatever no Δv explains is left as the misfit.

Reference: Tapley, Schutz and Born (2004), section 4.4 (weighted least squares with a covariance).
"""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import NamedTuple

import numpy as np

from simcheck.arrays import Array
from simcheck.engines.base import G0, Propagator, Thrust
from simcheck.engines.choosing import fast_propagator
from simcheck.engines.gravity import gravity_of
from simcheck.errors import InputError
from simcheck.kernels.vectors import norm
from simcheck.records.case import Case, Engine
from simcheck.records.estimate import Estimate
from simcheck.records.plan import Command, Plan
from simcheck.records.reconstruction import Reconstruction

_STEP = 1e-4  # of the Δv, for the slopes; of the state 1e-6 of its size
_STATE_STEP = 1e-6
_CLOSE = 1e-9  # of the Δv commanded: where the search ends
_PASSES = 12
_LEAST_M_S = 1e-9  # a burn that did not happen
_FLOOR_M = 1e-3  # of what is known of a state, below which no tracking goes
_BLIND_M = 1.0  # by which position and velocity are weighed where nothing is known of the errors


def reconstruct(
    case: Case, plan: Plan, estimate: Estimate, before: Estimate | None = None
) -> Reconstruction:
    """The burn of a plan between two states, as it was made.

    The flight begins at `before`, or at the case's craft at the epoch, whose errors are then the
    case's initial ones; a state without covariance has the case's navigation errors. Raises
    InputError where not exactly one burn lies between them, or no burn of that kind leads from one
    to the other.
    """
    command = _between(plan, 0.0 if before is None else before.time_s, estimate)
    leg = _Leg(case, command, estimate, before)
    dv = _solved(leg)
    thrust, duration, after = leg.made(dv)
    covariance, misfit = _known(leg, dv)
    purposes = {burn.label: burn.purpose for burn in plan.burns}
    return Reconstruction(
        burn=command.burn,
        purpose=purposes.get(command.burn, "as commanded"),
        engine=leg.engine.name,
        start_s=command.ignition_s,
        duration_s=duration,
        steering=command.steering,
        dv_m_s=dv,
        commanded_m_s=command.dv_m_s * command.direction,
        covariance=covariance,
        thrust_n=thrust.thrust_n,
        isp_s=thrust.isp_s,
        mass_before_kg=float(leg.start[6]),
        mass_after_kg=after,
        misfit=misfit,
    )


def _between(plan: Plan, start: float, estimate: Estimate) -> Command:
    """The one command between two times."""
    source = estimate.source or "the estimate"
    inside = [c for c in plan.commands if start <= c.ignition_s < estimate.time_s]
    cut = [c for c in plan.commands if c.ignition_s < start < c.ignition_s + c.duration_s]
    if cut:
        raise InputError(f"{source}: the state before it is of a time when {cut[0].burn} burns")
    if not inside:
        raise InputError(
            f"{source}: no burn of the plan lies before this state, at {estimate.time_s:.6g} s"
        )
    if len(inside) > 1:
        raise InputError(
            f"{source}: one state tells of one burn, and {', '.join(c.burn for c in inside)} lie "
            f"before it; give a state after {inside[-2].burn} too"
        )
    (command,) = inside
    if command.ignition_s + command.duration_s > estimate.time_s:
        raise InputError(f"{source}: this state is of a time when {command.burn} still burns")
    return command


class _Leg(NamedTuple):
    """A flight from one state to the other with one burn."""

    case: Case
    command: Command
    estimate: Estimate
    before: Estimate | None

    @property
    def propagator(self) -> Propagator:
        return fast_propagator(gravity_of(self.case))

    @property
    def engine(self) -> Engine:
        thrusters = self.case.thrusters
        small = self.command.engine == "thrusters" and thrusters is not None
        return thrusters if small and thrusters is not None else self.case.engine

    @property
    def start(self) -> Array:
        """State (7,) that the flight begins at."""
        craft, before = self.case.craft, self.before
        if before is None:
            return np.concatenate([craft.position_m, craft.velocity_m_s, [craft.mass_kg]])
        mass = craft.mass_kg if before.mass_kg is None else before.mass_kg
        return np.concatenate([before.position_m, before.velocity_m_s, [mass]])

    @property
    def seen(self) -> Array:
        """State (6,) that it is to arrive at."""
        return np.concatenate([self.estimate.position_m, self.estimate.velocity_m_s])

    def made(self, dv: Array) -> tuple[Thrust, float, float]:
        """Thrust, duration in s and mass afterwards in kg of a burn of Δv (3,).

        A burn cut off after its duration makes another Δv by another thrust, any other by lasting
        longer.
        """
        command, engine, mass = self.command, self.engine, float(self.start[6])
        size = max(float(norm(dv)), _LEAST_M_S)
        burnt = -mass * math.expm1(-size / (G0 * engine.isp_s))
        flow = engine.thrust_n / (G0 * engine.isp_s)
        duration = burnt / flow
        if command.cutoff == "duration":
            duration = command.duration_s
            flow = burnt / duration
        direction = dv / norm(dv) if norm(dv) > _LEAST_M_S else command.direction
        force = flow * G0 * engine.isp_s
        thrust = Thrust(
            thrust_n=force, isp_s=engine.isp_s, steering=command.steering, direction=direction
        )
        return thrust, duration, mass - burnt

    def arrives(self, dv: Array, start: Array | None = None, late: float = 0.0) -> Array:
        """State (6,) at the estimate's time, ignition so many seconds late."""
        began = 0.0 if self.before is None else self.before.time_s
        state = self.start if start is None else start
        thrust, duration, _ = self.made(dv)
        ignition, fly = self.command.ignition_s + late, self.propagator.advance
        lit = fly(began, state, ignition).state
        cut = fly(ignition, lit, ignition + duration, thrust).state
        return np.asarray(fly(ignition + duration, cut, self.estimate.time_s).state[:6])

    def slopes(self, dv: Array) -> Array:
        """Derivatives (6, 3) of the arrival by the Δv."""
        step = _STEP * self.command.dv_m_s
        return _slopes(self.arrives, dv, np.full(3, step))


def _slopes(function: Callable[[Array], Array], at: Array, steps: Array) -> Array:
    """Derivatives of a function by central differences, (..., len(at))."""
    columns = []
    for k, step in enumerate(steps):
        move = np.zeros_like(at)
        move[k] = step
        columns.append((function(at + move) - function(at - move)) / (2.0 * step))
    return np.stack(columns, axis=-1)


def _solved(leg: _Leg) -> Array:
    """The Δv (3,)."""
    command = leg.command
    dv = command.dv_m_s * command.direction
    white = _whitening(_spread(leg, dv))
    for _ in range(_PASSES):
        off = white @ (leg.seen - leg.arrives(dv))
        change = np.asarray(np.linalg.lstsq(white @ leg.slopes(dv), off, rcond=None)[0])
        dv = dv + change
        if not norm(dv) < 10.0 * (1.0 + command.dv_m_s):
            break
        if norm(change) <= _CLOSE * command.dv_m_s:
            return np.asarray(dv)
    raise InputError(
        f"{leg.estimate.source or 'the estimate'}: no burn at the time of {command.burn} leads "
        "from the state before it to this one"
    )


def _known(leg: _Leg, dv: Array) -> tuple[Array | None, float | None]:
    """Covariance (3, 3) of the Δv and the misfit; None where no error is known."""
    if not _informed(leg):
        return None, None
    white = _whitening(_spread(leg, dv))
    slopes = white @ leg.slopes(dv)
    off = white @ (leg.seen - leg.arrives(dv))
    return np.asarray(np.linalg.inv(slopes.T @ slopes)), math.sqrt(float(off @ off) / 3.0)


def _whitening(spread: Array) -> Array:
    """Matrix that turns errors of this covariance into independent ones of size 1."""
    return np.asarray(np.linalg.inv(np.linalg.cholesky(spread)))


def _informed(leg: _Leg) -> bool:
    return bool(_of_estimate(leg.case, leg.estimate).any() or _of_start(leg).any())


def _spread(leg: _Leg, dv: Array) -> Array:
    """Covariance (6, 6) of where the flight arrives less where tracking sees it."""
    r, v = leg.seen[:3], leg.seen[3:]
    tempo = float(norm(v) / norm(r))
    floor = _FLOOR_M if _informed(leg) else _BLIND_M
    total = np.diag(np.repeat([floor, floor * tempo], 3)) ** 2 + _of_estimate(
        leg.case, leg.estimate
    )
    start = leg.start
    steps = _STATE_STEP * np.repeat([norm(start[:3]), norm(start[3:6])], 3)
    if _of_start(leg).any():
        mass = start[6:]
        carry = _slopes(lambda y: leg.arrives(dv, np.concatenate([y, mass])), start[:6], steps)
        total = total + carry @ _of_start(leg) @ carry.T
    late = leg.case.errors.ignition_time_s
    if late > 0.0:
        one = _slopes(lambda t: leg.arrives(dv, late=float(t[0])), np.zeros(1), np.array([late]))
        total = total + late**2 * one @ one.T
    return np.asarray(0.5 * (total + total.T))


def _of_estimate(case: Case, estimate: Estimate) -> Array:
    """Covariance (6, 6) of a tracked state."""
    if estimate.covariance is not None:
        return np.asarray(estimate.covariance)
    sizes = [case.errors.navigation_position_m, case.errors.navigation_velocity_m_s]
    return np.diag(np.repeat(sizes, 3)) ** 2


def _of_start(leg: _Leg) -> Array:
    """Covariance (6, 6) of the state that the flight begins at."""
    if leg.before is not None:
        return _of_estimate(leg.case, leg.before)
    sizes = [leg.case.errors.initial_position_m, leg.case.errors.initial_velocity_m_s]
    return np.diag(np.repeat(sizes, 3)) ** 2
