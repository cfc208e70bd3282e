"""Coverage of the surface, against caps, streets and published figures."""

from __future__ import annotations

import dataclasses
import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from simcheck.kernels.sampled import sampled_motion
from simcheck.networking.coverage import coverage
from simcheck.records.network import Band, Coverage, NetworkAim
from tests.networking.rings import DAY, EARTH, GEO_M, period, ring

SMAD = "Larson and Wertz, SMAD 3rd ed. (from memory)"


def band(found: Coverage, latitude: float) -> Band:
    return next(one for one in found.bands if one.south_deg <= latitude < one.north_deg)


@pytest.mark.reference(SMAD)
def test_one_geostationary_relay() -> None:
    """42.4 % of the surface at any time, the same all day, none beyond 81.3 deg of latitude."""
    times = np.arange(0.0, DAY + 1.0, 600.0)
    found = coverage(ring(GEO_M, 1, times), EARTH, NetworkAim())
    for share in (found.instant_mean, found.instant_least, found.daily_mean, found.daily_least):
        # The relay drifts by 0.01 deg a day; the grid's one sigma is 0.001.
        assert share == pytest.approx(0.424, abs=0.003)
    assert found.at_least == (found.instant_mean,)
    equator = band(found, 5.0)
    assert equator.share_mean == pytest.approx(2 * 81.3 / 360, abs=0.01)
    assert (equator.share_worst, equator.longest_gap_s) == (0.0, math.inf)


@pytest.mark.reference("three geostationary satellites cover latitudes to about 80 deg")
def test_three_geostationary_relays() -> None:
    """Every longitude to 72 deg of latitude, none beyond 81.3, two at once on the equator."""
    times = np.arange(0.0, DAY + 1.0, 600.0)
    found = coverage(ring(GEO_M, 3, times), EARTH, NetworkAim())
    for latitude in (-65.0, -5.0, 5.0, 65.0):
        one = band(found, latitude)
        assert (one.share_mean, one.share_worst, one.longest_gap_s) == (1.0, 1.0, 0.0)
        assert one.relays_least == 1
    assert 0.0 < band(found, 75.0).share_mean < 1.0
    # Rows stand at 82.5 and 87.5 deg: beyond the caps.
    assert band(found, 85.0).share_mean == 0.0
    assert band(found, 85.0).longest_gap_s == math.inf
    # Each sees 162.6 deg of the equator: 487.8 deg in all, 127.8 of them twice.
    assert band(found, 5.0).relays_mean == pytest.approx(487.8 / 360.0, abs=0.01)


@settings(max_examples=20, deadline=None)
@given(st.floats(1.02, 20.0), st.floats(0.0, 1.2), st.floats(0.0, 3.1))
def test_one_relay_covers_its_cap(ratio: float, elevation: float, inclination: float) -> None:
    """(1 - cos(cap)) / 2 of the surface in the mean over a revolution, whatever the orbit."""
    radius = ratio * EARTH.radius_m
    times = np.linspace(0.0, period(radius), 400)
    motion = ring(radius, 1, times, inclination=inclination)
    found = coverage(motion, EARTH, NetworkAim(min_elevation_rad=elevation))
    cap = math.acos(math.cos(elevation) / ratio) - elevation
    # Within a tenth of a degree the grid of 5 deg may see nothing of a cap.
    assert found.instant_mean == pytest.approx((1 - math.cos(cap)) / 2, abs=1.5e-3)


def test_the_street_of_an_equatorial_ring() -> None:
    """cos(street) = cos(cap) / cos(pi / N): rows within it are always covered, the next is not."""
    radius, relays = 10_000e3, 6
    cap = math.acos(EARTH.radius_m / radius * math.cos(math.radians(10))) - math.radians(10)
    street = math.degrees(math.acos(math.cos(cap) / math.cos(math.pi / relays)))
    assert 27.5 < street < 32.5  # between two rows of the grid, the last and first of two bands
    times = np.arange(0.0, DAY + 1.0, 60.0)
    aim = NetworkAim(min_elevation_rad=math.radians(10))
    found = coverage(ring(radius, relays, times), EARTH, aim)
    for one in found.bands:
        inside = one.south_deg >= -30.0 and one.north_deg <= 30.0
        assert (one.share_worst == 1.0) == inside


def test_gaps_against_the_passes_of_an_equatorial_relay() -> None:
    """A place on the equator goes without a relay for the synodic period less its pass."""
    radius = 12_000e3
    times = np.arange(0.0, 3 * DAY + 1.0, 60.0)
    found = coverage(ring(radius, 1, times), EARTH, NetworkAim())
    cap = math.acos(EARTH.radius_m / radius)
    rate = math.tau / period(radius) - math.tau / 86164.090524
    # The row at 2.5 deg of latitude sees the cap's chord there.
    half = math.acos(math.cos(cap) / math.cos(math.radians(2.5)))
    gap = (math.tau - 2 * half) / rate
    row = band(found, 5.0)
    seven = math.acos(math.cos(cap) / math.cos(math.radians(7.5)))
    assert row.longest_gap_s == pytest.approx((math.tau - 2 * seven) / rate, abs=60.0)
    assert row.longest_gap_s > gap - 60.0
    assert row.share_mean == pytest.approx((half + seven) / 2 / math.pi, abs=0.01)


@pytest.mark.parametrize("first", [512, 715])
def test_gaps_go_on_from_chunk_to_chunk(first: int) -> None:
    """A place that sees nothing for a day has a gap of that day, wherever chunks of time begin."""
    times = np.arange(0.0, 4 * DAY + 1.0, 120.0)
    motion = ring(GEO_M, 3, times)
    places = motion.positions.copy()
    places[:, first : first + 721] *= 0.5 * EARTH.radius_m / GEO_M  # below the surface: unseen
    moved = sampled_motion(times, places, np.zeros_like(places))
    found = coverage(moved, EARTH, NetworkAim())
    # 720 steps lie below; halfway down, at 22 700 km, places near the edge of a cap lose sight.
    gaps = [one.longest_gap_s for one in found.bands if abs(one.south_deg + 5.0) < 10.0]
    assert all(720 * 120.0 <= gap <= 722 * 120.0 for gap in gaps)
    assert band(found, 5.0).share_worst == pytest.approx(3 / 4, abs=0.002)


def test_days_are_told_apart() -> None:
    """One of four days in the dark: nothing is seen on it, what is seen on the others stays."""
    times = np.arange(0.0, 4 * DAY + 1.0, 120.0)
    motion = ring(GEO_M, 3, times)
    places = motion.positions.copy()
    places[:, 719:1442] *= 0.5 * EARTH.radius_m / GEO_M
    moved = sampled_motion(times, places, np.zeros_like(places))
    found = coverage(moved, EARTH, NetworkAim())
    assert found.daily_least == 0.0
    # Three caps reach 81.3 deg of latitude at their middles: at most sin(81.3 deg) = 0.9885.
    assert 0.95 < found.daily_mean / (3 / 4) < 0.9885


def test_a_body_that_does_not_turn_keeps_its_places_below() -> None:
    """Under a polar relay a turning Earth sees all its longitudes, a still one only two."""
    radius, times = 7000e3, np.arange(0.0, DAY + 1.0, 60.0)
    motion = ring(radius, 1, times, inclination=math.pi / 2)
    turning = coverage(motion, EARTH, NetworkAim())
    still = dataclasses.replace(EARTH, rotation_period_s=None)
    standing = coverage(motion, still, NetworkAim())
    assert turning.daily_least > 0.99
    cap = math.acos(EARTH.radius_m / radius)
    # All within the cap of a great circle: its zone, sin(cap) of the sphere.
    assert standing.daily_least == pytest.approx(math.sin(cap), abs=0.01)


def test_less_than_a_day_is_one_day() -> None:
    """The daily share of an hour is that of the hour."""
    times = np.arange(0.0, 3601.0, 60.0)
    found = coverage(ring(GEO_M, 1, times), EARTH, NetworkAim())
    assert found.daily_mean == found.daily_least == pytest.approx(found.instant_mean, abs=0.004)
