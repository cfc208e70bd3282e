"""All that a ring serves in one record: what it assumes is said, and JSON brings it back."""

from __future__ import annotations

import dataclasses
import json
import math
from typing import Any

import numpy as np
import pytest

from simcheck.files.records_json import read_record, write_record
from simcheck.networking.network import network
from simcheck.records.network import Network, NetworkAim, Site
from tests.networking.rings import DAY, EARTH, GEO_M, circular, names
from tests.networking.test_eclipses import sun
from tests.networking.test_sizing import BUDGET

TIMES = np.arange(0.0, DAY + 1.0, 300.0)
AIM = NetworkAim(link=BUDGET, sites=(Site(name="Base", latitude_rad=0.3, longitude_rad=1.0),))


def made(relays: int = 3, times: np.ndarray = TIMES, **changed: Any) -> Network:
    places, speeds = circular(GEO_M, relays, times, inclination=0.5)
    given: dict[str, Any] = {
        "slots": range(relays),
        "ring_slots": 3,
        "velocities": speeds,
        "sun": sun(times),
        "body": EARTH,
    }
    given |= changed
    return network(names(relays), times, places, given.pop("body"), AIM, **given)


def test_all_parts_are_there_and_come_back_from_json() -> None:
    """Every field survives JSON without a loss, the infinite gaps too."""
    found = made()
    assert (found.start_s, found.end_s, found.step_s) == (0.0, DAY, 300.0)
    assert found.relays == ("R1", "R2", "R3")
    assert len(found.links.links) == len(found.eclipses) == 3
    assert [one.site for one in found.contacts] == ["Base"]
    assert found.geometry.radius_m == pytest.approx(GEO_M, rel=1e-12)
    assert found.notes == ()
    written = write_record(found)
    text = json.dumps(written, allow_nan=False)
    assert write_record(read_record(Network, json.loads(text), "x.json")) == written


def test_known_velocities_change_little() -> None:
    """A spline instead of velocities moves the windows by less than a second."""
    with_them, without = made(), made(velocities=None)
    for one, other in zip(with_them.contacts[0].windows, without.contacts[0].windows, strict=True):
        assert (one.start_s, one.end_s) == pytest.approx((other.start_s, other.end_s), abs=1.0)


@pytest.mark.parametrize(
    ("changed", "words"),
    [
        ({"sun": None}, "eclipses are left out"),
        ({"body": dataclasses.replace(EARTH, rotation_period_s=None)}, "taken not to turn"),
        ({"body": dataclasses.replace(EARTH, prime_meridian_rad=None)}, "inertial x axis"),
        ({"ring_slots": 4}, "3 relays fly where the ring has 4 slots"),
        ({"times": np.arange(0.0, DAY + 1.0, 1800.0)}, "48 a revolution"),
    ],
)
def test_what_is_assumed_is_said(changed: dict[str, Any], words: str) -> None:
    """One note, of what the inputs leave open."""
    (note,) = made(**changed).notes
    assert words in note


def test_names_and_slots_must_fit() -> None:
    """As many of each as relays."""
    with pytest.raises(ValueError, match="a name and a slot for each of 3 relays, got 3 and 2"):
        made(slots=[0, 1])


def test_the_prime_meridian_shifts_a_sites_windows() -> None:
    """A body turned by an angle sees what a site that much farther east would have seen."""
    turned = made(body=dataclasses.replace(EARTH, prime_meridian_rad=0.4))
    east = dataclasses.replace(AIM.sites[0], longitude_rad=1.4)
    places, speeds = circular(GEO_M, 3, TIMES, inclination=0.5)
    aim = dataclasses.replace(AIM, sites=(east,))
    other = network(
        names(3), TIMES, places, EARTH, aim, slots=range(3), ring_slots=3, velocities=speeds
    )
    edges = [[w.end_s for w in one.contacts[0].windows] for one in (turned, made())]
    assert edges[0] != edges[1]  # so the angle has an effect
    for one, two in zip(turned.contacts[0].windows, other.contacts[0].windows, strict=True):
        assert (one.start_s, one.end_s) == pytest.approx((two.start_s, two.end_s), abs=1e-3)
        assert math.isclose(one.max_elevation_deg, two.max_elevation_deg, abs_tol=1e-6)
