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
from pathlib import Path
from typing import cast

from simcheck.files.case_body import read_body
from simcheck.files.case_craft import CraftRead, read_craft
from simcheck.files.case_faults import shown
from simcheck.files.case_later import refuse_later
from simcheck.files.case_motion import Motion
from simcheck.files.case_ring import MemberRead, RingNumbers, check_neighbours, read_ring
from simcheck.files.case_settings import (
    read_dispersion,
    read_engine,
    read_errors,
    read_limits,
    read_operations,
    read_tolerance,
)
from simcheck.files.case_tables import Table
from simcheck.files.plain_text import read_bytes
from simcheck.files.toml_tables import parsed
from simcheck.records.case import Body, Case, Craft, Engine, Member, Ring

_EPOCH = re.compile(r"\d{4}-\d{2}-\d{2}T\d{2}:\d{2}(:\d{2}(\.\d+)?)?", re.ASCII)


def load_case(path: str | Path) -> Case:
    """Read and check a case file.

    Raises InputError with one line a fault where the file cannot be read or is wrong.
    """
    content = read_bytes(path, "case file")
    start = 'start it with [case] and title = "..."'
    data, faults = parsed(content, str(path), start)
    top = Table(faults, (), data)
    head = _read_head(top)
    body, forces = read_body(top)
    limits = read_limits(top, body)
    ring, members = read_ring(top, body, limits)
    craft = read_craft(top, ring, body, limits, head[1])
    if craft is not None:
        check_neighbours(members, craft.name, craft.slot)
    engine = read_engine(top, "engine")
    thrusters = read_engine(top, "thrusters")
    errors = read_errors(top)
    operations = read_operations(top)
    dispersion = read_dispersion(top)
    tolerance = read_tolerance(top)
    top.close()
    refuse_later(data, faults)
    faults.raise_any()
    return Case(
        title=str(head[0]),
        epoch=head[1] or cast("CraftRead", craft).start.epoch,
        body=cast("Body", body),
        forces=forces,
        ring=_ring(cast("RingNumbers", ring)),
        members=tuple(_member(member) for member in members),
        craft=_craft(cast("CraftRead", craft)),
        engine=cast("Engine", engine),
        thrusters=thrusters,
        errors=errors,
        operations=operations,
        dispersion=dispersion,
        tolerance=tolerance,
        limits=limits,
        path=str(path),
        inputs_sha256=_digest(content, cast("CraftRead", craft).start.content),
    )


def _digest(content: bytes, message: bytes) -> str:
    """SHA-256 of the case file, and of the file that it takes the craft's state from, if any."""
    digest = hashlib.sha256(content)
    if message:
        digest.update(b"\0" + message)  # a zero byte is in neither
    return digest.hexdigest()


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
