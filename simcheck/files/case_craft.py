"""The [craft] table: the craft that moves and where it is at the epoch.

A message (`opm`, `ocm`, `tle`) gives its state at its own epoch, which must be the case's, or
becomes it where the case has none. A millisecond between them is let pass: the craft moves 8 m in
it. The message's covariance and manoeuvres are not used: [errors] says the spread, the planner the
burns.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from simcheck.errors import InputError
from simcheck.files.case_motion import Motion, check_motion, read_orbit, read_state
from simcheck.files.case_ring import RingNumbers, check_slot
from simcheck.files.case_tables import Table
from simcheck.files.epochs import Instant, read_date
from simcheck.files.plain_text import read_bytes
from simcheck.files.state_file import Form, estimate_of, read_message
from simcheck.records.case import Body, Limits

_SAME_EPOCH_S = 1e-3
_SAME_MASS = 1e-3  # relative: a gauge's error; a mass that is another craft's is off by more


@dataclass(frozen=True)
class Start:
    """Where the craft starts: its motion, and of a message its epoch (TDB), mass and bytes."""

    motion: Motion | None = None
    epoch: str | None = None
    mass_kg: float | None = None
    content: bytes = b""


@dataclass(frozen=True)
class CraftRead:
    """The craft as read; NaN or None where a fault leaves it unknown."""

    name: str | None
    slot: int | None
    dry_mass_kg: float
    propellant_kg: float
    start: Start


def read_craft(
    top: Table,
    ring: RingNumbers | None,
    body: Body | None,
    limits: Limits,
    epoch: str | None,
) -> CraftRead | None:
    """The craft as far as it could be read; None where the table is missing.

    epoch: the case's, TDB, where it has a valid one.
    """
    table = top.table(
        "craft",
        'write [craft] with name = "R4", slot, dry_mass, propellant and a table [craft.orbit]',
    )
    if table is None:
        return None
    return read_one(table, ring, body, limits, epoch)


def read_one(
    table: Table,
    ring: RingNumbers | None,
    body: Body | None,
    limits: Limits,
    epoch: str | None,
    *,
    any_slot: bool = False,
) -> CraftRead:
    """A craft's table. any_slot: it may leave its slot open, which then is None."""
    slots = None if ring is None else ring.slots
    name = table.text("name", "R4")
    slot = None
    if not any_slot or table.has("slot"):
        slot = table.whole("slot", "3", default=0 if slots == 1 else None)
    else:
        table.raw("slot")
    if slot is not None:
        check_slot(table, slot, slots)
    craft = CraftRead(
        name=name,
        slot=slot,
        dry_mass_kg=table.quantity("dry_mass", "mass", "310 kg", above=0.0),
        propellant_kg=table.quantity("propellant", "mass", "110 kg", at_least=0.0),
        start=_read_start(table, body, limits, epoch),
    )
    _check_mass(table, craft)
    table.close()
    return craft


def _read_start(table: Table, body: Body | None, limits: Limits, epoch: str | None) -> Start:
    """The craft's state at the epoch, from exactly one of its five forms."""
    given = [key for key in ("orbit", "state", "opm", "ocm", "tle") if table.has(key)]
    orbit, state = table.table("orbit"), table.table("state")
    start = Start()
    if orbit is not None:
        start = Start(read_orbit(orbit, body, limits))
    if state is not None:
        start = Start(read_state(state, body, limits))
    forms: tuple[Form, ...] = ("opm", "ocm", "tle")
    for form in forms:
        path = table.text(form, f"r4.{form}", required=False)
        if path is not None:
            start = _read_message(table, form, path, (body, limits, epoch))
    if len(given) != 1:
        got = " and ".join(given) or "none of them"
        table.fault(
            None,
            f"expected exactly one of orbit, state, opm, ocm and tle, got {got}; "
            "write a table [craft.orbit]",
        )
    return start


def _read_message(
    table: Table, form: Form, path: str, around: tuple[Body | None, Limits, str | None]
) -> Start:
    """The start that a message gives; empty after a fault. path: relative to the case file."""
    body, limits, epoch = around
    file = str(Path(table.faults.file).parent / path)
    try:
        content = read_bytes(file)
        message = read_message(form, content, file)
        if body is None:
            return Start()
        estimate = estimate_of(message, body, _case_epoch(epoch, message.epoch), file)
    except InputError as error:
        for fault in error.faults:
            table.fault(form, fault)
        return Start()
    if abs(estimate.time_s) > _SAME_EPOCH_S:
        table.fault(
            form,
            f"expected a state at the case's epoch, {epoch}; that of {file} is at "
            f"{message.epoch.text} TDB, {abs(estimate.time_s):.6g} s "
            f"{'after' if estimate.time_s > 0.0 else 'before'} it; leave [case] epoch out, or "
            f'write epoch = "{message.epoch.text}"',
        )
        return Start()
    keys = dict.fromkeys(("position", "velocity", "periapsis", "radius"), form)
    motion = Motion(estimate.position_m, estimate.velocity_m_s)
    return Start(
        check_motion(table, keys, motion, (body, limits)),
        epoch or message.epoch.text,
        estimate.mass_kg,
        content,
    )


def _case_epoch(epoch: str | None, message: Instant) -> Instant:
    """The case's epoch, that of the message where it has none."""
    return message if epoch is None else read_date(epoch)


def _check_mass(table: Table, craft: CraftRead) -> None:
    """A message's mass must be that of the case."""
    mass, total = craft.start.mass_kg, craft.dry_mass_kg + craft.propellant_kg
    if mass is not None and abs(mass - total) > _SAME_MASS * total:
        table.fault(
            "ocm" if table.has("ocm") else "opm",
            f"the message says {mass:g} kg, but dry_mass and propellant make {total:g} kg; "
            "make them agree",
        )
