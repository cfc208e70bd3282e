"""What is said of a flown ring as a network: the numbers, what they are of, and that they fit."""

from __future__ import annotations

import dataclasses
import io
import math
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from rich.cells import cell_len
from rich.console import Console

from simcheck.measuring import RingMotion
from simcheck.networking.eclipses import season
from simcheck.networking.network import network
from simcheck.records.case import Case
from simcheck.records.network import Network, NetworkAim, Site
from simcheck.report.network_text import network_text, network_warning
from tests.cli import samples
from tests.networking.rings import DAY, EARTH, GEO_M, circular, names
from tests.networking.test_eclipses import sun
from tests.networking.test_sizing import BUDGET

WIDTH = 100
AIM = NetworkAim(
    grazing_height_m=100e3,
    min_elevation_rad=math.radians(10.0),
    link=BUDGET,
    sites=(
        Site(name="Base", latitude_rad=0.3, longitude_rad=1.0),
        Site(name="Pole", latitude_rad=math.pi / 2, longitude_rad=0.0),
    ),
)


def posed(aim: NetworkAim = AIM) -> Case:
    return samples.case(network=aim, body=EARTH)


def made(aim: NetworkAim = AIM, relays: int = 3, **changed: Any) -> Network:
    times = np.arange(0.0, 2 * DAY + 1.0, 600.0)
    places, speeds = circular(changed.pop("radius", GEO_M), relays, times)
    given: dict[str, Any] = {
        "slots": range(relays),
        "ring_slots": relays,
        "velocities": speeds,
        "sun": sun(times),
    }
    return network(names(relays), times, places, EARTH, aim, **(given | changed))


def said(found: Network, case: Case | None = None) -> str:
    stream = io.StringIO()
    text = network_text(case or posed(), found)
    Console(file=stream, width=WIDTH, color_system=None).print(text)
    return stream.getvalue()


def row(text: str, start: str) -> list[str]:
    line = next(line for line in text.splitlines() if line.strip().startswith(start))
    return [cell for cell in line.strip().split("  ") if cell]


def test_links_and_ring() -> None:
    """Lengths, shares and margin in one row a link; the ring's own below."""
    text = said(made())
    cells = [cell.strip() for cell in row(text, "R1 - R2")]
    assert cells[:3] == ["R1 - R2", "73030.5", "73030.5"]
    assert cells[3] == "14703.9"  # 21082.1 less the Earth's 6378.1
    assert cells[4:6] == ["100.00 %", "0.00 %"]
    # -160 dBW asked; 6.99 + 11 - 196.57 dB arrive (32.45 + 20 log 2200 + 20 log 73030.5).
    assert float(cells[7]) == pytest.approx(160 + 6.99 + 11.0 - 196.57, abs=0.02)
    assert "full ring closed" in text
    assert "0.00 % of the time" in text
    closed = said(made(dataclasses.replace(AIM, link=None)), posed(NetworkAim()))
    assert "full ring closed          100.00 % of the time" in closed
    assert "outages of the full ring  none" in closed
    assert "margin" not in closed


def test_geometry_coverage_contacts_and_eclipses() -> None:
    """What the ideal ring needs, what is covered, who is in view, when it is dark."""
    text = said(made())
    for words in (
        "Geometry of the ideal ring",
        "a radius of 12956.3 km (altitude 6578.1 km) to see their neighbours",
        "Coverage from 10.00 deg of elevation",
        "never seen",
        "Contacts of sites",
        "windows of Base",
        "Eclipses",
        "01:11:3",
        "All shares are of the 2 d 00:00:00.0 from 00:00:00.0 after the epoch",
        "without terrain or refraction",
    ):
        assert words in text
    assert "windows of Pole" not in text  # it sees none
    (pole,) = [line for line in text.splitlines() if line.startswith("  Pole")]
    assert " ".join(pole.split()) == "Pole 0.00 deg 0.00 % 0 2 d 00:00:00.0 none none"


def test_what_is_not_there_is_not_told() -> None:
    """No sites, no Sun: no contacts, no eclipses, and the note that says why."""
    text = said(made(NetworkAim(), sun=None), posed(NetworkAim()))
    assert "Contacts" not in text
    assert "longest umbra" not in text
    assert "eclipses are left out" in text
    assert "not limited by the case" in text


@pytest.mark.parametrize("relays", [1, 2])
def test_fewer_than_three_relays(relays: int) -> None:
    """No ring is judged, and a single relay has no link."""
    text = said(made(relays=relays))
    assert ("A single relay has no link." in text) == (relays == 1)
    assert ("two relays are no ring" in text) == (relays == 2)
    assert "to see their neighbours" not in text


def test_a_season_is_thinned_to_fit() -> None:
    """A year by the day becomes some sixteen rows."""
    days = np.arange(366.0)
    angle = math.tau * days / 365.25
    toward = np.stack([np.cos(angle), 0.9 * np.sin(angle), 0.4 * np.sin(angle)], axis=-1)
    normals = np.broadcast_to([0.0, 0.0, 1.0], toward.shape)
    found = made(season=season(days * DAY, normals, toward, GEO_M, EARTH))
    text = said(found)
    table = text[text.index("Seasons of eclipse") : text.index("Of a circular ring")]
    assert 12 <= table.count("TDB") <= 16
    assert "01:09:24" in table  # 69.4 min at the equinox


def test_many_windows_are_cut_short() -> None:
    """Eight a site, and how many more there are."""
    aim = NetworkAim(sites=AIM.sites[:1])
    found = made(aim, radius=8_000e3)
    more = len(found.contacts[0].windows) - 8
    assert more > 0
    assert f"... and {more} windows more" in said(found, posed(aim))


def test_a_share_that_is_not_whole_is_not_said_to_be() -> None:
    """Less than 100 % does not read as 100 %, more than 0 % not as 0 %."""
    found = made()
    one = dataclasses.replace(found.links.links[0], sight_share=0.9999999, closed_share=1e-7)
    links = dataclasses.replace(found.links, links=(one,))
    cells = row(said(dataclasses.replace(found, links=links)), "R1 - R2")
    assert [cell.strip() for cell in cells[4:6]] == ["> 99.99 %", "< 0.01 %"]


def test_the_warning_is_that_of_the_resolved_ring() -> None:
    """Of the radius as resolved, not as asked for; none where the ring works."""
    case = samples.case()
    assert network_warning(case, samples.ring(case)) is None
    low = RingMotion(ring=case.ring, radius_m=4e6, period_s=7000.0, node_rate=0.0)
    text = network_warning(case, low)
    assert text is not None
    assert "need a radius of 4802.9 km" in text


numbers = st.floats(allow_nan=True, allow_infinity=True)
texts = st.text(max_size=200) | st.text("W[]/ \x1b\n°界", min_size=60, max_size=200)


def filled(record: Any, number: float, text: str) -> Any:
    """The record with every number and text in it replaced, all the way down."""
    if isinstance(record, float):
        return number
    if isinstance(record, str):
        return text
    if isinstance(record, tuple):
        return tuple(filled(item, number, text) for item in record)
    if dataclasses.is_dataclass(record):
        fields = {f.name: getattr(record, f.name) for f in dataclasses.fields(record)}
        return type(record)(**{k: filled(v, number, text) for k, v in fields.items()})
    return record


@settings(max_examples=30, deadline=None)
@given(numbers, texts)
def test_it_fits_whatever_it_holds(number: float, text: str) -> None:
    """No number or text makes a line longer than 100 columns or breaks the output."""
    lines = said(filled(FOUND, number, text)).split("\n")
    assert max(map(cell_len, lines)) <= WIDTH
    assert all(line.isprintable() for line in lines)


FOUND = made()
