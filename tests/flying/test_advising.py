"""Advice from a tracking solution: where the craft stands, how well that is known, what to do."""

import dataclasses
import math
import re

import numpy as np
import pytest

from simcheck.engines.choosing import fast_propagator
from simcheck.engines.gravity import gravity_of
from simcheck.errors import InputError, NoPlanError
from simcheck.files.covariances import covariance_fault
from simcheck.flying.advising import advise, in_words
from simcheck.flying.mission import fly_plan
from simcheck.kernels.vectors import TAU, rsw_frame
from simcheck.planning.planner import plan_ring
from simcheck.records.case import Limits, Tolerance
from simcheck.records.flight import FlownErrors
from tests.flying.bench import command, plan
from tests.flying.loops import OwnPlanner, estimate_of, near_slot, relay, ring_of
from tests.helpers import assert_degrees, assert_relative, assert_seconds

DAY = 86400.0
NOW = 2 * DAY


def nobody(case, wish):
    raise AssertionError("asked a planner")


def advice(y, *, time=NOW, case=None, planner=plan_ring, prefer="balance", **fields):
    return advise(case or relay(), estimate_of(y, time, **fields), planner, prefer)


# Where the craft stands


@pytest.mark.parametrize("behind", [0.2, -0.2, 0.0])
def test_inside_half_of_each_tolerance_there_is_nothing_to_do(behind):
    """A craft 0.2 deg from its slot, of 0.5 allowed, needs no burn, and no planner is asked."""
    got = advice(near_slot(behind, time=NOW), planner=nobody)
    assert got.plan is None
    assert got.left is None
    assert_degrees(got.errors.phase_deg, -behind, 1e-6)
    assert got.within == {"phase": True, "period": True, "eccentricity": True, "plane": True}
    assert got.why.endswith("nothing to do.")


@pytest.mark.parametrize(
    ("behind", "faster", "inside"), [(0.3, 0.0, True), (0.0, 2.5e-5, True), (0.6, 0.0, False)]
)
def test_beyond_half_of_a_tolerance_there_is(behind, faster, inside):
    """Any error beyond half its tolerance has burns found, whether it is outside yet or not."""
    own = OwnPlanner(plan(command(1000.0, 0.1, burn="T1")))
    got = advice(near_slot(behind, faster=faster, time=NOW), planner=own)
    assert len(own.asked) == 1
    assert got.plan is not None
    assert all(got.within.values()) is inside
    assert ("Outside tolerance: phase" in got.why) is not inside


def test_phase_is_the_one_at_the_estimate():
    """A drifting craft's phase is that of the estimate's time, not of the end of the averaging.

    Nothing else is off: the state is the slot's own with 1 mm/s more, so the phase is still zero.
    """
    got = advice(near_slot(0.0, faster=1e-6, time=NOW), planner=nobody)
    assert abs(got.drift_deg_day) > 1e-3
    # The push also makes an eccentricity, which moves the mean longitude by less than itself.
    assert abs(got.errors.phase_deg) < math.degrees(2e-6)


def test_the_drift_is_that_of_the_periods():
    """The drift a day is the difference of the two rates."""
    got = advice(near_slot(0.1, faster=1e-5, time=NOW), planner=nobody)
    period = ring_of(relay()).period_s
    drift = 360 * DAY * (1 / (period + got.errors.period_s) - 1 / period)
    assert_relative(got.drift_deg_day, drift, 1e-6)


@pytest.mark.parametrize(
    ("behind", "faster"), [(0.1, 1e-5), (-0.1, 1e-5), (0.15, -1.5e-5)], ids=["on", "across", "up"]
)
def test_the_phase_holds_as_long_as_is_said(behind, faster):
    """Flown on, the craft is at the edge of its tolerance when it is said to be, to a hundredth."""
    y = near_slot(behind, faster=faster, time=NOW)
    got = advice(y, planner=nobody)
    assert 5 < got.holds_days < 60
    p, later = fast_propagator(gravity_of(relay())), NOW + got.holds_days * DAY
    there = p.advance(NOW, np.append(y[:6], 400.0), later).state
    free = dataclasses.replace(relay(), limits=Limits())
    got = advice(there, case=free, time=later, planner=OwnPlanner(plan()))
    assert_degrees(abs(got.errors.phase_deg), 0.5, 0.01 * 0.5)


def test_outside_the_phase_does_not_hold():
    """0 days where the phase is outside; where it is not judged, there is nothing to hold."""
    y = near_slot(5.2, time=NOW)
    assert advice(y, planner=OwnPlanner(plan())).holds_days == 0.0
    free = dataclasses.replace(relay(), tolerance=Tolerance(period_s=5.0))
    got = advice(y, case=free, planner=nobody)
    assert got.holds_days is None
    assert got.within == {"period": True}


# How well that is known


def covariance() -> np.ndarray:
    """Of 50 m and 5 mm/s an axis, its six axes mixed by fixed random numbers."""
    mix = np.random.default_rng(3).normal(size=(6, 6)) + np.eye(6)
    sizes = np.array([50.0] * 3 + [5e-3] * 3)
    made = mix @ mix.T
    scale = sizes / np.sqrt(np.diag(made))
    return made * np.outer(scale, scale)


def scattered(y: np.ndarray, cov: np.ndarray, count: int) -> np.ndarray:
    """The four errors (n, 4) of states drawn about one with that covariance."""
    rng = np.random.default_rng(5)
    rows = []
    for off in rng.multivariate_normal(np.zeros(6), cov, size=count, method="cholesky"):
        moved = y.copy()
        moved[:6] += off
        rows.append(dataclasses.astuple(advice(moved, planner=OwnPlanner(plan())).errors))
    return np.array(rows)


def test_sigmas_are_those_of_a_monte_carlo():
    """One sigma of each error by the covariance is the scatter of 300 states drawn with it.

    15 % is 3.7 sigma of a standard deviation from 300. Eccentricity and tilt are several sigmas
    long here, so that their lengths scatter like one component. Without the covariance's mixed
    terms the numbers would be others.
    """
    y = near_slot(0.1, faster=1.6e-5, time=NOW)
    y[3:6] += 2e-5 * np.linalg.norm(y[3:6]) * rsw_frame(y[:3], y[3:6])[2]
    cov = covariance()
    got = advice(y, planner=nobody, covariance=cov)
    sigma = np.array(dataclasses.astuple(got.sigma))
    found = scattered(y, cov, 300)
    assert found[:, 2].mean() > 3 * found[:, 2].std()
    assert found[:, 3].mean() > 3 * found[:, 3].std()
    assert_relative(sigma, found.std(axis=0), 0.15)
    alone = advice(y, planner=nobody, covariance=np.diag(np.diag(cov))).sigma
    assert np.max(np.abs(np.array(dataclasses.astuple(alone)) / sigma - 1)) > 0.15


def test_lengths_of_nothing_have_a_sigma():
    """On the slot exactly, eccentricity and plane have the sigma of their larger axis, not zero."""
    cov = np.diag([50.0**2] * 3 + [5e-3**2] * 3)
    got = advice(near_slot(0.0, time=NOW), planner=nobody, covariance=cov)
    speed, radius = 1840.0, ring_of(relay()).radius_m
    # Of a circular orbit: e is 2 dv/v along the track and as much of the radius, the tilt dh/h.
    e = math.sqrt(max((2 * 5e-3 / speed) ** 2, (50.0 / radius) ** 2))
    assert e < got.sigma.eccentricity < 2 * e
    tilt = math.degrees(max(5e-3 / speed, 50.0 / radius))
    assert_relative(got.sigma.plane_deg, tilt, 0.05)
    assert advice(near_slot(0.0, time=NOW), planner=nobody).sigma is None


def test_a_covariance_of_zero_is_certainty():
    """Nothing is unknown where the covariance says so."""
    got = advice(near_slot(0.1, time=NOW), planner=nobody, covariance=np.zeros((6, 6)))
    assert dataclasses.astuple(got.sigma) == (0.0, 0.0, 0.0, 0.0)


def test_a_covariance_rounded_to_singular_has_sigmas():
    """A covariance that a file's digits leave indefinite by a hair, as read_state allows, is used.

    Here the period is known exactly, as after weeks of tracking, but for one part in 1e9.
    """
    y, sizes = near_slot(0.1, time=NOW), np.array([50.0] * 3 + [5e-3] * 3)
    slope = np.array(
        [
            advice(y + np.append(step, 0.0), planner=nobody).errors.period_s
            for step in np.diag(sizes)
        ]
    )
    way = slope - advice(y, planner=nobody).errors.period_s
    way /= np.linalg.norm(way)
    cov = (np.eye(6) - (1 + 1e-9) * np.outer(way, way)) * np.outer(sizes, sizes)
    assert covariance_fault(cov) == ""
    got = advice(y, planner=nobody, covariance=cov)
    assert got.sigma.period_s < 1e-3
    assert got.sigma.phase_deg > 1e-4


# What to do


@pytest.fixture(scope="module")
def behind():
    """The advice to a craft 5.2 deg behind its slot, with 90 kg aboard."""
    return advice(near_slot(5.2, time=NOW), mass_kg=400.0)


def test_the_trade_is_an_operators(behind):
    """A phase of 5.2 deg worked off in k revolutions costs a k-th of what it does in one.

    By hand: the period changes by T 5.2/360 k, which takes v/3 of that share, there and back.
    """
    v = TAU * ring_of(relay()).radius_m / ring_of(relay()).period_s
    rows = {x.summary: x.total_dv_m_s for x in behind.plan.alternatives}
    rows[behind.plan.summary] = behind.plan.total_dv_m_s
    costs = {float(name.split()[-2]): dv for name, dv in rows.items()}
    assert {1.0, 10.0} <= costs.keys()
    for k, cost in costs.items():
        if k >= 1.0:
            assert_relative(cost, 2 * v / 3 * 5.2 / 360 / k, 0.02)  # first order; 5.2 deg is 1.4 %
    assert_relative(costs[1.0], 10 * costs[10.0], 0.02)
    times = [x.arrival_time_s for x in behind.plan.alternatives]
    assert all(time > NOW for time in times)


def test_the_burns_are_on_the_cases_clock(behind):
    """Burns, commands and arrival come after the estimate's time, not after zero."""
    for burn, order in zip(behind.plan.burns, behind.plan.commands, strict=True):
        assert burn.time_s > NOW
        assert order.ignition_s >= NOW
        assert order.burn == burn.label
    assert behind.plan.arrival_time_s == pytest.approx(behind.plan.burns[-1].time_s)


def test_what_is_left_is_what_a_flight_leaves(behind):
    """Flown on from the estimate, the burns leave what the advice says; inside half of each."""
    y = near_slot(5.2, time=NOW)
    craft = dataclasses.replace(
        relay().craft, position_m=y[:3], velocity_m_s=y[3:6], propellant_kg=90.0
    )
    motion = ring_of(relay())
    ring = dataclasses.replace(
        relay().ring,
        raan_rad=relay().ring.raan_rad + motion.node_rate * NOW,
        argument_of_latitude_rad=relay().ring.argument_of_latitude_rad + motion.rate * NOW,
    )
    late = dataclasses.replace(relay(), craft=craft, ring=ring, members=())
    commands = tuple(
        dataclasses.replace(x, ignition_s=x.ignition_s - NOW) for x in behind.plan.commands
    )
    flight = fly_plan(late, plan(*commands), reference=False)
    assert_degrees(flight.errors.phase_deg, behind.left.phase_deg, 1e-3)
    assert_seconds(flight.errors.period_s, behind.left.period_s, 1e-3)
    assert abs(behind.left.phase_deg) < 0.25
    assert abs(behind.left.period_s) < 2.5
    assert behind.left.eccentricity < 0.001
    assert behind.left.plane_deg < 0.05


def test_preferences_order_the_waits():
    """Asked for time the craft arrives first, asked for Δv it pays least."""
    y = near_slot(5.2, time=NOW)
    soon, cheap = (advice(y, mass_kg=400.0, prefer=x).plan for x in ("time", "dv"))
    middle = advice(y, mass_kg=400.0).plan
    assert soon.arrival_time_s < middle.arrival_time_s <= cheap.arrival_time_s
    assert cheap.commanded_dv_m_s <= middle.commanded_dv_m_s < soon.commanded_dv_m_s


@pytest.mark.parametrize(
    "prefer",
    [
        "balance",
        "time",
    ],
)
@pytest.mark.parametrize("behind_deg", [5.2, 0.3])
def test_commands_stand_for_their_impulses(prefer, behind_deg):
    """What is commanded is what is shown: Δv within a twentieth, ignition within ten minutes."""
    made = advice(near_slot(behind_deg, time=NOW), mass_kg=400.0, prefer=prefer).plan
    for burn, order in zip(made.burns, made.commands, strict=True):
        assert_seconds(order.ignition_s + order.duration_s / 2, burn.time_s, 600.0)
        assert_relative(order.dv_m_s, burn.magnitude_m_s, 0.05)


# What cannot be


def test_a_mass_below_dry_is_wrong_input():
    """A state lighter than the empty craft is refused, with both masses and where it is from."""
    with pytest.raises(InputError, match=r"a test: a mass of 300 kg .*dry mass of 310 kg"):
        advice(near_slot(5.2), mass_kg=300.0)


@pytest.mark.parametrize(
    ("speed", "words"), [(1.5, "not closed"), (0.2, "comes down on Mars: its periapsis is")]
)
def test_no_orbit_is_wrong_input(speed, words):
    """A state that leaves the body, or falls onto it, is refused in words."""
    y = near_slot(0.0, time=NOW)
    y[3:6] *= speed
    with pytest.raises(InputError, match=words) as caught:
        advice(y)
    assert str(caught.value).startswith("a test: ")


@pytest.mark.parametrize(
    ("fields", "words"),
    [
        ({"days": 2.1}, "time"),
        ({"days": 1.0}, "duration"),
        ({"dv": 0.05}, "m/s"),
        ({"mass_kg": 310.0}, "tank|propellant"),
    ],
    ids=["little time", "too late", "dv", "dry"],
)
def test_where_nothing_can_be_done_it_says_why(fields, words):
    """Out of time, Δv or propellant there is no plan, and the message names what is short."""
    c = relay()
    if "days" in fields:
        c = dataclasses.replace(
            c, limits=dataclasses.replace(c.limits, duration_s=fields["days"] * DAY)
        )
    if "dv" in fields:
        c = dataclasses.replace(c, limits=dataclasses.replace(c.limits, dv_m_s=fields["dv"]))
    with pytest.raises(NoPlanError, match=words):
        advice(near_slot(5.2, time=NOW), case=c, mass_kg=fields.get("mass_kg", 400.0))


def test_what_is_within_and_cannot_be_mended_is_left():
    """0.3 deg behind, of 0.5 allowed, and an empty tank: no burns, and the words name the tank."""
    got = advice(near_slot(0.3, time=NOW), mass_kg=310.0)
    assert got.plan is None
    assert got.left is None
    assert all(got.within.values())
    assert re.search(r"tank|propellant", got.why)
    assert "nothing to do" not in got.why
    with pytest.raises(NoPlanError):
        advice(near_slot(0.6, time=NOW), mass_kg=310.0)


def test_words():
    """The errors are told in words, in the sense that they have."""
    e = FlownErrors(phase_deg=-5.2, period_s=12.5, eccentricity=0.00123, plane_deg=0.25)
    text = in_words(relay(), e, {"phase": 10.4, "period": 2.5, "eccentricity": 0.6, "plane": 2.5})
    for words in (
        "R is 5.20 deg behind slot 3",
        "its period 12.50 s too long",
        "its eccentricity 0.00123",
        "its plane 0.250 deg off the ring's",
        "Outside tolerance: phase, period, plane.",
    ):
        assert words in text
    e = dataclasses.replace(e, phase_deg=0.3, period_s=-0.01)
    assert "ahead of slot 3, its period 0.01 s too short" in in_words(relay(), e, {"phase": 0.6})
    assert "not by half" in in_words(relay(), e, {"phase": 0.6})
    assert "its period right" in in_words(
        relay(), dataclasses.replace(e, period_s=0.001), {"phase": 0.1}
    )
