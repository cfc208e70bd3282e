"""The [ring] table and its members: the size of the ring, its plane, its slots, who is there."""

from __future__ import annotations

import math
from dataclasses import dataclass

from simcheck.files.case_faults import shown
from simcheck.files.case_motion import HALF_TURN, Motion, km, read_orbit, read_state
from simcheck.files.case_tables import Table
from simcheck.kernels.kepler import axis_of_period
from simcheck.records.case import Body, Limits, RingSize

_SIZES = {"period": "12 h", "radius": "20428 km", "altitude": "17032 km"}
_MOST_SLOTS = 1000
_EXAMPLE = 'write [ring] with period = "12 h", inclination = "35 deg" and slots = 4'


@dataclass(frozen=True)
class RingNumbers:
    """The ring as read; NaN or None where a fault leaves a number unknown."""

    size: RingSize
    size_value: float
    inclination_rad: float
    raan_rad: float
    slots: int | None
    argument_of_latitude_rad: float


@dataclass(frozen=True)
class MemberRead:
    """A member as read, with its table for the faults that only the whole case shows."""

    table: Table
    name: str | None
    slot: int | None
    motion: Motion | None


def read_ring(
    top: Table, body: Body | None, limits: Limits
) -> tuple[RingNumbers | None, list[MemberRead]]:
    """The ring and its members; None where the table is missing."""
    table = top.table("ring", _EXAMPLE)
    if table is None:
        return None, []
    size, value, key = _read_size(table, body)
    ring = RingNumbers(
        size=size,
        size_value=value,
        inclination_rad=table.quantity(
            "inclination", "angle", "35 deg", at_least=0.0, at_most=HALF_TURN
        ),
        raan_rad=table.quantity("raan", "angle", "60 deg", default=0.0),
        slots=table.whole("slots", "4", at_least=1, at_most=_MOST_SLOTS),
        argument_of_latitude_rad=table.quantity(
            "argument_of_latitude", "angle", "10 deg", default=0.0
        ),
    )
    if body is not None and key is not None:
        _check_radius(table, key, ring, body, limits)
    members = [_read_member(one, ring.slots, body, limits) for one in table.tables("member")]
    table.close()
    return ring, members


def _read_size(table: Table, body: Body | None) -> tuple[RingSize, float, str | None]:
    """What fixes the size, its value in SI (NaN after a fault) and its key."""
    given = [key for key in _SIZES if table.has(key)]
    values = {
        "period": table.quantity("period", "time", _SIZES["period"], default=math.nan, above=0.0),
        "radius": table.quantity("radius", "length", _SIZES["radius"], default=math.nan, above=0.0),
        "altitude": table.quantity("altitude", "length", _SIZES["altitude"], default=math.nan),
    }
    if len(given) != 1:
        got = " and ".join(given) or "none of them"
        table.fault(
            None,
            f"expected exactly one of period, radius and altitude, got {got}; write one, "
            f'such as period = "{_SIZES["period"]}"',
        )
        return "period", math.nan, None
    key = given[0]
    if key == "period":
        return "period", values["period"], key
    if key == "radius":
        return "radius", values["radius"], key
    return "radius", values["altitude"] + (body.radius_m if body else math.nan), key


def _check_radius(table: Table, key: str, ring: RingNumbers, body: Body, limits: Limits) -> None:
    """The ring must clear the surface and keep the limits. A period is taken as two-body here."""
    radius = ring.size_value
    if ring.size == "period":
        radius = float(axis_of_period(ring.size_value, body.gm_m3_s2))
    height = radius - body.radius_m
    if height < 0.0:
        table.fault(
            key,
            f"the ring's radius, {km(radius)}, lies below the surface of {body.name}, "
            f"{km(body.radius_m)}",
        )
    elif height < limits.min_altitude_m:
        table.fault(
            key,
            f"the ring's altitude, {km(height)}, is below [limits] min_altitude, "
            f"{km(limits.min_altitude_m)}",
        )
    if radius > limits.max_radius_m:
        table.fault(
            key,
            f"the ring's radius, {km(radius)}, is above [limits] max_radius, "
            f"{km(limits.max_radius_m)}",
        )


def _read_member(table: Table, slots: int | None, body: Body | None, limits: Limits) -> MemberRead:
    """One [[ring.member]]."""
    name = table.text("name", "R1")
    given = [key for key in ("slot", "orbit", "state") if table.has(key)]
    slot = table.whole("slot", "0", default=0) if "slot" in given else None
    orbit, state = table.table("orbit"), table.table("state")
    motion = None
    if orbit is not None:
        motion = read_orbit(orbit, body, limits)
    if state is not None:
        motion = read_state(state, body, limits)
    if len(given) != 1:
        got = " and ".join(given) or "none of them"
        table.fault(None, f"expected exactly one of slot, orbit and state, got {got}; write one")
    if slot is not None:
        check_slot(table, slot, slots)
    table.close()
    return MemberRead(table, name, slot, motion)


def check_slot(table: Table, slot: int, slots: int | None) -> None:
    """A slot must be one of the ring's."""
    if slots is not None and slot >= slots:
        choice = "only slot 0" if slots == 1 else f"slots 0 to {slots - 1}"
        table.fault(
            "slot", f"expected a slot of the ring, which has {choice}, got {slot}; write slot = 0"
        )


def check_neighbours(
    members: list[MemberRead], craft_name: str | None, craft_slot: int | None
) -> None:
    """No two on one slot, none on the slot that the craft is to reach, no name twice."""
    slots: dict[int, str] = {}
    names = {craft_name} - {None}
    for member in members:
        name = shown(member.name or "a member without a name")
        if member.name is not None and member.name in names:
            member.table.fault("name", f"{name} is taken; give each relay a name of its own")
        names.add(member.name)
        if member.slot is None:
            continue
        if member.slot == craft_slot:
            member.table.fault(
                "slot", f"slot {member.slot} is the one that the craft is to reach; move either"
            )
        elif member.slot in slots:
            member.table.fault("slot", f"slot {member.slot} is taken by {slots[member.slot]}")
        slots.setdefault(member.slot, name)
