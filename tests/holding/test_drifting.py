"""Relays left to themselves: against closed forms, and against an independent integration."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from simcheck import api
from simcheck.engines.pulls import place_of, pull
from simcheck.holding.drifting import Drift, drift, look_times, periapsis, unwrapped
from simcheck.measuring import average, offsets
from simcheck.records.case import Body
from simcheck.records.sky import Track
from tests.cases_for_tests import MARS, ring
from tests.helpers import assert_degrees, assert_relative
from tests.holding.bench import (
    DAY_S,
    YEAR_S,
    Site,
    about_mars,
    degrees_a_day,
    site,
    under_the_sky,
)

ZONAL = Body(name="Mars", gm_m3_s2=4.282837e13, radius_m=3396190.0, j2=1.9566e-3, j3=3.14e-5)


@pytest.mark.parametrize("relative", [1e-4, -1e-4])
def test_a_wrong_period_drifts_by_what_it_is_wrong(relative: float) -> None:
    """360 deg / T times dT / T a day (to first order), for a quarter of a year, under J2."""
    here = site(about_mars(goal=ring(12.0, slots=1)))
    states = here.relays(np.array([[0.0, relative, 0.0, 0.0, 0.0, 0.0]]))
    looks = look_times(0.0, 90 * DAY_S, here.motion.period_s)
    found = drift(here.batches, here.motion, here.slots, states, looks).begun(0.0, here.motion)
    rate = degrees_a_day(here.motion, relative)
    assert rate == pytest.approx(-360.0 * 2.0 * relative, rel=2e-4)
    phase = np.degrees(found.sizes[0, :, 0])
    # A relay reads its errors to 1e-7 of a revolution where the quick look is concerned; its drift
    # over 90 days shows 180 revolutions of that.
    assert_degrees(phase, rate * found.days(0.0), within=0.003)
    assert np.max(np.abs(phase)) > 6.0


@pytest.mark.parametrize("inclination", [0.0, 24.0, 63.4, 97.0])
def test_under_j2_a_ring_holds_for_ever(inclination: float) -> None:
    """By symmetry: slots differ by a turn and a delay, so nothing can drive them apart."""
    made = about_mars(goal=ring(12.0, inclination=inclination))
    found = api.hold(made, upkeep=False)
    assert found.first_days is None
    assert found.stays
    for relay in found.relays:
        assert relay.phase_deg < 1e-4
        assert relay.spacing_deg < 1e-4
        assert relay.eccentricity < 1e-6  # the quick look's 1e-7, and the window's J2 squared
        assert relay.plane_deg < 1e-4
        assert abs(relay.drift_deg_day) < 1e-6
    assert found.wander_deg == (0.0, 0.0)
    assert found.duration_s == YEAR_S


def test_under_j3_the_eccentricity_goes_round_the_frozen_one() -> None:
    """From a circle on: 2 e_f sin(rate t / 2), the rate being that of the apsides under J2.

    e_f = J3 / (2 J2) R / a sin i and 3/4 n J2 (R / a)^2 (5 cos^2 i - 1) are Vallado's (2013,
    section 11.4 and equation 9-41). Left out: terms of J2 squared, some 1e-3 of the rate here.
    """
    made = replace(about_mars(200.0, goal=ring(8.0, slots=1)), body=ZONAL, forces=("j2", "j3"))
    here = site(made)
    looks = look_times(0.0, 200 * DAY_S, here.motion.period_s)
    found = drift(here.batches, here.motion, here.slots, here.relays(), looks)
    ratio = ZONAL.radius_m / here.motion.radius_m
    i = made.ring.inclination_rad
    frozen = ZONAL.j3 / (2 * ZONAL.j2) * ratio * np.sin(i)
    rate = 0.75 * here.motion.rate * ZONAL.j2 * ratio**2 * (5 * np.cos(i) ** 2 - 1)
    due = 2 * frozen * np.sin(rate * found.times / 2)
    seen = found.sizes[0, :, 2]
    assert seen.max() > 0.5 * frozen  # far enough on the way for the test to see the circle
    assert np.max(np.abs(seen - due)) < 0.02 * frozen


def _by_dop853(here, state, days):  # type: ignore[no-untyped-def]
    """The state after some days by scipy alone: the forces are summed here once more."""
    gravity = here.propagator.gravity

    def rates(time, y):  # type: ignore[no-untyped-def]
        r = y[:3]
        d = np.linalg.norm(r)
        z2, j = 5 * r[2] ** 2 / d**2, 1.5 * gravity.j2 * (gravity.radius / d) ** 2
        a = -gravity.gm / d**3 * r * (1 + j * (np.array([1.0, 1.0, 3.0]) - z2))
        for track in () if gravity.sky is None else gravity.sky.pulling:
            there = place_of(track, time)
            gap = there - r
            a += track.gm_m3_s2 * (
                gap / np.linalg.norm(gap) ** 3 - there / np.linalg.norm(there) ** 3
            )
        return np.concatenate([y[3:], a])

    solved = solve_ivp(
        rates, (0.0, days * DAY_S), state[:6], method="DOP853", rtol=1e-12, atol=1e-6
    )
    return np.append(solved.y[:, -1], state[6])


@pytest.mark.parametrize(("where", "within"), [("Mars", 1e-4), ("Moon", 0.01)])
def test_a_hold_is_what_an_independent_integration_gives(
    where: str, within: float, tmp_path: Path
) -> None:
    """Thirty days by DOP853 with forces of its own: the same flight, and the same errors.

    What is left is the quick look's: its window is the ring's mean period. About Mars that is the
    relay's to 1e-4; about the Moon the Earth changes the period by 1e-3 of itself, and elements
    that swing by degrees are averaged over two minutes more or less of two days.
    """
    days = 30.0
    if where == "Mars":
        here = site(about_mars(goal=ring(12.0, slots=1)))
    else:
        made = under_the_sky(tmp_path, "Moon", "2035-01-20T00:00:00", 24.0, 55.0, days + 5)
        here = site(made)
    states = here.relays(np.array([[0.003, 1e-4, 1e-3, -5e-4, 1e-3, 2e-3]]))
    looks = np.array([0.0, days * DAY_S])
    found = drift(here.batches, here.motion, here.slots, states, looks)
    end = _by_dop853(here, states[0], days)
    ours = here.batches.advance(np.zeros(1), states, looks[1:])
    assert np.linalg.norm(ours[0, :3] - end[:3]) < 1.0  # m, after some hundred thousand km
    seen = average(here.propagator, looks[1], end, here.motion)
    due = offsets(seen, here.motion, 0)
    phase, period, e, plane = found.sizes[0, 1]
    assert abs(due.phase) > 0.02  # it has moved by degrees
    assert_degrees(np.degrees(phase), np.degrees(due.phase), within=within)
    assert period * here.motion.period_s == pytest.approx(due.period, abs=200 * within)
    assert e == pytest.approx(due.eccentricity, abs=2e-3 * within + 2e-6)
    assert_degrees(np.degrees(plane), np.degrees(due.plane), within=within)


def _tilts(here: Site, times: np.ndarray) -> np.ndarray:
    """Angles (n,) between the ring and the path of what pulls most, rad."""
    track = max(here.propagator.gravity.sky.pulling, key=lambda one: one.gm_m3_s2 / _far(one) ** 3)
    there, later = place_of(track, times), place_of(track, times + 3600.0)
    normal = np.cross(there, later)
    normal /= np.linalg.norm(normal, axis=-1)[:, None]
    return np.arccos(np.sum(normal * here.motion.frame(times)[:, 2], axis=-1))


def _far(track: Track) -> float:
    return float(np.linalg.norm(place_of(track, 0.0)))


@pytest.mark.reference("Lidov 1962 and Kozai 1962, from memory")
def test_about_the_moon_a_tilted_circle_becomes_eccentric(tmp_path: Path) -> None:
    """At the rate of the averaged quadrupole: 3/4 k sqrt(10 sin^2 i - 4), k the tide over n.

    i is to the Earth's path, and the growth begins at 39.23 deg. Left out: the Earth's distance
    coming and going, the octupole, and i turning with the node: some per cent.
    """
    grown = {}
    for inclination in (20.0, 60.0):
        made = under_the_sky(tmp_path, "Moon", "2035-01-20T00:00:00", 24.0, inclination, 366.0)
        here = site(made)
        states = here.relays(np.array([[0.0, 0.0, 2e-3, 0.0, 0.0, 0.0]]))
        looks = look_times(0.0, YEAR_S, here.motion.period_s)
        found = drift(here.batches, here.motion, here.slots, states, looks)
        grown[inclination] = found.sizes[0, :, 2]
    assert grown[20.0].max() < 3 * 2e-3
    half = slice(len(looks) // 2, None)
    late = found.times[half]
    rate = np.polyfit(late, np.log(grown[60.0][half]), 1)[0]
    tide = 3.986004e14 / 3.844e8**3 * (1 - 0.0549**2) ** -1.5
    sine2 = np.mean(np.sin(_tilts(here, late)) ** 2)
    due = 0.75 * tide / here.motion.rate * np.sqrt(10 * sine2 - 4)
    assert rate == pytest.approx(due, rel=0.08)


def test_looks_begin_with_the_hold_and_end_with_it() -> None:
    """A look a day for a year, one each two revolutions where these are longer."""
    for period, days in [(43200.0, 365.25), (86400.0, 365.25), (7200.0, 1.0), (43200.0, 7305.0)]:
        looks = look_times(100.0, days * DAY_S, period)
        steps = np.diff(looks)
        assert looks[0] == 100.0
        assert np.ptp(steps) < 1e-6
        assert steps[0] >= 2 * period
        last = looks[-1] + 2 * period - 100.0
        assert last <= days * DAY_S * (1 + 1e-12)
        assert last + steps[0] > days * DAY_S
        assert len(looks) <= 401
    assert np.diff(look_times(0.0, YEAR_S, 7200.0))[0] == pytest.approx(DAY_S)


def test_angles_are_unwrapped_past_what_is_lost() -> None:
    true = np.linspace(0.0, 30.0, 40)
    seen = np.angle(np.exp(1j * true))
    assert np.allclose(unwrapped(seen[None])[0], true, atol=1e-12)
    seen[20:] = np.nan
    found = unwrapped(seen[None])[0]
    assert np.allclose(found[:20], true[:20], atol=1e-12)
    assert np.isnan(found[20:]).all()


def test_spacing_is_to_the_next_relay_ahead() -> None:
    """Only the difference counts, and the last is followed by the first."""
    errors = np.zeros((3, 1, 6))
    errors[:, 0, 0] = [0.1, 0.3, -0.2]
    assert_relative(Drift(np.zeros(1), errors).spacing()[:, 0], [0.2, -0.5, 0.3], within=1e-12)
    alone = Drift(np.zeros(1), errors[:1])
    assert alone.spacing().tolist() == [[0.0]]


def test_a_relay_below_the_ground_is_lost_for_good() -> None:
    """A periapsis under the surface; its neighbour is not touched."""
    here = site(about_mars(goal=ring(2.6, slots=2)))  # a radius of 4,500 km
    errors = np.zeros((2, 6))
    errors[0, 2] = 0.3
    states = here.relays(errors)
    looks = look_times(0.0, 3 * DAY_S, here.motion.period_s)
    args = (here.batches, here.motion, here.slots, states, looks)
    assert np.isfinite(drift(*args).errors).all()
    found = drift(*args, ground=MARS.radius_m)
    assert np.isnan(found.errors[0]).all()
    assert np.isfinite(found.errors[1]).all()
    due = (MARS.gm_m3_s2 * (2.6 * 1800 / np.pi) ** 2) ** (1 / 3) * 0.7
    assert_relative(periapsis(errors[0], here.motion), due, within=2e-3)  # J2 moves the radius


def test_the_forces_of_this_file_are_those_of_the_engine(tmp_path: Path) -> None:
    """So that the integration above compares flights, and not force models."""
    made = under_the_sky(tmp_path, "Moon", "2035-01-20T00:00:00", 24.0, 55.0, 10.0)
    gravity = site(made).propagator.gravity
    place = np.array([6e6, -5e6, 4e6])
    d, z2 = np.linalg.norm(place), 5 * 4e6**2 / (36e12 + 25e12 + 16e12)
    j = 1.5 * gravity.j2 * (gravity.radius / d) ** 2
    due = -gravity.gm / d**3 * place * j * (np.array([1.0, 1.0, 3.0]) - z2)
    for track in gravity.sky.pulling:
        there = place_of(track, 3e5)
        gap = there - place
        due += track.gm_m3_s2 * (
            gap / np.linalg.norm(gap) ** 3 - there / np.linalg.norm(there) ** 3
        )
    assert_relative(pull(gravity, 3e5, place), due, within=1e-9)
