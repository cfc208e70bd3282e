"""An orbit comprehensive message (CCSDS 502.0-B-3, section 6) in its keyword form.

Read are the time zero, the first rows of the trajectory sections (`ocm_trajectory` says of which),
the mass, the GM and the manoeuvres. Covariances, other perturbations, orbit determination and user
sections are accepted and not used, as the later rows of a trajectory are.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from simcheck.errors import InputError
from simcheck.files.epochs import SYSTEMS, Instant, date_after, read_date
from simcheck.files.kvn import Block, KvnFaults, nearest, read_number
from simcheck.files.message_manoeuvres import Manoeuvre
from simcheck.files.ocm_manoeuvres import read_manoeuvres
from simcheck.files.ocm_sections import HEADER, Section, ocm_sections
from simcheck.files.ocm_trajectory import ELEMENTS, MessageState, read_states
from simcheck.files.plain_text import decoded
from simcheck.files.records_json import shown

VERSION_KEYWORD = "CCSDS_OCM_VERS"
_HEADER = (VERSION_KEYWORD, "CLASSIFICATION", "CREATION_DATE", "ORIGINATOR", "MESSAGE_ID")
_META = (
    *("OBJECT_NAME", "INTERNATIONAL_DESIGNATOR", "CATALOG_NAME", "OBJECT_DESIGNATOR"),
    *("ALTERNATE_NAMES", "ORIGINATOR_POC", "ORIGINATOR_POSITION", "ORIGINATOR_PHONE"),
    *("ORIGINATOR_EMAIL", "ORIGINATOR_ADDRESS", "TECH_ORG", "TECH_POC", "TECH_POSITION"),
    *("TECH_PHONE", "TECH_EMAIL", "TECH_ADDRESS", "PREVIOUS_MESSAGE_ID", "NEXT_MESSAGE_ID"),
    *("ADM_MSG_LINK", "CDM_MSG_LINK", "PRM_MSG_LINK", "RDM_MSG_LINK", "TDM_MSG_LINK", "OPERATOR"),
    *("OWNER", "COUNTRY", "CONSTELLATION", "OBJECT_TYPE", "TIME_SYSTEM", "EPOCH_TZERO"),
    *("OPS_STATUS", "ORBIT_CATEGORY", "OCM_DATA_ELEMENTS", "SCLK_OFFSET_AT_EPOCH"),
    *("SCLK_SEC_PER_SI_SEC", "PREVIOUS_MESSAGE_EPOCH", "NEXT_MESSAGE_EPOCH", "START_TIME"),
    *("STOP_TIME", "TIME_SPAN", "TAIMUTC_AT_TZERO", "NEXT_LEAP_EPOCH", "NEXT_LEAP_TAIMUTC"),
    *("UT1MUTC_AT_TZERO", "EOP_SOURCE", "INTERP_METHOD_EOP", "CELESTIAL_SOURCE"),
)
_TRAJ = (
    *("TRAJ_ID", "TRAJ_PREV_ID", "TRAJ_NEXT_ID", "TRAJ_BASIS", "TRAJ_BASIS_ID", "INTERPOLATION"),
    *("INTERPOLATION_DEGREE", "PROPAGATOR", "CENTER_NAME", "TRAJ_REF_FRAME", "TRAJ_FRAME_EPOCH"),
    *("USEABLE_START_TIME", "USEABLE_STOP_TIME", "ORB_REVNUM", "ORB_REVNUM_BASIS", "TRAJ_TYPE"),
    *("ORB_AVERAGING", "TRAJ_UNITS"),
)
_KNOWN = {HEADER: _HEADER, "META": _META, "TRAJ": _TRAJ}
_USED = {"PHYS": {"WET_MASS": "kg"}, "PERT": {"GM": "km**3/s**2"}}
"""Of these sections no other keyword is looked at."""


@dataclass(frozen=True, kw_only=True, eq=False)
class ComprehensiveMessage:
    """A message as it stands; zero is its EPOCH_TZERO.

    The first of its states is the one to go by, the others describe the same moment otherwise;
    unread says in words which trajectories are not among them, over which manoeuvres are past.
    gm_m3_s2 and its last digit are None where the message does not say.
    """

    name: str
    zero: Instant
    states: tuple[MessageState, ...]
    unread: tuple[str, ...]
    mass_kg: float | None
    gm_m3_s2: tuple[float, float] | None
    manoeuvres: tuple[Manoeuvre, ...]
    over: tuple[str, ...]

    @property
    def epoch(self) -> Instant:
        """The moment of the state; EPOCH_TZERO where there is none."""
        if not self.states:
            return self.zero
        return read_date(date_after(self.states[0].date.text, self.states[0].offset_s))


def read_ocm(content: bytes, file: str) -> ComprehensiveMessage:
    """The message in the bytes of a file; all that can be told without knowing the case.

    Raises InputError with all faults, each with file, line and keyword.
    """
    faults = KvnFaults(file)
    sections = ocm_sections(decoded(content, file), faults)
    head = sections[0].entries
    if not head or head[0].keyword != VERSION_KEYWORD:
        got = shown(head[0].keyword) if head else "no keyword at all"
        raise InputError(
            f"{file}: expected an orbit comprehensive message, which begins with "
            f"{VERSION_KEYWORD} = 3.0, got {got}"
        )
    blocks = {
        name: [(section, _block(section, faults)) for section in sections if section.name == name]
        for name in (HEADER, "META", "TRAJ", "PHYS", "PERT")
    }
    _read_head(blocks[HEADER][0][1])
    if len(blocks["META"]) != 1:
        faults.add(None, f"META_START: expected one section, got {len(blocks['META'])}")
        faults.raise_any()
    meta = blocks["META"][0][1]
    clock = _Clock(meta)
    states, unread = read_states(blocks["TRAJ"], clock, clock.zero)
    burning = [section for section in sections if section.name == "MAN"]
    manoeuvres, over = read_manoeuvres(burning, faults, clock)
    kepler = any(state.kind in ELEMENTS for state in states)
    gms = [_read_gm(block) for _, block in blocks["PERT"] if kepler and block.has("GM")]
    masses = [_read_mass(block) for _, block in blocks["PHYS"]]
    name = meta.text("OBJECT_NAME", "R4", required=False)
    faults.raise_any()
    if clock.zero is None:  # only after a fault
        raise InputError(f"{file}: EPOCH_TZERO could not be read")
    return ComprehensiveMessage(
        name=name or "unnamed",
        zero=clock.zero,
        states=states,
        unread=unread,
        mass_kg=next((mass for mass in masses if not math.isnan(mass)), None),
        gm_m3_s2=gms[0] if gms else None,
        manoeuvres=manoeuvres,
        over=over,
    )


class _Clock:
    """Turns time tags into dates: seconds past EPOCH_TZERO, or dates in TIME_SYSTEM."""

    def __init__(self, meta: Block) -> None:
        self._faults = meta.faults
        system = meta.text("TIME_SYSTEM", "UTC")
        self._system = None if system is None else system.upper()
        if system is not None and self._system not in SYSTEMS:
            expected = f"expected one of {', '.join(SYSTEMS)}, got {shown(system)}"
            meta.fault("TIME_SYSTEM", expected)
            self._system = None
        self.zero = meta.date("EPOCH_TZERO", self._system)

    def __call__(self, text: str, line: int, keyword: str) -> tuple[Instant, float] | None:
        """A date and the seconds past it."""
        if self._system is None or self.zero is None:
            return None
        try:
            if "T" in text and keyword != "TIME_RELATIVE":
                return read_date(text, self._system), 0.0
            if keyword == "TIME_ABSOLUTE":
                return read_date(text, self._system), 0.0
            return self.zero, read_number(text, "s")
        except ValueError as error:
            reason = str(error)
            told = reason if shown(text) in reason else f"got {shown(text)}, {reason}"
            self._faults.add(line, f"{keyword}: {told}")
            return None


def _block(section: Section, faults: KvnFaults) -> Block:
    known = _KNOWN.get(section.name)
    units = _USED.get(section.name) or dict.fromkeys(known or (), "")
    block = Block(faults, units, section.line)
    for entry in section.entries:
        if entry.keyword in units:
            block.add(entry)
        elif known is not None:
            hint = nearest(entry.keyword, list(known))
            where = "the header" if section.name == HEADER else f"a {section.name} section"
            text = f"{shown(entry.keyword)[1:-1]}: no keyword of {where}{hint}"
            faults.add(entry.line, text)
    return block


def _read_head(block: Block) -> None:
    version = block.text(VERSION_KEYWORD, "3.0")
    if version is not None and version != "3.0":
        block.fault(VERSION_KEYWORD, f"expected 3.0, got {shown(version)}")
    block.text("CREATION_DATE", "2031-04-12T06:00:00")
    block.text("ORIGINATOR", "OPERATIONS")


def _read_gm(block: Block) -> tuple[float, float]:
    """The GM and the size of its last digit; NaN after a fault."""
    gm = block.number("GM", "398600.4415", required=False)
    if gm <= 0.0:
        block.fault("GM", "expected more than 0 km**3/s**2")
    return gm, math.nan if math.isnan(gm) else block.digit("GM")


def _read_mass(block: Block) -> float:
    """The mass at time zero; NaN where there is none."""
    mass = block.number("WET_MASS", "420.0", required=False)
    if mass <= 0.0:
        block.fault("WET_MASS", "expected more than 0 kg")
    return mass
