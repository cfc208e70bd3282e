"""Two plans side by side: what differs, by how much, and which is better where that has meaning."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, TypeAlias

from simcheck.records.flight import Flight, Verdict
from simcheck.records.plan import Plan

Better: TypeAlias = Literal["A", "B", "alike"]
Group: TypeAlias = Literal["cost", "end", "margin"]


@dataclass(frozen=True, kw_only=True, eq=False)
class Side:
    """One of the two: its case's title, its plan, and the perfect flight with its verdict."""

    title: str
    plan: Plan
    flight: Flight
    verdict: Verdict


@dataclass(frozen=True, kw_only=True, eq=False)
class BurnSide:
    """A burn of one plan. Times are past the epoch of its case; duration and engine commanded."""

    label: str
    purpose: str
    time_s: float
    dv_m_s: float
    duration_s: float
    engine: str


@dataclass(frozen=True, kw_only=True, eq=False)
class BurnPair:
    """The burns of two plans that stand for each other; None where only one plan has it.

    later_s and more_m_s are B less A. turned_deg is the angle between the two impulses in inertial
    axes, turned_rsw_deg that in axes turning with the craft.
    """

    a: BurnSide | None
    b: BurnSide | None
    later_s: float | None = None
    more_m_s: float | None = None
    turned_deg: float | None = None
    turned_rsw_deg: float | None = None


@dataclass(frozen=True, kw_only=True, eq=False)
class Figure:
    """One number of both sides, None where a side has none; difference is B less A.

    better is None where neither more nor less is better.
    """

    name: str
    unit: str
    group: Group
    a: float | None
    b: float | None
    difference: float | None
    better: Better | None


@dataclass(frozen=True, kw_only=True, eq=False)
class Comparison:
    """Plans A and B, perfectly flown: burns paired in order, figures, and it all in a sentence."""

    a: Side
    b: Side
    summary: str
    burns: tuple[BurnPair, ...]
    figures: tuple[Figure, ...]
