"""The state of an orbit comprehensive message in the time and axes of a case.

Elements beside a state, of the same moment, must be its orbit, as in an orbit parameter message:
by what the digits of both allow, and by 2e-6 of the radius and the speed (0.4 arcseconds) where
they are in other axes, which programs turn into each other with other models of precession and
nutation. Where TRAJ_BASIS or TRAJ_BASIS_ID is another, the two are two solutions, and how far they
are apart is told. The GM is the message's, or the case's where it has none.
"""

from __future__ import annotations

from dataclasses import replace
from typing import NamedTuple

from simcheck.arrays import Array
from simcheck.errors import InputError
from simcheck.files.epochs import Instant
from simcheck.files.kvn import KvnFaults
from simcheck.files.message_axes import into_case_axes
from simcheck.files.ocm import ComprehensiveMessage
from simcheck.files.ocm_trajectory import ELEMENTS, MessageState
from simcheck.files.opm_elements import (
    MARGIN,
    NO_SUCH_ORBIT,
    away,
    digits_allow,
    is_orbit,
    lengths,
    state_of_elements,
)
from simcheck.files.records_json import shown
from simcheck.records.case import Body
from simcheck.records.estimate import Estimate

_TURNED = 2e-6
_NO_STATE = "expected a state, got no TRAJ section with TRAJ_TYPE = CARTPV or KEPLERIAN"


class Placed(NamedTuple):
    """Seconds past a case's epoch, position and velocity in its axes."""

    time_s: float
    position_m: Array
    velocity_m_s: Array


def placed(
    message: ComprehensiveMessage, body: Body, epoch: Instant, faults: KvnFaults
) -> tuple[Placed | None, list[str]]:
    """The state of a message in the time and axes of a case, and what is to be told of it.

    None where the message has no state, or after a fault.
    """
    unread = ", ".join(message.unread)
    if not message.states:
        return None, [f"it has no state that is read: {unread}"] if unread else []
    main, *others = message.states
    if main.center.casefold() != body.name.casefold():
        expected = f"expected the case's body, {body.name}, got {shown(main.center)}"
        faults.add(main.center_line, f"CENTER_NAME: {expected}")
    gm = message.gm_m3_s2 or (body.gm_m3_s2, 0.0)
    try:
        turn = into_case_axes(main.frame, body, main.frame_epoch, epoch)
    except ValueError as error:
        faults.add(main.frame_line, f"TRAJ_REF_FRAME: got {shown(main.frame)}, {error}")
        return None, []
    if not _exists(main, gm):
        faults.add(main.line, f"{main.kind}: {NO_SUCH_ORBIT}")
        return None, []
    state = _vectors(main, gm) @ turn.T
    told = [f"not compared with its state: {unread}"] if unread else []
    for other in others:
        try:
            text = _against(_Seen(main, state, gm), other, body, epoch)
        except ValueError as error:
            told.append(
                f"not compared with its state: line {other.line}, in {other.frame}, {error}"
            )
            continue
        if text and other.basis == main.basis:
            faults.add(other.line, text)
        elif text:
            told.append(f"line {other.line}: {text}; it is another solution, {_named(other)}")
    time = main.date.seconds_since(epoch) + main.offset_s
    return Placed(time, state[0], state[1]), told


class _Seen(NamedTuple):
    """The state to go by, the same in the case's axes (2, 3), and GM with its last digit."""

    main: MessageState
    state: Array
    gm: tuple[float, float]


def _against(seen: _Seen, other: MessageState, body: Body, epoch: Instant) -> str:
    """What is wrong with elements that ought to be the orbit of a state; empty where they are.

    Raises ValueError with a reason where their axes are not read.
    """
    main, state, gm = seen
    if not _exists(other, gm):
        return f"{other.kind}: {NO_SUCH_ORBIT}"
    if other.center.casefold() != main.center.casefold():
        return ""
    turn = into_case_axes(other.frame, body, other.frame_epoch, epoch)
    same = other.frame.upper() == main.frame.upper() and other.frame_epoch == main.frame_epoch
    margin = MARGIN if same else MARGIN + _TURNED
    allowed = margin * lengths(state) + _digits(main, gm) + _digits(other, gm)
    off = lengths(_vectors(other, gm) @ turn.T - state)
    if (off <= allowed).all():
        return ""
    text = f"the {other.kind} elements are not the orbit of the state in line {main.line}"
    text += f": {away(off, allowed)}"
    swapped = replace(other, kind=next(kind for kind in ELEMENTS if kind != other.kind))
    if (lengths(_vectors(swapped, gm) @ turn.T - state) <= allowed).all():
        text += f"; they agree if {other.kind} is meant as {swapped.kind}: correct TRAJ_TYPE"
    return text


def _named(state: MessageState) -> str:
    """The solution that a state is of."""
    return ", ".join(name for name in state.basis if name) or "of no TRAJ_BASIS"


def _exists(state: MessageState, gm: tuple[float, float]) -> bool:
    return state.kind not in ELEMENTS or is_orbit([*state.values.tolist(), gm[0]])


def _vectors(state: MessageState, gm: tuple[float, float]) -> Array:
    """Position and velocity, (2, 3), in the state's own axes."""
    if state.kind not in ELEMENTS:
        return state.values.reshape(2, 3)
    return state_of_elements([*state.values.tolist(), gm[0]], mean=state.kind == ELEMENTS[1])


def _digits(state: MessageState, gm: tuple[float, float]) -> Array:
    """How far a unit in each last digit moves position and velocity, (2,)."""
    if state.kind not in ELEMENTS:
        return lengths(state.steps.reshape(2, 3))
    values, steps = [*state.values.tolist(), gm[0]], [*state.steps.tolist(), gm[1]]
    return digits_allow(values, steps, mean=state.kind == ELEMENTS[1])


def ocm_estimate(message: ComprehensiveMessage, body: Body, epoch: Instant, file: str) -> Estimate:
    """The state of a message in the inertial axes of a case about `body` with that epoch.

    The mass is that of time zero: burns in between are not counted. Covariance sections are not
    read. Raises InputError where there is no state that is read, where its elements are of another
    orbit, or where it is about another body or in axes that are not read.
    """
    faults = KvnFaults(file)
    if not message.states:
        got = f", got {', '.join(message.unread)}" if message.unread else ""
        raise InputError(f"{file}: {_NO_STATE}{got}; add one")
    seen, _ = placed(message, body, epoch, faults)
    faults.raise_any()
    if seen is None:  # only after a fault
        raise InputError(f"{file}: its state could not be read")
    return Estimate(
        time_s=seen.time_s,
        position_m=seen.position_m,
        velocity_m_s=seen.velocity_m_s,
        mass_kg=message.mass_kg,
        source=f"orbit comprehensive message {file}, {message.states[0].frame} axes",
    )
