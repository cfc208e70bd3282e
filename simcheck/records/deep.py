"""How far the numbers of a flight can be trusted: what moves when it is computed otherwise."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, TypeAlias

Means: TypeAlias = Literal["propagator", "posing", "averaging"]
Word: TypeAlias = Literal["within", "outside"]


@dataclass(frozen=True, kw_only=True, eq=False)
class Deviation:
    """One way of computing the same flight otherwise, and how far its errors then lie apart.

    means says what was changed: the propagator or its accuracy, the way that the motion is posed,
    or the averaging. phase_deg and period_s are signed, the others the lengths of differences of
    vectors, which is the most by which the errors can differ. verdict is the one it would give.
    """

    name: str
    means: Means
    phase_deg: float
    period_s: float
    eccentricity: float
    plane_deg: float
    verdict: Word


@dataclass(frozen=True, kw_only=True, eq=False)
class ErrorBar:
    """The numerical error bar of one judged number, in `unit`.

    bar is the largest deviation and cause the variation that made it, None where nothing moved.
    allowed is the tolerance or limit, None where there is none, room the distance of the value from
    it on whichever side it is; bars_of_room is room over bar, infinite where the bar is zero.
    """

    name: str
    unit: str
    value: float
    bar: float
    cause: str | None
    allowed: float | None = None
    room: float | None = None
    bars_of_room: float | None = None


@dataclass(frozen=True, kw_only=True, eq=False)
class DeepCheck:
    """Error bars of the four errors and of the limits, with every variation that they come from.

    firm says whether the numbers bear the verdict out: no variation changes it, and every
    tolerance and limit is farther away than its error bar. overturned names the variations that
    change it, why says it in words. averaging holds what the definition of the errors, and not
    their computation, makes of another number of samples or revolutions; it is in no bar.
    """

    firm: bool
    why: str
    overturned: tuple[str, ...]
    errors: tuple[ErrorBar, ...]
    limits: tuple[ErrorBar, ...]
    variations: tuple[Deviation, ...]
    averaging: tuple[Deviation, ...]
