"""Limits of the model against numbers from outside: what is left out is as large as is known."""

from __future__ import annotations

import dataclasses
import math
from typing import Any

import numpy as np
import pytest

from simcheck.bodies import built_in
from simcheck.measuring import RingMotion
from simcheck.records.case import Body, Case
from simcheck.records.flight import Flight
from simcheck.records.result import Result, Seen
from simcheck.report.page.model_limits import Limit, model_limits
from tests.cases_for_tests import case as made_case
from tests.cases_for_tests import orbit, ring
from tests.cli import samples


def limits(
    body: Body, radius_km: float, flight: Flight | None = None, **fields: Any
) -> dict[str, Limit]:
    """The limits of a ring and a craft at the same radius, two-body."""
    start = orbit(body, radius_km, radius_km)
    case = made_case(body, start, ring(radius_km=radius_km))
    return of_case(case, radius_km, flight, **fields)


def of_case(
    case: Case, radius_km: float, flight: Flight | None = None, **fields: Any
) -> dict[str, Limit]:
    radius = 1e3 * radius_km
    period = 2.0 * math.pi * math.sqrt(radius**3 / case.body.gm_m3_s2)
    motion = RingMotion(case.ring, radius, period, 0.0)
    of = Result(kind="check", case=case, plan=samples.plan(), flight=flight, **fields)
    return {one.name: one for one in model_limits(of, motion, flight, of.plan)}


def size(limit: Limit) -> float:
    """The share of the body's pull that a limit names."""
    return float(limit.number.split(" of the body's pull")[0].split()[-1])


@pytest.mark.reference("perihelion of Mercury: 42.98 arcsec a century (Will 2014), from memory")
def test_relativity() -> None:
    """Mercury turns by 42.98" in the 415.2 revolutions of a century: 6 pi GM / (c2 p) each."""
    sun = Body(name="Sun", gm_m3_s2=1.32712440e20, radius_m=6.957e8)
    semi_latus_km = 57.909e6 * (1.0 - 0.20563**2)
    a_revolution = math.radians(42.98 / 3600.0) / 415.2
    found = size(limits(sun, semi_latus_km)["general relativity"])
    assert found == pytest.approx(a_revolution / (2.0 * math.pi), rel=2e-3)


@pytest.mark.reference("WGS 84: semi-axes 6378.137 and 6356.752 km")
def test_flattening() -> None:
    """A fluid Earth with its J2 and spin is flattened by 21.4 km, as the Earth nearly is."""
    text = limits(built_in("Earth"), 7000.0)["shape of the body"].number
    # To first order, whose error is some f squared: 0.3 % of 21.4 km.
    assert float(text.split("of some ")[1].split()[0]) == pytest.approx(21.385, abs=0.1)


@pytest.mark.reference("Montenbruck and Gill (2000), section 3.1, from memory: J2 and the Moon")
def test_what_is_left_out_at_the_geostationary_ring() -> None:
    """The Moon pulls by some 7e-6 m/s2 of 0.224 at its nearest; J2 by 1.7e-5 on the equator..."""
    moon = Seen(
        name="Moon",
        gm_m3_s2=4.9028e12,
        position_m=np.array([384.4e6, 0.0, 0.0]),
        source="invented",
    )
    found = limits(built_in("Earth"), 42164.0, seen=(moon,))
    assert size(found["tide of Moon"]) * 0.2242 == pytest.approx(7.3e-6, rel=0.02)
    # ... where it is 3/2 J2 (R/r)^2; the size told is that at the pole, twice as large.
    assert size(found["J2 of the body"]) / 2 == pytest.approx(
        1.5 * 1.0826e-3 * (6378.137 / 42164.0) ** 2, rel=1e-3
    )
    assert found["tide of Moon"].inside == "look"


def test_a_flown_force_is_inside() -> None:
    """What the case switches on is not left out."""
    body = built_in("Mars")
    case = made_case(body, orbit(body, 12650.0, 12650.0), ring(12.0), forces=("j2",))
    found = of_case(case, 12650.0)
    assert (found["J2 of the body"].model, found["J2 of the body"].inside) == ("flown", "inside")
    assert found["J3 of the body"].model == "left out"
    assert found["other bodies"].inside == "not known"  # no epoch


@pytest.mark.parametrize(
    ("name", "altitude_km", "standing"),
    [
        ("Earth", 400.0, "outside"),
        ("Earth", 1200.0, "inside"),
        ("Mars", 150.0, "outside"),
        ("Venus", 800.0, "inside"),
        ("Titan", 1000.0, "outside"),
        ("Moon", 50.0, None),
    ],
)
def test_atmospheres(name: str, altitude_km: float, standing: str | None) -> None:
    """A flight that dips into an atmosphere is outside; a body without one has no such limit."""
    flight = samples.flight(lowest_altitude_m=altitude_km * 1e3)
    found = limits(built_in(name), 20000.0, flight).get("atmosphere")
    assert (found.inside if found else None) == standing


@pytest.mark.parametrize(
    ("epoch", "standing"),
    [
        ("2031-04-12T06:00:00", "inside"),
        ("1899-12-31T00:00:00", "outside"),
        ("2099-12-31T00:00:00", "outside"),
        (None, "inside"),
    ],
)
def test_ephemerides(epoch: str | None, standing: str) -> None:
    """The flight of 1.2 days, from start to end, against the years that are known."""
    case = dataclasses.replace(made_case(), epoch=epoch)
    assert of_case(case, 12650.0, samples.flight())["ephemerides"].inside == standing


def test_sizes_grow_with_the_span() -> None:
    """What is small over two days is to be looked at over a hundred years."""
    body = built_in("Ceres")
    case = made_case(body, orbit(body, 1500.0, 1500.0), ring(radius_km=1500.0))
    short = of_case(case, 1500.0, samples.flight())["general relativity"]
    assert short.inside == "small"
    long = samples.flight()
    last = dataclasses.replace(long.arcs[-1], end_s=1e13)
    long = dataclasses.replace(long, arcs=(long.arcs[0], last))
    assert of_case(case, 1500.0, long)["general relativity"].inside == "look"


def test_burns_have_their_numbers() -> None:
    """Re-aiming 800 to 802 m/s is a quarter of a per cent; the burn lasts 200 s."""
    found = limits(built_in("Mars"), 12652.306, samples.flight())
    assert "+2.000 m/s, 0.25 %" in found["plans"].number
    assert "longest 200.0 s" in found["engines"].number
