"""Windows in which sites on the surface see relays above their least elevation."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from simcheck.arrays import Array
from simcheck.kernels.sampled import SampledMotion
from simcheck.kernels.visibility import sine_of_elevation
from simcheck.kernels.windows import Rows, anywhere, longest, maxima, outside, total, windows
from simcheck.networking.surface import body_fixed, place_of, turned_by
from simcheck.records.case import Body
from simcheck.records.network import Site, SiteContacts, Window

_SLACK = 1e-12  # of a sine: 6 micrometres of a relay that stands still on the limit, for rounding


def contacts(
    names: Sequence[str], motion: SampledMotion, body: Body, sites: Sequence[Site]
) -> tuple[SiteContacts, ...]:
    """Each site's windows with each relay over the time of the samples, and what they add up to.

    A pass shorter than a step is found where its highest point is (`kernels.windows`).
    """
    fixed = body_fixed(motion.positions, turned_by(body, motion.times))
    return tuple(_of_site(names, motion, body, site, fixed) for site in sites)


def _of_site(
    names: Sequence[str], motion: SampledMotion, body: Body, site: Site, fixed: Array
) -> SiteContacts:
    place = place_of(site, body)
    least = math.sin(site.min_elevation_rad) - _SLACK

    def over(rows: Rows, times: Array) -> Array:
        relay = body_fixed(motion.at(rows, times), turned_by(body, times))
        return sine_of_elevation(place, relay) - least

    values = sine_of_elevation(place, fixed) - least
    spans = windows(motion.times, values, over)
    tops = maxima(motion.times, values, over)
    found: list[Window] = []
    for relay, name in enumerate(names):
        mine = tops.rows == relay
        highest = _highest(spans[relay], tops.at[mine], tops.height[mine])
        # Before the ends of the samples the highest point may be the end itself.
        rows = np.full(spans[relay].size, relay, dtype=np.intp)
        ends = over(rows, spans[relay].reshape(-1)).reshape(-1, 2)
        sines = np.maximum(highest, ends.max(axis=1, initial=-1.0)) + least
        found += [
            Window(
                relay=name,
                start_s=float(span[0]),
                end_s=float(span[1]),
                max_elevation_deg=math.degrees(math.asin(min(1.0, float(sine)))),
            )
            for span, sine in zip(spans[relay], sines, strict=True)
        ]
    return _summed(site, found, anywhere(spans), motion)


def _highest(spans: Array, at: Array, height: Array) -> Array:
    """The highest maximum within each span, -1 where it holds none."""
    order = np.argsort(at)
    at, height = at[order], height[order]
    bounds = np.searchsorted(at, spans)
    return np.array([height[a:b].max(initial=-1.0) for a, b in bounds.tolist()])


def _summed(site: Site, found: list[Window], merged: Array, motion: SampledMotion) -> SiteContacts:
    start, end = float(motion.times[0]), float(motion.times[-1])
    lengths = [window.end_s - window.start_s for window in found]
    return SiteContacts(
        site=site.name,
        min_elevation_deg=math.degrees(site.min_elevation_rad),
        windows=tuple(sorted(found, key=lambda window: (window.start_s, window.relay))),
        share=total(merged) / (end - start),
        passes=len(merged),
        longest_gap_s=longest(outside(merged, start, end)),
        shortest_window_s=min(lengths, default=None),
        longest_window_s=max(lengths, default=None),
    )
