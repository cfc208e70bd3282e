"""Who stands on the finished ring, and the state of each when the transfer is over."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from simcheck.arrays import Array
from simcheck.engines.base import Propagator
from simcheck.errors import InputError
from simcheck.kernels.vectors import TAU, wrap
from simcheck.measuring import RingMotion, average, relay_state
from simcheck.planning.commanding import member_states
from simcheck.planning.lane_commands import Rows
from simcheck.records.case import Case
from simcheck.records.hold import Role


class Relays(NamedTuple):
    """The relays of a ring in the order of their slots: states (m, 7) at `time`, slots (m,)."""

    time: float
    names: list[str]
    roles: list[Role]
    slots: Rows
    states: Array

    @property
    def craft(self) -> int | None:
        """Which of them is the craft."""
        return self.roles.index("craft") if "craft" in self.roles else None


def relays_of(
    case: Case,
    motion: RingMotion,
    propagator: Propagator,
    time: float,
    arrived: Array | None,
) -> Relays:
    """Members and craft at `time`; a slot that nobody holds has a relay as planned.

    arrived (7,) is the craft's state at `time`; without it the craft is as planned too. A member
    with a state of its own belongs to the slot that it is nearest to. Raises InputError where two
    relays belong to one slot.
    """
    found: dict[int, tuple[str, Role, Array]] = {}

    def put(slot: int, name: str, role: Role, state: Array) -> None:
        if slot in found:
            raise InputError(
                f"{found[slot][0]} and {name} are both nearest to slot {slot}; a ring that is to "
                "be held has one relay a slot"
            )
        found[slot] = (name, role, state)

    states = member_states(case, motion, propagator) if case.members else []
    for member, start in zip(case.members, states, strict=True):
        there = propagator.advance(0.0, start, time).state
        slot = member.slot
        if slot is None:
            slot = _nearest(motion, propagator, time, there)
        put(slot, member.name, "member", there)
    craft = case.craft
    mass = craft.mass_kg if arrived is None else float(arrived[6])
    if arrived is not None:
        put(craft.slot, craft.name, "craft", arrived)
    for slot in range(case.ring.slots):
        if slot not in found:
            name = craft.name if slot == craft.slot else f"slot {slot}"
            ideal = np.append(relay_state(motion, propagator, slot, time), mass)
            put(slot, name, "as planned", ideal)
    slots = sorted(found)
    rows = np.array([found[slot][2] for slot in slots])
    rows[:, 6] = mass  # what a member weighs is not known: as much as the craft on arrival
    return Relays(
        time,
        [found[slot][0] for slot in slots],
        [found[slot][1] for slot in slots],
        np.array(slots),
        rows,
    )


def _nearest(motion: RingMotion, propagator: Propagator, time: float, state: Array) -> int:
    found = average(propagator, time, state, motion)
    ahead = wrap(found.longitude - motion.longitude(0, found.time))
    slots = motion.ring.slots
    return round(float(ahead) / TAU * slots) % slots
