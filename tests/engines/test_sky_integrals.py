"""What motion under other bodies and sunlight keeps, and what is published of it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from simcheck.engines.batches import TaylorBatches
from simcheck.engines.gravity import Gravity
from simcheck.engines.pulls import place_of, push_of
from simcheck.engines.taylor import TaylorPropagator
from simcheck.files.ephemeris import default_period
from simcheck.kernels.vectors import cross, dot, norm
from simcheck.records.sky import AU_M, SUN_PRESSURE_N_M2, Sky, Sunlight
from tests.engines import skies
from tests.engines.bench import period, state
from tests.engines.skies import (
    DAY_S,
    EARTH,
    HIGH,
    MOON,
    SAIL,
    SUN,
    switchings,
)
from tests.helpers import assert_metres, assert_relative
from tests.strategies import BODIES, TAU

# ------------------------------------------------------------------- what is kept


def test_the_jacobi_integral_is_kept() -> None:
    """About a body with zonals, under one more on a circle in its equator: to 1e-13 over a month.

    v^2/2 - U - gm (1/|d - r| - r.d/d^3) - W h_z, W the rate of the circle (Roy 2005, section 5.9).
    """
    body = replace(EARTH, inclination_rad=0.0)
    gravity = skies.about_the_moon(Sky(pulling=(skies.track(body, 60.0),)))
    p, y = TaylorPropagator(gravity), HIGH
    times = np.linspace(1e3, 28 * DAY_S, 60)
    rows = np.concatenate([[y], p.sample(0.0, y, times)])
    times = np.append(0.0, times)
    found = jacobi(gravity, rows, times, TAU / body.period_s)
    energy = jacobi(gravity, rows, times, 0.0)
    assert np.ptp(energy) > 1e-4 * abs(energy[0])
    assert np.ptp(found) < 3e-12 * abs(found[0])


def jacobi(gravity: Gravity, rows: np.ndarray, times: np.ndarray, rate: float) -> np.ndarray:
    """Its value (n,) in J/kg at states (n, 7), for all that pulls or pushes."""
    r, v = rows[:, :3], rows[:, 3:6]
    size = norm(r)
    s = r[:, 2] / size
    potential = gravity.gm / size
    legendre = [(3 * s**2 - 1) / 2, (5 * s**3 - 3 * s) / 2, (35 * s**4 - 30 * s**2 + 3) / 8]
    for n, (j, p) in enumerate(zip(gravity.zonals, legendre, strict=True), start=2):
        potential = potential - gravity.gm / size * j * (gravity.radius / size) ** n * p
    assert gravity.sky is not None
    for track in gravity.sky.pulling:
        d = place_of(track, times)
        far = norm(d)
        potential = potential + track.gm_m3_s2 * (1 / norm(d - r) - dot(r, d) / far**3)
    if gravity.sky.sunlight is not None and gravity.sky.sun is not None:
        d = place_of(gravity.sky.sun, times)
        potential = potential - push_of(gravity.sky.sunlight) * (1 / norm(d - r) - 1 / norm(d))
    return np.asarray(dot(v, v) / 2 - potential - rate * cross(r, v)[:, 2])


def test_sunlight_in_the_open_is_a_potential_too() -> None:
    """An orbit that faces the Sun never sees the shadow, and keeps the same integral with light.

    Without the light's potential the energy swings by 9 J/kg of 5e5.
    """
    sun = replace(SUN, inclination_rad=0.0, true_anomaly_rad=0.0)
    gravity = skies.about_the_moon(Sky(pulling=(), sun=skies.track(sun, 30.0), sunlight=SAIL))
    y = state(3.0, 0.02, np.pi / 2, raan=np.pi / 2, body=MOON)
    assert abs(cross(y[:3], y[3:6])[0]) > 0.99 * norm(cross(y[:3], y[3:6]))
    times = np.linspace(1e3, 9 * DAY_S, 40)
    rows = np.concatenate([[y], TaylorPropagator(gravity).sample(0.0, y, times)])
    times = np.append(0.0, times)
    found = jacobi(gravity, rows, times, TAU / sun.period_s)
    dark = jacobi(gravity._replace(sky=replace(gravity.sky, sunlight=None)), rows, times, 0.0)
    assert np.ptp(dark) > 5.0
    assert np.ptp(found) < 1e-7


# ------------------------------------------------------------------- light and shadow


@pytest.mark.parametrize("back", [False, True])
def test_sunlight_ends_where_the_shadow_begins(back: bool) -> None:
    """Where nothing pulls, a craft that crosses the cylinder is pushed for the rest of the time.

    At 0.6 radii above the axis it is dark for 1.6 radii of its way: a closed form, but for what
    the push weakens on the way, 1e-7.
    """
    radius, speed, span = 1e6, 2000.0, 3000.0
    sun = replace(SUN, inclination_rad=0.0, true_anomaly_rad=0.0, period_s=1e12)
    seen = Sky(
        sun=skies.track(sun, 30.0), sunlight=Sunlight(area_to_mass_m2_kg=50.0, reflectivity=2.0)
    )
    gravity = Gravity(1e-3, radius, sky=seen)
    dark = 1.6 * radius / speed
    push = SUN_PRESSURE_N_M2 * 100.0 / (1.0 + 3 * radius / AU_M) ** 2
    y = np.array([-3 * radius, -3 * radius, 0.6 * radius, 0.0, speed, 0.0, 1.0])
    time, sign = 0.0, 1.0
    if back:
        y[1], time, sign = 3 * radius, span, -1.0
    moved = TaylorPropagator(gravity).advance(time, y, span - time).state
    assert moved[3] == pytest.approx(-sign * push * (span - dark), rel=1e-6)
    # Pushed up to the middle of the way less the chord's half, and likewise after it.
    before = after = (span - dark) / 2
    expected = before * (span - before / 2) + after**2 / 2
    assert moved[0] + 3 * radius == pytest.approx(-push * expected, rel=1e-6)
    lane = TaylorBatches(gravity).advance(np.array([time]), y[None], np.array([span - time]))
    assert_metres(lane[0, :3], moved[:3], 1e-6)


@pytest.mark.reference(
    "M. Soop (1994), Handbook of Geostationary Orbits: eclipses up to 72 minutes"
)
def test_a_geostationary_relay_at_the_equinox(monkeypatch: pytest.MonkeyPatch) -> None:
    """Two edges a day, the longest night 72 minutes (from memory) with the penumbra's 4.

    Half of the penumbra counts as dark here: 69 to 70 minutes, asin(R/a)/pi of a day.
    """
    gravity = skies.about_the_earth("2031-03-19T12:00:00", 30.0, light=SAIL)
    p = TaylorPropagator(gravity)
    a = 42164.17e3
    y = np.array([a, 0.0, 0.0, 0.0, np.sqrt(gravity.gm / a), 0.0, 1.0])
    noted = switchings(monkeypatch)
    p.advance(0.0, y, 4 * DAY_S)
    assert sorted(noted) == [0.0] * 4 + [1.0] * 4
    assert gravity.sky is not None
    assert gravity.sky.sun is not None
    sun = gravity.sky.sun
    times = np.arange(DAY_S, 2 * DAY_S, 10.0)
    rows = p.sample(0.0, y, times)
    there = place_of(sun, times)
    along = dot(rows[:, :3], there) / norm(there)
    width = np.sqrt(dot(rows[:, :3], rows[:, :3]) - along**2)
    minutes = np.sum((along < 0) & (width < 6378.137e3)) / 6.0
    assert minutes == pytest.approx(70.0, abs=1.0)


def test_no_shadow_in_front_of_the_body(monkeypatch: pytest.MonkeyPatch) -> None:
    """Half a revolution over the day side crosses the cylinder twice and stays in the light."""
    sun = replace(SUN, inclination_rad=0.0, true_anomaly_rad=0.0)
    gravity = skies.about_the_moon(Sky(sun=skies.track(sun, 30.0), sunlight=SAIL))
    y = state(1.5, 0.0, 0.3, raan=-np.pi / 2, argp=0.0, nu=0.0, body=MOON)
    noted = switchings(monkeypatch)
    span = 0.5 * period(y, MOON.gm)
    TaylorPropagator(gravity).advance(0.0, y, span)
    assert noted == []
    TaylorPropagator(gravity).advance(0.0, y, 2 * span)
    assert noted == [0.0, 1.0]


# ------------------------------------------------------------------- published


@pytest.mark.reference("M. Soop (1994), Handbook of Geostationary Orbits (from memory)")
@pytest.mark.parametrize(("year", "drift"), [(2015, 0.75), (2006, 0.95), (2025, 0.95)])
def test_a_geostationary_plane_tilts_as_published(year: int, drift: float) -> None:
    """0.75 deg a year when the Moon's orbit is flattest against the equator, 0.95 at its steepest.

    The pole of the orbit moves towards the vernal equinox: the node lies near 90 deg. The rule is
    given to 0.05 deg at best; measured 0.764, 0.955, 0.953 with 86 deg.
    """
    gravity = skies.about_the_earth(f"{year}-01-01T00:00:00", 380.0)
    a = 42164.17e3
    y = np.array([[a, 0.0, 0.0, 0.0, np.sqrt(gravity.gm / a), 0.0, 1000.0]])
    end = TaylorBatches(gravity, 1e-13).advance(np.zeros(1), y, np.array([365.25 * DAY_S]))[0]
    h = cross(end[:3], end[3:6])
    assert np.degrees(np.arccos(h[2] / norm(h))) == pytest.approx(drift, abs=0.025)
    assert np.degrees(np.arctan2(h[0], -h[1])) == pytest.approx(90.0, abs=10.0)


@pytest.mark.reference(
    "M. Soop (1994), Handbook of Geostationary Orbits: 0.011 Cr A/m (from memory)"
)
def test_sunlight_turns_the_eccentricity_on_its_circle() -> None:
    """In a year the vector goes round a circle of 0.011 times the reflectivity times A/m in m2/kg.

    Along the equinoxes' direction; across it the Sun's tilt takes 1 - cos 23.4 deg away.
    """
    light = Sunlight(area_to_mass_m2_kg=0.02, reflectivity=1.5)
    gravity = skies.about_the_earth(
        "2020-01-01T00:00:00", 380.0, zonal=False, pulls=False, light=light
    )
    a = 42164.17e3
    y = np.array([[a, 0.0, 0.0, 0.0, np.sqrt(gravity.gm / a), 0.0, 1000.0]])
    days = TAU * np.sqrt(a**3 / gravity.gm) * np.arange(1, 367)
    rows = TaylorBatches(gravity, 1e-13).sample(np.zeros(1), y, days[None])[0]
    r, v = rows[:, :3], rows[:, 3:]
    e = cross(v, cross(r, v)) / gravity.gm - r / norm(r)[:, None]
    radii = np.ptp(e, axis=0) / 2 / 0.03
    assert radii[1] == pytest.approx(0.011, abs=0.0002)
    assert radii[0] / radii[1] == pytest.approx(np.cos(np.radians(23.44)), abs=0.01)
    assert norm(e[-1]) < 0.05 * 0.03 * 0.011  # closed


SLOW = 200.0  # the far body's mean motion against the orbit's; theory leaves out 1/SLOW and more


@pytest.mark.reference("Lidov (1962), Kozai (1962): critical inclination 39.23 deg (from memory)")
def test_a_far_body_makes_tilted_circles_eccentric() -> None:
    """e grows as exp(s t), s = 3/4 N^2/n sqrt(2 (5 sin^2 i - 2)): not at all below 39.23 deg.

    From the doubly averaged equations of the eccentricity vector near a circle (as in Tremaine and
    Yavetz 2014, Am. J. Phys. 82, 769, from memory): k' = (5 sin^2 i - 2) h, h' = 2 k in 3/4 N^2/n,
    from the node; each lane starts along the growing direction. Measured within 0.02 % at 60 deg
    and 2 % at 45 deg, where what is left out, 1/SLOW, meets a growth near zero; 39.55 deg.
    """
    gravity, n = far_body()
    inclinations = np.radians([30.0, 45.0, 50.0, 55.0, 60.0])
    growth = 5 * np.sin(inclinations) ** 2 - 2
    pace = 0.75 * n / SLOW**2
    e, argp = 0.01, np.where(growth > 0, np.arctan2(np.sqrt(2.0), np.sqrt(np.abs(growth))), 0.0)
    y = np.array([far_state(e, i, w) for i, w in zip(inclinations, argp, strict=True)])
    span = 1.6 / (pace * np.sqrt(2 * growth[-1]))
    times = np.linspace(0.0, span, 201)[1:]
    rows = TaylorBatches(gravity, 1e-12).sample(np.zeros(5), y, np.tile(times, (5, 1)))
    r, v = rows[..., :3], rows[..., 3:]
    h = cross(r, v)
    found = norm(cross(v, h) / gravity.gm - r / norm(r)[..., None])
    rates = np.array([np.polyfit(times, np.log(one), 1)[0] for one in found])
    assert_relative(rates[1:], pace * np.sqrt(2 * growth[1:]), within=0.03)
    slope, at_zero = np.polyfit(np.sin(inclinations[1:]) ** 2, rates[1:] ** 2, 1)
    assert np.degrees(np.arcsin(np.sqrt(-at_zero / slope))) == pytest.approx(39.23, abs=0.4)
    # Below it the vector turns on an ellipse with axes as sqrt(2 / |growth|).
    turn = pace * np.sqrt(-2 * growth[0]) * times
    ellipse = e * np.hypot(np.cos(turn), np.sqrt(2 / -growth[0]) * np.sin(turn))
    assert_relative(found[0], ellipse, within=0.03)
    kept = h[..., 2] / np.sqrt(gravity.gm * 1e7) / np.cos(inclinations)[:, None]
    assert np.max(np.abs(kept - 1)) < 1.5 / SLOW  # sqrt(1 - e^2) cos i, with the body's seasons
    assert np.max(np.abs(np.mean(kept[:, :50], axis=1) - np.mean(kept[:, -50:], axis=1))) < 1e-3
    turned = np.degrees(np.arccos(h[-1, -1, 2] / norm(h[-1, -1])))
    assert turned < 60.0 - 0.05


def far_body() -> tuple[Gravity, float]:
    """An invented body a hundred radii of the orbit away, and the mean motion of 1e7 m."""
    gm, distance = 1e14, 1e9
    n = float(np.sqrt(gm / 1e21))
    pull = (n / SLOW) ** 2 * distance**3
    third = replace(
        EARTH,
        gm_m3_s2=pull,
        semi_major_axis_m=distance,
        inclination_rad=0.0,
        period_s=default_period(distance, gm + pull),
    )
    return Gravity(gm, 1e6, sky=Sky(pulling=(skies.track(third, 3000.0),))), n


def far_state(e: float, i: float, argp: float) -> np.ndarray:
    """A state (7,) with a semi-major axis of 1e7 m."""
    body = BODIES["Moon"]._replace(gm=1e14, radius=1e6)
    return state(10.0 * (1 - e), e, i, raan=0.0, argp=argp, nu=0.0, body=body)
