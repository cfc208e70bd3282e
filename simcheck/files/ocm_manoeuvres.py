"""The manoeuvre sections of an orbit comprehensive message (CCSDS 502.0-B-3, 6.2.8).

A row with a Δv or a thrust is a burn. Rows that follow one another without a gap along one
direction are one burn in slices. Of sections that describe one manoeuvre twice the first counts.
Accelerations, duty cycles, deployments and thrust that turns between rows are refused. Burns that
are over (DETERMINED, TELEMETRY) may stand beside those to come, and are passed over by name; among
those to come one basis is expected.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from itertools import pairwise

from simcheck.arrays import Array
from simcheck.files.epochs import Instant
from simcheck.files.kvn import Block, KvnFaults, nearest
from simcheck.files.message_manoeuvres import Manoeuvre
from simcheck.files.ocm_rows import burn_of_row, cells_of, composition
from simcheck.files.ocm_sections import Section
from simcheck.files.records_json import shown
from simcheck.kernels.vectors import norm

BASES = (*("CANDIDATE", "PLANNED", "ANTICIPATED", "TELEMETRY", "DETERMINED", "SIMULATED", "OTHER"),)
OVER = ("TELEMETRY", "DETERMINED")
"""Bases of burns in the past, as tracking or telemetry found them."""

MAN_KEYWORDS = (
    *("MAN_ID", "MAN_PREV_ID", "MAN_NEXT_ID", "MAN_BASIS", "MAN_BASIS_ID", "MAN_DEVICE_ID"),
    *("MAN_PREV_EPOCH", "MAN_NEXT_EPOCH", "MAN_PURPOSE", "MAN_PRED_SOURCE", "MAN_REF_FRAME"),
    *("MAN_FRAME_EPOCH", "GRAV_ASSIST_NAME", "DC_TYPE", "DC_WIN_OPEN", "DC_WIN_CLOSE"),
    *("DC_MIN_CYCLES", "DC_MAX_CYCLES", "DC_EXEC_START", "DC_EXEC_STOP", "DC_REF_TIME"),
    *("DC_TIME_PULSE_DURATION", "DC_TIME_PULSE_PERIOD", "DC_REF_DIR", "DC_BODY_FRAME"),
    *("DC_BODY_TRIGGER", "DC_PA_START_ANGLE", "DC_PA_STOP_ANGLE", "MAN_COMPOSITION", "MAN_UNITS"),
)
_GAP_S = 1e-6
_SAME = 1e-9  # relative: two directions or thrusts that are one

Clock = Callable[[str, int, str], tuple[Instant, float] | None]
"""A time tag, its line and keyword to a date and the seconds past it; None after a fault."""


def read_manoeuvres(
    sections: list[Section], faults: KvnFaults, clock: Clock
) -> tuple[tuple[Manoeuvre, ...], tuple[str, ...]]:
    """The burns of all sections in the order of the message, and in words those that are over."""
    bases: dict[str, int] = {}
    over = list[str]()
    found = list[tuple[tuple[str | None, ...], list[Manoeuvre]]]()
    for section in sections:
        block = _block(section, faults)
        basis = block.text("MAN_BASIS", "PLANNED", required=False) or "OTHER"
        if basis not in BASES:
            expected = f"expected one of {', '.join(BASES)}, got {shown(basis)}"
            block.fault("MAN_BASIS", expected)
        if basis in OVER:
            name = block.text("MAN_ID", "B1", required=False) or f"line {section.line}"
            over.append(f"{name} ({basis})")
            continue
        bases.setdefault(basis, block.line("MAN_BASIS") or section.line)
        keys = ("MAN_ID", "MAN_BASIS", "MAN_BASIS_ID", "MAN_DEVICE_ID")
        key = tuple(block.text(name, "B1", required=False) for name in keys)
        burns = _burns(section, block, clock)
        if key[0] is None or not any(key == old and _meet(burns, seen) for old, seen in found):
            found.append((key, burns))
    if len(bases) > 1:
        faults.add(
            max(bases.values()),
            f"MAN_BASIS: expected manoeuvres of one basis, got {' and '.join(bases)}; leave one of "
            "them in the message",
        )
    return _labelled([burn for _, burns in found for burn in burns]), tuple(dict.fromkeys(over))


def _block(section: Section, faults: KvnFaults) -> Block:
    block = Block(faults, dict.fromkeys(MAN_KEYWORDS, ""), section.line)
    for entry in section.entries:
        if entry.keyword in MAN_KEYWORDS:
            block.add(entry)
        else:
            hint = nearest(entry.keyword, list(MAN_KEYWORDS))
            text = f"{shown(entry.keyword)[1:-1]}: no keyword of a manoeuvre section{hint}"
            faults.add(entry.line, text)
    return block


def _meet(burns: list[Manoeuvre], others: list[Manoeuvre]) -> bool:
    """Whether two sections cover a common time."""
    if not burns or not others:
        return False
    zero = burns[0].ignition
    one, two = (
        (min(b.starts(zero) for b in bs), max(b.starts(zero) + b.duration_s for b in bs))
        for bs in (burns, others)
    )
    if abs(one[0] - two[0]) <= _GAP_S:
        return True
    return one[0] < two[1] - _GAP_S and two[0] < one[1] - _GAP_S


def _burns(section: Section, block: Block, clock: Clock) -> list[Manoeuvre]:
    """The burns of one section; none where it is refused."""
    frame = block.text("MAN_REF_FRAME", "RSW_ROTATING")
    device = block.text("MAN_DEVICE_ID", "ALL")
    columns = composition(block)
    epoch = None
    if block.has("MAN_FRAME_EPOCH"):
        text = block.text("MAN_FRAME_EPOCH", "2031-04-12T06:00:00") or ""
        epoch = clock(text, block.line("MAN_FRAME_EPOCH") or 0, "MAN_FRAME_EPOCH")
    for keyword, what in (("DC_TYPE", "duty cycle"), ("GRAV_ASSIST_NAME", "gravity assist")):
        if (block.text(keyword, "CONTINUOUS", required=False) or "CONTINUOUS") != "CONTINUOUS":
            block.fault(keyword, f"a {what} is not flown; send each burn as a manoeuvre")
    if frame is None or not columns:
        return []
    found = list[tuple[Manoeuvre, bool]]()
    for row in section.rows:
        cells = cells_of(row, columns, block)
        at = clock(cells.pop("TIME"), row.line, columns[0]) if cells is not None else None
        if cells is None or at is None:
            continue
        burn = burn_of_row(cells, at, (frame, row.line), block)
        if burn is not None:
            made = replace(
                burn,
                frame_epoch=epoch[0] if epoch else None,
                label=block.text("MAN_ID", "B1", required=False),
                device=device,
                purpose=block.text("MAN_PURPOSE", "insertion", required=False),
            )
            found.append((made, cells.get("THR_INTERP", "OFF").upper() == "ON"))
    if not section.rows:
        block.faults.add(section.line, "MAN_START: expected a row for each manoeuvre, got none")
    _refuse_turning(found, block)
    return _joined([burn for burn, _ in found])


def _refuse_turning(found: list[tuple[Manoeuvre, bool]], block: Block) -> None:
    """A thrust that is to turn from one row to the next cannot be commanded."""
    for (burn, turns), (after, _) in pairwise(found):
        one, two = burn.thrust_n, after.thrust_n
        if turns and one is not None and two is not None and norm(one - two) > _SAME * norm(one):
            block.faults.add(
                burn.line,
                "THR_INTERP: a thrust that turns or changes from one row to the next is not flown; "
                "write OFF and rows that are short",
            )


def _joined(burns: list[Manoeuvre]) -> list[Manoeuvre]:
    """Slices of one burn made one."""
    joined: list[Manoeuvre] = []
    for burn in burns:
        last = joined[-1] if joined else None
        if last is not None and last.duration_s > 0.0 and burn.duration_s > 0.0:
            end = last.starts(last.ignition) + last.duration_s
            abut = abs(burn.starts(last.ignition) - end) <= _GAP_S
            both = _added(last, burn) if abut else None
            if both is not None:
                joined[-1] = both
                continue
        joined.append(burn)
    return joined


def _added(one: Manoeuvre, two: Manoeuvre) -> Manoeuvre | None:
    """Two slices as one burn; None where they point or push differently."""
    changes: dict[str, Array] = {}
    if one.dv_m_s is not None and two.dv_m_s is not None:
        along = one.dv_m_s / norm(one.dv_m_s) - two.dv_m_s / norm(two.dv_m_s)
        if norm(along) > _SAME:
            return None
        changes["dv_m_s"] = one.dv_m_s + two.dv_m_s
    elif one.thrust_n is not None and two.thrust_n is not None:
        if norm(one.thrust_n - two.thrust_n) > _SAME * norm(one.thrust_n):
            return None
        if str(one.isp_s) != str(two.isp_s):
            return None
    else:
        return None
    return replace(
        one,
        duration_s=one.duration_s + two.duration_s,
        delta_mass_kg=one.delta_mass_kg + two.delta_mass_kg,
        **changes,  # type: ignore[arg-type]
    )


def _labelled(burns: list[Manoeuvre]) -> tuple[Manoeuvre, ...]:
    """Burns that share an identification told apart by a number after it."""
    labels = [burn.label for burn in burns]
    found = []
    for k, burn in enumerate(burns):
        if burn.label is None or labels.count(burn.label) == 1:
            found.append(burn)
        else:
            number = labels[: k + 1].count(burn.label)
            found.append(replace(burn, label=f"{burn.label}.{number}"))
    return tuple(found)
