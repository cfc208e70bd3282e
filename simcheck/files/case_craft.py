"""The [craft] table: the craft that moves and where it is at the epoch."""

from __future__ import annotations

from dataclasses import dataclass

from simcheck.files.case_motion import Motion, read_orbit, read_state
from simcheck.files.case_ring import RingNumbers, check_slot
from simcheck.files.case_tables import Table
from simcheck.records.case import Body, Limits


@dataclass(frozen=True)
class CraftRead:
    """The craft as read; NaN or None where a fault leaves it unknown."""

    name: str | None
    slot: int | None
    dry_mass_kg: float
    propellant_kg: float
    motion: Motion | None


def read_craft(
    top: Table, ring: RingNumbers | None, body: Body | None, limits: Limits
) -> CraftRead | None:
    """The craft as far as it could be read; None where the table is missing."""
    table = top.table(
        "craft",
        'write [craft] with name = "R4", slot, dry_mass, propellant and a table [craft.orbit]',
    )
    if table is None:
        return None
    slots = None if ring is None else ring.slots
    name = table.text("name", "R4")
    slot = table.whole("slot", "3", default=0 if slots == 1 else None)
    if slot is not None:
        check_slot(table, slot, slots)
    craft = CraftRead(
        name=name,
        slot=slot,
        dry_mass_kg=table.quantity("dry_mass", "mass", "310 kg", above=0.0),
        propellant_kg=table.quantity("propellant", "mass", "110 kg", at_least=0.0),
        motion=_read_start(table, body, limits),
    )
    table.close()
    return craft


def _read_start(table: Table, body: Body | None, limits: Limits) -> Motion | None:
    """The craft's state at the epoch, from exactly one of its four forms."""
    given = [key for key in ("orbit", "state", "opm", "tle") if table.has(key)]
    table.text("opm", "craft.opm", required=False)
    table.text("tle", "craft.tle", required=False)
    orbit, state = table.table("orbit"), table.table("state")
    motion = None
    if orbit is not None:
        motion = read_orbit(orbit, body, limits)
    if state is not None:
        motion = read_state(state, body, limits)
    if len(given) != 1:
        got = " and ".join(given) or "none of them"
        table.fault(
            None, f"expected exactly one of orbit and state, got {got}; write a table [craft.orbit]"
        )
    return motion
