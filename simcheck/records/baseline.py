"""What was found of a case, what a baseline keeps of it, and how the two compare."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal, TypeAlias

from simcheck.records.measures import Allowance, Value, measure_at, text_of

Move: TypeAlias = Literal["same", "better", "worse", "changed"]
Standing: TypeAlias = Literal["same", "better", "worse", "changed", "no baseline", "failed"]


@dataclass(frozen=True, kw_only=True, eq=False)
class Trial:
    """How every case is tried: planner, effort, and the flights dispersed from `seed`.

    samples 0 disperses nothing.
    """

    planner: str = "ring"
    effort: int = 1
    samples: int = 200
    seed: int = 0


@dataclass(frozen=True, kw_only=True, eq=False)
class Found:
    """Values of one case by their path (`records.measures`), in order.

    scales hold the tolerance or limit of a measure, by its path. failure says why nothing could be
    computed at all, None where it could; messages what else people should read, such as why there
    is no plan.
    """

    values: dict[str, Value]
    scales: dict[str, float] = field(default_factory=dict)
    failure: str | None = None
    messages: tuple[str, ...] = ()
    seconds: float = 0.0


@dataclass(frozen=True, kw_only=True, eq=False)
class Baseline:
    """Accepted values of one case, rounded; how they were made; and allowances of its own.

    allowed is by a measure's path without the burn: "burn.ignition_s" is every burn's.
    """

    simcheck: str
    trial: Trial
    inputs_sha256: str
    values: dict[str, Value]
    allowed: dict[str, Allowance] = field(default_factory=dict)


@dataclass(frozen=True, kw_only=True, eq=False)
class Difference:
    """One value against the baseline's; None where that side has none.

    change and allowed are in the value's unit, None for words and where a side is missing.
    """

    path: str
    baseline: Value | None
    found: Value | None
    change: float | None
    allowed: float | None
    move: Move

    def __str__(self) -> str:
        """In a line: from what to what, by how much where how much is allowed, and which way."""
        unit = measure_at(self.path).unit
        text = f"{text_of(self.path)}: {_said(self.baseline, unit)} -> {_said(self.found, unit)}"
        if self.change is not None and self.allowed is not None:
            text += f", {self.change:+.6g} where {self.allowed:.6g} is allowed"
        return f"{text}: {self.move}"


@dataclass(frozen=True, kw_only=True, eq=False)
class CaseRegression:
    """One case against its baseline. notes are what a reader must know, in words."""

    path: str
    title: str
    epoch: str | None
    inputs_sha256: str
    standing: Standing
    found: Found
    baseline: Baseline | None
    differences: tuple[Difference, ...]
    notes: tuple[str, ...]

    @property
    def moved(self) -> tuple[Difference, ...]:
        """The differences that are not "same"."""
        return tuple(x for x in self.differences if x.move != "same")


@dataclass(frozen=True, kw_only=True, eq=False)
class Regression:
    """All cases tried, in order. left_out counts those that an interrupt left untried."""

    trial: Trial
    cases: tuple[CaseRegression, ...]
    left_out: int = 0

    @property
    def kept(self) -> bool:
        """Whether no case got worse, changed, failed, or lacks a baseline."""
        return all(case.standing in {"same", "better"} for case in self.cases)


def _said(value: Value | None, unit: str) -> str:
    if value is None:
        return "none"
    return value if isinstance(value, str) else f"{value:.9g}" + (f" {unit}" if unit else "")
