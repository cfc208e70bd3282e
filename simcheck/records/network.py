"""What a finished ring of relays is asked to serve, and what it does serve.

`NetworkAim` is what the case asks; everything below it is found from a flight of the ring. Shares
are of time or of the surface, from 0 to 1; times are seconds past the epoch. The body is a sphere
of its `radius_m` throughout.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

# ------------------------------------------------------------------------------- what is asked


@dataclass(frozen=True, kw_only=True, eq=False)
class LinkBudget:
    """One relay's radio heard by another: free space, the same for every link.

    margin_db is what the received power must have over sensitivity_w; losses_db are all the others
    than that of free space.
    """

    frequency_hz: float
    power_w: float
    sensitivity_w: float
    transmit_gain_db: float = 0.0
    receive_gain_db: float = 0.0
    losses_db: float = 0.0
    margin_db: float = 0.0


@dataclass(frozen=True, kw_only=True, eq=False)
class Site:
    """A place on the turning body; latitude from the centre, longitude positive to the east."""

    name: str
    latitude_rad: float
    longitude_rad: float
    altitude_m: float = 0.0
    min_elevation_rad: float = 0.0


@dataclass(frozen=True, kw_only=True, eq=False)
class NetworkAim:
    """When neighbours see each other, when a link closes, from where a relay counts as seen.

    A line of sight must pass grazing_height_m above the surface. A link also needs a distance up to
    max_range_m and, where there is a budget, its margin. min_elevation_rad is that of coverage.
    """

    grazing_height_m: float = 0.0
    max_range_m: float = math.inf
    min_elevation_rad: float = 0.0
    link: LinkBudget | None = None
    sites: tuple[Site, ...] = ()


# ------------------------------------------------------------------------------- what is found


@dataclass(frozen=True, kw_only=True, eq=False)
class RingGeometry:
    """An ideal circular ring of this radius with every slot filled.

    range_limit_m: the shorter of max_range_m and where the budget's margin is used up.
    needed_radius_m: the least at this number of slots, None below three; needed_slots: the fewest
    at this radius, None where none suffices. street_deg: half-width of the band along the ring's
    plane that always sees a relay, 0 where there is none. longest_shadow_s: in the cylinder of
    shadow with the Sun in the ring's plane; shadowless_beta_deg: the Sun's angle above that plane
    from which no shadow falls on the ring.
    """

    slots: int
    radius_m: float
    neighbour_range_m: float
    line_height_m: float
    range_limit_m: float
    needed_radius_m: float | None
    needed_slots: int | None
    cap_deg: float
    cap_share: float
    street_deg: float
    longest_shadow_s: float
    shadowless_beta_deg: float


@dataclass(frozen=True, kw_only=True, eq=False)
class Link:
    """Two neighbours. lowest_height_m is that of the line between them, above the surface.

    worst_margin_db: received power over the sensitivity at the longest distance, None without a
    budget. closed: in sight, in range and with its margin.
    """

    first: str
    second: str
    shortest_m: float
    longest_m: float
    lowest_height_m: float
    sight_share: float
    closed_share: float
    longest_outage_s: float
    worst_margin_db: float | None = None


@dataclass(frozen=True, kw_only=True, eq=False)
class RingLinks:
    """The links all around. connected_share: every relay reaches every other, perhaps the long way.

    closed_share and the outages of the full ring; below three relays no ring is there to be closed:
    closed_share is then None.
    """

    links: tuple[Link, ...]
    closed_share: float | None
    connected_share: float
    outages: int
    longest_outage_s: float


@dataclass(frozen=True, kw_only=True, eq=False)
class Band:
    """A band of latitude. share_worst and longest_gap_s are those of its worst place.

    longest_gap_s is infinite where that place sees no relay in the whole time; a gap that runs into
    either end of the time counts as far as it was seen. relays_*: how many are seen at once.
    """

    south_deg: float
    north_deg: float
    share_mean: float
    share_worst: float
    longest_gap_s: float
    relays_mean: float
    relays_least: int


@dataclass(frozen=True, kw_only=True, eq=False)
class Coverage:
    """The surface that sees a relay at or above min_elevation_deg.

    instant_*: share of the surface at one time. daily_*: share that sees a relay at least once in a
    day of 86400 s (in the whole time where that is shorter). at_least[k] is the mean share that
    sees k + 1 relays at once. Sampled every step_s on a grid of `points`.
    """

    min_elevation_deg: float
    instant_mean: float
    instant_least: float
    daily_mean: float
    daily_least: float
    at_least: tuple[float, ...]
    bands: tuple[Band, ...]
    points: int
    step_s: float


@dataclass(frozen=True, kw_only=True, eq=False)
class Window:
    """A relay in view of a site. One that begins or ends with the time may be cut off there."""

    relay: str
    start_s: float
    end_s: float
    max_elevation_deg: float


@dataclass(frozen=True, kw_only=True, eq=False)
class SiteContacts:
    """All windows of a site, in order. share, gaps and passes are of any relay, windows merged."""

    site: str
    min_elevation_deg: float
    windows: tuple[Window, ...]
    share: float
    passes: int
    longest_gap_s: float
    shortest_window_s: float | None
    longest_window_s: float | None


@dataclass(frozen=True, kw_only=True, eq=False)
class Eclipse:
    """From the first loss of sunlight to its full return; umbra_s of it without any."""

    start_s: float
    end_s: float
    umbra_s: float


@dataclass(frozen=True, kw_only=True, eq=False)
class RelayEclipses:
    """A relay's eclipses. share and longest_s include the penumbra, the umbra's do not.

    beta: the Sun's angle above the relay's orbit, from least to most.
    """

    relay: str
    eclipses: tuple[Eclipse, ...]
    share: float
    longest_s: float
    umbra_share: float
    longest_umbra_s: float
    beta_least_deg: float
    beta_most_deg: float


@dataclass(frozen=True, kw_only=True, eq=False)
class SeasonRow:
    """The shadow of one revolution of a circular ring at a time (cylinder, no penumbra)."""

    time_s: float
    beta_deg: float
    shadow_s: float


@dataclass(frozen=True, kw_only=True, eq=False)
class Network:
    """Whether a ring serves, as flown from start_s to end_s with states every step_s."""

    start_s: float
    end_s: float
    step_s: float
    relays: tuple[str, ...]
    geometry: RingGeometry
    links: RingLinks
    coverage: Coverage
    contacts: tuple[SiteContacts, ...]
    eclipses: tuple[RelayEclipses, ...]
    season: tuple[SeasonRow, ...] = ()
    notes: tuple[str, ...] = ()
