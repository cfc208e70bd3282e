"""The flight in space: what the view is given, and the still picture."""

from __future__ import annotations

import dataclasses
import json
import math

import numpy as np
import pytest

from simcheck.report.page.scene import described, scene_json, scene_of, still
from tests.cli.samples import PERIOD_S, RADIUS_M
from tests.report.page.results import HOSTILE, Tags, trace


def test_lengths_are_radii_of_the_ring() -> None:
    """The slot is one radius away, the body as large as it is, times in days."""
    made = scene_of(trace(), PERIOD_S)
    assert np.linalg.norm(made["slots"], axis=-1) == pytest.approx(1.0, abs=1e-4)
    assert made["body"]["radius"] == pytest.approx(3_396_190.0 / RADIUS_M, abs=1e-4)
    assert made["path"][0] == pytest.approx([0.5, 0.0, 0.0], abs=1e-4)
    assert made["path"][-1] == pytest.approx(made["slots"][3], abs=1e-3)
    assert made["days"][-1] == pytest.approx(250_000.0 / 86400.0, abs=1e-5)
    assert made["period"] == pytest.approx(0.5)
    assert np.linalg.norm([one["dv"] for one in made["burns"]], axis=-1).max() == pytest.approx(
        1.0, abs=1e-3
    )
    assert made["members"][0]["slot"] == 0


def test_long_flights_are_thinned() -> None:
    """However many samples, a page gets a few thousand, the first and the last among them."""
    count = 20_000
    line = np.stack([np.linspace(1e7, 1.2e7, count), np.zeros(count), np.zeros(count)], axis=-1)
    zero = np.zeros(count)
    long = trace(
        time_s=np.linspace(0.0, 1e6, count),
        arc=np.zeros(count, dtype=int),
        position_m=line,
        phase_deg=zero,
        period_s=zero,
        eccentricity=zero,
        plane_deg=zero,
    )
    made = scene_of(long, PERIOD_S)
    assert len(made["path"]) == len(made["days"]) <= 3000
    assert made["path"][-1][0] == pytest.approx(1.2e7 / RADIUS_M, abs=1e-4)
    assert made["days"][0] == 0.0


def test_json_cannot_end_its_element() -> None:
    """No text of a file closes the script that the data stands in; it is read back whole."""
    text = scene_json(trace(craft=HOSTILE), PERIOD_S)
    assert not set("<>&") & set(text)
    assert json.loads(text)["craft"] == HOSTILE


def test_an_open_orbit_has_no_curve() -> None:
    """Where there is no orbit before, none is drawn."""
    none = trace(before_m=np.zeros((0, 3)))
    assert scene_of(none, PERIOD_S)["before"] == []
    kinds = [one["class"] for one in Tags(still(none)).all("polyline")]
    assert kinds == ["s-ring", "s-path"]


def test_the_still_picture_is_to_scale() -> None:
    """The body's disc against the ring's broadest extent is as in space; names stand beside."""
    made = Tags(still(trace()))
    body = next(one for one in made.all("circle") if one["class"] == "s-body")
    ring = next(one for one in made.all("polyline") if one["class"] == "s-ring")
    points = np.array([[float(x) for x in p.split(",")] for p in (ring["points"] or "").split()])
    half = np.ptp(points[:, 0]) / 2
    assert float(body["r"] or 0) / half == pytest.approx(3_396_190.0 / RADIUS_M, rel=5e-3)
    # Seen from 47 degrees above its plane a circle is sin(47 deg) as high as it is wide.
    assert np.ptp(points[:, 1]) / (2 * half) == pytest.approx(math.sin(math.radians(47)), rel=5e-3)
    # Slot 3 is the craft's and slot 0 a member's: their names stand there instead of numbers.
    assert made.text["text"] == ["1", "2", "R1", "B1", "B2", "R4"]


def test_names_at_one_place_are_one() -> None:
    """A burn where the flight ends does not write over the craft."""
    usual = trace()
    last = dataclasses.replace(usual.burns[1], position_m=usual.position_m[-1])
    made = Tags(still(trace(burns=(usual.burns[0], last))))
    assert made.text["text"] == ["1", "2", "R1", "B1", "B2, R4"]
    assert sum(one["class"] == "s-craft" for one in made.all("circle")) == 1
    assert len(made.all("polygon")) == 2


def test_what_is_told_has_the_numbers() -> None:
    """Distances, the slot, and every burn with its size."""
    told = described(trace())
    for part in ("slot 3", "12652.3 km", "B1 302.7 m/s", "B2 601.3 m/s"):
        assert part in told
