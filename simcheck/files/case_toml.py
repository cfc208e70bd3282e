"""A case file (TOML) to a Case: floats in SI and radians, checked for sense.

All faults of a file are raised at once as one InputError, a line each. Defaults beyond those of
the records: `raan` and `argument_of_latitude` of the ring are 0, `forces` is empty (two-body), the
craft's `slot` is 0 where the ring has one slot. An orbit may leave out its raan where it is
equatorial and its argp where it is circular.
"""

from __future__ import annotations

import datetime
import hashlib
import re
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import cast

from simcheck.files.case_body import read_body
from simcheck.files.case_craft import CraftRead, read_craft
from simcheck.files.case_faults import shown
from simcheck.files.case_motion import Motion
from simcheck.files.case_network import read_network
from simcheck.files.case_ring import MemberRead, RingNumbers, check_neighbours, read_ring
from simcheck.files.case_settings import (
    read_assign,
    read_dispersion,
    read_engine,
    read_errors,
    read_hold,
    read_limits,
    read_operations,
    read_tolerance,
)
from simcheck.files.case_sky import SkyRead, check_sky, in_sky, read_sky
from simcheck.files.case_tables import Table
from simcheck.files.plain_text import read_bytes
from simcheck.files.toml_tables import parsed
from simcheck.records.case import (
    Body,
    Case,
    Craft,
    DispersionAim,
    Engine,
    Errors,
    Force,
    Limits,
    Member,
    Operations,
    Ring,
    Tolerance,
)
from simcheck.records.fleet import AssignAim
from simcheck.records.hold import HoldAim
from simcheck.records.network import NetworkAim

_EPOCH = re.compile(r"\d{4}-\d{2}-\d{2}T\d{2}:\d{2}(:\d{2}(\.\d+)?)?", re.ASCII)
_SEVERAL = (
    "expected one table, got a list of tables: craft that are assigned to slots are for `simcheck"
    " assign`; write [craft] once, with its slot"
)


def load_case(path: str | Path) -> Case:
    """Read and check a case file.

    Raises InputError with one line a fault where the file cannot be read or is wrong.
    """
    return read_case(read_bytes(path, "case file"), str(path))


def read_case(content: bytes, path: str) -> Case:
    """Read and check what a case file holds; path names it, and is where its messages are.

    Raises InputError with one line a fault.
    """
    top = _tables(content, path)
    around = read_around(top)
    craft = None
    if lists_craft(top):
        top.fault("craft", _SEVERAL)
    else:
        craft = read_craft(top, around.ring, around.body, around.limits, around.epoch)
    if craft is not None:
        check_neighbours(around.members, craft.name, craft.slot)
    around.close(None if craft is None else craft.start.epoch)
    craft = cast("CraftRead", craft)
    return case_of(around, craft, path, digest(content, craft.start.content))


@dataclass(frozen=True)
class Around:
    """What a file says beside its craft, as far as it could be read; None after a fault."""

    top: Table
    title: str | None
    epoch: str | None
    body: Body | None
    forces: tuple[Force, ...]
    limits: Limits
    ring: RingNumbers | None
    members: list[MemberRead]
    engine: Engine | None
    thrusters: Engine | None
    errors: Errors
    operations: Operations
    dispersion: DispersionAim
    tolerance: Tolerance
    aim: AssignAim
    network: NetworkAim
    hold: HoldAim
    sky: SkyRead

    def close(self, epoch: str | None = None) -> None:
        """Raise InputError with every fault of the file, unknown keys among them, if any.

        epoch: that of the craft's message, which is the case's where the file gives none.
        """
        self.top.close()
        check_sky(self.top, self.body, self.forces, self.limits, self.epoch or epoch)
        self.top.faults.raise_any()


def opened(path: str | Path) -> tuple[bytes, Table]:
    """The bytes of a case file and its tables. Raises InputError where it is not TOML."""
    content = read_bytes(path, "case file")
    return content, _tables(content, str(path))


def _tables(content: bytes, path: str) -> Table:
    data, faults = parsed(content, path, 'start it with [case] and title = "..."')
    return Table(faults, (), data)


def lists_craft(top: Table) -> bool:
    """Whether the file has [[craft]] rather than [craft]."""
    given = top.raw("craft")
    return isinstance(given, list) and all(isinstance(one, Mapping) for one in given)


def read_around(top: Table, *, engine_needed: bool = True) -> Around:
    """Read every table but the craft's; engine_needed: whether [engine] must be there."""
    title, epoch = _read_head(top)
    body, forces = read_body(top)
    limits = read_limits(top, body)
    ring, members = read_ring(top, body, limits)
    top.raw("craft")
    return Around(
        top=top,
        title=title,
        epoch=epoch,
        body=body,
        forces=forces,
        limits=limits,
        ring=ring,
        members=members,
        engine=read_engine(top, "engine") if engine_needed or top.has("engine") else None,
        thrusters=read_engine(top, "thrusters"),
        errors=read_errors(top),
        operations=read_operations(top),
        dispersion=read_dispersion(top),
        tolerance=read_tolerance(top),
        aim=read_assign(top),
        network=read_network(top, body),
        hold=read_hold(top),
        sky=read_sky(top, body, forces, limits),
    )


def case_of(around: Around, craft: CraftRead, path: str, sha256: str) -> Case:
    """The case of a file without faults."""
    epoch = around.epoch or craft.start.epoch
    body = cast("Body", around.body)
    body, sky = in_sky(body, around.forces, around.limits, epoch, around.sky)
    return Case(
        title=str(around.title),
        epoch=epoch,
        body=body,
        forces=around.forces,
        ring=_ring(cast("RingNumbers", around.ring)),
        members=tuple(_member(member) for member in around.members),
        craft=_craft(craft),
        engine=cast("Engine", around.engine),
        thrusters=around.thrusters,
        errors=around.errors,
        operations=around.operations,
        dispersion=around.dispersion,
        tolerance=around.tolerance,
        limits=around.limits,
        network=around.network,
        hold=around.hold,
        sky=sky,
        path=path,
        inputs_sha256=sha256,
    )


def digest(content: bytes, *messages: bytes) -> str:
    """SHA-256 of the case file, and of the files that it takes states from, if any."""
    found = hashlib.sha256(content)
    for message in filter(None, messages):
        found.update(b"\0" + message)  # a zero byte is in neither
    return found.hexdigest()


def _read_head(top: Table) -> tuple[str | None, str | None]:
    """Title and epoch, each None where it is missing or faulty."""
    table = top.table("case", 'write [case] with title = "A fourth relay for the ring"')
    if table is None:
        return None, None
    title = table.text("title", "A fourth relay for the ring")
    epoch = table.text("epoch", "2031-04-12T06:00:00", required=False)
    if epoch is not None and not _is_date(epoch):
        table.fault(
            "epoch",
            f"expected a date and time in TDB, without a zone, got {shown(epoch)}; "
            'write epoch = "2031-04-12T06:00:00"',
        )
        epoch = None
    table.close()
    return title, epoch


def _is_date(text: str) -> bool:
    if not _EPOCH.fullmatch(text):
        return False
    try:
        datetime.datetime.fromisoformat(text.partition(".")[0])
    except ValueError:
        return False
    return True


def _ring(ring: RingNumbers) -> Ring:
    return Ring(
        size=ring.size,
        size_value=ring.size_value,
        inclination_rad=ring.inclination_rad,
        raan_rad=ring.raan_rad,
        slots=cast("int", ring.slots),
        argument_of_latitude_rad=ring.argument_of_latitude_rad,
    )


def _member(member: MemberRead) -> Member:
    motion = member.motion
    return Member(
        name=str(member.name),
        slot=member.slot,
        position_m=None if motion is None else motion.position_m,
        velocity_m_s=None if motion is None else motion.velocity_m_s,
    )


def _craft(craft: CraftRead) -> Craft:
    motion = cast("Motion", craft.start.motion)
    return Craft(
        name=str(craft.name),
        slot=cast("int", craft.slot),
        dry_mass_kg=craft.dry_mass_kg,
        propellant_kg=craft.propellant_kg,
        position_m=motion.position_m,
        velocity_m_s=motion.velocity_m_s,
    )
