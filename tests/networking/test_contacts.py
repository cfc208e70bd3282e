"""Windows of sites, against dense sampling of exact motion and against geometry."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from simcheck.networking.contacts import contacts
from simcheck.records.network import Site
from tests.networking.rings import DAY, EARTH, GEO_M, circular, names, period, ring

SPIN = math.tau / 86164.090524


def elevations(site: Site, places: np.ndarray, times: np.ndarray) -> np.ndarray:
    """Elevation (M, T) rad by turning the site, not the relays."""
    longitude = site.longitude_rad + SPIN * times
    up = np.stack(
        [
            math.cos(site.latitude_rad) * np.cos(longitude),
            math.cos(site.latitude_rad) * np.sin(longitude),
            np.full(len(times), math.sin(site.latitude_rad)),
        ],
        axis=-1,
    )
    away = places - (EARTH.radius_m + site.altitude_m) * up
    return np.arcsin(np.sum(away * up, axis=-1) / np.linalg.norm(away, axis=-1))


@settings(max_examples=25, deadline=None)
@given(
    st.floats(6_700e3, 30_000e3),
    st.floats(0.0, 3.1),
    st.floats(-1.5, 1.5),
    st.floats(0.0, 6.2),
    st.floats(0.0, 0.6),
)
def test_windows_against_dense_sampling(
    radius: float, inclination: float, latitude: float, longitude: float, least: float
) -> None:
    """Every window of every relay, its edges to 2 s and its height, none more and none less."""
    site = Site(
        name="S",
        latitude_rad=latitude,
        longitude_rad=longitude,
        altitude_m=2e3,
        min_elevation_rad=least,
    )
    times = np.arange(0.0, DAY / 2 + 1.0, 60.0)
    (found,) = contacts(names(2), ring(radius, 2, times, inclination=inclination), EARTH, [site])
    dense = np.arange(0.0, DAY / 2, 2.0)
    heights = elevations(site, circular(radius, 2, dense, inclination=inclination)[0], dense)
    for k, name in enumerate(names(2)):
        mine = [window for window in found.windows if window.relay == name]
        inside = np.zeros(len(dense), dtype=bool)
        for window in mine:
            within = (dense >= window.start_s) & (dense <= window.end_s)
            inside |= within
            if within.any():
                highest = math.degrees(heights[k][within].max())
                assert window.max_elevation_deg > highest - 1e-3
                # Right overhead the elevation changes by a degree in 2 s, its sine by a 4000th.
                sine = math.sin(math.radians(window.max_elevation_deg))
                assert sine == pytest.approx(math.sin(math.radians(highest)), abs=5e-4)
        up = heights[k] >= least
        # Where sampling and windows differ it is by less than the sampling, and by the cubic's
        # 1 m, at an edge.
        differ = np.flatnonzero(inside != up)
        assert np.abs(heights[k][differ] - least).max(initial=0.0) < 1e-5
    together = (heights >= least).any(axis=0)
    assert found.share == pytest.approx(together.mean(), abs=3e-3)


@settings(max_examples=25, deadline=None)
@given(st.floats(7_000e3, 30_000e3), st.floats(0.3, 1.5), st.floats(0.0, 0.4))
def test_the_number_of_windows_does_not_depend_on_the_grid(
    radius: float, inclination: float, least: float
) -> None:
    """A sample every 30 s, 50 s or 2 min gives as many windows of more than a few seconds."""
    site = Site(name="S", latitude_rad=0.5, longitude_rad=1.0, min_elevation_rad=least)
    found = []
    for step in (30.0, 50.0, 120.0):
        times = np.arange(0.0, DAY + 1.0, step)
        motion = ring(radius, 1, times, inclination=inclination)
        (one,) = contacts(names(1), motion, EARTH, [site])
        end = times[-1]
        lengths = [w.end_s - w.start_s for w in one.windows if w.start_s > 0.0 and w.end_s < end]
        found.append(sorted(lengths))
    limit = 20.0  # the highest point moves by a few metres with the grid, and a short pass with it
    counts = [sum(length > limit for length in lengths) for lengths in found]
    near = [any(limit - 10.0 < length < limit + 10.0 for length in lengths) for lengths in found]
    if not any(near):
        assert counts[0] == counts[1] == counts[2]


def test_a_pass_between_two_samples_is_found() -> None:
    """Samples 10 min apart, a pass of less than that right between two of them."""
    radius = 7_000e3
    site = Site(name="S", latitude_rad=0.0, longitude_rad=0.0, min_elevation_rad=math.radians(30))
    times = np.arange(-900.0, 901.0, 600.0)  # overhead at 0, halfway between -300 and 300
    dense_times = np.arange(-900.0, 901.0, 60.0)
    (coarse,) = contacts(names(1), ring(radius, 1, times), EARTH, [site])
    (fine,) = contacts(names(1), ring(radius, 1, dense_times), EARTH, [site])
    assert len(coarse.windows) == len(fine.windows) == 1
    # By hand: the cap of 30 deg is passed at the rate relative to the ground.
    cap = math.acos(EARTH.radius_m / radius * math.cos(math.radians(30))) - math.radians(30)
    half = cap / (math.tau / period(radius) - SPIN)
    assert half < 300.0
    assert fine.windows[0].start_s == pytest.approx(-half, abs=0.01)
    assert fine.windows[0].end_s == pytest.approx(half, abs=0.01)
    assert fine.windows[0].max_elevation_deg == pytest.approx(90.0, abs=0.01)
    assert coarse.windows[0].end_s == pytest.approx(half, abs=5.0)  # the cubic over 0.6 rad


def test_a_geostationary_relay_never_sets() -> None:
    """One window from end to end, at the elevation of plane trigonometry."""
    times = np.arange(0.0, 2 * DAY, 600.0)
    sites = [
        Site(name="below", latitude_rad=0.0, longitude_rad=0.0),
        Site(name="north", latitude_rad=math.radians(60.0), longitude_rad=0.0),
        Site(name="behind", latitude_rad=0.0, longitude_rad=math.pi),
    ]
    below, north, behind = contacts(names(1), ring(GEO_M, 1, times), EARTH, sites)
    for one in (below, north):
        assert [(w.start_s, w.end_s) for w in one.windows] == [(0.0, times[-1])]
        assert (one.share, one.passes, one.longest_gap_s) == (1.0, 1, 0.0)
    tangent = (math.cos(math.radians(60)) - EARTH.radius_m / GEO_M) / math.sin(math.radians(60))
    highest = north.windows[0].max_elevation_deg
    assert highest == pytest.approx(math.degrees(math.atan(tangent)), abs=1e-3)
    assert (behind.windows, behind.share, behind.passes) == ((), 0.0, 0)
    assert behind.longest_gap_s == times[-1]
    assert behind.shortest_window_s is None


def test_windows_of_several_relays_are_merged_for_the_share() -> None:
    """Eight relays in one plane overlap: eight times the windows, no gap, one pass."""
    times = np.arange(0.0, DAY + 1.0, 60.0)
    site = Site(name="S", latitude_rad=0.1, longitude_rad=0.0, min_elevation_rad=0.1)
    (found,) = contacts(names(8), ring(15_000e3, 8, times), EARTH, [site])
    assert (found.share, found.passes, found.longest_gap_s) == (1.0, 1, 0.0)
    assert {window.relay for window in found.windows} == set(names(8))
    starts = [window.start_s for window in found.windows]
    assert starts == sorted(starts)
