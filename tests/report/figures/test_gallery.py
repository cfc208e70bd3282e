"""Every picture of every gallery: its words, its text apart, sound as SVG."""

from __future__ import annotations

import re
import xml.etree.ElementTree as ET
from functools import cache

import numpy as np
import pytest

import simcheck
from simcheck.api import resolved_ring
from simcheck.flying.mission import fly_plan
from simcheck.judging import judge
from simcheck.records.hold import Hold, Upkeep
from simcheck.records.network import NetworkAim, Site
from simcheck.records.result import Result
from simcheck.report.figures import gallery
from simcheck.report.figures.picture import Picture, svg
from tests.cli import samples
from tests.flying import bench
from tests.report.figures.drawn import flown, outside, overlaps
from tests.report.test_hold_text import held, relay
from tests.report.test_network_text import AIM, made

FLIGHTS = {
    "members and a tilt": ("mars_ring", None),
    "a team that trims": ("mars_ring", 7),
    "no member, no phase": ("handbook_transfer", None),
    "equatorial": ("geostationary_move", None),
}


def kept(count: int, dv: float = 12.3) -> Hold:
    """An invented hold of a ring of `count` whose shape slowly goes, with its network."""
    upkeep = Upkeep(dv_m_s_year=dv, burns_year=8.0, largest_use=0.9, untrimmed=0)
    relays = [relay(f"R{k}", k, upkeep=upkeep) for k in range(count)]
    sites = tuple(
        Site(name=f"Site {k}", latitude_rad=0.1 * k, longitude_rad=0.5 * k) for k in range(3)
    )
    aim = NetworkAim(min_elevation_rad=AIM.min_elevation_rad, link=AIM.link, sites=sites)
    hold = held(*relays, network=made(aim, relays=count))
    rng = np.random.default_rng(1)
    for name in ("phase_deg", "spacing_deg", "period_s", "eccentricity", "plane_deg"):
        rows = np.cumsum(rng.normal(size=(count, 366)), axis=1) * 1e-2
        value = np.abs(rows) if name in ("eccentricity", "plane_deg") else rows
        object.__setattr__(hold.series, name, value)
    return hold


@cache
def pictures(name: str) -> tuple[Picture, ...]:
    if name in FLIGHTS:
        case, plan, flight, verdict, ring, _ = flown(*FLIGHTS[name])
        return tuple(gallery.of_flight(case, plan, flight, verdict, ring))
    if name == "a plan":
        case, plan, *_, ring, _ = flown()
        return tuple(gallery.of_plan(case, plan, ring))
    if name == "many flights":
        case, plan, *_, ring, _ = flown()
        blocks: list[np.ndarray] = []
        many = simcheck.disperse(case, plan, samples=300, rows=blocks.append)
        return tuple(gallery.of_dispersion(case, plan, many, np.concatenate(blocks), ring))
    case = samples.case()
    found = kept(24, dv=0.0) if name == "a hold of 24" else kept(4)
    return tuple(gallery.of_hold(case, None, found, samples.ring(case)))


ALL = (*FLIGHTS, "a plan", "many flights", "a hold of 4", "a hold of 24")
EXPECTED = {
    "members and a tilt": {
        "orbit_in_plane", "orbit_edge_on", "timeline_phase", "timeline_period",
        "timeline_eccentricity", "timeline_plane", "timeline_distances", "trade_dv_time", "primer",
    },
    "no member, no phase": {
        "orbit_in_plane", "timeline_period", "timeline_eccentricity", "timeline_plane", "primer",
    },
    "many flights": {
        "success", "dv_percentiles", "spread_phase_period", "spread_eccentricity", "spread_plane",
        "histogram_dv_used", "histogram_propellant_used", "histogram_arrival_time",
        "histogram_closest_approach", "drivers",
    },
    "a hold of 4": {
        "hold_phase", "hold_spacing", "hold_period", "hold_eccentricity", "hold_plane",
        "hold_upkeep", "links", "coverage", "contacts", "eclipses",
    },
}  # fmt: skip


@pytest.mark.parametrize("name", EXPECTED)
def test_what_a_gallery_holds(name: str) -> None:
    """What the result has, and nothing that it lacks."""
    names = [picture.name for picture in pictures(name)]
    assert len(names) == len(set(names))
    assert EXPECTED[name] <= set(names)
    if name == "no member, no phase":
        assert set(names) == EXPECTED[name]
    assert ("closed_loop" in names) == (name == "a team that trims")


def test_the_loop_is_drawn_where_there_is_one() -> None:
    assert "closed_loop" in [picture.name for picture in pictures("a team that trims")]


@pytest.mark.parametrize("name", ALL)
def test_every_picture_is_said_in_words(name: str) -> None:
    """A title, a caption, and an alternative with at least two numbers."""
    for picture in pictures(name):
        assert picture.title.strip()
        assert picture.caption.endswith(".")
        assert len(re.findall(r"\d+\.?\d*", picture.alt)) >= 2, picture.name
        assert "nan" not in picture.alt.lower().replace("nance", "")


@pytest.mark.parametrize("name", ALL)
def test_no_text_lies_on_other_text(name: str) -> None:
    """Names, ticks and names of axes; none is cut by the picture's edge."""
    for picture in pictures(name):
        assert not overlaps(picture), picture.name
        assert not outside(picture), picture.name


@pytest.mark.parametrize("name", ALL)
def test_every_picture_is_sound_svg(name: str) -> None:
    """It parses, says what it is, refers to nothing outside, and no size is negative."""
    ids: list[str] = []
    for picture in pictures(name):
        text = svg(picture)
        root = ET.fromstring(text)
        space = "{http://www.w3.org/2000/svg}"
        assert root.tag == f"{space}svg"
        assert root.find(f"{space}title").text == picture.title  # type: ignore[union-attr]
        assert root.find(f"{space}desc").text == picture.alt  # type: ignore[union-attr]
        here = [e.attrib["id"] for e in root.iter() if "id" in e.attrib]
        ids += here
        for element in root.iter():
            for key, value in element.attrib.items():
                if key.endswith("href"):
                    assert value.removeprefix("#") in here or value.startswith("data:image/png")
                if key in ("width", "height", "r"):
                    assert float(value) >= 0
            assert not re.search(r"https?:|url\((?!#)", " ".join(element.attrib.values()))
        for reference in re.findall(r"url\(#([^)]*)\)", text):
            assert reference in here
        assert len(text) < 400_000
    assert len(ids) == len(set(ids))  # all pictures of a gallery fit in one page


@pytest.mark.parametrize(("faster", "outcome"), [(0.5, "hit-the-body"), (1.7, "left-the-body")])
def test_a_flight_that_ends_badly_is_drawn(faster: float, outcome: str) -> None:
    """As far as it went; errors only where there is an orbit, and no number that is none."""
    start = bench.START.copy()
    start[3:6] *= faster
    case, plan = bench.case(start), bench.plan()
    flight = fly_plan(case, plan, reference=False)
    assert flight.outcome == outcome
    made_ = gallery.of_flight(case, plan, flight, judge(case, flight), resolved_ring(case))
    names = {picture.name for picture in made_}
    assert {"orbit_in_plane", "timeline_distances"} <= names
    assert ("timeline_period" in names) == (outcome == "hit-the-body")
    for picture in made_:
        assert "nan" not in picture.alt
        assert not overlaps(picture), picture.name


def test_a_result_finds_its_gallery() -> None:
    """By what the record holds; an assignment has none."""
    made_ = flown()
    kinds = {
        "orbit_in_plane": Result(
            kind="check", case=made_.case, plan=made_.plan, flight=made_.flight
        ),
        "primer": Result(kind="plan", case=made_.case, plan=made_.plan),
        "hold_phase": Result(kind="hold", case=samples.case(), hold=kept(4)),
    }
    for name, result in kinds.items():
        assert name in [picture.name for picture in gallery.of(result, made_.ring)]
    assert gallery.of(Result(kind="assign", case=made_.case), made_.ring) == []
