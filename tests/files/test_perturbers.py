"""Where other bodies are, against astropy's ephemeris and published events.

Events are seen from the Earth's centre with light time; here positions are geometric, so each
body is taken where it was when its light left.
"""

from __future__ import annotations

import math

import numpy as np
import pytest

from simcheck.bodies import NAMES, built_in
from simcheck.files.ephemeris import built_in_perturbers
from simcheck.files.epochs import DAY_S, Instant, read_date
from simcheck.files.orientation import orientation
from simcheck.files.perturbers import perturbers
from simcheck.kernels.vectors import angle_between, cross, norm, unit
from simcheck.records.sky import AU_M
from tests.helpers import assert_degrees, assert_metres, assert_relative

EPOCH = read_date("2031-04-12T06:00:00")
LIGHT_M_S = 299792458.0
PLANETS = ("Mercury", "Venus", "Earth", "Mars")


def place(seen: str, name: str, epoch: Instant, seconds: float = 0.0) -> np.ndarray:
    """Of a body as seen from a built-in one, in the ICRF, m."""
    found = orientation(name, epoch)
    assert found is not None
    body = next(one for one in perturbers(name, epoch, found) if one.name == seen)
    return np.asarray(found.matrix.T @ body.position(np.array([seconds]))[0])


def from_earth(name: str, epoch: Instant) -> np.ndarray:
    """The Sun or a planet as seen from the Earth's centre, where its light left it."""
    there = place("Sun", "Earth", epoch)
    for _ in range(3):
        back = -float(norm(there)) / LIGHT_M_S
        there = place("Sun", "Earth", epoch, back)
        if name != "Sun":
            there = place("Sun", "Earth", epoch) - place("Sun", name, epoch, back)
    return there


# ---------------------------------------------------------------- against astropy


@pytest.mark.reference("astropy.coordinates.get_body_barycentric, ephemeris 'builtin'")
@pytest.mark.parametrize("name", [*PLANETS, "Moon", "Io", "Titan"])
@pytest.mark.parametrize("day", ["1958-02-03", "2031-04-12", "2092-11-30"])
def test_the_sun_is_where_astropy_has_it(name: str, day: str) -> None:
    """The same theories by another way: barycentric, in the ICRS; 1 km is 1e-8 of the distance."""
    from astropy.coordinates import get_body_barycentric
    from astropy.time import Time

    date = f"{day}T04:00:00"
    time = Time(date, scale="tdb")
    whole = {"Io": "jupiter", "Titan": "saturn"}.get(name, name.lower())
    sun, body = (get_body_barycentric(x, time, "builtin").xyz.to_value("m") for x in ("sun", whole))
    assert_metres(place("Sun", name, read_date(date)), sun - body, within=1e3)


@pytest.mark.reference("astropy.coordinates.get_body_barycentric, ephemeris 'builtin'")
def test_the_moon_is_where_astropy_has_it() -> None:
    """And the Earth from the Moon is the other way round."""
    from astropy.coordinates import get_body_barycentric
    from astropy.time import Time

    time = Time("2031-04-12T06:00:00", scale="tdb")
    ends = (get_body_barycentric(x, time, "builtin").xyz.to_value("m") for x in ("moon", "earth"))
    moon, earth = ends
    assert_metres(place("Moon", "Earth", EPOCH), moon - earth, within=10.0)
    assert_metres(place("Earth", "Moon", EPOCH), earth - moon, within=10.0)


# ---------------------------------------------------------------- against published values


@pytest.mark.reference("Meeus 1998, Astronomical Algorithms, example 47.a, from memory")
def test_the_moon_of_meeus() -> None:
    """1992 April 12, 0h TD; his longitude has the light time in it, 0.7 arcseconds."""
    import erfa

    epoch = read_date("1992-04-12T00:00:00")
    moon = place("Moon", "Earth", epoch)
    x, y, z = erfa.ecm06(epoch.day, epoch.part) @ moon
    assert norm(moon) == pytest.approx(368409.7e3, abs=0.1e3)  # the printed digits
    assert_degrees(math.degrees(math.atan2(y, x)), 133.162655 + 0.70 / 3600.0, within=3e-5)
    assert_degrees(math.degrees(math.atan2(z, math.hypot(x, y))), -3.229126, within=2e-5)


@pytest.mark.reference("Meeus 1998, example 25.b: VSOP87 in full gives 0.99760853 au, from memory")
def test_the_sun_of_meeus() -> None:
    """1992 October 13, 0h TD; the longitude is his 199.907347 deg of the shorter theory."""
    import erfa

    epoch = read_date("1992-10-13T00:00:00")
    sun = place("Sun", "Earth", epoch)
    x, y, _ = erfa.ecm06(epoch.day, epoch.part) @ sun
    assert norm(sun) / AU_M == pytest.approx(0.99760853, abs=2e-8)
    assert_degrees(math.degrees(math.atan2(y, x)), 199.907347, within=1.0 / 3600.0)


@pytest.mark.reference("Distance at the opposition of 2003: 55,758,006 km, from memory")
def test_mars_at_its_closest() -> None:
    """2003-08-27 09:51 UTC; plan94 is given with 9000 km for Mars."""
    epoch = read_date("2003-08-27T09:51:13", "UTC")
    gap = place("Sun", "Earth", epoch) - place("Sun", "Mars", epoch)
    assert norm(gap) == pytest.approx(55758006e3, abs=9000e3)


@pytest.mark.reference("Transits: least distances of 554.4 and 75.9 arcseconds, from memory")
@pytest.mark.parametrize(
    ("name", "date", "arcsec"),
    [("Venus", "2012-06-06T01:29:36", 554.4), ("Mercury", "2019-11-11T15:20:00", 75.9)],
)
def test_transits(name: str, date: str, arcsec: float) -> None:
    """From the Earth's centre, with light time; 7 arcseconds are what plan94 is given with."""
    epoch = read_date(date, "UTC")
    apart = angle_between(from_earth(name, epoch), from_earth("Sun", epoch))
    assert_degrees(np.degrees(apart), arcsec / 3600.0, within=7.0 / 3600.0)


@pytest.mark.reference("Great conjunction of 2020-12-21 18:20 UTC: 6.1 arcminutes, from memory")
def test_jupiter_and_saturn_meet() -> None:
    """Seen by way of their moons; plan94's 78 and 87 arcseconds are 2.75 arcminutes together."""
    epoch = read_date("2020-12-21T18:20:00", "UTC")
    there = [from_earth(moon, epoch) for moon in ("Io", "Titan")]
    assert_degrees(np.degrees(angle_between(*there)), 6.1 / 60.0, within=2.75 / 60.0)


@pytest.mark.reference("Perigee of 2016-11-14 11:21 UTC: 356,509 km, from memory")
def test_a_close_moon() -> None:
    """moon98 is given with 32 km at worst."""
    epoch = read_date("2016-11-14T11:21:00", "UTC")
    assert norm(place("Moon", "Earth", epoch)) == pytest.approx(356509e3, abs=32e3)


@pytest.mark.reference("Eclipse of 2017-08-21 18:25:32 UTC: gamma 0.4367, from memory")
def test_an_eclipse() -> None:
    """The shadow's axis passes the Earth's centre at gamma radii, seen from the Moon.

    The aberration of sunlight, 20.5 arcseconds, moves it by 38 km at the Earth: 0.006 radii.
    """
    epoch = read_date("2017-08-21T18:25:32", "UTC")
    axis, earth = unit(place("Sun", "Moon", epoch)), place("Earth", "Moon", epoch)
    assert norm(cross(earth, axis)) / 6378137.0 == pytest.approx(0.4367, abs=0.008)


@pytest.mark.reference("Equinoxes and solstices of 2024 and 2025 in UTC, almanac, from memory")
@pytest.mark.parametrize(
    ("date", "right_ascension"),
    [
        ("2024-09-22T12:44:00", 180.0),
        ("2024-12-21T09:21:00", 270.0),
        ("2025-03-20T09:01:00", 0.0),
        ("2025-06-21T02:42:00", 90.0),
    ],
)
def test_seasons_of_the_earth(date: str, right_ascension: float) -> None:
    """In the case's axes the Sun is on x and y; a minute, as they are printed, is 0.0008 deg."""
    epoch = read_date(date, "UTC")
    found = orientation("Earth", epoch)
    assert found is not None
    x, y, z = found.matrix @ from_earth("Sun", epoch)
    assert_degrees(math.degrees(math.atan2(y, x)), right_ascension, within=0.0008)
    declination = math.degrees(math.atan2(z, math.hypot(x, y)))
    expected = 23.4384 * math.sin(math.radians(right_ascension))  # the true obliquity of the year
    assert declination == pytest.approx(expected, abs=0.0004)


@pytest.mark.reference("Equation of time in 2025: its four extremes, almanac, from memory")
@pytest.mark.parametrize(
    ("date", "minutes"),
    [("02-11", -14.22), ("05-14", 3.66), ("07-26", -6.55), ("11-03", 16.45)],
)
def test_the_sun_at_noon_in_greenwich(date: str, minutes: float) -> None:
    """Its hour angle at 12:00 is the equation of time, to the 3 s of memory and UT1."""
    epoch = read_date(f"2025-{date}T12:00:00", "UTC")
    found = orientation("Earth", epoch)
    assert found is not None
    assert found.prime_meridian_rad is not None
    x, y, _ = found.matrix @ from_earth("Sun", epoch)
    hour_angle = math.degrees(found.prime_meridian_rad - math.atan2(y, x))
    assert_degrees(hour_angle, minutes / 4.0, within=3.0 / 240.0)


@pytest.mark.reference("Years of Mars: beginnings of its seasons in UTC days, from memory")
@pytest.mark.parametrize(
    ("date", "season"),
    [
        ("2022-12-26T12:00:00", 0.0),
        ("2023-07-12T12:00:00", 90.0),
        ("2024-01-12T12:00:00", 180.0),
        ("2024-06-07T12:00:00", 270.0),
        ("2024-11-12T12:00:00", 360.0),
    ],
)
def test_seasons_of_mars(date: str, season: float) -> None:
    """Ls is the Sun's angle along Mars's orbit from the node on the equator; half a day is 0.3 deg.

    The declination is that of an equator tilted by 25.19 deg.
    """
    epoch = read_date(date, "UTC")
    found = orientation("Mars", epoch)
    assert found is not None
    (sun,) = perturbers("Mars", epoch, found)
    path = sun.position(np.array([0.0, DAY_S]))
    normal = unit(cross(path[0], path[1]))
    node = unit(cross(np.array([0.0, 0.0, 1.0]), normal))
    ls = math.atan2(path[0] @ cross(normal, node), path[0] @ node)
    assert_degrees(math.degrees(ls), season, within=0.3)
    declination = math.degrees(math.asin(unit(path[0])[2]))
    expected = math.degrees(math.asin(math.sin(math.radians(25.19)) * math.sin(ls)))
    assert declination == pytest.approx(expected, abs=0.01)


@pytest.mark.reference("Allison and McEwen 2000, 2000-01-06 0h UTC: 174.726 W, Ls 277.188, memory")
def test_the_sun_over_mars() -> None:
    """Subsolar longitude by way of the prime meridian: 0.01 deg is 2 s of Mars's rotation."""
    epoch = read_date("2000-01-06T00:00:00", "UTC")
    found = orientation("Mars", epoch)
    assert found is not None
    assert found.prime_meridian_rad is not None
    x, y, z = perturbers("Mars", epoch, found)[0].position(np.zeros(1))[0]
    west = math.degrees(found.prime_meridian_rad - math.atan2(y, x))
    assert_degrees(west, 174.726, within=0.01)
    expected = math.asin(0.42565 * math.sin(math.radians(277.188)))
    assert_degrees(math.degrees(math.atan2(z, math.hypot(x, y))), math.degrees(expected), 0.02)


@pytest.mark.reference("Semi-major axes in JPL's table of mean elements, from memory")
@pytest.mark.parametrize(
    ("name", "distance_km"),
    [
        ("Io", 421800.0),
        ("Europa", 671100.0),
        ("Ganymede", 1070400.0),
        ("Callisto", 1882700.0),
        ("Titan", 1221870.0),
        ("Enceladus", 238040.0),
    ],
)
def test_distances_of_locked_moons(name: str, distance_km: float) -> None:
    """0.06 % is the flattening of the planet, which Kepler's third law leaves out."""
    found = orientation(name, EPOCH)
    assert found is not None
    planet = perturbers(name, EPOCH, found)[0].position(np.linspace(0.0, 1e6, 9))
    assert_relative(norm(planet), np.full(9, distance_km * 1e3), within=6e-4)


@pytest.mark.parametrize("name", ["Io", "Titan"])
def test_a_locked_moon_faces_its_planet(name: str) -> None:
    """The prime meridian, turning with the body's spin, stays under the planet for a month."""
    body, found = built_in(name), orientation(name, EPOCH)
    assert found is not None
    assert found.prime_meridian_rad is not None
    assert body.rotation_period_s is not None
    times = np.linspace(0.0, 30.0 * DAY_S, 50)
    planet = perturbers(name, EPOCH, found)[0].position(times)
    spun = found.prime_meridian_rad + 2.0 * math.pi * times / body.rotation_period_s
    assert_degrees(np.degrees(np.arctan2(planet[:, 1], planet[:, 0])), np.degrees(spun), 1e-9)
    assert np.all(planet[:, 2] == 0.0)


def test_what_is_seen_from_where() -> None:
    """Each body sees what its documentation says, the Sun last."""
    seen = {name: [x.name for x in built_in_perturbers(built_in(name), EPOCH)] for name in NAMES}
    assert seen == {
        **{key: ["Sun"] for key in ("Mercury", "Venus", "Mars")},
        "Earth": ["Moon", "Sun"],
        "Moon": ["Earth", "Sun"],
        **{key: ["Jupiter", "Sun"] for key in ("Io", "Europa", "Ganymede", "Callisto")},
        **{key: ["Saturn", "Sun"] for key in ("Titan", "Enceladus")},
        **{key: [] for key in ("Ceres", "Vesta")},
    }
