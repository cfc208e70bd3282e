"""What a message says of a plan or a flight: its burns with their sizes and one-sigma errors.

Of a plan the burns are those commanded, of a flight with errors those made. MAN_BASIS goes through
the life of a plan: CANDIDATE when it was only computed (`plan`) or its perfect flight is outside,
PLANNED when its perfect flight is within (`check`, `fly`), SIMULATED for burns as a flight with
errors made them (`fly --sample`): a simulated flight's burns are never estimated from tracking,
which is what DETERMINED means. That is the basis of a burn that `trim` reconstructed from the
states around it. TELEMETRY, burns found on board, is never written.
"""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Literal, NamedTuple, TypeAlias

import numpy as np

from simcheck.arrays import Array
from simcheck.engines.base import G0
from simcheck.kernels.vectors import norm
from simcheck.records.case import Case, Engine, Errors
from simcheck.records.estimate import Estimate
from simcheck.records.flight import Flight, Verdict
from simcheck.records.plan import Plan, Steering
from simcheck.records.reconstruction import Reconstruction

Basis: TypeAlias = Literal["CANDIDATE", "PLANNED", "SIMULATED"]


class Sigma(NamedTuple):
    """One-sigma errors of a Δv: of its size, a share (None: not known), and per axis across, rad.

    The share counts biases that act on it, the angle is that on each of two axes.
    """

    size: float | None
    angle_rad: float


class Told(NamedTuple):
    """A burn for a message; vectors in the axes of its steering, the delta mass negative."""

    label: str
    purpose: str
    device: str
    start_s: float
    duration_s: float
    delta_mass_kg: float
    steering: Steering
    dv_m_s: Array
    thrust_n: float
    isp_s: float
    sigma: Sigma | None


class Content(NamedTuple):
    """All that a message tells. over are burns of the past; state is where it begins if not at the
    case's epoch with its craft.
    """

    case: Case
    basis: Basis
    burns: tuple[Told, ...]
    note: str
    over: tuple[Told, ...] = ()
    state: Estimate | None = None


def content_of(case: Case, plan: Plan, flight: Flight | None, verdict: Verdict | None) -> Content:
    """What a message says of a plan, or of its flight where there was one."""
    if flight is not None and flight.sample is not None:
        note = (
            f"Burns as made in sample {flight.sample} of seed {flight.seed}, a simulated flight "
            "with errors, from the case's nominal state"
        )
        return Content(case, "SIMULATED", _made(case, plan, flight), note)
    if flight is None:
        return Content(case, "CANDIDATE", _commanded(case, plan), "Burns as planned; not flown")
    within = verdict is not None and verdict.verdict == "within"
    note = f"Burns as commanded; a perfect flight of them is {'within' if within else 'OUTSIDE'}"
    return Content(case, "PLANNED" if within else "CANDIDATE", _commanded(case, plan), note)


def content_from(
    case: Case, estimate: Estimate, plan: Plan | None, made: Reconstruction | None
) -> Content:
    """What a message says from a measured state on: burns to do next, and the one just made.

    A burn to do that has the name of the one made has a prime after it.
    """
    burns_said = "burns as planned; not flown" if plan is not None else "no burn to do"
    note = f"From a measured state on; {burns_said}"
    if plan is not None and estimate.mass_kg is not None:
        dry = case.craft.dry_mass_kg
        craft = replace(case.craft, propellant_kg=max(estimate.mass_kg - dry, 0.0))
        case = replace(case, craft=craft)
    burns = () if plan is None else _commanded(case, plan)
    burnt = made is not None and bool(np.any(made.dv_m_s))
    over = (_reconstructed(made),) if made is not None and burnt else ()
    taken = {burn.label for burn in over}
    burns = tuple(x._replace(label=f"{x.label}'") if x.label in taken else x for x in burns)
    return Content(case, "CANDIDATE", burns, note, over, estimate)


def _reconstructed(made: Reconstruction) -> Told:
    size = float(norm(made.dv_m_s))
    return Told(
        made.burn,
        made.purpose,
        made.engine,
        made.start_s,
        made.duration_s,
        made.mass_after_kg - made.mass_before_kg,
        made.steering,
        made.dv_m_s,
        made.thrust_n,
        made.isp_s,
        None if made.covariance is None else _spread(made.dv_m_s / size, size, made.covariance),
    )


def _spread(along: Array, size: float, covariance: Array) -> Sigma:
    """One-sigma errors of a Δv: along it as a share, across it on each of two axes."""
    forward = float(along @ covariance @ along)
    across = max(float(np.trace(covariance)) - forward, 0.0) / 2.0
    return Sigma(math.sqrt(forward) / size, math.sqrt(across) / size)


def _commanded(case: Case, plan: Plan) -> tuple[Told, ...]:
    purposes = {burn.label: burn.purpose for burn in plan.burns}
    mass, found = case.craft.mass_kg, []
    for command in plan.commands:
        if not command.dv_m_s > 0.0:
            continue
        thrusters = command.engine == "thrusters" and case.thrusters is not None
        engine = case.thrusters if thrusters and case.thrusters is not None else case.engine
        lost = engine.thrust_n / (G0 * engine.isp_s) * command.duration_s
        found.append(
            Told(
                command.burn,
                purposes.get(command.burn, "as commanded"),
                engine.name,
                command.ignition_s,
                command.duration_s,
                -lost,
                command.steering,
                command.dv_m_s * command.direction,
                engine.thrust_n,
                engine.isp_s,
                _sigma(case.errors, engine, command.dv_m_s, lost / mass),
            )
        )
        mass -= lost
    return tuple(found)


def _made(case: Case, plan: Plan, flight: Flight) -> tuple[Told, ...]:
    purposes = {burn.label: burn.purpose for burn in plan.burns}
    return tuple(
        Told(
            arc.burn or "burn",
            purposes.get(arc.burn or "", "as decided in flight"),
            _device(case, arc.thrust_n),
            arc.start_s,
            arc.end_s - arc.start_s,
            arc.end.mass_kg - arc.start.mass_kg,
            arc.steering or "inertial",
            arc.dv_m_s * np.asarray(arc.direction),
            arc.thrust_n,
            arc.isp_s,
            None,
        )
        for arc in flight.arcs
        if arc.kind == "burn" and arc.dv_m_s > 0.0
    )


def _device(case: Case, thrust_n: float) -> str:
    """Who burnt with about this thrust."""
    known = [case.engine, *([case.thrusters] if case.thrusters else [])]
    return min(known, key=lambda engine: abs(math.log(thrust_n / engine.thrust_n))).name


def _sigma(errors: Errors, engine: Engine, dv: float, burnt: float) -> Sigma | None:
    """The errors of a burn of `dv` m/s that takes a share `burnt` of the mass; None if perfect.

    A timed burn feels the biases: with x the share burnt, the Δv grows as thrust to the power
    x / ((1 - x) ln(1 / (1 - x))), and as specific impulse to one less that. One cut off at its
    velocity feels the accelerometer instead. One that watches the orbit ends when that is right:
    the size it takes has no error of its own.
    """
    angle = math.hypot(errors.pointing_proportional_rad, errors.pointing_fixed_m_s / dv)
    size: float | None = None
    if engine.cutoff != "orbit":
        parts = [errors.magnitude_proportional, errors.magnitude_fixed_m_s / dv]
        if engine.cutoff == "velocity":
            parts = [errors.accelerometer_scale, *parts]
        elif 0.0 < burnt < 1.0:
            power = -burnt / ((1.0 - burnt) * math.log1p(-burnt))
            parts += [power * errors.thrust_bias, (1.0 - power) * errors.isp_bias]
        size = math.hypot(*parts)
    return Sigma(size, angle) if angle or size else None
