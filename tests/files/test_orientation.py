"""Poles and prime meridians against other models, astropy, and where bodies are known to face."""

from __future__ import annotations

import math

import numpy as np
import pytest

from simcheck.bodies import NAMES, built_in
from simcheck.files.epochs import DAY_S, Instant, read_date
from simcheck.files.iau_rotation import ROTATIONS
from simcheck.files.orientation import is_built_in, orientation, pole_and_meridian
from simcheck.files.perturbers import moon_from_earth, perturbers
from simcheck.kernels.vectors import angle_between, cross, norm, unit
from tests.helpers import assert_degrees, assert_relative

J2000 = 2451545.0
DATES = [f"{year}-03-01T07:00:00" for year in range(1955, 2096, 7)]


def pole_of(name: str, date: str) -> np.ndarray:
    """North pole in the ICRF."""
    found = orientation(name, read_date(date))
    assert found is not None
    return np.asarray(found.matrix[2])


@pytest.mark.parametrize("name", NAMES)
def test_every_built_in_body_has_one(name: str) -> None:
    """A rotation matrix, an angle, and the spin that the body's constants say."""
    found = orientation(name.lower(), read_date("2031-04-12T06:00:00"))
    assert found is not None
    assert is_built_in(name)
    assert np.allclose(found.matrix @ found.matrix.T, np.eye(3), atol=1e-14)
    assert np.linalg.det(found.matrix) == pytest.approx(1.0)
    assert found.prime_meridian_rad is not None
    assert 0.0 <= found.prime_meridian_rad < 2 * math.pi
    assert len(found.axes) > 10
    assert len(found.source) > 10
    if name != "Earth":
        period = built_in(name).rotation_period_s
        assert period is not None
        # Ceres: the spin of its gravity field's paper, 1e-7 quicker than the report's.
        assert_relative(ROTATIONS[name].w[1], 360.0 * DAY_S / period, within=1e-7)


def test_no_other_body_has_one() -> None:
    assert orientation("Vulcan", read_date("2031-04-12T06:00:00")) is None
    assert not is_built_in("Vulcan")


@pytest.mark.reference("IAU report of 2009 (Archinal et al. 2011), Mars, from memory")
@pytest.mark.parametrize("year", [2000, 2015, 2030])
def test_mars_against_the_report_before(year: int) -> None:
    """The pole and W of 2009 have no periodic terms; those of 2015 stay within 0.01 deg.

    Without the terms of 0.4 to 1.6 deg, or with one of their angles wrong, it is off by that.
    """
    days = (year - 2000) * 365.25
    ra, dec, w = pole_and_meridian(ROTATIONS["Mars"], days)
    century = days / 36525.0
    assert_degrees(ra, 317.68143 - 0.1061 * century, within=0.01)
    assert_degrees(dec, 52.88650 - 0.0609 * century, within=0.01)
    assert_degrees(w, 176.630 + 350.89198226 * days, within=0.01)


@pytest.mark.reference("Tilts against the orbit in fact sheets, from memory")
@pytest.mark.parametrize(
    ("name", "tilt", "within"),
    [
        ("Mercury", 0.034, 0.003),
        ("Venus", 2.64, 0.02),
        ("Earth", 23.44, 0.01),
        ("Mars", 25.19, 0.01),
        ("Ceres", 4.0, 0.1),
        ("Vesta", 27.5, 0.3),
    ],
)
def test_tilts(name: str, tilt: float, within: float) -> None:
    """The angle from the north pole to the normal of the orbit."""
    epoch = read_date("2025-01-01T00:00:00")
    planes = {"Ceres": (10.59, 80.3), "Vesta": (7.14, 103.8)}  # inclination and node, ecliptic
    if name in planes:
        i, node = np.radians(planes[name])
        ecliptic = [math.sin(i) * math.sin(node), -math.sin(i) * math.cos(node), math.cos(i)]
        east = np.array([1.0, 0.0, 0.0])
        normal = np.array([east, cross(ecliptic_pole(), east), ecliptic_pole()]).T @ ecliptic
    else:
        found = orientation(name, epoch)
        assert found is not None
        path = perturbers(name, epoch, found)[-1].position(np.array([0.0, 30.0 * DAY_S]))
        normal = found.matrix.T @ unit(cross(path[0], path[1]))
    pole = pole_of(name, "2025-01-01T00:00:00")
    assert_degrees(np.degrees(angle_between(pole, normal)), tilt, within=within)


@pytest.mark.reference("Poles of Jupiter and Saturn, IAU report of 2015; inclinations, from memory")
@pytest.mark.parametrize(
    ("name", "degrees"),
    [
        ("Io", 0.1),
        ("Europa", 0.6),
        ("Ganymede", 0.3),
        ("Callisto", 0.5),
        ("Titan", 0.7),
        ("Enceladus", 0.05),
    ],
)
def test_locked_moons_stand_upright(name: str, degrees: float) -> None:
    """Their poles are the planet's but for the inclinations of their orbits and small tilts."""
    saturn = name in {"Titan", "Enceladus"}
    ra, dec = np.radians([40.589, 83.537] if saturn else [268.056595, 64.495303])
    planet = np.array([math.cos(dec) * math.cos(ra), math.cos(dec) * math.sin(ra), math.sin(dec)])
    away = angle_between(pole_of(name, "2025-01-01T00:00:00"), planet)
    assert float(np.degrees(away)) < degrees


@pytest.mark.reference("Mercury turns three times in two revolutions, 0 or 180 deg at perihelion")
@pytest.mark.parametrize("days", [0.0, 3000.0, 9000.0, 20000.0])
def test_mercurys_hot_poles(days: float) -> None:
    """At every perihelion the Sun is over one of two meridians, to the 0.4 deg of Hun Kal's."""
    start = read_date("1980-01-01T00:00:00")
    times = np.arange(0.0, 88.0, 0.02)
    epoch = Instant(start.day, start.part + days)
    found = orientation("Mercury", epoch)
    assert found is not None
    assert found.prime_meridian_rad is not None
    (sun,) = perturbers("Mercury", epoch, found)
    there = sun.position(times * DAY_S)
    nearest = int(np.argmin(norm(there)))
    spun = math.degrees(found.prime_meridian_rad) + 6.1385108 * times[nearest]
    over = math.degrees(math.atan2(there[nearest, 1], there[nearest, 0])) - spun
    assert_degrees(2.0 * over, 0.0, within=0.8)


@pytest.mark.reference("Cassini's laws; 1.543 deg between equator and ecliptic, from memory")
@pytest.mark.parametrize("date", DATES)
def test_the_moon_keeps_to_cassinis_laws(date: str) -> None:
    """Its pole is 1.543 deg from the ecliptic's, on the far side of it from its orbit's pole.

    0.05 deg is the size of the physical librations of the pole. The orbit is the ephemeris's, so
    its normal swings by 0.15 deg twice a draconic year, which is 2 deg of its node.
    """
    epoch = read_date(date)
    pole, north = pole_of("Moon", date), ecliptic_pole()
    assert_degrees(np.degrees(angle_between(pole, north)), 1.543, within=0.05)
    places = moon_from_earth(epoch, np.array([-3600.0, 3600.0]))
    orbit = unit(cross(places[0], places[1]))
    assert_degrees(np.degrees(angle_between(pole, orbit)), 1.543 + 5.145, within=0.3)


def ecliptic_pole() -> np.ndarray:
    """Pole of the ecliptic of 2000 in the ICRF, which moves by 0.013 deg a century."""
    obliquity = math.radians(23.4392911)
    return np.array([0.0, -math.sin(obliquity), math.cos(obliquity)])


@pytest.mark.reference("optical librations of the Moon: 7.9 deg in longitude, 6.9 in latitude")
def test_the_earth_stands_over_the_moons_prime_meridian() -> None:
    """Never more than the librations away from it, and at each extreme some time; nor on average.

    Every fifth day for a century.
    """
    points = []
    for k in range(0, 36500, 5):
        epoch = read_date("1955-01-01T00:00:00")
        epoch = Instant(epoch.day, epoch.part + k)
        longitude, latitude = sub_earth_point(epoch)
        points.append((math.remainder(longitude, 360.0), latitude))
    longitudes, latitudes = np.transpose(points)
    assert 7.7 < longitudes.max() < 8.2
    assert -8.2 < longitudes.min() < -7.7
    assert 6.6 < latitudes.max() < 7.0
    assert -7.0 < latitudes.min() < -6.6
    assert_degrees([longitudes.mean(), latitudes.mean()], [0.0, 0.0], within=0.05)


def sub_earth_point(epoch: Instant) -> tuple[float, float]:
    """Longitude and latitude in degrees of the Earth as seen from the Moon."""
    found = orientation("Moon", epoch)
    assert found is not None
    assert found.prime_meridian_rad is not None
    x, y, z = found.matrix @ -unit(moon_from_earth(epoch, np.zeros(1))[0])
    return math.degrees(math.atan2(y, x) - found.prime_meridian_rad), math.degrees(math.asin(z))


@pytest.mark.reference("Meeus 1998, formulae 53.1 of the optical librations, from memory")
@pytest.mark.parametrize("date", DATES)
def test_optical_librations(date: str) -> None:
    """Cassini's laws make the sub-Earth point of the Moon's longitude and latitude, node and F.

    What is left are the physical librations, some 0.04 deg.
    """
    import erfa

    epoch = read_date(date)
    century = (epoch.day - J2000 + epoch.part) / 36525.0
    x, y, z = erfa.ecm06(epoch.day, epoch.part) @ unit(moon_from_earth(epoch, np.zeros(1))[0])
    latitude, tilt = math.asin(z), math.radians(1.54242)
    node = math.radians(125.0445479 - 1934.1362891 * century + 0.0020754 * century**2)
    along = 93.2720950 + 483202.0175233 * century - 0.0036539 * century**2
    w = math.atan2(y, x) - node
    up = math.sin(w) * math.cos(latitude) * math.cos(tilt) - math.sin(latitude) * math.sin(tilt)
    angle = math.atan2(up, math.cos(w) * math.cos(latitude))
    turned = -math.sin(w) * math.cos(latitude) * math.sin(tilt) - z * math.cos(tilt)
    expected = math.degrees(angle) - along, math.degrees(math.asin(turned))
    assert_degrees(sub_earth_point(epoch), expected, within=0.05)


@pytest.mark.reference("Meeus 1998, example 53.a: -1.23 and +4.20 deg in all, from memory")
def test_librations_of_a_day() -> None:
    """1992 April 12, 0h TD: optical and physical librations together.

    His are those of the Moon's principal axes, whose pole is 0.022 deg (79 arcseconds) off that of
    the mean Earth and polar axes, in which the IAU gives the rotation.
    """
    point = sub_earth_point(read_date("1992-04-12T00:00:00"))
    assert_degrees(point, [-1.23, 4.20], within=0.03)


@pytest.mark.reference("astropy: GCRS to ITRS with the measured Earth orientation (IERS-B)")
@pytest.mark.parametrize(
    "date", ["1988-05-03T10:00:00", "2004-04-06T07:51:28", "2015-06-30T23:00:00"]
)
def test_the_earth_against_astropy(date: str) -> None:
    """Pole within the 0.5 arcseconds of polar motion, Greenwich within 0.9 s of UT1 - UTC."""
    from astropy import units as u
    from astropy.coordinates import GCRS, ITRS, CartesianRepresentation
    from astropy.time import Time
    from astropy.utils import iers

    found = orientation("Earth", read_date(date, "UTC"))
    assert found is not None
    assert found.prime_meridian_rad is not None
    with iers.conf.set_temp("auto_download", False):
        time = Time(date, scale="utc")
        fixed = CartesianRepresentation(np.eye(3) * 1e9 * u.m)
        axes = ITRS(fixed, obstime=time).transform_to(GCRS(obstime=time)).cartesian.xyz.value / 1e9
    greenwich, pole = found.matrix @ axes[:, 0], found.matrix @ axes[:, 2]
    assert_degrees(np.degrees(angle_between(pole, np.array([0.0, 0.0, 1.0]))), 0.0, 0.5 / 3600)
    east = math.degrees(math.atan2(greenwich[1], greenwich[0]))
    assert_degrees(math.degrees(found.prime_meridian_rad), east, within=0.9 * 15.0411 / 3600)


def test_before_utc_the_earth_has_no_prime_meridian() -> None:
    """Its pole is known all the same."""
    found = orientation("Earth", read_date("1950-01-01T00:00:00"))
    assert found is not None
    assert found.prime_meridian_rad is None


@pytest.mark.reference("Laplace's resonance: longitudes l1 - 3 l2 + 2 l3 = 180 deg, always")
@pytest.mark.parametrize("date", DATES[::4])
def test_the_moons_of_jupiter_keep_their_resonance(date: str) -> None:
    """Jupiter is where the moons face, so their longitudes are known; in a century, 0.03 deg.

    The report's prime meridians leave 0.64 deg, the same at every date; a wrong rate, sign or W
    leaves any angle.
    """
    epoch, longitudes = read_date(date), []
    pole = pole_of("Callisto", date)
    node = unit(cross(np.array([0.0, 0.0, 1.0]), pole))
    for name in ("Io", "Europa", "Ganymede"):
        found = orientation(name, epoch)
        assert found is not None
        jupiter = perturbers(name, epoch, found)[0].position(np.zeros(1))[0]
        moon = -found.matrix.T @ jupiter
        longitudes.append(math.atan2(moon @ cross(pole, node), moon @ node))
    one, two, three = np.degrees(longitudes)
    assert_degrees(one - 3.0 * two + 2.0 * three, 180.0, within=0.8)
