"""A plan from a message with manoeuvres: an OPM or an OCM, with the state and mass that go with it.

The flight begins at the case's craft. The plan's warnings tell by how much a state or mass in the
message is off, where the engine of the case parts from a manoeuvre, and which are not flown again.
"""

from __future__ import annotations

import math

import numpy as np

from simcheck.arrays import Array
from simcheck.errors import FlightError, InputError
from simcheck.files.epochs import NO_CASE_EPOCH, Instant, read_date
from simcheck.files.kvn import KvnFaults
from simcheck.files.message_burns import Flying, Made
from simcheck.files.message_engine import LATEST_S
from simcheck.files.message_manoeuvres import Manoeuvre
from simcheck.files.ocm import read_ocm
from simcheck.files.ocm_state import Placed, placed
from simcheck.files.opm import opm_estimate, read_opm
from simcheck.files.plan_json import check_plan
from simcheck.kernels.kepler import propagate
from simcheck.kernels.vectors import norm
from simcheck.planning.replanning import burn_of
from simcheck.records.case import Case
from simcheck.records.plan import Burn, Plan, State

PLANNER = "message"
_SAME_STATE = 1e-6  # of the radius and of the speed: 12 m and 3 mm/s in a ring about Mars
_SAME_MASS = 1e-3  # as for a message that a case begins with
_NO_BURN = (
    "expected at least one manoeuvre, got none; a state alone is the start of a case: write "
    "opm or ocm under [craft]"
)


def read_opm_plan(content: bytes, file: str, case: Case) -> Plan:
    """The plan in an orbit parameter message. Raises InputError with all faults."""
    message, epoch = read_opm(content, file), _epoch(case, file)
    seen = opm_estimate(message, case.body, epoch, file)
    state = Placed(seen.time_s, seen.position_m, seen.velocity_m_s)
    faults = KvnFaults(file)
    flying = _flown(case, epoch, message.frame_epoch, message.manoeuvres, faults)
    warnings = _against_case(flying, state, message.mass_kg, seen.time_s)
    return _plan(case, flying, f"orbit parameter message {file} ({message.name})", warnings)


def read_ocm_plan(content: bytes, file: str, case: Case) -> Plan:
    """The plan in an orbit comprehensive message. Raises InputError with all faults."""
    message, epoch = read_ocm(content, file), _epoch(case, file)
    faults = KvnFaults(file)
    state, told = placed(message, case.body, epoch, faults)
    frame_epoch = message.states[0].frame_epoch if message.states else message.zero
    flying = _flown(case, epoch, frame_epoch, message.manoeuvres, faults, message.over)
    zero = message.zero.seconds_since(epoch)
    warnings = [*told, *_passed_over(message.over)]
    warnings += _against_case(flying, state, message.mass_kg, zero)
    return _plan(case, flying, f"orbit comprehensive message {file} ({message.name})", warnings)


def _epoch(case: Case, file: str) -> Instant:
    if case.epoch is None:
        raise InputError(f"{file}: {NO_CASE_EPOCH}")
    return read_date(case.epoch)


def _flown(
    case: Case,
    epoch: Instant,
    frame_epoch: Instant,
    manoeuvres: tuple[Manoeuvre, ...],
    faults: KvnFaults,
    over: tuple[str, ...] = (),
) -> Flying:
    """The manoeuvres flown in order of time. Raises InputError with all faults."""
    if not manoeuvres:
        faults.raise_any()
        raise InputError(*(f"{faults.file}: {text}" for text in (_NO_BURN, *_passed_over(over))))
    flying = Flying(case, epoch, frame_epoch, faults)
    ordered = sorted(manoeuvres, key=lambda m: m.starts(epoch) + 0.5 * m.duration_s)
    taken = {manoeuvre.label for manoeuvre in ordered}
    for number, manoeuvre in enumerate(ordered, start=1):
        label = manoeuvre.label or f"B{number}"
        while manoeuvre.label is None and label in taken:
            label += "'"
        flying.add(manoeuvre, label)
    faults.raise_any()
    return flying


def _against_case(
    flying: Flying,
    state: Placed | None,
    mass: float | None,
    mass_time: float,
) -> list[str]:
    """How far the message's state and mass are from those of the case's craft, in words."""
    told = []
    if state is not None and abs(state[0]) > LATEST_S:
        return ["its state is of a date too far from the case's epoch to be compared"]
    if abs(mass_time) > LATEST_S:
        mass = None
    try:
        if state is not None:
            told += _apart(flying.state_at(state[0]), *state[1:])
        if mass is not None:
            ours = float(flying.state_at(mass_time)[6])
            if abs(mass - ours) > _SAME_MASS * ours:
                told.append(f"its mass of {mass:g} kg is not the {ours:.6g} kg of the case")
    except FlightError as error:
        told.append(f"its state could not be compared with the case's: {error}")
    return told


def _apart(ours: Array, position: Array, velocity: Array) -> list[str]:
    off = float(norm(position - ours[:3])), float(norm(velocity - ours[3:6]))
    if off[0] <= _SAME_STATE * norm(ours[:3]) and off[1] <= _SAME_STATE * norm(ours[3:6]):
        return []
    far = f"{off[0] / 1e3:.6g} km" if off[0] >= 1e3 else f"{off[0]:.3g} m"
    return [
        f"its state lies {far} and {off[1]:.3g} m/s from the case's craft at that time; the "
        "flight begins at the case's"
    ]


def _plan(case: Case, flying: Flying, source: str, warnings: list[str]) -> Plan:
    gm, craft = case.body.gm_m3_s2, case.craft
    burns = [_burn(made, gm) for made in flying.made]
    r, v, now = craft.position_m, craft.velocity_m_s, 0.0
    for burn in burns:
        r, v = propagate(r, v, burn.time_s - now, gm)
        v, now = v + burn.dv_m_s, burn.time_s
    if not np.isfinite([r, v]).all():
        raise InputError(f"{flying.faults.file}: this plan is too large to compute with")
    total = math.fsum(burn.magnitude_m_s for burn in burns)
    count = f"{len(burns)} burn{'s' if len(burns) > 1 else ''}"
    plan = Plan(
        planner=PLANNER,
        summary=f"{count} of {source}",
        burns=tuple(burns),
        total_dv_m_s=total,
        arrival_time_s=now,
        arrival_state=State(position_m=r, velocity_m_s=v),
        lower_bound_dv_m_s=None,
        alternatives=(),
        commands=tuple(made.command for made in flying.made),
        commanded_dv_m_s=total,
        warnings=(*warnings, *_of_burns(flying.made)),
    )
    faults = check_plan(plan)
    if faults:
        raise InputError(*(f"{flying.faults.file}: {fault}" for fault in faults))
    return plan


def _passed_over(over: tuple[str, ...]) -> list[str]:
    """What is not flown again, in words."""
    if not over:
        return []
    was = "manoeuvres that are" if len(over) > 1 else "manoeuvre that is"
    return [f"{len(over)} {was} over, {', '.join(over)}: not flown again"]


def _of_burns(made: list[Made]) -> list[str]:
    """What is to be told of single burns."""
    return [f"{one.command.burn}: {'; '.join(one.notes)}" for one in made if one.notes]


def _burn(made: Made, gm: float) -> Burn:
    reason = f"As the message has it, in {made.frame} axes."
    return burn_of(made.command, made.lit, made.purpose, reason, gm)
