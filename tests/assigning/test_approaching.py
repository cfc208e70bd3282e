"""Closest approaches of craft against closed forms and a dense sampling by scipy."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from simcheck.arrays import Array
from simcheck.assigning.approaching import approaches
from simcheck.engines.base import G0, Thrust
from simcheck.engines.gravity import Gravity
from simcheck.engines.taylor import TaylorPropagator
from simcheck.kernels.elements import state_from_classical
from simcheck.records.flight import Arc, Flight, MassState
from tests.cases_for_tests import MARS
from tests.cli import samples

GM = MARS.gm_m3_s2
FLAT = TaylorPropagator(Gravity(GM, MARS.radius_m))
THRUST_N, ISP_S = 400.0, 318.0


def circular(radius_km: float, latitude_deg: float, inclination_deg: float = 0.0) -> Array:
    """State (7,) on a circle, node along x, at this angle from it."""
    i, u = math.radians(inclination_deg), math.radians(latitude_deg)
    r, v = state_from_classical(radius_km * 1e3, 0.0, i, 0.0, 0.0, u, GM)
    return np.concatenate([r, v, [500.0]])


def mass_state(state: Array) -> MassState:
    return MassState(position_m=state[:3], velocity_m_s=state[3:6], mass_kg=float(state[6]))


def coast(start: Array, end_s: float, start_s: float = 0.0) -> Arc:
    end = FLAT.advance(start_s, start, end_s).state
    return Arc(
        kind="coast",
        burn=None,
        start_s=start_s,
        end_s=end_s,
        thrust_n=0.0,
        isp_s=0.0,
        steering=None,
        direction=None,
        start=mass_state(start),
        end=mass_state(end),
    )


def flight(*arcs: Arc, arrival_s: float, outcome: str = "flown") -> Flight:
    made: Flight = samples.flight()
    return samples.changed(made, arcs=arcs, arrival_time_s=arrival_s, outcome=outcome)


def closest(*flights: Flight, separation_m: float = 0.0):
    found = approaches(FLAT, [f"R{k}" for k in range(len(flights))], flights, separation_m)
    assert len(found) == len(flights) * (len(flights) - 1) // 2
    return found[0]


def test_two_on_one_circle_keep_their_chord() -> None:
    """2 R sin(angle / 2) throughout."""
    one, other = (coast(circular(9000.0, x), 20000.0) for x in (0.0, 7.0))
    found = closest(flight(one, arrival_s=20000.0), flight(other, arrival_s=100.0))
    assert found.distance_m == pytest.approx(2 * 9e6 * math.sin(math.radians(3.5)), rel=1e-9)


def test_the_inner_one_overtakes_the_outer_one() -> None:
    """Radii 9000 and 9300 km, the inner 20 deg behind: 300 km apart once it has caught up.

    Found though both flights end long before, since one craft has yet to arrive.
    """
    rates = [math.sqrt(GM / (km * 1e3) ** 3) for km in (9000.0, 9300.0)]
    when = math.radians(20.0) / (rates[0] - rates[1])
    one, other = coast(circular(9000.0, -20.0), 500.0), coast(circular(9300.0, 0.0), 500.0)
    late = coast(circular(15000.0, 90.0), 1.1 * when)
    flights = [flight(x, arrival_s=400.0) for x in (one, other)]
    found = closest(*flights, flight(late, arrival_s=1.1 * when), separation_m=3.001e5)
    assert found.distance_m == pytest.approx(300e3, abs=1e-2)
    assert found.time_s == pytest.approx(when, abs=1.0)  # flat there: 1 s is 1e-3 m
    assert not found.kept


def test_crossing_planes_meet_between_samples() -> None:
    """At the node of two planes, 0.01 deg apart there: a passage of seconds at kilometres a second.

    Circles of one radius tilted by 60 deg, both passing the node at one time, but one ahead by a:
    nearest when straddling it, where the separation is 2 R sin(a / 2) cos(60 deg / 2) at best.
    """
    radius, ahead = 9e6, math.radians(0.01)
    one, other = circular(9000.0, -50.0), circular(9000.0, -50.0 + math.degrees(ahead), 60.0)
    flights = [flight(coast(x, 9000.0), arrival_s=9000.0) for x in (one, other)]
    found = closest(*flights)
    expected = 2 * radius * math.sin(ahead / 2) * math.cos(math.radians(30.0))
    assert found.distance_m == pytest.approx(expected, abs=1.0)  # cubics: 1e-9 of the radius


def test_a_burn_is_followed_as_it_was_flown() -> None:
    """Against scipy's DOP853 with the thrust in its equations, sampled every tenth of a second."""
    start, other = circular(9000.0, 0.0), circular(9002.0, 0.3)
    direction = np.array([0.6, 0.8, 0.0])
    flow = THRUST_N / (G0 * ISP_S)

    def slope(_: float, y: Array) -> Array:
        pull = -GM * y[:3] / np.linalg.norm(y[:3]) ** 3
        return np.concatenate([y[3:6], pull + THRUST_N / y[6] * direction, [-flow]])

    burnt = solve_ivp(
        slope, (0.0, 400.0), start, "DOP853", rtol=1e-12, atol=1e-6, dense_output=True
    )
    end = burnt.y[:, -1]
    arc = Arc(
        kind="burn",
        burn="B1",
        start_s=0.0,
        end_s=400.0,
        thrust_n=THRUST_N,
        isp_s=ISP_S,
        steering="inertial",
        direction=direction,
        start=mass_state(start),
        end=mass_state(end),
    )
    found = closest(
        flight(arc, coast(end, 900.0, 400.0), arrival_s=400.0),
        flight(coast(other, 900.0), arrival_s=400.0),
    )
    times = np.linspace(0.0, 400.0, 4001)
    there = FLAT.sample(0.0, other, times)
    apart = np.linalg.norm(burnt.sol(times)[:3].T - there[:, :3], axis=1)
    assert found.distance_m == pytest.approx(apart.min(), abs=0.05)
    assert found.distance_m < apart[0]


def test_what_hit_the_body_is_met_no_more() -> None:
    """A flight that ended in the ground is left out from then on."""
    one = coast(circular(9000.0, 0.0), 100.0)
    meets = coast(circular(9000.0, 2.0), 5000.0)
    gone = flight(one, arrival_s=0.0, outcome="hit-the-body")
    found = closest(gone, flight(meets, arrival_s=5000.0))
    assert found.time_s <= 100.0


def test_one_craft_meets_nobody() -> None:
    assert (
        approaches(FLAT, ["R"], [flight(coast(circular(9e3, 0.0), 9.0), arrival_s=9.0)], 1.0) == ()
    )


def test_a_burn_between_samples_is_no_surprise() -> None:
    """Closing slowly until an ignition that throws it back: nearest exactly then, between samples.

    Two-body states at that time are exact; a sample every half minute would miss it by metres.
    """
    behind, ahead = circular(9000.0, 0.0), circular(9002.0, 0.3)
    lit = FLAT.advance(0.0, behind, 100.0).state
    back = Thrust(thrust_n=2e5, isp_s=3e4, steering="inertial", direction=np.array([-0.6, -0.8, 0]))
    out = FLAT.advance(100.0, lit, 110.0, back).state
    arc = Arc(
        kind="burn",
        burn="B1",
        start_s=100.0,
        end_s=110.0,
        thrust_n=back.thrust_n,
        isp_s=back.isp_s,
        steering=back.steering,
        direction=back.direction,
        start=mass_state(lit),
        end=mass_state(out),
    )
    thrown = flight(coast(behind, 100.0), arc, coast(out, 900.0, 110.0), arrival_s=900.0)
    found = closest(flight(coast(ahead, 900.0), arrival_s=900.0), thrown)
    there = FLAT.advance(0.0, ahead, 100.0).state
    assert found.distance_m == pytest.approx(float(np.linalg.norm(lit[:3] - there[:3])), abs=1e-3)
    assert found.time_s == pytest.approx(100.0, abs=0.01)  # the thrust has to stop it first
