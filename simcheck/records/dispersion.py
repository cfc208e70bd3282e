"""Many flights of one plan: a row each, and the summary of all."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, TypeAlias

import numpy as np
from numpy.typing import NDArray

from simcheck.records.case import Case
from simcheck.records.linear import LinearBeside

Rows: TypeAlias = NDArray[np.void]
Decision: TypeAlias = Literal["met", "not met", "inconclusive"]

OUTCOMES = ("flown", "out-of-propellant", "hit-the-body", "left-the-body", "not-flown")
"""The outcomes of a row by their number; the last is a flight that could not be computed."""

COLUMNS: tuple[tuple[str, str, str, str], ...] = (
    ("sample", "<i8", "", "number of the sample, which with the seed fixes its draws"),
    ("outcome", "<i1", "", "how the flight ended: " + ", ".join(OUTCOMES)),
    ("within", "<i1", "", "1 where every tolerance and limit is kept"),
    ("burns", "<i2", "", "burns made"),
    ("decisions", "<i2", "", "decisions of the flight team"),
    ("phase_deg", "<f8", "deg", "phase against the slot"),
    ("period_s", "<f8", "s", "period less the slot's"),
    ("eccentricity", "<f8", "", "averaged eccentricity"),
    ("plane_deg", "<f8", "deg", "angle to the ring's plane"),
    ("eccentricity_k", "<f8", "", "averaged eccentricity along the ring's node"),
    ("eccentricity_h", "<f8", "", "averaged eccentricity along 90 deg past the ring's node"),
    ("plane_x_deg", "<f8", "deg", "lean of the orbit's normal towards the ring's node"),
    ("plane_y_deg", "<f8", "deg", "lean of the orbit's normal towards 90 deg past the ring's node"),
    ("dv_used_m_s", "<f8", "m/s", "Δv flown"),
    ("propellant_used_kg", "<f8", "kg", "propellant used"),
    ("arrival_time_s", "<f8", "s", "last cutoff past the epoch"),
    ("lowest_altitude_m", "<f8", "m", "lowest altitude"),
    ("closest_approach_m", "<f8", "m", "closest approach to a member"),
)
"""Columns of a row: name, little-endian type, unit, meaning. Files, tables and JSON follow it."""

Columns: TypeAlias = tuple[tuple[str, str, str, str], ...]

ROW = np.dtype([(name, kind) for name, kind, _, _ in COLUMNS])
"""A row of a case without members."""


def member_column(index: int) -> str:
    """The column of the closest approach to a case's member, counted from 0 in its order."""
    return f"closest_{index + 1}_m"


def columns_of(case: Case) -> Columns:
    """The columns of a case's rows: those of every row, then one a member."""
    names = enumerate(member.name for member in case.members)
    return COLUMNS + tuple(
        (member_column(k), "<f8", "m", f"closest approach to member {k + 1}, {name}")
        for k, name in names
    )


def row_of(columns: Columns) -> np.dtype[np.void]:
    """The type of a row with these columns."""
    return np.dtype([(name, kind) for name, kind, _, _ in columns])


BLOCK = 16_384
"""Rows held in memory at a time."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Share:
    """A probability with its two-sided interval at `confidence`.

    Exact (Clopper-Pearson) for a number of samples fixed beforehand; for a run that could have
    stopped at any chunk the wider one that may be looked at any time; `interval` says which.
    """

    count: int
    probability: float
    low: float
    high: float
    confidence: float
    interval: str


@dataclass(frozen=True, kw_only=True, eq=False)
class Percentiles:
    """Percentiles of one column over the samples that have a value.

    Each of levels (in per cent) has its value and the order statistics that hold it with the
    confidence of the run, NaN where there are too few samples.
    """

    unit: str
    mean: float
    levels: tuple[float, ...]
    values: tuple[float, ...]
    low: tuple[float, ...]
    high: tuple[float, ...]


@dataclass(frozen=True, kw_only=True, eq=False)
class DvColumns:
    """Δv in m/s in four columns that are never added silently.

    deterministic: the plan's impulses; finite_burn_loss: what re-aiming with finite burns adds;
    statistical: percentiles of what was flown beyond both; margin: what the case's policy holds
    back, which no flight flies.
    """

    deterministic: float
    finite_burn_loss: float
    statistical: Percentiles
    margin: float


@dataclass(frozen=True, kw_only=True, eq=False)
class MemberApproach:
    """How near the flights come to one member at any time, m.

    least_m is the smallest of all, in the flight least_sample (None where no flight has a value).
    kept is how likely the separation asked for is kept, None where none is asked for; a flight
    that could not be computed does not keep it.
    """

    member: str
    closest: Percentiles
    least_m: float
    least_sample: int | None
    kept: Share | None


@dataclass(frozen=True, kw_only=True, eq=False)
class Driver:
    """Share of one error source in the variance of an outcome."""

    source: str
    outcome: str
    share: float


@dataclass(frozen=True, kw_only=True, eq=False)
class Dispersion:
    """What many flights say together.

    asked and confidence are the case's; decision judges them, more_samples is how many more may
    settle it. load_kg gives the propellant to load for a success of 99 % and 99.87 % of the flights
    that arrive, with its upper bound at the confidence, None where there are too few; margin_kg is
    the part of it that makes dv.margin with the engine, from the mass that is left after such a
    flight. drivers are ordered by share, method says how they were found. failures are sample
    numbers, the first of them where they are very many (failures_left_out tells how many are not
    listed), worst those furthest out. approaches are member by member, separation how likely that
    asked for is kept from all of them together, None where none is asked for.
    """

    samples: int
    seed: int
    closed_loop: bool
    within: Share
    decision: Decision
    asked: float
    more_samples: float
    percentiles: dict[str, Percentiles]
    dv: DvColumns
    load_kg: dict[str, float]
    load_high_kg: dict[str, float]
    margin_kg: dict[str, float]
    drivers: tuple[Driver, ...]
    method: str
    outcomes: dict[str, int]
    failures: tuple[int, ...]
    failures_left_out: int
    worst: tuple[int, ...]
    stopped_by: str
    linear: LinearBeside | None = None
    approaches: tuple[MemberApproach, ...] = ()
    separation: Share | None = None
