"""How a finished ring keeps its shape, what keeping it costs, and how it serves."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, TypeAlias

from simcheck.arrays import Array, frozen_array
from simcheck.records.network import Network

Role: TypeAlias = Literal["member", "craft", "as planned"]


@dataclass(frozen=True, kw_only=True, eq=False)
class HoldAim:
    """What `[hold]` asks for: how long the finished ring is followed, s."""

    duration_s: float = 365.25 * 86400.0


@dataclass(frozen=True, kw_only=True, eq=False)
class Leaving:
    """When an error first leaves its tolerance, days from the start; None where it never does.

    spacing is the angle to the next relay ahead against the nominal one, held to the tolerance of
    the phase. An error that the case has no tolerance for is None too.
    """

    phase_days: float | None = None
    spacing_days: float | None = None
    period_days: float | None = None
    eccentricity_days: float | None = None
    plane_days: float | None = None

    @property
    def first_days(self) -> float | None:
        """The first of them."""
        days = [
            self.phase_days,
            self.spacing_days,
            self.period_days,
            self.eccentricity_days,
            self.plane_days,
        ]
        return min((day for day in days if day is not None), default=None)


@dataclass(frozen=True, kw_only=True, eq=False)
class Upkeep:
    """What keeps a relay within its tolerances: trims, flown perfectly.

    largest_use is the largest share of a tolerance that any error used on the way (over 1: it was
    left); untrimmed counts looks at which a trim was due and none could be commanded.
    """

    dv_m_s_year: float
    burns_year: float
    largest_use: float
    untrimmed: int


@dataclass(frozen=True, kw_only=True, eq=False)
class RelayHold:
    """One relay, nothing being done, and what keeping it costs.

    Errors are the largest over the hold; drift is the mean rate of the phase. A relay "as planned"
    stands in for a slot that nobody holds.
    """

    name: str
    slot: int
    role: Role
    leaving: Leaving
    phase_deg: float
    spacing_deg: float
    period_s: float
    eccentricity: float
    plane_deg: float
    drift_deg_day: float
    upkeep: Upkeep | None


@dataclass(frozen=True, kw_only=True, eq=False)
class EndError:
    """What an error at the end of the transfer does to the hold of the craft."""

    what: str
    leaving: Leaving
    drift_deg_day: float


@dataclass(frozen=True, kw_only=True, eq=False)
class HoldSeries:
    """Errors of the relays (m, n) at looks (n,), nothing being done; in the order of the relays."""

    time_days: Array
    phase_deg: Array
    spacing_deg: Array
    period_s: Array
    eccentricity: Array
    plane_deg: Array

    def __post_init__(self) -> None:
        object.__setattr__(self, "time_days", frozen_array(self.time_days, (None,), "times"))
        for name in ("phase_deg", "spacing_deg", "period_s", "eccentricity", "plane_deg"):
            value = frozen_array(getattr(self, name), (None, None), name)
            object.__setattr__(self, name, value)


@dataclass(frozen=True, kw_only=True, eq=False)
class Hold:
    """A finished ring over `duration_s` from `start_s`, seconds past the epoch.

    wander_deg is how far other bodies move all slots together, to either side: that is no error.
    tank_years is how long the craft's propellant lasts at its upkeep, None where it needs none.
    numerical_deg is the largest difference of a phase from a flight with a tighter tolerance.
    network is the ring's service at the start, network_end at the end of the hold with nothing
    being done; ring_closed_share of the hold every link of the full ring closes meanwhile, which it
    first does not after ring_opens_days (None: it always does, or three relays are not there).
    """

    start_s: float
    duration_s: float
    relays: tuple[RelayHold, ...]
    end_errors: tuple[EndError, ...]
    series: HoldSeries
    wander_deg: tuple[float, float]
    tank_years: float | None
    numerical_deg: float
    network: Network | None
    network_end: Network | None
    ring_closed_share: float | None
    ring_opens_days: float | None
    notes: tuple[str, ...]

    @property
    def first_days(self) -> float | None:
        """When the first error of any relay leaves its tolerance, nothing being done."""
        days = [relay.leaving.first_days for relay in self.relays]
        return min((day for day in days if day is not None), default=None)

    @property
    def kept(self) -> bool:
        """Whether trims keep every error of every relay within its tolerance."""
        upkeep = [relay.upkeep for relay in self.relays]
        return all(one is not None and one.largest_use <= 1.0 for one in upkeep)

    @property
    def stays(self) -> bool:
        """Whether the ring stays within its tolerances, by itself or by its upkeep."""
        return self.first_days is None or self.kept
