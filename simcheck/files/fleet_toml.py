"""A case file with several craft, `[[craft]]`, to a Fleet; one `[craft]` makes a fleet of one.

A craft without `slot` takes any open one. Its own [craft.engine] and [craft.thrusters] stand
instead of the file's. All faults of a file are raised at once.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import cast

from simcheck.errors import InputError
from simcheck.files.case_craft import CraftRead, read_one
from simcheck.files.case_faults import shown
from simcheck.files.case_motion import Motion
from simcheck.files.case_ring import check_neighbours
from simcheck.files.case_settings import read_engine
from simcheck.files.case_tables import Table
from simcheck.files.case_toml import Around, case_of, digest, lists_craft, opened, read_around
from simcheck.records.case import Engine
from simcheck.records.fleet import AssignAim, Fleet, FleetCraft

_MISSING = 'write [[craft]] with name = "R4", dry_mass, propellant and a table [craft.orbit]'


class _Read:
    """A craft as read, with its table for the faults that only the whole file shows."""

    def __init__(self, table: Table, around: Around, epoch: str | None) -> None:
        self.table = table
        listed = lists_craft(around.top)
        self.engine = read_engine(table, "engine") if listed and table.has("engine") else None
        self.thrusters = read_engine(table, "thrusters") if listed else None
        self.craft: CraftRead = read_one(
            table, around.ring, around.body, around.limits, epoch, any_slot=True
        )


def load_fleet(path: str | Path) -> Fleet:
    """Read and check a case file whose craft are to be assigned to slots.

    Raises InputError with one line a fault where the file cannot be read or is wrong.
    """
    content, top = opened(path)
    tables = _tables(top)
    own = bool(tables) and lists_craft(top) and all(table.has("engine") for table in tables)
    around = read_around(top, engine_needed=not own)
    epoch, found = around.epoch, list[_Read]()
    for table in tables:
        one = _Read(table, around, epoch)
        epoch = epoch or one.craft.start.epoch
        found.append(one)
    check_neighbours(around.members, None, None)
    _check_names(around, found)
    _check_slots(around, found)
    _check_angle(around)
    around.close(epoch)
    sha256 = digest(content, *(one.craft.start.content for one in found))
    return _fleet(around, found, str(path), sha256)


def _tables(top: Table) -> list[Table]:
    if lists_craft(top):
        found = top.tables("craft")
        if not found:
            top.fault("craft", f"expected at least one craft; {_MISSING}")
        return found
    table = top.table("craft", _MISSING)
    return [] if table is None else [table]


def _check_names(around: Around, found: list[_Read]) -> None:
    names = {member.name for member in around.members} - {None}
    for one in found:
        name = one.craft.name
        if name is not None and name in names:
            one.table.fault("name", f"{shown(name)} is taken; give each relay a name of its own")
        names.add(name)


def _check_slots(around: Around, found: list[_Read]) -> None:
    """No craft on a slot that is held or another's own, and slots enough for the others."""
    held = {m.slot: m.name for m in around.members if m.slot is not None}
    for one in found:
        slot = one.craft.slot
        if slot is None:
            continue
        if slot in held:
            holder = shown(held[slot] or "a relay without a name")
            one.table.fault("slot", f"slot {slot} is taken by {holder}; leave slot out, or move it")
        held.setdefault(slot, one.craft.name)
    slots = None if around.ring is None else around.ring.slots
    free = [one for one in found if one.craft.slot is None and not one.table.has("slot")]
    if slots is None or any(slot >= slots for slot in held):
        return
    room = slots - len(held)
    if len(free) > room:
        who = ", ".join(shown(one.craft.name or "?") for one in free)
        around.top.fault(
            "craft",
            f"{len(free)} craft without a slot ({who}), but {room} of {slots} slots are open: "
            "leave a craft out, or write more [ring] slots",
        )


def _check_angle(around: Around) -> None:
    held = [member for member in around.members if member.slot is not None]
    if around.aim.ring_angle == "free" and held:
        around.top.faults.add(("assign", "ring_angle"), fixed_by(held[0].name, held[0].slot))


def aimed(fleet: Fleet, aim: AssignAim) -> Fleet:
    """The fleet with another aim. Raises InputError for an angle that a member fixes."""
    held = [member for member in fleet.base.members if member.slot is not None]
    if aim.ring_angle == "free" and held:
        raise InputError(
            f"the ring's angle is fixed by {shown(held[0].name)}, which holds slot "
            f"{held[0].slot}; leave the angle fixed"
        )
    return replace(fleet, aim=aim)


def fixed_by(name: str | None, slot: int | None) -> str:
    """What to say where the ring cannot be turned, since a member holds a slot."""
    return (
        f"the ring's angle is fixed by {shown(name or 'a member')}, which holds slot {slot}; "
        'write ring_angle = "fixed"'
    )


def _fleet(around: Around, found: list[_Read], path: str, sha256: str) -> Fleet:
    craft = tuple(_craft(one, around) for one in found)
    base = case_of(around, _standing(found), path, sha256)
    return Fleet(
        base=replace(base, engine=around.engine or craft[0].engine),
        craft=craft,
        aim=around.aim,
    )


def _standing(found: list[_Read]) -> CraftRead:
    """The first craft, which stands for all in the case that they share, with a slot."""
    craft = found[0].craft
    epoch = next((x.craft.start.epoch for x in found if x.craft.start.epoch), None)
    return replace(craft, slot=craft.slot or 0, start=replace(craft.start, epoch=epoch))


def _craft(one: _Read, around: Around) -> FleetCraft:
    craft, motion = one.craft, cast("Motion", one.craft.start.motion)
    return FleetCraft(
        name=str(craft.name),
        slot=craft.slot,
        dry_mass_kg=craft.dry_mass_kg,
        propellant_kg=craft.propellant_kg,
        position_m=motion.position_m,
        velocity_m_s=motion.velocity_m_s,
        engine=cast("Engine", one.engine or around.engine),
        thrusters=one.thrusters or around.thrusters,
    )
