"""Lines of sight, caps and shadows about a sphere, against elementary geometry and brute force."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from simcheck.kernels.vectors import rotation
from simcheck.kernels.visibility import (
    SUN_RADIUS_M,
    cap_angle,
    cap_share,
    eclipse_share,
    lowest_of_segment,
    shadow,
    sine_of_elevation,
    street_half_width,
    surface_grid,
)

EARTH_M = 6378.137e3
GEO_M = 42164.1696e3  # Vallado Ex. 1-1
AU_M = 149597870700.0
SMAD = "Larson and Wertz, SMAD 3rd ed., Earth satellite parameters (from memory)"

components = st.floats(-3.0, 3.0)
places = st.tuples(components, components, components).map(np.array)


def ring(relays: int, radius: float) -> np.ndarray:
    angle = 2.0 * np.pi * np.arange(relays) / relays
    return radius * np.stack([np.cos(angle), np.sin(angle), np.zeros(relays)], axis=-1)


# ------------------------------------------------------------------------------ lines of sight


@pytest.mark.parametrize(
    ("relays", "ratio"), [(3, 2.0), (4, 1.414214), (5, 1.236068), (6, 1.154701), (8, 1.082392)]
)
def test_the_least_ring_grazes_the_body(relays: int, ratio: float) -> None:
    """Neighbours at r = R / cos(pi / N) see each other along a tangent (tabulated ratios)."""
    a, b = ring(relays, ratio)[:2]
    assert lowest_of_segment(a, b) == pytest.approx(1.0, abs=5e-7)  # the ratio's last digit


def test_three_geostationary_relays() -> None:
    """Chord 73030.5 km, closest to the centre 21082.1 km: half the radius (elementary)."""
    a, b, _ = ring(3, GEO_M)
    assert np.linalg.norm(b - a) == pytest.approx(73030.5e3, abs=50.0)
    assert lowest_of_segment(a, b) == pytest.approx(21082.1e3, abs=50.0)


@given(places, places)
def test_the_lowest_point_of_a_segment(first: np.ndarray, second: np.ndarray) -> None:
    """No point of the segment, its ends among them, lies lower, and one lies there."""
    share = np.linspace(0.0, 1.0, 2001)[:, None]
    dense = np.linalg.norm(first + share * (second - first), axis=1).min()
    found = float(lowest_of_segment(first, second))
    step = float(np.linalg.norm(second - first)) / 2000
    assert found <= dense + 1e-12
    assert found >= dense - step  # a distance changes no faster than the place


def test_an_end_may_be_the_lowest_point() -> None:
    """Where the line would come closer behind an end, the end counts, at either end."""
    low, high = np.array([2.0, 0.1, 0.0]), np.array([5.0, 0.0, 0.0])
    assert lowest_of_segment(low, high) == pytest.approx(np.linalg.norm(low), rel=1e-15)
    assert lowest_of_segment(high, low) == pytest.approx(np.linalg.norm(low), rel=1e-15)
    assert lowest_of_segment(low, low) == pytest.approx(np.linalg.norm(low), rel=1e-15)


# ---------------------------------------------------------------------------------------- caps


@pytest.mark.reference(SMAD)
def test_what_a_geostationary_relay_sees() -> None:
    """Cap of 81.30 deg, 42.4 % of the surface, horizon 41 679 km away; the body's disc 8.70 deg."""
    cap = float(cap_angle(GEO_M, EARTH_M, 0.0))
    assert math.degrees(cap) == pytest.approx(81.30, abs=0.005)
    assert cap_share(cap) == pytest.approx(0.424, abs=0.0005)
    assert GEO_M * math.sin(cap) == pytest.approx(41679e3, abs=500.0)
    assert 90.0 - math.degrees(cap) == pytest.approx(8.70, abs=0.005)


@pytest.mark.reference(SMAD)
@pytest.mark.parametrize(
    ("height_km", "disc_deg"), [(500.0, 68.0), (1000.0, 59.8), (20200.0, 13.9)]
)
def test_the_disc_of_the_earth(height_km: float, disc_deg: float) -> None:
    """Angular radius of the Earth as seen from three heights; the cap is its complement."""
    cap = math.degrees(float(cap_angle(EARTH_M + height_km * 1e3, EARTH_M, 0.0)))
    assert 90.0 - cap == pytest.approx(disc_deg, abs=0.05)


@given(st.floats(1.001, 20.0), st.floats(0.0, 1.5))
def test_a_caps_edge_sees_the_relay_at_that_elevation(distance: float, elevation: float) -> None:
    """The elevation from the edge of the cap is the one asked for; from inside it is higher."""
    cap = float(cap_angle(distance, 1.0, elevation))
    assert 0.0 <= cap < math.pi / 2
    relay = np.array([distance, 0.0, 0.0])
    edge = np.array([math.cos(cap), math.sin(cap), 0.0])
    # Close above the place the direction is known to a rounding over the height.
    loss = 1e-15 * 10 / (distance - 1.0)
    assert sine_of_elevation(edge, relay) == pytest.approx(math.sin(elevation), abs=loss)


def test_a_relay_below_the_surface_sees_nothing() -> None:
    """NaN, not a cap, within the sphere."""
    assert np.isnan(cap_angle([0.5, 0.999], 1.0, 0.0)).all()


@given(st.integers(3, 12), st.floats(0.05, 1.5))
def test_the_street_is_what_is_always_covered(relays: int, cap: float) -> None:
    """At its edge the middle between two relays just sees both; without overlap there is none."""
    width = float(street_half_width(cap, relays))
    if cap < math.pi / relays:
        assert width == 0.0
        return
    middle = np.array(
        [math.cos(width) * math.cos(math.pi / relays), math.cos(width) * math.sin(math.pi / relays)]
    )
    assert math.acos(middle[0]) == pytest.approx(cap, abs=1e-7)  # acos near 0 keeps half the digits


@pytest.mark.reference("spacing of a polar constellation of 6 planes of 11 (press, from memory)")
def test_the_street_of_a_polar_plane() -> None:
    """780 km, 8.2 deg of elevation, 11 a plane: planes 31.6 deg apart, 22 deg at the seam."""
    cap = float(cap_angle(EARTH_M + 780e3, EARTH_M, math.radians(8.2)))
    street = float(street_half_width(cap, 11))
    # The planes were chosen with a little to spare: 5 * 31.6 + 22 = 180.
    assert math.degrees(cap + street) == pytest.approx(31.6, abs=0.3)
    assert math.degrees(cap + street) * 5 + math.degrees(2 * street) == pytest.approx(
        180.0, abs=1.0
    )


# ---------------------------------------------------------------------------------------- grid


@pytest.mark.parametrize(("rows", "on_equator"), [(6, 12), (36, 90), (90, 180)])
def test_the_grids_weights_are_areas(rows: int, on_equator: int) -> None:
    """They sum to one, zone by zone exactly, and integrate what has a known mean."""
    grid = surface_grid(rows, on_equator)
    assert grid.weights.sum() == pytest.approx(1.0, rel=1e-14)
    north = grid.latitude > math.radians(30.0)
    assert grid.weights[north].sum() == pytest.approx(0.25, rel=1e-13)  # (1 - sin 30 deg) / 2
    assert np.linalg.norm(grid.directions, axis=1) == pytest.approx(1.0, rel=1e-15)
    assert grid.weights @ grid.directions == pytest.approx(np.zeros(3), abs=1e-15)
    # The mean of z^2 is 1/3; the middle of a step is off by a step squared over 12.
    assert grid.weights @ grid.directions[:, 2] ** 2 == pytest.approx(
        1 / 3, abs=(math.pi / rows) ** 2 / 12
    )


@given(st.floats(0.1, 1.4), st.floats(0.0, 2 * math.pi), st.floats(0.0, 1.2))
def test_a_caps_share_on_the_grid(cap: float, longitude: float, latitude: float) -> None:
    """The grid finds (1 - cos) / 2 of the surface within a cap, to half a per cent."""
    grid = surface_grid(36, 90)
    axis = np.array(
        [
            math.cos(latitude) * math.cos(longitude),
            math.cos(latitude) * math.sin(longitude),
            math.sin(latitude),
        ]
    )
    inside = grid.directions @ axis >= math.cos(cap)
    # 2000 directions of each of 15 caps were off by up to 0.0044 away from the poles.
    assert grid.weights @ inside == pytest.approx((1.0 - math.cos(cap)) / 2.0, abs=0.006)


# ------------------------------------------------------------------------------------- shadows


def seen_of_the_sun(place: np.ndarray, sun: np.ndarray) -> float:
    """Share of the Sun's disc that is not hidden, by rays to points of it."""
    toward = (sun - place) / np.linalg.norm(sun - place)
    side = np.cross(toward, [0.0, 0.0, 1.0])
    side /= np.linalg.norm(side)
    up = np.cross(side, toward)
    # Points of the disc that is seen, which is smaller than the Sun's equator by 1e-5.
    size = math.tan(math.asin(SUN_RADIUS_M / float(np.linalg.norm(sun - place))))
    angle, radius = np.meshgrid(np.linspace(0, 2 * np.pi, 72), np.linspace(0.0, 1.0, 40))
    rays = toward + size * radius[..., None] * (
        np.cos(angle)[..., None] * side + np.sin(angle)[..., None] * up
    )
    along = np.maximum(-(rays @ place) / np.sum(rays**2, axis=-1), 0.0)
    return float(np.mean(np.linalg.norm(place + along[..., None] * rays, axis=-1) > EARTH_M))


@given(st.floats(1.05, 40.0), st.floats(-1.3, 1.3))
def test_the_shadow_against_rays(distance: float, offset: float) -> None:
    """In the umbra no ray of the Sun arrives, in the penumbra some do, outside all."""
    sun = AU_M * np.array([math.cos(0.3), math.sin(0.3), 0.2]) / math.hypot(1.0, 0.2)
    anti = -sun / np.linalg.norm(sun)
    across = np.cross(anti, [0.0, 0.0, 1.0])
    place = EARTH_M * (distance * anti + offset * across / np.linalg.norm(across))
    if np.linalg.norm(place) < 1.001 * EARTH_M:
        return
    depth = shadow(place, sun, EARTH_M)
    seen = seen_of_the_sun(place, sun)
    edge = 1e-5  # rad, a fiftieth of the Sun's disc: between two rays
    if depth.umbra > edge:
        assert seen == 0.0
    elif depth.penumbra < -edge:
        assert seen == 1.0
    elif depth.umbra < -edge and depth.penumbra > 5e-4:
        assert 0.0 < seen < 1.0


def test_beyond_the_tip_there_is_no_umbra() -> None:
    """The Earth's umbra ends some 1.38 million km behind it; then the eclipse is annular."""
    sun = np.array([AU_M, 0.0, 0.0])
    tip = EARTH_M * AU_M / (SUN_RADIUS_M - EARTH_M)
    assert shadow(np.array([-0.999 * tip, 0.0, 0.0]), sun, EARTH_M).umbra > 0.0
    beyond = shadow(np.array([-1.001 * tip, 0.0, 0.0]), sun, EARTH_M)
    assert beyond.umbra < 0.0 < beyond.penumbra


@given(st.floats(1.01, 20.0), st.floats(0.0, math.pi / 2))
def test_the_cylinder_of_shadow(radius: float, beta: float) -> None:
    """The closed form is the share of points of the orbit that lie in the cylinder."""
    u = 2.0 * np.pi * (np.arange(20000) + 0.5) / 20000
    points = radius * np.stack([np.cos(u), np.sin(u), 0.0 * u], axis=-1)
    sun = rotation(1, -beta) @ np.array([1.0, 0.0, 0.0])
    ahead = points @ sun
    dark = (ahead < 0.0) & (np.linalg.norm(points - ahead[:, None] * sun, axis=1) < 1.0)
    assert eclipse_share(radius, 1.0, beta) == pytest.approx(dark.mean(), abs=1.1e-4)


@pytest.mark.reference("longest eclipse of a geostationary satellite, common practice: 70 min")
def test_the_geostationary_shadow() -> None:
    """69.4 min in the cylinder at the equinox, none once the Sun stands 8.7 deg away."""
    sidereal_min = 86164.090524 / 60.0
    assert sidereal_min * eclipse_share(GEO_M, EARTH_M, 0.0) == pytest.approx(69.4, abs=0.05)
    assert eclipse_share(GEO_M, EARTH_M, math.radians(8.69)) > 0.0
    assert eclipse_share(GEO_M, EARTH_M, math.radians(8.71)) == 0.0
