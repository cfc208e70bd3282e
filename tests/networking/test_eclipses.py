"""Eclipses of relays, against published durations and closed forms."""

from __future__ import annotations

import math

import numpy as np
import pytest

from simcheck.networking.eclipses import _velocities, eclipses, season
from tests.helpers import assert_metres_per_second
from tests.networking.rings import DAY, EARTH, GEO_M, names, period, ring

AU_M = 149597870700.0


def sun(times: np.ndarray, declination: float = 0.0, rate: float = 0.0) -> np.ndarray:
    """A Sun that goes around the equator, or stands above it."""
    flat = AU_M * math.cos(declination)
    along = math.pi + rate * times
    height = np.full(len(times), AU_M * math.sin(declination))
    return np.stack([flat * np.cos(along), flat * np.sin(along), height], axis=-1)


@pytest.mark.reference(
    "geostationary eclipse at the equinox, common practice: 72 min, 67 min of it"
)
def test_the_geostationary_eclipse() -> None:
    """Up to 72 min with the penumbra, 67 min in the umbra, one a day, seen on a coarse grid too."""
    for step in (60.0, 600.0):
        times = np.arange(-0.5 * DAY, 1.5 * DAY, step)
        (found,) = eclipses(names(1), ring(GEO_M, 1, times), sun(times), EARTH)
        assert len(found.eclipses) == 2
        assert found.longest_s / 60.0 == pytest.approx(72.0, abs=0.6)
        assert found.longest_umbra_s / 60.0 == pytest.approx(67.0, abs=0.6)
        # The discs by hand: 8.7005 deg of the Earth, 0.2666 of the Sun, 1436.07 min a turn.
        whole = (8.7005 + 0.2666) / 180.0 * 1436.07
        assert found.longest_s / 60.0 == pytest.approx(whole, abs=0.1)
        one = found.eclipses[1]
        # The relay turns once a sidereal day, and this Sun stands still.
        assert (one.start_s + one.end_s) / 2 == pytest.approx(86164.09, abs=0.1)
        assert one.umbra_s == pytest.approx(found.longest_umbra_s, abs=1.0)
        assert found.share == pytest.approx(2 * found.longest_s / (times[-1] - times[0]), rel=1e-3)
        assert (found.beta_least_deg, found.beta_most_deg) == pytest.approx((0.0, 0.0), abs=1e-9)


def test_the_suns_speed_by_differences_is_good_to_a_millimetre_a_second() -> None:
    """Of 30 km/s, at ten minutes; uneven steps and two samples will do."""
    rate = 2 * math.pi / (365.25 * DAY)
    for times in (np.arange(0.0, DAY, 600.0), np.array([0.0, 300.0, 900.0, 1500.0])):
        found = _velocities(times, sun(times, rate=rate))
        along = math.pi + rate * times
        due = AU_M * rate * np.stack([-np.sin(along), np.cos(along), 0.0 * along], axis=-1)
        assert_metres_per_second(found, due, within=1e-3)
    two = np.array([0.0, 60.0])
    assert_metres_per_second(_velocities(two, sun(two, rate=rate)), due[0], within=0.2)


def test_no_eclipse_out_of_season() -> None:
    """None at the solstice; at 8.8 deg, past the umbra's edge, penumbra alone."""
    times = np.arange(-0.5 * DAY, 0.5 * DAY, 120.0)
    motion = ring(GEO_M, 1, times)
    (solstice,) = eclipses(names(1), motion, sun(times, math.radians(23.4)), EARTH)
    assert (solstice.eclipses, solstice.share, solstice.longest_s) == ((), 0.0, 0.0)
    assert solstice.beta_most_deg == pytest.approx(23.4, abs=1e-9)
    (edge,) = eclipses(names(1), motion, sun(times, math.radians(8.8)), EARTH)
    assert len(edge.eclipses) == 1
    assert edge.eclipses[0].umbra_s == edge.umbra_share == 0.0
    assert edge.share > 0.0


@pytest.mark.parametrize("beta_deg", [0.0, 20.0, 40.0])
def test_a_low_orbit_against_the_cylinder(beta_deg: float) -> None:
    """Umbra and penumbra lie on either side of the cylinder's time, and their mean is near it."""
    radius = 7_000e3
    times = np.arange(0.0, 4 * period(radius), 60.0)
    (found,) = eclipses(names(1), ring(radius, 1, times), sun(times, math.radians(beta_deg)), EARTH)
    far = math.sqrt(1 - (EARTH.radius_m / radius) ** 2)
    cylinder = period(radius) / math.pi * math.acos(far / math.cos(math.radians(beta_deg)))
    assert found.longest_umbra_s < cylinder < found.longest_s
    mean = (found.longest_umbra_s + found.longest_s) / 2
    assert mean == pytest.approx(cylinder, abs=1.0)  # of 8 s each way: 0.27 deg at each end


def test_every_relay_has_its_turn() -> None:
    """Four relays are eclipsed a quarter of a revolution apart."""
    times = np.arange(0.0, DAY + 1.0, 60.0)
    found = eclipses(names(4), ring(20_000e3, 4, times), sun(times), EARTH)
    middles = np.array([[(e.start_s + e.end_s) / 2 for e in one.eclipses][1] for one in found])
    quarter = period(20_000e3) / 4
    apart = np.mod(middles - middles[0], period(20_000e3)) / quarter
    assert apart == pytest.approx([0.0, 3.0, 2.0, 1.0], abs=0.01)


@pytest.mark.reference("geostationary eclipse seasons, common practice: some 45 days, twice a year")
def test_the_geostationary_season() -> None:
    """Two seasons a year around the equinoxes, of some 45 days, up to 69.4 min in the cylinder."""
    days = np.arange(0.0, 365.25, 0.25)
    longitude = math.tau * days / 365.25
    tilt = math.radians(23.44)
    toward = np.stack(
        [
            np.cos(longitude),
            np.sin(longitude) * math.cos(tilt),
            np.sin(longitude) * math.sin(tilt),
        ],
        axis=-1,
    )
    normals = np.broadcast_to([0.0, 0.0, 1.0], toward.shape)
    rows = season(days * DAY, normals, toward, GEO_M, EARTH)
    dark = np.array([row.shadow_s for row in rows])
    assert dark.max() / 60.0 == pytest.approx(69.4, abs=0.05)
    assert np.count_nonzero(dark) * 0.25 / 2 == pytest.approx(45.0, abs=1.5)
    beginnings = np.count_nonzero((dark[1:] > 0.0) & (dark[:-1] == 0.0))
    assert beginnings == 2  # the year begins within a season
    assert max(row.beta_deg for row in rows) == pytest.approx(23.44, abs=0.01)
