"""Orbits as drawn, read back: to scale, where they are, arrows along the burns."""

from __future__ import annotations

import math

import numpy as np
import pytest
from matplotlib.patches import Circle, FancyArrowPatch

from simcheck.report.figures import orbit
from tests.report.figures.drawn import flown, found, line, on_axis


def test_in_plane_is_to_scale() -> None:
    """The body's radius and the ring's as they are, one unit across as up."""
    made = flown()
    with on_axis(lambda axis: orbit.in_plane(made.trace, axis), (6, 6)) as axis:
        body = found(axis, "body")
        assert isinstance(body, Circle)
        assert body.radius == pytest.approx(3396.19)  # km, Mars as the IAU has it
        ring = line(axis, "ring")
        # Kepler's third law for 12 h; the nodal period moves it by less than a thousandth.
        a = (4.282837e13 * (43200 / math.tau) ** 2) ** (1 / 3) / 1e3
        assert np.hypot(*ring.T) == pytest.approx(a, rel=2e-3)
        assert axis.get_aspect() == 1.0
        assert "km" in axis.get_xlabel()
        low, high = axis.get_xlim()
        assert low < line(axis, "way")[:, 0].min() < line(axis, "way")[:, 0].max() < high


def test_the_way_is_the_trace() -> None:
    """All of it, since no coast of this flight has more than three revolutions."""
    made = flown()
    with on_axis(lambda axis: orbit.in_plane(made.trace, axis)) as axis:
        assert line(axis, "way") == pytest.approx(made.trace.position_m[:, :2] / 1e3)
        assert line(axis, "craft")[0] == pytest.approx(made.trace.position_m[-1, :2] / 1e3)
        assert line(axis, "slots") == pytest.approx(made.trace.slots_m[:, :2] / 1e3)
        for member in made.trace.members:
            there = line(axis, f"member {member.name}")[0]
            assert there == pytest.approx(member.position_m[:2] / 1e3)


def test_the_first_orbit_is_an_ellipse_about_the_body() -> None:
    """Its points fulfil the conic's equation with the case's semi-latus rectum and eccentricity.

    Seen from the ring's normal it is foreshortened, so the height is put back by the tilted plane.
    """
    made = flown()
    with on_axis(lambda axis: orbit.in_plane(made.trace, axis)) as axis:
        x, y = line(axis, "before").T
    normal = np.cross(made.trace.before_m[3], made.trace.before_m[77])
    z = -(normal[0] * x + normal[1] * y) / normal[2]
    r = np.sqrt(x**2 + y**2 + z**2)
    near, far = 3396.19 + 620, 3396.19 + 12400
    e, p = (far - near) / (far + near), 2 * far * near / (far + near)
    apsis = np.argmin(r)
    cosine = (x * x[apsis] + y * y[apsis] + z * z[apsis]) / (r * r[apsis])
    # The nearest of 241 points is within 0.75 deg of the periapsis: cos off by 0.013 at most.
    assert r == pytest.approx(p / (1 + e * cosine), rel=0.015)
    assert r.max() == pytest.approx(far, rel=1e-3)


def test_a_coast_of_many_revolutions_is_cut() -> None:
    """The first and the last of twenty are drawn, a gap between; both are of the trace."""
    made = flown("geostationary_move")
    with on_axis(lambda axis: orbit.in_plane(made.trace, axis)) as axis:
        way = line(axis, "way")
    assert len(way) < 0.4 * len(made.trace.time_s)
    assert np.isnan(way).any()
    there = {tuple(row) for row in np.round(made.trace.position_m[:, :2] / 1e6, 9)}
    drawn = [tuple(row) for row in np.round(way, 9) if not np.isnan(row).any()]
    assert set(drawn) <= there
    assert drawn[0] == tuple(np.round(made.trace.position_m[0, :2] / 1e6, 9))
    assert drawn[-1] == tuple(np.round(made.trace.position_m[-1, :2] / 1e6, 9))


@pytest.mark.parametrize("view", ["in plane", "edge-on"])
def test_arrows_point_along_the_burns(view: str) -> None:
    """From where the burn is, in its direction as seen, lengths in proportion for all burns."""
    made = flown("mars_ring", 7)
    draw = orbit.in_plane if view == "in plane" else orbit.edge_on
    across, up = np.array([1.0, 0, 0]), np.array([0, 1.0, 0])
    if view == "edge-on":
        turn = orbit.sight(made.trace)
        across, up = np.array([-math.sin(turn), math.cos(turn), 0]), np.array([0, 0, 1.0])
    ratios = []
    with on_axis(lambda axis: draw(made.trace, axis)) as axis:
        for burn in made.trace.burns:
            arrow = found(axis, f"burn {burn.label}")
            assert isinstance(arrow, FancyArrowPatch)
            tail, head = (np.array(end) for end in arrow._posA_posB)  # type: ignore[attr-defined]
            at = np.array([burn.position_m @ across, burn.position_m @ up]) / 1e3
            assert tail == pytest.approx(at, abs=1e-6)
            seen = np.array([burn.dv_m_s @ across, burn.dv_m_s @ up])
            assert np.cross(np.append(head - tail, 0), np.append(seen, 0))[2] == pytest.approx(
                0, abs=1e-6 * np.linalg.norm(seen) * np.linalg.norm(head - tail)
            )
            assert (head - tail) @ seen > 0
            ratios.append(np.linalg.norm(head - tail) / np.linalg.norm(seen))
    assert np.array(ratios) == pytest.approx(ratios[0], rel=1e-9)


def test_edge_on_the_first_orbit_is_a_line() -> None:
    """Seen along the line that the planes share; the ring is level, its normal upwards."""
    made = flown()
    with on_axis(lambda axis: orbit.edge_on(made.trace, axis)) as axis:
        assert line(axis, "ring")[:, 1] == pytest.approx(0, abs=1e-9)
        x, y = line(axis, "before").T
        assert np.linalg.matrix_rank(np.stack([x, y]), tol=1e-6 * np.hypot(x, y).max()) == 1
        normal = np.cross(made.trace.before_m[0], made.trace.before_m[60])
        slope = abs(y[0] / x[0])
        assert math.atan(slope) == pytest.approx(math.acos(normal[2] / np.linalg.norm(normal)))
        assert line(axis, "way")[:, 1] == pytest.approx(made.trace.position_m[:, 2] / 1e3)
        pole = line(axis, "pole")
        full = 1.35 * 2 * 3396.19
        assert np.hypot(*(pole[1] - pole[0])) <= full
        # the body's pole leans by the ring's inclination from the ring's normal
        assert pole[1, 1] - pole[0, 1] == pytest.approx(full * math.cos(math.radians(24)))


def test_what_lies_in_the_plane_has_no_edge_on_view() -> None:
    assert orbit.is_flat(flown("handbook_transfer").trace)
    assert not orbit.is_flat(flown().trace)
    names = [picture.name for picture in orbit.pictures(flown("geostationary_move").trace)]
    assert names == ["orbit_in_plane"]


def test_words_hold_the_burns() -> None:
    """Handbook numbers: Hohmann's two burns, 2.457 and 1.478 km/s (Vallado, example 6-1)."""
    alt = orbit.pictures(flown("handbook_transfer").trace)[0].alt
    assert "B1 24" in alt
    assert "B2 14" in alt
    assert "No members." in alt
