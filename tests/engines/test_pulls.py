"""Accelerations beside the point mass: against extended precision, potentials and boinor."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.polynomial.legendre import legval

from simcheck.engines.gravity import Gravity
from simcheck.engines.pulls import (
    POWERS,
    ends_of_arcs,
    in_sunlight,
    longest_arc,
    place_of,
    pull,
    push_of,
    tidal_rate,
    unknown,
    windows,
)
from simcheck.kernels.vectors import norm, unit
from simcheck.records.sky import AU_M, SUN_PRESSURE_N_M2, Sky, Sunlight, Track
from tests.engines import skies
from tests.engines.skies import DAY_S, EARTH, SUN
from tests.helpers import assert_metres, assert_relative, assert_vectors
from tests.reference import boinor_core
from tests.strategies import TAU

WIDE = np.longdouble
wide = pytest.mark.skipif(np.finfo(WIDE).nmant < 63, reason="no extended precision here")


def places(n: int = 300, seed: int = 1) -> tuple[np.ndarray, np.ndarray]:
    """Times (n,) s and places (n, 3) m about the Moon, from 1.05 to 5 radii."""
    rng = np.random.default_rng(seed)
    directions = unit(rng.normal(size=(n, 3)))
    radii = 1.7374e6 * rng.uniform(1.05, 5.0, size=(n, 1))
    return rng.uniform(-9.0 * DAY_S, 390.0 * DAY_S, n), radii * directions


def wide_sum(gravity: Gravity, time: float, place: np.ndarray) -> np.ndarray:
    """Third bodies' pull and the push of sunlight, in extended precision, term by term."""
    r = place.astype(WIDE)
    total = np.zeros(3, dtype=WIDE)
    assert gravity.sky is not None
    for track in gravity.sky.pulling:
        d = place_of(track, time).astype(WIDE)
        gap = d - r
        total += WIDE(track.gm_m3_s2) * (gap / np.sqrt(gap @ gap) ** 3 - d / np.sqrt(d @ d) ** 3)
    light, sun = gravity.sky.sunlight, gravity.sky.sun
    if light is not None and sun is not None:
        s = place_of(sun, time).astype(WIDE)
        sight, along = r - s, (r @ s) / np.sqrt(s @ s)
        hidden = along < 0 and r @ r - along**2 < WIDE(gravity.radius) ** 2
        push = WIDE(light.pressure_n_m2) * WIDE(AU_M) ** 2 / (sight @ sight)
        push *= WIDE(light.reflectivity) * WIDE(light.area_to_mass_m2_kg)
        total += 0 if hidden else push * sight / np.sqrt(sight @ sight)
    return total


# ------------------------------------------------------------------- accelerations


@wide
def test_a_sum_in_extended_precision() -> None:
    """Rounding leaves 1e-16 of what the far bodies pull, a few 1e-18 m/s2 of 1e-5 and less."""
    gravity = skies.about_the_moon(skies.sky(), zonal=False)
    times, where = places()
    found = pull(gravity, times, where)
    expected = np.array([wide_sum(gravity, *one) for one in zip(times, where, strict=True)])
    off = norm((found - expected).astype(float))
    assert np.max(off) < 2e-17
    assert np.median(norm(found)) > 1e-5
    hidden = norm(pull(light_alone(gravity), times, where)) == 0.0
    assert 5 < np.sum(hidden) < 60  # the shadow is met


def light_alone(gravity: Gravity) -> Gravity:
    """The push of sunlight without any pull."""
    assert gravity.sky is not None
    return Gravity(gravity.gm, gravity.radius, sky=replace(gravity.sky, pulling=()))


def potential(gravity: Gravity, time: float, r: np.ndarray) -> np.longdouble:
    """Whose gradient the acceleration in sunlight is: Vallado section 8.6, M&G eq. 3.37."""
    size = np.sqrt(r @ r)
    total = WIDE(0.0)
    for n, j in zip((2, 3, 4), gravity.zonals, strict=True):
        legendre = legval(r[2] / size, [0.0] * n + [1.0])
        total -= WIDE(gravity.gm) / size * WIDE(j) * (WIDE(gravity.radius) / size) ** n * legendre
    total += WIDE(gravity.tide) * (r[2] ** 2 / 2 - (r[0] ** 2 + r[1] ** 2) / 4)
    assert gravity.sky is not None
    for track in gravity.sky.pulling:
        d = place_of(track, time).astype(WIDE)
        gap, far = d - r, np.sqrt(d @ d)
        total += WIDE(track.gm_m3_s2) * (1 / np.sqrt(gap @ gap) - (r @ d) / far**3)
    if gravity.sky.sunlight is not None and gravity.sky.sun is not None:
        gap = place_of(gravity.sky.sun, time).astype(WIDE) - r
        total -= WIDE(push_of(gravity.sky.sunlight)) / np.sqrt(gap @ gap)
    return total


@wide
def test_the_gradient_of_a_potential() -> None:
    """All terms at once are the slope of one potential, over 100 m by central differences.

    The differences' own rounding is 1e-19 of the Sun's potential, 1e9 J/kg, over 200 m; they are
    right to the square of the step over the radius, 1e-9 of 1e-3 m/s2.
    """
    gravity = skies.about_the_moon(skies.sky())._replace(tide=3e-11)
    times, where = places(60, seed=4)
    sunny = norm(pull(light_alone(gravity), times, where)) > 0.0
    for time, place in zip(times[sunny], where[sunny], strict=True):
        slope = np.empty(3)
        for axis in range(3):
            step = np.zeros(3, dtype=WIDE)
            step[axis] = WIDE(100.0)
            up = potential(gravity, time, place.astype(WIDE) + step)
            down = potential(gravity, time, place.astype(WIDE) - step)
            slope[axis] = float((up - down) / WIDE(200.0))
        found = pull(gravity, time, place)
        assert norm(found - slope) < 1e-8 * norm(found) + 1e-12


@pytest.mark.reference(boinor_core.SOURCE)
def test_third_bodies_are_boinors() -> None:
    """The same formula (Curtis 12.10) in km: to the rounding of the direct and indirect parts."""
    gravity = skies.about_the_moon(skies.sky(light=None), zonal=False)
    assert gravity.sky is not None
    for time, place in zip(*places(40, seed=2), strict=True):
        expected = sum(
            1e3
            * boinor_core.third_body(
                time,
                np.append(place, [0.0, 0.0, 0.0]) / 1e3,
                gravity.gm / 1e9,
                track.gm_m3_s2 / 1e9,
                lambda t, track=track: place_of(track, t) / 1e3,
            )
            for track in gravity.sky.pulling
        )
        assert_metres(pull(gravity, time, place), expected, within=5e-17)


@pytest.mark.reference(boinor_core.SOURCE)
def test_sunlight_is_boinors() -> None:
    """Push and shadow (Curtis 12.9) at any place: to 2 r/d, 2.4e-4.

    boinor takes the Sun's distance and direction from the body's centre, and rays from the Sun's.
    """
    gravity = skies.about_the_moon(skies.sky(pulls=False), zonal=False)
    light = skies.SAIL
    watt = light.pressure_n_m2 * AU_M**2  # kg m/s2
    hidden = 0
    for time, place in zip(*places(300, seed=3), strict=True):
        expected = 1e3 * boinor_core.radiation_pressure(
            time,
            np.append(place, [0.0, 0.0, 0.0]) / 1e3,
            gravity.gm / 1e9,
            gravity.radius / 1e3,
            light.reflectivity,
            light.area_to_mass_m2_kg / 1e6,
            watt / 1e3,
            lambda t: skies.place(SUN, t) / 1e3,
        )
        hidden += norm(expected) == 0.0
        found = pull(gravity, time, place)
        assert norm(found - expected) <= 2.5e-4 * norm(expected)
    assert 5 < hidden < 60


@pytest.mark.reference("Kopp and Lean (2011): 1361 W/m2; CODATA: c = 299792458 m/s")
def test_the_pressure_of_sunlight() -> None:
    """At one astronomical unit; away from the Sun; with the square of the distance."""
    assert_relative(SUN_PRESSURE_N_M2, 1361.0 / 299792458.0, within=1e-5)
    far = replace(SUN, semi_major_axis_m=2 * AU_M, inclination_rad=0.0, true_anomaly_rad=0.0)
    for body, share in ((replace(far, semi_major_axis_m=AU_M), 1.0), (far, 0.25)):
        seen = Sky(
            sun=skies.track(body), sunlight=Sunlight(area_to_mass_m2_kg=0.02, reflectivity=1.5)
        )
        push = pull(Gravity(1e14, 1e3, sky=seen), 0.0, np.array([0.0, 1e4, 0.0]))
        expected = np.array([-share * 4.5398e-6 * 0.03, 0.0, 0.0])
        assert_vectors(push, expected, within=1e-4)


def test_what_is_not_there_does_not_pull() -> None:
    """A gravity without terms gives zero, for one place and for many."""
    plain = Gravity(1e14, 1e6)
    times, where = places(4)
    assert np.array_equal(pull(plain, times, where), np.zeros((4, 3)))
    assert np.array_equal(pull(plain, 0.0, where[0]), np.zeros(3))


def test_a_row_does_not_depend_on_the_others() -> None:
    """Bit for bit, in any company."""
    gravity = skies.about_the_moon(skies.sky())
    times, where = places(20)
    together = pull(gravity, times, where)
    for k in range(20):
        assert pull(gravity, times[k], where[k]).tobytes() == together[k].tobytes()


# ------------------------------------------------------------------- light and shadow


def test_the_shadow_is_a_cylinder_behind_the_body() -> None:
    """Dark only behind and within a radius of the axis; the Sun may stand anywhere."""
    radius, sun = 2.0, np.array([30.0, -40.0, 0.0])
    axis, aside, up = unit(sun), np.array([0.8, 0.6, 0.0]), np.array([0.0, 0.0, 1.0])
    for along, off, lit in [
        (-3.0, 1.999, 0.0),
        (-3.0, 2.001, 1.0),
        (-1e3, 1.999, 0.0),
        (3.0, 0.0, 1.0),
        (3.0, 1.999, 1.0),
        (-0.01, 1.9999, 0.0),
    ]:
        for side in (aside, up, -aside):
            assert in_sunlight(along * axis + off * side, sun, radius) == lit
    rows = np.array([-3.0 * axis, 3.0 * axis])
    assert np.array_equal(in_sunlight(rows, sun, radius), [0.0, 1.0])


# ------------------------------------------------------------------- the tide of a ring


@pytest.mark.parametrize("day", [0.0, 3.3, 100.0, 251.7])
@pytest.mark.parametrize("tilt", [0.0, 0.9, 2.2])
def test_the_rate_of_a_circle_is_gauss_s(day: float, tilt: float) -> None:
    """-2/r of the mean radial force (Gauss's equation of the mean longitude), less the mean one's.

    Averaged over the circle from `pull` itself: the octupole is zero on average, and what follows
    is (r/d)^2 as large, 1e-5 here.
    """
    gravity = skies.about_the_moon(skies.sky(light=None), zonal=False)
    r, time = 1e6, day * DAY_S
    u = TAU * np.arange(64) / 64
    ring = np.stack([np.cos(u), np.sin(u) * np.cos(tilt), np.sin(u) * np.sin(tilt)], axis=-1)
    normal = np.array([[0.0, -np.sin(tilt), np.cos(tilt)]])

    def rate(forces: Gravity) -> float:
        radial = np.sum(pull(forces, np.full(64, time), r * ring) * ring, axis=-1)
        return float(-2.0 / r * np.mean(radial))

    found = tidal_rate(gravity, np.array([time]), normal)[0]
    strength = EARTH.gm_m3_s2 / EARTH.semi_major_axis_m**3
    assert found == pytest.approx(rate(gravity) - rate(gravity.averaged()), abs=5e-5 * strength)


def test_no_swing_without_a_sky() -> None:
    """Zonals and a constant tide are in the ring's mean rate already."""
    plain = skies.about_the_moon(None)._replace(tide=1e-12)
    assert np.array_equal(tidal_rate(plain, np.zeros(3), np.eye(3)), np.zeros(3))


# ------------------------------------------------------------------- windows


def shorter(one: Track, start_s: float, segments: int) -> Track:
    """A track of the first segments alone, begun elsewhere."""
    coefficients = one.coefficients_m[:segments]
    return replace(one, start_s=start_s, coefficients_m=coefficients)


SKIES = {
    "moon": skies.sky(),
    "sun alone": skies.sky(pulls=False),
    "a short one": Sky(pulling=(shorter(skies.track(EARTH), 0.0, 1),)),
    "of three segments": Sky(pulling=(shorter(skies.track(EARTH), 5e4, 3),)),
    "ends apart": Sky(
        pulling=(shorter(skies.track(EARTH), 0.0, 30), shorter(skies.track(SUN), -9e5, 9))
    ),
}


@pytest.mark.parametrize("name", SKIES)
def test_windows_are_where_the_bodies_are(name: str) -> None:
    """At random times of every window that is asked for: within 5e-11 of the distance.

    A polynomial of degree 8 over a sixth of a revolution leaves 2 (pi/12)^9 / 9! = 3e-11 of it.
    """
    seen = windows(SKIES[name])
    tracks = SKIES[name].tracks
    assert seen.start == max(track.start_s for track in tracks)
    assert seen.end == min(track.end_s for track in tracks)
    assert seen.end <= seen.start + (len(seen.powers) + 1) * seen.stride
    rng = np.random.default_rng(5)
    for index in range(len(seen.powers)):
        begin = seen.start + index * seen.stride
        times = rng.uniform(begin, min(begin + 2 * seen.stride, seen.end), 40)
        shares = ((times - begin) / (2 * seen.stride))[:, None] ** np.arange(POWERS)
        for track, powers in zip(tracks, seen.powers[index], strict=True):
            expected = place_of(track, times)
            assert_vectors(shares @ powers.T, expected, within=5e-11)


@pytest.mark.parametrize("name", SKIES)
def test_a_stride_is_the_longest_arc(name: str) -> None:
    """So that an arc from anywhere lies in the window that holds its earlier end."""
    gravity = Gravity(1e14, 1e6, sky=SKIES[name])
    assert longest_arc(gravity) == windows(SKIES[name]).stride
    assert longest_arc(gravity._replace(sky=None)) == np.inf


spans = st.floats(-1e8, 1e8, allow_subnormal=False)


@given(spans, spans, st.floats(1e4, 1e7))
def test_arcs_are_cut_into_equal_parts(start: float, end: float, longest: float) -> None:
    """As few as may be, none longer than may be; the last ends exactly where the arc does."""
    ends = ends_of_arcs(start, end, longest)
    assert ends[-1] == end
    steps = np.diff([start, *ends])
    assert np.all(np.abs(steps) <= longest * (1 + 1e-9) + 1e-7)
    assert np.ptp(steps) <= 1e-7  # rounding of 1e8
    assert len(ends) == 1 or abs(end - start) > (len(ends) - 1) * longest * (1 - 1e-12)


def test_an_arc_without_a_sky_is_whole() -> None:
    """However long."""
    assert ends_of_arcs(0.0, 1e12, np.inf) == [1e12]


def test_what_is_said_of_an_arc_that_leaves() -> None:
    """Either way, and nothing of one that stays or has no sky."""
    gravity = skies.about_the_moon(skies.sky(days=30.0))
    assert gravity.sky is not None
    start = max(track.start_s for track in gravity.sky.tracks)
    end = min(track.end_s for track in gravity.sky.tracks)
    assert unknown(gravity, start, end + 1e-4) == ""
    for arc in ((0.0, end + 1.0), (end + 1.0, 0.0), (0.0, start - 1.0), (np.nan, 0.0)):
        assert f"known, {start:.0f} to {end:.0f} s past the epoch" in unknown(gravity, *arc)
    assert unknown(gravity._replace(sky=None), np.nan, 1e20) == ""


def test_a_place_outside_the_span_is_nan() -> None:
    """And so is the pull there: nothing is made up."""
    gravity = skies.about_the_moon(skies.sky(days=30.0))
    times, where = places(3)
    times[:] = [10.0, 400.0 * DAY_S, -20.0 * DAY_S]
    assert np.isfinite(pull(gravity, times, where)).all(axis=1).tolist() == [True, False, False]
