"""What a finished ring serves: links, coverage, contacts, eclipses."""

from __future__ import annotations

import math

import numpy as np
from matplotlib.axes import Axes

from simcheck.records.hold import Hold
from simcheck.records.network import Network
from simcheck.report.figures.picture import Picture
from simcheck.report.figures.style import (
    BLUE,
    INK,
    MUTED,
    ORANGE,
    SERIES,
    VERMILION,
    at_ends,
    labels,
    metres_or_km,
    number,
    readable,
)
from simcheck.report.words import clean, share

_DAY = 86400.0
_MOST = 16  # links or relays in one picture
_MOST_ROWS = 40  # of contacts
_WHOLE = 100.0


def links(network: Network, axis: Axes) -> None:
    """Shortest to longest distance of each link, and how far it may be."""
    shown = network.links.links[:_MOST]
    unit, name = metres_or_km(max(link.longest_m for link in shown))
    for row, link in enumerate(shown):
        ends = np.array([link.shortest_m, link.longest_m]) / unit
        axis.plot(
            ends,
            [row, row],
            color=BLUE,
            lw=6,
            alpha=0.35,
            solid_capstyle="butt",
            gid=f"{link.first} {link.second}",
        )
        axis.plot(ends, [row, row], "|", color=BLUE, ms=8, mew=1.4)
        text = f"{number(ends[0])} to {number(ends[1])}; closed {share(link.closed_share)}"
        if link.worst_margin_db is not None:
            text += f"; {link.worst_margin_db:.1f} dB at worst"
        axis.annotate(
            text,
            (ends[1], row),
            xytext=(7, 9),
            textcoords="offset points",
            va="center",
            ha="right",
            color=INK,
            annotation_clip=False,
        )
    axis.set_yticks(range(len(shown)), [f"{clean(x.first)} – {clean(x.second)}" for x in shown])
    axis.set_ylim(len(shown) - 0.5, -0.8)
    longest = max(link.longest_m for link in shown) / unit
    limit = network.geometry.range_limit_m / unit
    most = longest
    if math.isfinite(limit) and limit < 3 * longest:
        axis.axvline(limit, color=VERMILION, lw=1.1, ls=(0, (5, 2)), gid="range limit")
        axis.annotate(
            f"range limit {number(limit)}",
            (limit, 1.0),
            xycoords=("data", "axes fraction"),
            xytext=(0, 3),
            textcoords="offset points",
            ha="center",
            va="bottom",
            color=VERMILION,
            annotation_clip=False,
        )
        most = max(most, limit)
    axis.set_xlim(0, 1.06 * most)
    labels(axis, f"distance between neighbours, {name}", "")
    axis.grid(visible=False, axis="y")


def coverage(network: Network, axis: Axes) -> None:
    """Share of the time that a band of latitude sees a relay: its mean, and its worst place."""
    bands = network.coverage.bands
    edges = [*(band.south_deg for band in bands), bands[-1].north_deg]
    mean = [_WHOLE * band.share_mean for band in bands]
    worst = [_WHOLE * band.share_worst for band in bands]
    axis.stairs(mean, edges, color=BLUE, lw=1.5, baseline=None, gid="mean")
    axis.stairs(worst, edges, color=VERMILION, lw=1.3, ls="--", baseline=None, gid="worst")
    axis.set_xlim(edges[0], edges[-1])
    axis.set_ylim(-3, 105)
    axis.set_xticks(np.arange(-90, 91, 30))
    labels(axis, "latitude, deg", "time in sight of a relay, %")
    at_ends(
        axis,
        edges[-1],
        [(mean[-1], "mean of the band", BLUE), (worst[-1], "worst place", VERMILION)],
    )


def contacts(network: Network, axis: Axes) -> None:
    """When each site sees which relay, a row each; a row a site where that would be too many."""
    start, together = network.start_s, _together(network)
    rows: list[str] = []
    for site in network.contacts:
        for relay in ("",) if together else network.relays:
            spans = [
                ((w.start_s - start) / _DAY, (w.end_s - w.start_s) / _DAY)
                for w in site.windows
                if together or w.relay == relay
            ]
            colour = BLUE if together else SERIES[network.relays.index(relay) % len(SERIES)]
            axis.broken_barh(
                spans,
                (len(rows) - 0.3, 0.6),
                facecolor=colour,
                alpha=0.35 if together else 0.75,
                gid=f"{site.site} {relay}".rstrip(),
            )
            rows.append(clean(site.site) + (f" – {clean(relay)}" if relay else ""))
        axis.axhline(len(rows) - 0.5, color=MUTED, lw=0.5)
    axis.set_yticks(range(len(rows)), rows)
    axis.set_ylim(len(rows) - 0.5, -0.5)
    axis.set_xlim(0, (network.end_s - start) / _DAY)
    labels(axis, f"days from {start / _DAY:.2f} days past the epoch", "")
    axis.grid(visible=False, axis="y")
    each = len(rows) / len(network.contacts)
    for k, site in enumerate(network.contacts):
        axis.annotate(
            share(site.share) + ("\nin sight" if each > 1 else " in sight"),
            (1.0, (k + 0.5) * each - 0.5),
            xycoords=("axes fraction", "data"),
            xytext=(6, 0),
            textcoords="offset points",
            va="center",
            color=INK,
            annotation_clip=False,
        )


def _together(network: Network) -> bool:
    """Whether all relays of a site share its row."""
    return len(network.contacts) * len(network.relays) > _MOST_ROWS


def season(network: Network, axis: Axes) -> None:
    """The longest shadow of a revolution, and the Sun's angle to the ring's plane, over time."""
    days = np.array([row.time_s for row in network.season]) / _DAY
    beta = np.array([row.beta_deg for row in network.season])
    shadow = np.array([row.shadow_s for row in network.season]) / 60.0
    limit = network.geometry.shadowless_beta_deg
    axis.axhspan(-limit, limit, color=ORANGE, alpha=0.15, lw=0, gid="shadow")
    axis.plot(days, beta, color=BLUE, marker="o", ms=2.5, gid="beta")
    axis.axhline(0.0, color=MUTED, lw=0.6)
    axis.set_xlim(days[0], days[-1])
    axis.set_ylim(*_tall(beta, limit))
    labels(axis, "days past the epoch", "Sun above the ring's plane, deg")
    axis.annotate(
        f"shadow falls\non the ring:\nup to {shadow.max():.0f} min"
        if shadow.max() > 0
        else "here shadow\nfalls on\nthe ring",
        (1.0, 0.0),
        xycoords=("axes fraction", "data"),
        xytext=(6, 0),
        textcoords="offset points",
        va="center",
        color=readable(ORANGE),
        annotation_clip=False,
    )


def _tall(beta: np.ndarray, limit: float) -> tuple[float, float]:
    low, high = min(float(beta.min()), -limit), max(float(beta.max()), limit)
    return low - 0.1 * (high - low), high + 0.1 * (high - low)


def shadows(network: Network, axis: Axes) -> None:
    """Shadow of each revolution over time."""
    days = np.array([row.time_s for row in network.season]) / _DAY
    minutes = np.array([row.shadow_s for row in network.season]) / 60.0
    axis.fill_between(days, minutes, color=ORANGE, alpha=0.3, lw=0)
    axis.plot(days, minutes, color=ORANGE, marker="o", ms=2.5, gid="shadow")
    axis.set_xlim(days[0], days[-1])
    axis.set_ylim(0, max(1.15 * float(minutes.max()), 1.0))
    labels(axis, "days past the epoch", "shadow a revolution, minutes")


def eclipses(network: Network, axis: Axes) -> None:
    """When each relay is eclipsed."""
    start = network.start_s
    for row, relay in enumerate(network.eclipses):
        spans = [((e.start_s - start) / _DAY, (e.end_s - e.start_s) / _DAY) for e in relay.eclipses]
        axis.broken_barh(spans, (row - 0.3, 0.6), facecolor=INK, alpha=0.6, gid=relay.relay)
        axis.annotate(
            f"{relay.longest_s / 60:.0f} min",
            (1.0, row),
            xycoords=("axes fraction", "data"),
            xytext=(6, 0),
            textcoords="offset points",
            va="center",
            color=INK,
            annotation_clip=False,
        )
    axis.set_yticks(range(len(network.eclipses)), [clean(e.relay) for e in network.eclipses])
    axis.set_ylim(len(network.eclipses) - 0.5, -0.5)
    axis.set_xlim(0, (network.end_s - start) / _DAY)
    labels(axis, f"days from {start / _DAY:.2f} days past the epoch", "")
    axis.grid(visible=False, axis="y")


def pictures(hold: Hold) -> list[Picture]:
    """The network as the hold begins, and the eclipse seasons of all of it."""
    network = hold.network
    if network is None:
        return []
    parts = [_links(network), _coverage(network), _contacts(network), _eclipses(network)]
    return [part for part in (*parts, *_seasons(network)) if part is not None]


def _links(network: Network) -> Picture | None:
    shown = network.links.links
    if not shown:
        return None
    words = "; ".join(
        f"{x.first} to {x.second} {x.shortest_m / 1e3:.0f} to {x.longest_m / 1e3:.0f} km, closed"
        f" {share(x.closed_share)}"
        + ("" if x.worst_margin_db is None else f", {x.worst_margin_db:.1f} dB over sensitivity")
        for x in shown
    )
    left = f" The first {_MOST} of {len(shown)}." if len(shown) > _MOST else ""
    return Picture(
        "links",
        "Links between neighbours",
        "From the shortest to the longest distance in the days looked at; closed: in sight, in"
        f" range and with its margin; dB: power over sensitivity at the longest.{left}",
        clean(words + "."),
        lambda axis: links(network, axis),
        (7.2, 1.0 + 0.42 * min(len(shown), _MOST)),
    )


def _coverage(network: Network) -> Picture | None:
    found = network.coverage
    if not found.bands:
        return None
    worst = min(found.bands, key=lambda band: band.share_worst)
    return Picture(
        "coverage",
        "Coverage by latitude",
        f"Share of the time that a relay stands at {found.min_elevation_deg:g} deg elevation or"
        " more: mean over each band of latitude, and at its worst place.",
        f"{share(found.instant_mean)} of the surface sees a relay at one time on average,"
        f" {share(found.daily_mean)} at least once a day; the worst place, between"
        f" {worst.south_deg:g} and {worst.north_deg:g} deg latitude, {share(worst.share_worst)} of"
        " the time.",
        lambda axis: coverage(network, axis),
        (7.2, 2.9),
    )


def _contacts(network: Network) -> Picture | None:
    if not network.contacts:
        return None
    words = "; ".join(
        f"{x.site} sees a relay {share(x.share)} of the time in {x.passes} passes, longest gap"
        f" {x.longest_gap_s / 3600:.1f} h"
        for x in network.contacts
    )
    rows = len(network.contacts) * (1 if _together(network) else len(network.relays))
    return Picture(
        "contacts",
        "When each site sees which relay",
        "Bars: the relay stands above the site's least elevation; at the right how much of the time"
        " the site sees any.",
        clean(words + "."),
        lambda axis: contacts(network, axis),
        (7.2, 0.9 + 0.22 * rows),
    )


def _eclipses(network: Network) -> Picture | None:
    if not any(relay.eclipses for relay in network.eclipses):
        return None
    words = "; ".join(
        f"{x.relay} {len(x.eclipses)}, longest {x.longest_s / 60:.0f} min, {share(x.share)} of the"
        " time"
        for x in network.eclipses
    )
    return Picture(
        "eclipses",
        "Eclipses of each relay",
        "From the first loss of sunlight to its full return; at the right the longest.",
        clean(words + "."),
        lambda axis: eclipses(network, axis),
        (7.2, 0.9 + 0.28 * len(network.eclipses)),
    )


def _seasons(network: Network) -> list[Picture]:
    rows = network.season
    if len(rows) < 2:
        return []
    beta = [row.beta_deg for row in rows]
    longest = max(row.shadow_s for row in rows) / 60
    dark = sum(row.shadow_s > 0 for row in rows)
    words = (
        f"Over {rows[-1].time_s / _DAY - rows[0].time_s / _DAY:.0f} days the Sun stands between"
        f" {min(beta):.1f} and {max(beta):.1f} deg to the ring's plane; shadow below"
        f" {network.geometry.shadowless_beta_deg:.1f} deg, in {dark} of {len(rows)} looks, at most"
        f" {longest:.0f} minutes a revolution."
    )
    made = [
        Picture(
            "season_sun",
            "The Sun over the ring's plane",
            "Angle of the Sun to the ring's plane, positive to the side of its normal; in the band"
            " the body's shadow falls on the ring.",
            words,
            lambda axis: season(network, axis),
            (7.2, 2.7),
        )
    ]
    if longest > 0:
        made.append(
            Picture(
                "season_shadow",
                "Eclipse seasons",
                "Time in shadow of one revolution, of a cylinder without penumbra.",
                words,
                lambda axis: shadows(network, axis),
                (7.2, 2.4),
            )
        )
    return made
