"""A result as it was written by a command, read back with the case that it is of."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, TypeAlias

from simcheck.arrays import Array, frozen_array
from simcheck.records.case import Case
from simcheck.records.deep import DeepCheck
from simcheck.records.dispersion import Dispersion, Rows
from simcheck.records.fleet import Assignment, Fleet
from simcheck.records.flight import Flight, Verdict
from simcheck.records.hold import Hold
from simcheck.records.plan import Plan
from simcheck.records.setback import Setback
from simcheck.version import VERSION

Kind: TypeAlias = Literal["check", "fly", "plan", "disperse", "hold", "assign"]


@dataclass(frozen=True, kw_only=True, eq=False)
class Seen:
    """Another body as seen from the central one at the epoch; position in inertial axes."""

    name: str
    gm_m3_s2: float
    position_m: Array
    source: str

    def __post_init__(self) -> None:
        object.__setattr__(self, "position_m", frozen_array(self.position_m, (3,), "position"))


@dataclass(frozen=True, kw_only=True, eq=False)
class Result:
    """What one command found; what it does not make is None or empty.

    kind is the command. flight and verdict are of the command's own flight ("check", "fly"), deep
    of `check --deep`. rows are those of a dispersion kept in a folder. fleet and assignment are of
    "assign", whose case is that which the craft share. seen are the bodies that the built-in
    ephemerides know about the case's body. version is that of the simcheck that made the result.
    """

    kind: Kind
    case: Case
    plan: Plan | None = None
    flight: Flight | None = None
    verdict: Verdict | None = None
    setbacks: tuple[Setback, ...] = ()
    deep: DeepCheck | None = None
    dispersion: Dispersion | None = None
    rows: Rows | None = None
    hold: Hold | None = None
    fleet: Fleet | None = None
    assignment: Assignment | None = None
    seen: tuple[Seen, ...] = ()
    version: str = VERSION
