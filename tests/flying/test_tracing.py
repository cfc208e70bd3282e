"""A flight sampled for pictures, against the other propagator and formulas written out here."""

from __future__ import annotations

import dataclasses
import math
from functools import cache
from pathlib import Path
from typing import NamedTuple

import numpy as np
import pytest

import simcheck
from simcheck import api
from simcheck.engines.base import Thrust
from simcheck.engines.choosing import fast_propagator, reference_propagator
from simcheck.engines.gravity import gravity_of
from simcheck.flying.mission import fly_plan
from simcheck.flying.tracing import trace
from simcheck.measuring import RingMotion, relay_state
from simcheck.records.case import Case
from simcheck.records.flight import Flight
from simcheck.records.trace import Trace
from tests.flying import bench
from tests.helpers import assert_degrees, assert_metres

CASES = Path(__file__).parents[2] / "cases"


class Traced(NamedTuple):
    case: Case
    flight: Flight
    ring: RingMotion
    trace: Trace


@cache
def traced(name: str) -> Traced:
    case = simcheck.load_case(CASES / f"{name}.toml")
    flight = simcheck.fly(case, simcheck.plan(case), reference=False)
    ring = api.resolved_ring(case)
    return Traced(case, flight, ring, trace(case, flight, ring))


def of(case: Case, *commands: object) -> Traced:
    flight = fly_plan(case, bench.plan(*commands), reference=False)  # type: ignore[arg-type]
    ring = api.resolved_ring(case)
    return Traced(case, flight, ring, trace(case, flight, ring))


def ring_axes(ring: RingMotion, time: float) -> np.ndarray:
    """Rows: to the node, 90 degrees ahead of it, along the normal; spelled out."""
    i, raan = ring.ring.inclination_rad, ring.ring.raan_rad + ring.node_rate * time
    node = [math.cos(raan), math.sin(raan), 0.0]
    normal = [math.sin(i) * math.sin(raan), -math.sin(i) * math.cos(raan), math.cos(i)]
    return np.array([node, np.cross(normal, node), normal])


def elements(
    r: np.ndarray, v: np.ndarray, gm: float
) -> tuple[float, float, np.ndarray, np.ndarray]:
    """Mean longitude (deg), period, (k, h) and normal of one state in the ring's axes.

    The equinoctial axes are the ring's, turned the shortest way until z is the orbit's normal.
    """
    h = np.cross(r, v)
    w = h / np.linalg.norm(h)
    c, axis = w[2], np.array([-w[1], w[0], 0.0])  # z cross w
    cross = np.array(
        [[0, -axis[2], axis[1]], [axis[2], 0, -axis[0]], [-axis[1], axis[0], 0]], dtype=float
    )
    turn = np.eye(3) + cross + cross @ cross / (1 + c)
    f, g = turn[:, 0], turn[:, 1]
    e = np.cross(v, h) / gm - r / np.linalg.norm(r)
    k, hh = float(e @ f), float(e @ g)
    size = math.hypot(k, hh)
    apsis = math.atan2(hh, k)
    nu = math.atan2(r @ g, r @ f) - apsis
    big = 2 * math.atan2(
        math.sqrt(1 - size) * math.sin(nu / 2), math.sqrt(1 + size) * math.cos(nu / 2)
    )
    a = 1 / (2 / np.linalg.norm(r) - v @ v / gm)
    mean = math.degrees(big - size * math.sin(big) + apsis)
    return mean, 2 * math.pi * math.sqrt(a**3 / gm), np.array([k, hh]), w


@pytest.mark.parametrize("name", ["mars_ring", "handbook_transfer"])
def test_positions_are_those_of_the_other_propagator(name: str) -> None:
    """Every seventh sample, flown from the first start through every arc by scipy's propagator.

    Within a metre: what the two may differ by over a flight.
    """
    made = traced(name)
    propagator = reference_propagator(gravity_of(made.case))
    start = made.flight.arcs[0].start
    time = made.flight.arcs[0].start_s
    state = np.array([*start.position_m, *start.velocity_m_s, start.mass_kg])
    for number, arc in enumerate(made.flight.arcs):
        thrust = None
        if arc.steering is not None and arc.direction is not None:
            thrust = Thrust(
                thrust_n=arc.thrust_n,
                isp_s=arc.isp_s,
                steering=arc.steering,
                direction=arc.direction,
            )
        for at in np.flatnonzero(made.trace.arc == number)[::7]:
            there = propagator.advance(time, state, float(made.trace.time_s[at]), thrust).state
            expected = ring_axes(made.ring, made.trace.time_s[at]) @ there[:3]
            if name == "handbook_transfer":  # an equatorial ring has no node
                expected = there[:3]
            assert_metres(made.trace.position_m[at], expected, 1.0)
        state = propagator.advance(time, state, arc.end_s, thrust).state
        time = arc.end_s


@pytest.mark.parametrize("at", [0, 20, 200, -1])
def test_errors_are_those_of_the_osculating_orbits(at: int) -> None:
    """Of the craft and of a relay on the slot, flown by the other propagator, by plain formulas."""
    made = traced("mars_ring")
    gm, time = made.case.body.gm_m3_s2, float(made.trace.time_s[at])
    fast = fast_propagator(gravity_of(made.case))
    other = reference_propagator(gravity_of(made.case))
    relay = np.append(relay_state(made.ring, fast, made.case.craft.slot), 1.0)
    arc = made.flight.arcs[int(made.trace.arc[at])]
    assert arc.kind == "coast"
    begun = np.array([*arc.start.position_m, *arc.start.velocity_m_s, arc.start.mass_kg])
    axes = ring_axes(made.ring, time)
    parts = []
    for start, begins in ((begun, arc.start_s), (relay, 0.0)):
        state = other.advance(begins, start, time).state
        parts.append(elements(axes @ state[:3], axes @ state[3:6], gm))
    ours, slot = parts
    # 1e-6: a metre on the ring is 5e-6 deg, and the propagators differ by centimetres.
    assert_degrees(made.trace.phase_deg[at], ours[0] - slot[0], 1e-6)
    assert made.trace.period_s[at] == pytest.approx(ours[1] - slot[1], abs=1e-4)
    off = float(np.linalg.norm(ours[2] - slot[2]))
    assert made.trace.eccentricity[at] == pytest.approx(off, abs=1e-9)
    angle = math.degrees(math.acos(min(1.0, float(ours[3] @ slot[3]))))
    if angle > 1e-3:  # an arc cosine tells no smaller one
        assert_degrees(made.trace.plane_deg[at], angle, 1e-6)


@pytest.mark.parametrize(
    ("name", "share"),
    [("handbook_transfer", 1e-6), ("mars_ring", 1e-2), ("lunar_year", 1e-2)],
    ids=["two-body", "J2", "the Earth's pull on the Moon's ring"],
)
def test_the_end_is_what_the_verdict_measures(name: str, share: float) -> None:
    """The verdict's averages are the osculating errors in two-body motion, nearly so elsewhere.

    A hundredth of each tolerance is what no picture shows; without the relay to go by, the lunar
    period alone would be off by five tolerances.
    """
    made = traced(name)
    errors, tolerances = made.flight.errors, made.trace.tolerances
    for field, tolerance in tolerances.items():
        last = float(getattr(made.trace, field)[-1])
        assert last == pytest.approx(getattr(errors, field), abs=share * tolerance), field


def test_the_first_orbit_is_the_cases() -> None:
    """Apsides and tilt as the case file has them, by spherical trigonometry."""
    made = traced("mars_ring")
    radii = np.linalg.norm(made.trace.before_m, axis=-1) / 1e3
    assert radii.min() == pytest.approx(
        3396.19 + 620, abs=1.0
    )  # curve of 241 points: 1e-4 of a turn
    assert radii.max() == pytest.approx(3396.19 + 12400, abs=1.0)
    normal = np.cross(made.trace.before_m[0], made.trace.before_m[60])
    tilt = math.degrees(math.acos(normal[2] / np.linalg.norm(normal)))
    one, two, between = np.radians([17.0, 24.0, 145.0 - 128.0])
    cosine = math.cos(one) * math.cos(two) + math.sin(one) * math.sin(two) * math.cos(between)
    assert_degrees(tilt, math.degrees(math.acos(cosine)), 1e-6)
    assert np.allclose(made.trace.before_m[0], made.trace.before_m[-1], rtol=1e-12)


def test_members_and_slots_stand_a_quarter_apart() -> None:
    """Chords of the ring: side and diameter of a square; the distance at the end is the chord."""
    made = traced("mars_ring")
    side = math.sqrt(2) * made.ring.radius_m
    chords = {"Avocet": 2 * made.ring.radius_m, "Dunlin": side, "Plover": side}
    for member in made.trace.members:  # relays breathe by J2 (R/a)^2, some 1e-4
        assert member.distance_m[-1] == pytest.approx(chords[member.name], rel=1e-3)
        apart = np.linalg.norm(member.position_m - made.trace.position_m[-1])
        assert member.distance_m[-1] == pytest.approx(apart, rel=1e-9)
    steps = np.linalg.norm(np.diff(made.trace.slots_m, axis=0), axis=-1)
    assert steps == pytest.approx(side, rel=1e-9)
    there = made.trace.slots_m[made.trace.slot]
    assert np.linalg.norm(there - made.trace.position_m[-1]) < 2e-3 * made.ring.radius_m


@pytest.mark.parametrize("steering", ["rsw", "inertial"])
def test_a_burn_points_where_the_velocity_goes(steering: str) -> None:
    """The change of velocity less gravity's, integrated by Simpson's rule over the flown burn.

    To 2e-3: in 60 s a direction turning with the craft sweeps a degree and a half.
    """
    made = of(bench.case(), bench.command(dv=50.0, steering=steering))
    burn, arc = made.trace.burns[0], bench.burns(made.flight)[0]
    assert burn.label == "B1"
    assert (burn.start_s, burn.end_s) == (arc.start_s, arc.end_s)
    assert np.linalg.norm(burn.dv_m_s) == pytest.approx(arc.dv_m_s, rel=1e-12)
    inside = made.trace.arc == made.flight.arcs.index(arc)
    places = np.array(
        [
            ring_axes(made.ring, t).T @ p
            for t, p in zip(made.trace.time_s[inside], made.trace.position_m[inside], strict=True)
        ]
    )
    pull = -made.case.body.gm_m3_s2 * places / np.linalg.norm(places, axis=-1)[:, None] ** 3
    weights = np.array([1.0, *([4.0, 2.0] * 5), 4.0, 1.0])[:, None]
    fallen = (arc.end_s - arc.start_s) / 12 / 3 * np.sum(weights * pull, axis=0)
    gained = arc.end.velocity_m_s - arc.start.velocity_m_s - fallen
    middle = (arc.start_s + arc.end_s) / 2
    seen = ring_axes(made.ring, middle) @ gained
    assert np.linalg.norm(seen - burn.dv_m_s) < 2e-3 * arc.dv_m_s


def test_an_open_orbit_has_no_errors() -> None:
    """Thrown out of its orbit the craft has a way, but no phase, period or closed orbit."""
    start = bench.START.copy()
    start[3:6] *= 1.6
    made = of(bench.case(start))
    assert made.flight.outcome == "left-the-body"
    assert np.isfinite(made.trace.position_m).all()
    for name in ("phase_deg", "period_s", "eccentricity"):
        assert np.isnan(getattr(made.trace, name)).all()
    assert len(made.trace.before_m) == len(made.trace.after_m) == 0


def test_a_long_flight_is_sampled_no_more() -> None:
    """Many revolutions share the samples, none of them with fewer than 24."""
    case = bench.case()
    year = dataclasses.replace(bench.command(dv=5.0), ignition_s=60 * 86400.0)
    made = of(case, year)
    assert len(made.trace.time_s) < 12_000
    first = made.trace.arc == 0
    steps = np.diff(made.trace.time_s[first])
    a = 1 / (
        2 / np.linalg.norm(case.craft.position_m)
        - case.craft.velocity_m_s @ case.craft.velocity_m_s / case.body.gm_m3_s2
    )
    assert steps.max() < 2 * math.pi * math.sqrt(a**3 / case.body.gm_m3_s2) / 23.9
