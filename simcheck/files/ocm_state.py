"""The state of an orbit comprehensive message in the time and axes of a case."""

from __future__ import annotations

from simcheck.arrays import Array
from simcheck.errors import InputError
from simcheck.files.epochs import Instant
from simcheck.files.kvn import KvnFaults
from simcheck.files.message_axes import into_case_axes
from simcheck.files.ocm import ComprehensiveMessage, MessageState
from simcheck.files.records_json import shown
from simcheck.records.case import Body
from simcheck.records.estimate import Estimate


def placed(
    state: MessageState, body: Body, epoch: Instant, faults: KvnFaults
) -> tuple[float, Array, Array] | None:
    """Seconds past a case's epoch, position and velocity in its axes; None after a fault."""
    time = state.date.seconds_since(epoch) + state.offset_s
    if state.center.casefold() != body.name.casefold():
        expected = f"expected the case's body, {body.name}, got {shown(state.center)}"
        faults.add(state.center_line, f"CENTER_NAME: {expected}")
    try:
        turn = into_case_axes(state.frame, body, state.frame_epoch, epoch)
    except ValueError as error:
        faults.add(state.frame_line, f"TRAJ_REF_FRAME: got {shown(state.frame)}, {error}")
        return None
    return time, turn @ state.position_m, turn @ state.velocity_m_s


def ocm_estimate(message: ComprehensiveMessage, body: Body, epoch: Instant, file: str) -> Estimate:
    """The state of a message in the inertial axes of a case about `body` with that epoch.

    The mass is that of time zero: burns in between are not counted. Covariance sections are not
    read. Raises InputError where there is no Cartesian state, or it is about another body or in
    axes that are not read.
    """
    faults = KvnFaults(file)
    if message.state is None:
        raise InputError(
            f"{file}: expected a state, got no TRAJ section with TRAJ_TYPE = CARTPV; add one"
        )
    seen = placed(message.state, body, epoch, faults)
    faults.raise_any()
    if seen is None:  # only after a fault
        raise InputError(f"{file}: its state could not be read")
    return Estimate(
        time_s=seen[0],
        position_m=seen[1],
        velocity_m_s=seen[2],
        mass_kg=message.mass_kg,
        source=f"orbit comprehensive message {file}, {message.state.frame} axes",
    )
