"""A ring's service as drawn, read back."""

from __future__ import annotations

import numpy as np
import pytest
from matplotlib.collections import PolyCollection
from matplotlib.patches import StepPatch

from simcheck.records.network import NetworkAim, SeasonRow, Site
from simcheck.report.figures import service
from tests.report.figures.drawn import found, line, on_axis
from tests.report.test_hold_text import held
from tests.report.test_network_text import AIM, made

DAY = 86400.0


def spans(collection: object) -> np.ndarray:
    """Starts and ends of bars."""
    assert isinstance(collection, PolyCollection)
    boxes = [path.get_extents() for path in collection.get_paths()]
    return np.array([[box.x0, box.x1] for box in boxes])


def test_links() -> None:
    """From shortest to longest, in 1000 km; three on the geostationary radius: 73.0."""
    network = made()
    with on_axis(lambda axis: service.links(network, axis)) as axis:
        for link in network.links.links:
            ends = line(axis, f"{link.first} {link.second}")[:, 0]
            assert ends == pytest.approx([link.shortest_m / 1e6, link.longest_m / 1e6])
            assert ends == pytest.approx(42.164 * 3**0.5, rel=1e-3)
        assert axis.get_xlabel().endswith("1000 km")


def test_coverage() -> None:
    """In per cent over the bands of latitude."""
    network = made()
    with on_axis(lambda axis: service.coverage(network, axis)) as axis:
        for gid, field in (("mean", "share_mean"), ("worst", "share_worst")):
            steps = found(axis, gid)
            assert isinstance(steps, StepPatch)
            values, edges, _ = steps.get_data()
            bands = network.coverage.bands
            assert values == pytest.approx([100 * getattr(band, field) for band in bands])
            assert edges[:-1] == pytest.approx([band.south_deg for band in bands])
            assert edges[-1] == bands[-1].north_deg


def test_contacts() -> None:
    """A bar a window, in days from the start, in the row of its site and relay; low relays pass."""
    network = made(radius=2e7)
    assert max(window.start_s for site in network.contacts for window in site.windows) > DAY
    with on_axis(lambda axis: service.contacts(network, axis)) as axis:
        for site in network.contacts:
            for relay in network.relays:
                expected = [
                    [(w.start_s - network.start_s) / DAY, (w.end_s - network.start_s) / DAY]
                    for w in site.windows
                    if w.relay == relay
                ]
                bars = spans(found(axis, f"{site.site} {relay}"))
                assert bars.ravel() == pytest.approx(np.ravel(expected))


def test_many_contacts_share_a_row_a_site() -> None:
    """Ten sites and eight relays are eighty rows otherwise."""
    sites = tuple(
        Site(name=f"S{k}", latitude_rad=0.1 * k, longitude_rad=0.3 * k) for k in range(10)
    )
    network = made(NetworkAim(min_elevation_rad=AIM.min_elevation_rad, sites=sites), relays=8)
    with on_axis(lambda axis: service.contacts(network, axis)) as axis:
        assert len(axis.get_yticklabels()) == 10
        for site in network.contacts:
            bars = spans(found(axis, site.site)) if site.windows else []
            assert len(bars) == len(site.windows)


def test_eclipses() -> None:
    network = made()
    assert any(one.eclipses for one in network.eclipses)
    with on_axis(lambda axis: service.eclipses(network, axis)) as axis:
        for one in network.eclipses:
            bars = spans(found(axis, one.relay))
            assert bars * DAY + network.start_s == pytest.approx(
                np.array([[e.start_s, e.end_s] for e in one.eclipses])
            )


def test_seasons() -> None:
    """The Sun's angle and the shadow of each look; the shadow's picture only if there is one."""
    network = made()
    rows = tuple(
        SeasonRow(time_s=k * 10 * DAY, beta_deg=20.0 - 4 * k, shadow_s=max(0.0, 60.0 * (k - 3)))
        for k in range(9)
    )
    object.__setattr__(network, "season", rows)
    with on_axis(lambda axis: service.season(network, axis)) as axis:
        drawn = line(axis, "beta")
        assert drawn == pytest.approx(np.array([[10.0 * k, 20.0 - 4 * k] for k in range(9)]))
        band = found(axis, "shadow")
        limit = network.geometry.shadowless_beta_deg
        assert band.get_y() == pytest.approx(-limit)  # type: ignore[attr-defined]
    with on_axis(lambda axis: service.shadows(network, axis)) as axis:
        assert line(axis, "shadow")[:, 1] == pytest.approx([0, 0, 0, 0, 1, 2, 3, 4, 5])
    names = [picture.name for picture in service.pictures(held(network=network))]
    assert names[-2:] == ["season_sun", "season_shadow"]
    dry = tuple(SeasonRow(time_s=r.time_s, beta_deg=50.0, shadow_s=0.0) for r in rows)
    object.__setattr__(network, "season", dry)
    assert "season_shadow" not in [p.name for p in service.pictures(held(network=network))]


def test_without_a_network_nothing_is_drawn() -> None:
    assert service.pictures(held(network=None)) == []
