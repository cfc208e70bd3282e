"""An orbit parameter message (CCSDS 502.0-B-3, section 3) in its keyword form, to a state.

Read are versions 1.0 to 3.0 of the message. Beyond the state vector it may have Keplerian elements,
which must be the same orbit, a mass, a covariance, and manoeuvres, of which
`simcheck.files.message_plan` makes a plan. Areas, coefficients and USER_DEFINED keywords are
accepted and not used. The order of the lines is free, except that a manoeuvre begins with its
MAN_EPOCH_IGNITION.
`simcheck.files.message_axes` says which reference frames are read and what becomes of them.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import cast

import numpy as np

from simcheck.arrays import Array, frozen_array
from simcheck.errors import InputError
from simcheck.files.covariances import covariance_fault
from simcheck.files.epochs import SYSTEMS, Instant
from simcheck.files.kvn import Block, Entry, KvnFaults, kvn_entries, nearest
from simcheck.files.message_axes import into_case_axes, local_axes
from simcheck.files.message_manoeuvres import Manoeuvre
from simcheck.files.opm_elements import ELEMENTS, check_elements
from simcheck.files.opm_manoeuvres import IGNITION, MANOEUVRE_UNITS, read_manoeuvre
from simcheck.files.plain_text import decoded
from simcheck.files.records_json import shown
from simcheck.records.case import Body
from simcheck.records.estimate import Estimate

VERSION_KEYWORD = "CCSDS_OPM_VERS"
_VERSIONS = ("1.0", "2.0", "3.0")
_TEXTS = (
    VERSION_KEYWORD,
    *("CLASSIFICATION", "CREATION_DATE", "ORIGINATOR", "MESSAGE_ID", "OBJECT_NAME", "OBJECT_ID"),
    *("CENTER_NAME", "REF_FRAME", "REF_FRAME_EPOCH", "TIME_SYSTEM", "EPOCH", "COV_REF_FRAME"),
)
_POSITION = {"X": "6655.9942", "Y": "-40218.5751", "Z": "-82.9177"}
_VELOCITY = {"X_DOT": "3.11548208", "Y_DOT": "0.47042605", "Z_DOT": "-0.00101495"}
_CRAFT = {
    "MASS": "kg",
    "SOLAR_RAD_AREA": "m**2",
    "SOLAR_RAD_COEFF": "",
    "DRAG_AREA": "m**2",
    "DRAG_COEFF": "",
}
_AXES = (*_POSITION, *_VELOCITY)
_COVARIANCE = {
    f"C{row}_{column}": ("km**2", "km**2/s", "km**2/s**2")[(j > 2) + (k > 2)]
    for j, row in enumerate(_AXES)
    for k, column in enumerate(_AXES[: j + 1])
}
_UNITS = {
    **dict.fromkeys(_TEXTS, ""),
    **dict.fromkeys(_POSITION, "km"),
    **dict.fromkeys(_VELOCITY, "km/s"),
    **ELEMENTS,
    **_CRAFT,
    **_COVARIANCE,
}


@dataclass(frozen=True, kw_only=True, eq=False)
class OrbitMessage:
    """A message as it stands, in SI: vectors in the axes of `frame` at frame_epoch (of `epoch`).

    covariance (6, 6) is in the axes of covariance_frame. lines says where a keyword stands.
    """

    name: str
    center: str
    frame: str
    frame_epoch: Instant
    epoch: Instant
    position_m: Array
    velocity_m_s: Array
    mass_kg: float | None
    covariance: Array | None
    covariance_frame: str
    manoeuvres: tuple[Manoeuvre, ...]
    lines: dict[str, int]


def read_opm(content: bytes, file: str) -> OrbitMessage:
    """The message in the bytes of a file; all that can be told without knowing the case.

    Raises InputError with all faults, each with file, line and keyword.
    """
    faults = KvnFaults(file)
    entries = kvn_entries(decoded(content, file), faults)
    if not entries or entries[0].keyword != VERSION_KEYWORD:
        got = shown(entries[0].keyword) if entries else "no keyword at all"
        raise InputError(
            f"{file}: expected an orbit parameter message, which begins with "
            f"{VERSION_KEYWORD} = 3.0, got {got}"
        )
    block, burns = _sorted(entries, faults)
    message = _message(block, burns)
    faults.raise_any()
    return cast("OrbitMessage", message)  # it is missing only after a fault


def opm_estimate(message: OrbitMessage, body: Body, epoch: Instant, file: str) -> Estimate:
    """The state of a message in the inertial axes of a case about `body` with that epoch.

    Raises InputError where the message is about another body or in axes that are not read.
    """
    faults = KvnFaults(file)
    if message.center.casefold() != body.name.casefold():
        faults.add(
            message.lines["CENTER_NAME"],
            f"CENTER_NAME: expected the case's body, {body.name}, got {shown(message.center)}",
        )
    turn = np.eye(3)
    try:
        turn = into_case_axes(message.frame, body, message.frame_epoch, epoch)
    except ValueError as error:
        got = shown(message.frame)
        faults.add(message.lines["REF_FRAME"], f"REF_FRAME: got {got}, {error}")
    position, velocity = turn @ message.position_m, turn @ message.velocity_m_s
    covariance = None
    if message.covariance is not None:
        try:
            both = np.kron(np.eye(2), _covariance_turn(message, body, epoch, (position, velocity)))
            covariance = both @ message.covariance @ both.T
            covariance = 0.5 * (covariance + covariance.T)
        except ValueError as error:
            if "COV_REF_FRAME" in message.lines:  # the other is told already
                got = shown(message.covariance_frame)
                faults.add(message.lines["COV_REF_FRAME"], f"COV_REF_FRAME: got {got}, {error}")
    faults.raise_any()
    return Estimate(
        time_s=message.epoch.seconds_since(epoch),
        position_m=position,
        velocity_m_s=velocity,
        mass_kg=message.mass_kg,
        covariance=covariance,
        source=f"orbit parameter message {file}, {message.frame} axes",
    )


def _covariance_turn(
    message: OrbitMessage, body: Body, epoch: Instant, state: tuple[Array, Array]
) -> Array:
    """From the axes of the covariance to the case's. state: in these, which local axes go by."""
    turn = local_axes(message.covariance_frame, *state)
    if turn is None:
        turn = into_case_axes(message.covariance_frame, body, message.frame_epoch, epoch)
    return turn


def _sorted(entries: list[Entry], faults: KvnFaults) -> tuple[Block, list[Block]]:
    """Lines to the message's own and those of each manoeuvre; unknown ones are faults."""
    block, burns = Block(faults, _UNITS), list[Block]()
    for entry in entries:
        if entry.keyword == IGNITION:
            burns.append(Block(faults, MANOEUVRE_UNITS))
        if entry.keyword in MANOEUVRE_UNITS and burns:
            burns[-1].add(entry)
        elif entry.keyword in MANOEUVRE_UNITS:
            faults.add(entry.line, f"{entry.keyword}: a manoeuvre begins with {IGNITION}")
        elif entry.keyword in _UNITS:
            block.add(entry)
        elif not entry.keyword.startswith("USER_DEFINED_"):
            hint = nearest(entry.keyword, [*_UNITS, *MANOEUVRE_UNITS])
            faults.add(
                entry.line,
                f"{shown(entry.keyword)[1:-1]}: no keyword of an orbit parameter message{hint}",
            )
    return block, burns


def _message(block: Block, burns: list[Block]) -> OrbitMessage | None:
    """Everything in its place; None where a fault leaves out what is needed."""
    _read_head(block)
    name = block.text("OBJECT_NAME", "R4")
    block.text("OBJECT_ID", "2031-028A")
    center = block.text("CENTER_NAME", "EARTH")
    frame = block.text("REF_FRAME", "TOD")
    system = _read_system(block)
    epoch = block.date("EPOCH", system)
    frame_epoch = block.date("REF_FRAME_EPOCH", system, required=False) or epoch
    position = [block.number(key, example) for key, example in _POSITION.items()]
    velocity = [block.number(key, example) for key, example in _VELOCITY.items()]
    if np.isfinite([position, velocity]).all():
        check_elements(block, np.array(position), np.array(velocity))
    mass = _read_craft(block, burns)
    covariance = _read_covariance(block)
    manoeuvres = [read_manoeuvre(burn, system) for burn in burns]
    whole = name and center and frame and epoch and np.isfinite([position, velocity]).all()
    if not whole or frame_epoch is None or epoch is None:
        return None
    return OrbitMessage(
        name=str(name),
        center=str(center),
        frame=str(frame),
        frame_epoch=frame_epoch,
        epoch=epoch,
        position_m=frozen_array(position, (3,), "position"),
        velocity_m_s=frozen_array(velocity, (3,), "velocity"),
        mass_kg=mass,
        covariance=covariance,
        covariance_frame=block.text("COV_REF_FRAME", "RTN", required=False) or str(frame),
        manoeuvres=tuple(burn for burn in manoeuvres if burn is not None),
        lines={key: line for key in _UNITS if (line := block.line(key)) is not None},
    )


def _read_head(block: Block) -> None:
    version = block.text(VERSION_KEYWORD, "3.0")
    if version is not None and version not in _VERSIONS:
        block.fault(VERSION_KEYWORD, f"expected 3.0, 2.0 or 1.0, got {shown(version)}")
    block.text("CREATION_DATE", "2031-04-12T06:00:00")
    block.text("ORIGINATOR", "OPERATIONS")


def _read_system(block: Block) -> str | None:
    system = block.text("TIME_SYSTEM", "UTC")
    if system is not None and system.upper() not in SYSTEMS:
        block.fault("TIME_SYSTEM", f"expected one of {', '.join(SYSTEMS)}, got {shown(system)}")
        return None
    return None if system is None else system.upper()


def _read_craft(block: Block, burns: list[Block]) -> float | None:
    """The mass, where there is one."""
    numbers = {key: block.number(key, "1.0", required=False) for key in _CRAFT}
    mass = numbers["MASS"]
    if mass <= 0.0:
        block.fault("MASS", "expected more than 0 kg")
    if burns and not block.has("MASS"):
        block.faults.add(
            burns[0].line(IGNITION), "MASS is missing, which a message with manoeuvres must have"
        )
    return None if math.isnan(mass) else mass


def _read_covariance(block: Block) -> Array | None:
    """The whole matrix from its lower triangle, in m and m/s; None where there is none."""
    if not any(block.has(key) for key in _COVARIANCE):
        if block.has("COV_REF_FRAME"):
            block.fault("COV_REF_FRAME", "there is no covariance that it would be the frame of")
        return None
    lower = [block.number(key, "1.0e-04") for key in _COVARIANCE]
    matrix = np.zeros((6, 6))
    matrix[np.tril_indices(6)] = lower
    matrix = np.tril(matrix) + np.tril(matrix, -1).T
    if not np.isfinite(matrix).all():
        return None
    fault = covariance_fault(matrix)
    if fault:
        block.fault(next(iter(_COVARIANCE)), fault)
    return frozen_array(matrix, (6, 6), "covariance")
