"""The trajectory sections of an orbit comprehensive message (CCSDS 502.0-B-3, 6.2.5), to states.

Of a section the first row is read, where its TRAJ_TYPE is one of the registry of orbital elements
(SANA) that follow: CARTPV and CARTPVA, position and velocity; KEPLERIAN, semi-major axis,
eccentricity, inclination, node, argument of periapsis and true anomaly; KEPLERIANMEAN, the same
with the mean anomaly. Elements averaged by some theory (ORB_AVERAGING) are no state.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from decimal import Decimal

import numpy as np

from simcheck.arrays import Array, frozen_array
from simcheck.errors import InputError
from simcheck.files.epochs import Instant
from simcheck.files.kvn import SCALES, Block, KvnFaults, read_number
from simcheck.files.ocm_sections import Row, Section
from simcheck.files.records_json import shown

CARTESIAN = {"CARTPV": 6, "CARTPVA": 9}
ELEMENTS = ("KEPLERIAN", "KEPLERIANMEAN")
_VECTORS = ("km", "km", "km", "km/s", "km/s", "km/s")
_CLASSICAL = ("km", "n/a", "deg", "deg", "deg", "deg")
_OSCULATING = "OSCULATING"
_SAME_S = 1e-6  # dates that are one

Clock = Callable[[str, int, str], tuple[Instant, float] | None]
"""A time tag, its line and keyword to a date and the seconds past it; None after a fault."""


@dataclass(frozen=True, kw_only=True, eq=False)
class MessageState:
    """A state of a message in SI and radians, in the axes of `frame` at frame_epoch.

    It is seconds after `date`. values (6,) are what `kind`, its TRAJ_TYPE, says, and steps (6,) the
    sizes of a unit in their last digits. basis is TRAJ_BASIS with TRAJ_BASIS_ID. line is that of
    the row; center and frame come with the lines where they stand.
    """

    kind: str
    basis: tuple[str | None, str | None]
    line: int
    center: str
    center_line: int | None
    frame: str
    frame_line: int | None
    frame_epoch: Instant
    date: Instant
    offset_s: float
    values: Array
    steps: Array

    def __post_init__(self) -> None:
        for name in ("values", "steps"):
            object.__setattr__(self, name, frozen_array(getattr(self, name), (6,), name))


def read_states(
    found: list[tuple[Section, Block]], clock: Clock, zero: Instant | None
) -> tuple[tuple[MessageState, ...], tuple[str, ...]]:
    """The states of a message, the one to go by first, and in words what is none of them.

    That is the first in Cartesian coordinates, or else the first in elements. Others are taken
    where they are elements of the same moment.
    """
    kinds = [(block.text("TRAJ_TYPE", "CARTPV") or "").upper() for _, block in found]
    averaged = [_averaged(block) for _, block in found]
    readable = [k for k, kind in enumerate(kinds) if kind in ELEMENTS and not averaged[k]]
    vectors = [k for k, kind in enumerate(kinds) if kind in CARTESIAN]
    first = (vectors or readable)[:1]
    main = _state(*found[first[0]], kinds[first[0]], clock, zero) if first else None
    besides = {k: _beside(*found[k], kinds[k], clock, zero) for k in readable if k not in first}
    unread = [
        f"TRAJ_TYPE = {kind}{f', ORB_AVERAGING = {averaged[k]}' if averaged[k] else ''} in line "
        f"{found[k][1].line('TRAJ_TYPE')}"
        for k, kind in enumerate(kinds)
        if kind and k not in first and kind not in CARTESIAN and besides.get(k) is None
    ]
    if main is None:
        return (), tuple(unread)
    same = [other for other in besides.values() if other is not None and _together(main, other)]
    return (main, *same), tuple(unread)


def _averaged(block: Block) -> str:
    """By which theory elements are averaged; empty for those of the moment."""
    told = (block.text("ORB_AVERAGING", _OSCULATING, required=False) or _OSCULATING).upper()
    return "" if told == _OSCULATING else told


def _together(one: MessageState, other: MessageState) -> bool:
    return abs(one.date.seconds_since(other.date) + one.offset_s - other.offset_s) <= _SAME_S


def _beside(
    section: Section, block: Block, kind: str, clock: Clock, zero: Instant | None
) -> MessageState | None:
    """Another description of a state; None where it cannot be read, which is no fault."""
    quiet = KvnFaults(block.faults.file)
    copy = Block(quiet, dict.fromkeys((x.keyword for x in section.entries), ""), section.line)
    for entry in section.entries:
        copy.add(entry)
    state = _state(section, copy, kind, clock, zero)
    try:
        quiet.raise_any()
    except InputError:
        return None
    return state


def _state(
    section: Section, block: Block, kind: str, clock: Clock, zero: Instant | None
) -> MessageState | None:
    """The first row of a section; None after a fault."""
    center = block.text("CENTER_NAME", "EARTH")
    frame = block.text("TRAJ_REF_FRAME", "TOD_EARTH")
    epoch = zero
    if block.has("TRAJ_FRAME_EPOCH"):
        text = block.text("TRAJ_FRAME_EPOCH", "2031-04-12T06:00:00") or ""
        at = clock(text, block.line("TRAJ_FRAME_EPOCH") or section.line, "TRAJ_FRAME_EPOCH")
        epoch = at[0] if at else None
    units = _CLASSICAL if kind in ELEMENTS else _VECTORS
    given = block.unit("TRAJ_UNITS")
    if given is not None and tuple(u.strip() for u in given.split(","))[:6] != units:
        block.fault("TRAJ_UNITS", f"expected [{', '.join(units)}], got {shown(f'[{given}]')}")
    if not section.rows:
        block.faults.add(section.line, "TRAJ_START: expected at least one row, got none")
        return None
    row, count = section.rows[0], CARTESIAN.get(kind, 6)
    if len(row.values) != count + 1:
        got = len(row.values)
        block.faults.add(row.line, f"expected a time and {count} numbers, got {got} values")
        return None
    at = clock(row.values[0], row.line, "time")
    values, steps = _numbers(row, units, block)
    if at is None or epoch is None or center is None or frame is None:
        return None
    if not np.isfinite(values).all():
        return None
    basis = (block.text(f"TRAJ_BASIS{x}", "PREDICTED", required=False) for x in ("", "_ID"))
    return MessageState(
        kind=kind,
        basis=(next(basis), next(basis)),
        line=row.line,
        center=center,
        center_line=block.line("CENTER_NAME"),
        frame=frame,
        frame_line=block.line("TRAJ_REF_FRAME"),
        frame_epoch=epoch,
        date=at[0],
        offset_s=at[1],
        values=values,
        steps=steps,
    )


def _numbers(row: Row, units: tuple[str, ...], block: Block) -> tuple[Array, Array]:
    """Six values in SI and the sizes of their last digits; NaN after a fault."""
    values, steps = np.full(6, math.nan), np.full(6, math.nan)
    for k, (text, unit) in enumerate(zip(row.values[1:7], units, strict=True)):
        name = "" if unit == "n/a" else unit
        try:
            values[k] = read_number(text, name)
            exponent = Decimal(text).as_tuple().exponent
            steps[k] = float(f"1e{exponent}") * SCALES[name]
        except ValueError as error:
            block.faults.add(row.line, str(error))
    return values, steps
