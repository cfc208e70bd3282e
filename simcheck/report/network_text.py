"""What a finished ring serves, as text: links, coverage, contacts of sites, eclipses."""

from __future__ import annotations

import math

from rich.console import RenderableType
from rich.text import Text

from simcheck.measuring import RingMotion
from simcheck.networking.sizing import ring_warning
from simcheck.records.case import Case
from simcheck.records.network import (
    Band,
    Coverage,
    Link,
    Network,
    RelayEclipses,
    RingGeometry,
    SiteContacts,
    Window,
)
from simcheck.report.tables import Fact, facts, heading, note, stacked, table
from simcheck.report.words import calendar, count, degrees, duration, fixed, kilometres

_MOST_WINDOWS = 8
_MOST_SEASON = 16
_SPHERE = (
    "The body is a sphere of its radius, without terrain or refraction. On the Earth that is off by"
    " up to 21 km in heights near the poles, 0.2 deg in latitude and 0.6 deg at the horizon."
)


def network_warning(case: Case, ring: RingMotion) -> str | None:
    """One sentence or two where the ring's neighbours cannot have a link at the ring's radius."""
    return ring_warning(case, ring.radius_m)


def network_text(case: Case, network: Network) -> RenderableType:
    """Everything that is said about a flown ring as a network."""
    return stacked(*network_parts(case, network))


def network_parts(case: Case, network: Network) -> list[RenderableType]:
    """The sections of `network_text`, to stand among others."""
    flown = duration(network.end_s - network.start_s)
    said = [f"All shares are of the {flown} from {_moment(case, network.start_s)} on.", _SPHERE]
    return [
        *_geometry(case, network.geometry),
        *_links(case, network),
        *_coverage(network.coverage),
        *_contacts(case, network.contacts),
        *_eclipses(case, network),
        heading("How to read this"),
        *(note(text) for text in (*said, *network.notes)),
    ]


def _geometry(case: Case, found: RingGeometry) -> list[RenderableType]:
    grazing = case.network.grazing_height_m
    needed, radius = found.needed_radius_m, case.body.radius_m
    pairs: list[Fact] = [
        ("neighbours", f"{kilometres(found.neighbour_range_m)} apart"),
        ("line between neighbours", f"passes {_over(found.line_height_m)}; {_past(grazing)}"),
        ("range of a link", _limit(case, found)),
    ]
    if needed is not None:
        altitude = kilometres(needed - radius)
        pairs.append(
            (
                f"{count(found.slots, 'relay')} need",
                f"a radius of {kilometres(needed)} (altitude {altitude}) to see their neighbours",
            )
        )
    pairs += [
        ("this radius needs", _enough(found)),
        (
            "one relay sees",
            f"{_percent(found.cap_share)} of the surface, {degrees(found.cap_deg)} around the place"
            " below it",
        ),
        ("always covered", _street(found)),
        (
            "longest shadow",
            f"{duration(found.longest_shadow_s)} with the Sun in the ring's plane, none from"
            f" {degrees(found.shadowless_beta_deg)} above it",
        ),
    ]
    return [heading("Geometry of the ideal ring"), facts(pairs)]


def _over(height: float) -> str:
    if height >= 0.0:
        return f"{kilometres(height)} above the surface"
    return f"{kilometres(-height)} below the surface"


def _past(grazing: float) -> str:
    return f"it must pass {kilometres(grazing)} above it" if grazing else "it must clear it"


def _limit(case: Case, found: RingGeometry) -> str:
    if math.isinf(found.range_limit_m):
        return "not limited by the case"
    by_range = found.range_limit_m >= case.network.max_range_m
    why = "max_range" if by_range else "where the budget has its margin left"
    return f"{kilometres(found.range_limit_m)}, {why}"


def _enough(found: RingGeometry) -> str:
    if found.needed_slots is None:
        return "more than any number of relays to close the ring"
    return f"{count(found.needed_slots, 'relay')} or more to close the ring"


def _street(found: RingGeometry) -> str:
    if found.street_deg <= 0.0:
        return "no band of the surface: the caps of neighbours do not meet"
    return f"{degrees(found.street_deg)} to either side of the ring's plane"


def _links(case: Case, network: Network) -> list[RenderableType]:
    found = network.links
    if not found.links:
        return [heading("Links between neighbours"), note("A single relay has no link.")]
    names: tuple[str, ...] = (
        "link",
        ">shortest, km",
        ">longest, km",
        ">line above, km",
        ">in sight",
        ">closed",
    )
    names += (">longest outage",)
    budget = case.network.link
    if budget is not None:
        names += (">margin, dB",)
    pairs = [
        ("full ring closed", _of_time(found.closed_share)),
        ("all relays connected", f"{_percent(found.connected_share)} of the time"),
        ("outages of the full ring", _outages(network)),
    ]
    if budget is not None:
        pairs.append(("margin asked", f"{fixed(budget.margin_db, 1, 'dB')} at the longest range"))
    return [
        heading("Links between neighbours"),
        table(names, [_link_row(link, budget is not None) for link in found.links]),
        facts(pairs),
    ]


def _link_row(link: Link, with_margin: bool) -> tuple[str, ...]:
    row = (
        f"{link.first} - {link.second}",
        fixed(link.shortest_m / 1e3, 1),
        fixed(link.longest_m / 1e3, 1),
        fixed(link.lowest_height_m / 1e3, 1),
        _percent(link.sight_share),
        _percent(link.closed_share),
        duration(link.longest_outage_s),
    )
    return (*row, fixed(link.worst_margin_db, 2, sign=True)) if with_margin else row


def _of_time(share: float | None) -> str:
    if share is None:
        return "two relays are no ring"
    return f"{_percent(share)} of the time"


def _outages(network: Network) -> str:
    found = network.links
    if not found.outages:
        return "none"
    return f"{found.outages}, the longest {duration(found.longest_outage_s)}"


def _coverage(found: Coverage) -> list[RenderableType]:
    several = [
        f"{_percent(share)} {count(k, 'relay')}"
        for k, share in enumerate(found.at_least, start=1)
        if share > 0.0
    ]
    pairs = [
        ("at one time", f"{_percent(found.instant_mean)} of the surface in the mean"),
        ("", f"{_percent(found.instant_least)} at the worst time"),
        ("in a day", f"{_percent(found.daily_mean)} of the surface in the mean"),
        ("", f"{_percent(found.daily_least)} on the worst day"),
        ("seen at once", f"at least: {', '.join(several)}" if several else "no relay anywhere"),
    ]
    names = (
        ">latitude, deg",
        ">time covered",
        ">at the worst place",
        ">longest gap there",
        ">relays, mean",
        ">fewest",
    )
    text = (
        f"On {found.points} places every {found.step_s:g} s: a gap is known to that step, a share"
        " of the surface at one time to some tenths of a per cent. The worst place of a band is"
        " that of all its longitudes."
    )
    return [
        heading(f"Coverage from {degrees(found.min_elevation_deg)} of elevation"),
        facts(pairs),
        table(names, [_band_row(band) for band in reversed(found.bands)]),
        note(text),
    ]


def _band_row(band: Band) -> tuple[str, ...]:
    gap = band.longest_gap_s
    return (
        f"{band.south_deg:+.0f} to {band.north_deg:+.0f}",
        _percent(band.share_mean),
        _percent(band.share_worst),
        "never seen" if math.isinf(gap) else duration(gap) if gap else "none",
        fixed(band.relays_mean, 2),
        str(band.relays_least),
    )


def _contacts(case: Case, sites: tuple[SiteContacts, ...]) -> list[RenderableType]:
    if not sites:
        return []
    names = ("site", ">from", ">in contact", ">passes", ">longest gap", ">windows from", ">to")
    rows = [
        (
            one.site,
            degrees(one.min_elevation_deg),
            _percent(one.share),
            str(one.passes),
            duration(one.longest_gap_s) if one.longest_gap_s else "none",
            _length(one.shortest_window_s),
            _length(one.longest_window_s),
        )
        for one in sites
    ]
    parts = [
        heading("Contacts of sites"),
        table(names, rows),
        note("In contact, passes and gaps: with any relay. Windows: with one relay."),
    ]
    for one in sites:
        parts += _windows(case, one)
    return parts


def _length(seconds: float | None) -> str:
    return "none" if seconds is None else duration(seconds)


def _windows(case: Case, site: SiteContacts) -> list[RenderableType]:
    if not site.windows:
        return []
    names = (f"windows of {site.site}", ">opens", ">lasting", ">highest", "")
    shown = site.windows[:_MOST_WINDOWS]
    more = len(site.windows) - len(shown)
    return [
        Text(),
        table(names, [_window_row(case, window) for window in shown]),
        *([note(f"... and {count(more, 'window')} more; --json lists all.")] if more else []),
    ]


def _window_row(case: Case, window: Window) -> tuple[str, ...]:
    return (
        window.relay,
        duration(window.start_s),
        duration(window.end_s - window.start_s),
        fixed(window.max_elevation_deg, 1, "deg"),
        calendar(case.epoch, window.start_s),
    )


def _eclipses(case: Case, network: Network) -> list[RenderableType]:
    parts: list[RenderableType] = []
    if network.eclipses:
        names: tuple[str, ...] = (
            "relay",
            ">eclipses",
            ">longest",
            ">share",
            ">longest umbra",
            ">share",
        )
        names += (">Sun above the plane, deg",)
        text = (
            "Longest and the first share include the penumbra, in which part of the Sun is seen;"
            f" only {case.body.name} is taken to hide it."
        )
        rows = [_eclipse_row(one) for one in network.eclipses]
        parts += [heading("Eclipses"), table(names, rows), note(text)]
    if network.season:
        parts += _season(case, network)
    return parts


def _eclipse_row(one: RelayEclipses) -> tuple[str, ...]:
    low, high = one.beta_least_deg, one.beta_most_deg
    return (
        one.relay,
        str(len(one.eclipses)),
        duration(one.longest_s) if one.eclipses else "none",
        _percent(one.share),
        duration(one.longest_umbra_s) if one.longest_umbra_s else "none",
        _percent(one.umbra_share),
        f"{low:+.1f} to {high:+.1f}",
    )


def _season(case: Case, network: Network) -> list[RenderableType]:
    every = max(1, math.ceil(len(network.season) / _MOST_SEASON))
    rows = [
        (
            duration(row.time_s),
            fixed(row.beta_deg, 1, sign=True),
            duration(row.shadow_s) if row.shadow_s else "none",
            calendar(case.epoch, row.time_s),
        )
        for row in network.season[::every]
    ]
    names = (">after the epoch", ">Sun above the plane, deg", ">shadow of a revolution", "")
    text = "Of a circular ring in the body's cylinder of shadow, without the penumbra."
    return [heading("Seasons of eclipse"), table(names, rows), note(text)]


def _moment(case: Case, seconds: float) -> str:
    date = calendar(case.epoch, seconds)
    return f"{duration(seconds)} after the epoch" + (f" ({date})" if date else "")


def _percent(share: float) -> str:
    """Per cent to a hundredth, and never 100 % of what is less."""
    shown = f"{100.0 * share:.2f}"
    if shown == "100.00" and share < 1.0:
        return "> 99.99 %"
    if shown == "0.00" and share > 0.0:
        return "< 0.01 %"
    return f"{shown} %"
