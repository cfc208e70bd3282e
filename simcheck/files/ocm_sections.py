"""The sections of an orbit comprehensive message in its keyword form: lines and rows of each.

A section stands between its NAME_START and NAME_STOP; the lines ahead of the first are the header.
Beside lines `KEYWORD = value` a section may hold rows of a time history, bare values set apart by
blanks. A value that ends in a comma goes on in the next line, as long lists are printed.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field

from simcheck.files.kvn import Entry, KvnFaults, kvn_entries
from simcheck.files.records_json import shown

HEADER = "HEADER"
SECTIONS = ("META", "TRAJ", "PHYS", "COV", "MAN", "PERT", "OD", "USER")
_WITH_ROWS = ("TRAJ", "COV", "MAN")
_EDGE = re.compile(r"\s*([A-Z]+)_(START|STOP)\s*")
_COMMENT = re.compile(r"\s*COMMENT(\s|$)")


@dataclass(frozen=True)
class Row:
    """The values of one line of a time history."""

    values: tuple[str, ...]
    line: int


@dataclass(frozen=True)
class Section:
    """One section as it stands; line is where it begins."""

    name: str
    line: int
    entries: list[Entry] = field(default_factory=list)
    rows: list[Row] = field(default_factory=list)


def ocm_sections(text: str, faults: KvnFaults) -> list[Section]:
    """The header and every section in order; what belongs to none is a fault."""
    header = Section(HEADER, 1)
    found, current = [header], header
    for number, line in _lines(text):
        edge = _EDGE.fullmatch(line)
        if edge and edge[1] in SECTIONS:
            current = _crossed(current, header, edge, number, faults)
            if current is not header:
                found.append(current)
        elif "=" not in line and current.name in _WITH_ROWS:
            current.rows.append(Row(tuple(line.split()), number))
        elif current is header and len(found) > 1:
            faults.add(number, f"expected the start of a section, got {shown(line.strip())}")
        else:
            current.entries.extend(kvn_entries(line, faults, number))
    if current is not header:
        faults.add(current.line, f"{current.name}_START: there is no {current.name}_STOP after it")
    return found


def _crossed(
    current: Section, header: Section, edge: re.Match[str], number: int, faults: KvnFaults
) -> Section:
    """The section that a START or STOP leads into."""
    name, side = edge.groups()
    if side == "START":
        if current is not header:
            faults.add(number, f"{name}_START: {current.name}_STOP is missing before it")
        return Section(name, number)
    if name != current.name:
        expected = "no STOP" if current is header else f"{current.name}_STOP"
        faults.add(number, f"{name}_STOP: expected {expected} here")
    return header


def _lines(text: str) -> list[tuple[int, str]]:
    """Numbered lines without blanks and comments, those that go on joined to what follows."""
    found: list[tuple[int, str]] = []
    goes_on = False
    for number, line in enumerate(text.splitlines(), start=1):
        if not line.strip() or _COMMENT.match(line):
            continue
        if goes_on and "=" not in line and not _EDGE.fullmatch(line):
            found[-1] = (found[-1][0], f"{found[-1][1]} {line.strip()}")
        else:
            found.append((number, line))
        goes_on = "=" in found[-1][1] and found[-1][1].rstrip().endswith(",")
    return found
