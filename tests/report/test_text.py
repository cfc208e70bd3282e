"""The text output: it fits the screen whatever it shows, and says what was judged."""

from __future__ import annotations

import io
import math
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from rich.cells import cell_len
from rich.console import Console, RenderableType

from simcheck.judging import judge
from simcheck.records.case import Case, Tolerance
from simcheck.records.flight import Approach, Decision, Flight
from simcheck.report.flight_text import flight_text
from simcheck.report.plan_text import plan_text, propellant_uses, seen_from_ring
from simcheck.report.words import calendar, clean, duration, fixed
from tests.cli import samples

WIDTH = 100


def text_of(renderable: RenderableType) -> str:
    """What a pipe would get."""
    stream = io.StringIO()
    Console(file=stream, width=WIDTH, color_system=None).print(renderable)
    return stream.getvalue()


def plan_lines(case: Case, **fields: Any) -> str:
    return text_of(plan_text(case, samples.plan(**fields), samples.ring(case)))


def flight_lines(case: Case, flight: Flight) -> str:
    parts = (samples.plan(), flight, judge(case, flight), samples.ring(case))
    return text_of(flight_text(case, *parts))


def test_close_approaches_are_told_member_by_member() -> None:
    """The nearest first: how near, when, how fast, where, in which arc, and how many are near."""
    made = [
        Approach(
            member=name,
            kind="minimum",
            arc=arc,
            time_s=99_950.0 * arc,
            distance_m=km * 1e3,
            relative_speed_m_s=351.83,
            relative_rsw_m=np.array([-12e3, 5e3, 500.0]),
        )
        for name, arc, km in (("R1", 0, 900.0), ("R2", 1, 13.0085), ("R2", 1, 150.0))
    ]
    lines = flight_lines(samples.case(), samples.flight(approaches=tuple(made)))
    assert max(cell_len(line) for line in lines.splitlines()) <= WIDTH
    text = " ".join(lines.split())
    near = "R2 13.008 1 d 03:45:50.0 351.8 -12.000 +5.000 +0.500 burn B1"
    assert f"{near} R1 900.000 00:00:00.0 351.8 -12.000 +5.000 +0.500 first coast" in text
    assert "Approaches within 200.0 km: 2." in text
    many = tuple(samples.changed(made[0], member=f"R{k}") for k in range(30))
    text = " ".join(flight_lines(samples.case(), samples.flight(approaches=many)).split())
    assert "The 12 nearest of 30 members." in text
    assert "Closest approach to" not in flight_lines(samples.case(), samples.flight())


def test_a_plan_says_where_when_how_much_and_why() -> None:
    """Each burn's place, time, components, command and reason can be read."""
    text = plan_lines(samples.case())
    for words in (
        "B1: raise the periapsis",
        "1 d 03:46:40.0 after the epoch = 2031-04-13 09:46:40.0 TDB",
        "radial +0.000, along-track +300.000, cross-track -400.000",
        "argument of latitude",
        "At the apoapsis the craft is slow",
        "the impulses lie 1.3 % above it",
        "one revolution fewer",
    ):
        assert words in text


def test_warnings_are_told_once() -> None:
    """What a plan warns of stands below it, before anything else, in the plan and the flight."""
    told = ("its mass is another's", "B1: it lasts 100 s")
    plan, case = samples.plan(warnings=told), samples.case()
    flight, ring = samples.flight(), samples.ring(case)
    texts = (
        plan_text(case, plan, ring),
        flight_text(case, plan, flight, judge(case, flight), ring),
    )
    for text in (" ".join(text_of(one).split()) for one in texts):
        assert text.count("WARNING") == 2
        assert [text.count(f"WARNING {words}") for words in told] == [1, 1]
        assert text.index("WARNING") < text.index("B1: ")
    assert "WARNING" not in plan_lines(case)


def test_the_trade_is_told_once_and_in_order_of_time() -> None:
    """A row a plan, the earlier one first, this one marked, and Δv in no column but its own."""
    text = plan_lines(samples.case())
    lines = text.partition("Trade between Δv and time\n")[2].splitlines()
    heads, other, own = (line.rstrip() for line in lines)
    assert heads.split() == ["arrival", "Δv,", "m/s", "burns", "plan"]
    assert other.endswith("850.000      2  one revolution fewer")
    assert "800.000" in own
    assert "  this plan: " in own
    assert "more" not in other


def test_losses_stand_in_their_own_column() -> None:
    """Impulses and what finite burns add are shown apart, and their sum is called one."""
    text = plan_lines(samples.case())
    assert "deterministic Δv, impulses   800.000 m/s" in text
    assert "finite-burn loss, re-aiming  +2.000 m/s" in text
    assert "802.000 m/s, losses and re-aiming included" in text


def test_a_flight_says_what_was_judged() -> None:
    """Errors stand beside their tolerances, limits with margins, constants with sources."""
    text = flight_lines(samples.case(), samples.flight())
    for words in (
        "0.5 deg       2.0 %  within",
        "R1         -90.00 deg  -90.0100 deg  -0.0100 deg",
        "+0.002 deg/day",
        "250.0 days until it leaves its tolerance",
        "the reference propagator ends 0.02 m away",
        "invented for a test",
        "WITHIN. R4 reaches slot 3: 4 tolerances and 6 limits kept.",
    ):
        assert words in text
    assert text.count("not a flight clearance") == 1


def test_a_bad_flight_says_why() -> None:
    """What is outside is marked and repeated in the verdict."""
    flight = samples.flight(outcome="hit-the-body", errors=samples.no_orbit())
    text = flight_lines(samples.case(), flight)
    assert text.count("OUTSIDE") == 5
    assert "CAME DOWN ON THE BODY" in text
    assert "phase error could not be measured" in " ".join(text.split())


@pytest.mark.parametrize(
    ("phase", "drift", "days", "words"),
    [
        (0.1, 0.01, 40.0, "40.0 days until it leaves its tolerance"),
        (0.1, 0.0, None, "no end in sight"),
        (0.7, 0.01, 0.0, "outside its tolerance already"),
        (math.nan, math.nan, None, "phase holds  not known"),
    ],
)
def test_how_long_the_phase_holds(
    phase: float, drift: float, days: float | None, words: str
) -> None:
    """The time that the phase holds is told where there is one to tell."""
    errors = samples.changed(samples.flight().errors, phase_deg=phase)
    flight = samples.flight(errors=errors, drift_deg_day=drift, holds_days=days)
    assert words in flight_lines(samples.case(), flight)


def decision(**fields: Any) -> Decision:
    """A line of the flight team's log."""
    errors = samples.flight().errors
    made = Decision(
        time_s=180_000.0,
        action="re-aim",
        why="the period is +72 s off: the burns left are re-aimed, -3.784 m/s",
        believed=samples.changed(errors, period_s=72.04, phase_deg=-1.25),
        true=samples.changed(errors, period_s=-71.5, phase_deg=-1.5),
        position_off_m=50.0,
        velocity_off_m_s=0.005,
        burns=("B2", "B3"),
        dv_left_m_s=380.0,
    )
    return samples.changed(made, **fields)


def test_decisions_show_belief_above_truth() -> None:
    """Each decision has two rows of errors, believed and true, and its reason with what is left."""
    last = decision(time_s=200_000.0, action="stop", why="within 34%", burns=())
    text = flight_lines(samples.case(), samples.flight(decisions=(decision(), last)))
    part = text.partition("Decisions of the flight team\n")[2]
    rows = [line.split() for line in part.splitlines()]
    assert rows[1][:4] == ["2", "d", "02:00:00.0", "believed"]
    assert rows[1][4:] == ["-1.250", "+72.04", "0.00010", "0.0040"]
    assert rows[2] == ["true", "-1.500", "-71.50", "0.00010", "0.0040"]
    words = " ".join(part.split())
    assert "2 d 02:00:00.0 re-aim the period is +72 s off" in words
    assert "-3.784 m/s; to fly: B2, B3" in words
    assert "2 d 07:33:20.0 stop within 34%; no burn left" in words


def test_a_flight_without_a_team_has_no_decisions() -> None:
    """Open loop there is no such table."""
    assert "Decisions" not in flight_lines(samples.case(), samples.flight())


def test_a_member_on_no_slot_has_no_nominal_angle() -> None:
    """Its angle is told as flown, and against nothing."""
    other = samples.changed(samples.flight().neighbours[0], spacing_deg=math.nan)
    text = flight_lines(samples.case(), samples.flight(neighbours=(other,)))
    assert "on no slot" in text


def test_what_is_not_listed_is_not_judged() -> None:
    """An error without a tolerance is shown, and said not to be judged."""
    text = flight_lines(samples.case(tolerance=Tolerance(period_s=5.0)), samples.flight())
    assert text.count("not judged") == 3
    assert "reaches the ring's orbit" in text


numbers = st.floats(allow_nan=True, allow_infinity=True)
finite = st.floats(-1e12, 1e12)
texts = st.text(max_size=300) | st.text("W[]/ \x1b\n°界", min_size=100, max_size=300)


@settings(max_examples=40)
@given(st.lists(numbers, min_size=8, max_size=8), texts, texts)
def test_flights_fit_whatever_they_hold(values: list[float], one: str, two: str) -> None:
    """No number or text makes a line longer than 100 columns or breaks the output."""
    case = samples.case(title=one, craft=samples.changed(samples.case().craft, name=two))
    flight = samples.flight(
        errors=samples.changed(
            samples.no_orbit(), phase_deg=values[0], eccentricity=values[1], plane_deg=values[2]
        ),
        neighbours=tuple(
            samples.changed(other, name=two, phase_deg=values[3])
            for other in samples.flight().neighbours
        ),
        drift_deg_day=values[4],
        holds_days=values[5],
        closest_approach_m=values[6],
        arrival_time_s=values[7],
        closest_member=one,
        events=(one, two),
        decisions=(
            decision(time_s=values[0], why=two, believed=samples.no_orbit(), burns=(one, two)),
            decision(true=samples.changed(samples.no_orbit(), period_s=values[1]), burns=()),
        ),
    )
    check_fit(flight_lines(case, flight))


@settings(max_examples=40)
@given(st.lists(finite, min_size=6, max_size=6), texts, texts)
def test_plans_fit_whatever_they_hold(values: list[float], one: str, two: str) -> None:
    """No number or text makes a line longer than 100 columns or breaks the output."""
    burn = samples.burn(
        1,
        500.0,
        label=one,
        purpose=two,
        reason=one + two,
        time_s=values[0],
        dv_rsw_m_s=np.array(values[1:4]),
        magnitude_m_s=values[4],
    )
    other = samples.changed(samples.plan().alternatives[0], summary=one, why_not=two)
    command = samples.command(1, 500.0, burn=one, ignition_s=values[5])
    check_fit(
        plan_lines(
            samples.case(epoch=one),
            burns=(burn,),
            commands=(command,),
            alternatives=(other,),
            total_dv_m_s=values[4],
        )
    )


def check_fit(text: str) -> None:
    lines = text.split("\n")
    assert max(map(cell_len, lines)) <= WIDTH
    assert all(line.isprintable() for line in lines)


@pytest.mark.parametrize(
    ("seconds", "text"),
    [
        (0.0, "00:00:00.0"),
        (59.96, "00:01:00.0"),
        (-0.01, "00:00:00.0"),
        (-90_061.2, "-1 d 01:01:01.2"),
        (86_399.99, "1 d 00:00:00.0"),
        (math.nan, "not known"),
        (math.inf, "inf s"),
        (1e300, "1e+300 s"),
        (None, "not known"),
    ],
)
def test_durations(seconds: float | None, text: str) -> None:
    """Times carry into minutes, hours and days, and have no sign where they read zero."""
    assert duration(seconds) == text


@pytest.mark.parametrize(
    ("epoch", "seconds", "text"),
    [
        ("2031-04-12T06:00:00", 86_400.04, "2031-04-13 06:00:00.0 TDB"),
        ("2031-12-31T23:59:59.5", 0.5, "2032-01-01 00:00:00.0 TDB"),
        ("2032-02-28T00:00:00", 86_400.0, "2032-02-29 00:00:00.0 TDB"),
        ("9999-12-31T00:00:00", 1e6, ""),
        ("2031-04-12T06:00:00", 1e300, ""),
        ("soon", 0.0, ""),
        (None, 0.0, ""),
    ],
)
def test_calendar(epoch: str | None, seconds: float, text: str) -> None:
    """Dates are TDB, without leap seconds; where the calendar ends there is no date."""
    assert calendar(epoch, seconds) == text


@given(numbers)
def test_numbers_are_short(value: float) -> None:
    """A number never takes more than 14 columns, which the tables are laid out for."""
    assert len(fixed(value, 3, sign=True)) <= 14


def test_texts_are_cleaned() -> None:
    """Escape sequences and line breaks of a file do not reach the screen."""
    assert clean("a\x1b[31m\n b\x00 5°") == "a?[31m b? 5 deg"


def test_propellant_follows_the_rocket_equation() -> None:
    """Each command burns what its own engine needs at the mass then on board."""
    one, two = propellant_uses(samples.case(), samples.plan())
    after = 510.0 * math.exp(-501.0 / (9.80665 * 318.0))
    last = after * math.exp(-301.0 / (9.80665 * 220.0))
    assert one.used_kg == pytest.approx(510.0 - after)
    assert two.used_kg == pytest.approx(after - last)
    assert two.left_kg == pytest.approx(last - 310.0)


def test_places_are_seen_from_the_ring() -> None:
    """A relay's own place has its slot's argument of latitude and lies in the ring's plane."""
    ring = samples.ring(samples.case())
    time = 12_345.0
    place = ring.radius_m * ring.direction(1, time)
    latitude, above = seen_from_ring(place, time, ring)
    assert latitude == pytest.approx(10.0 + 90.0 + 360.0 * time / samples.PERIOD_S, abs=1e-9)
    assert above == pytest.approx(0.0, abs=1e-9)
    assert seen_from_ring(ring.frame(time)[2], time, ring)[1] == pytest.approx(90.0)
