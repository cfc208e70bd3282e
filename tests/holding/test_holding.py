"""The hold as a whole: where it begins, what it counts, what it says beside."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from simcheck import api
from simcheck.engines.base import G0
from simcheck.errors import FlightError, InputError
from simcheck.holding.holding import hold
from simcheck.records.case import Case, Engine, Member, Tolerance
from simcheck.records.flight import Flight
from simcheck.records.hold import Hold, HoldAim
from tests.cases_for_tests import DAY_S, ring
from tests.flying import bench
from tests.helpers import assert_degrees
from tests.holding.bench import YEAR_S, about_mars, degrees_a_day, site, under_the_sky


def arrival(made: Case, errors: list[float], time: float = 0.0) -> Flight:
    """A flight that ends on the craft's slot with these errors."""
    here = site(made)
    off = np.zeros((made.ring.slots, 6))
    off[made.craft.slot] = errors
    state = here.relays(off, time)[made.craft.slot]
    craft = replace(made.craft, position_m=state[:3], velocity_m_s=state[3:6])
    return api.fly(replace(made, craft=craft), bench.plan(), reference=False)


def test_the_hold_begins_with_the_craft_as_it_arrived() -> None:
    """Its drift is its period error's, and the neighbour behind sees the spacing grow with it."""
    made = about_mars(60.0, slot=1, members=(Member(name="M", slot=0),))
    found = hold(made, arrival(made, [0.004, 5e-5, 0.0, 0.0, 0.0, 0.0]), upkeep=False)
    craft = found.relays[1]
    assert [relay.role for relay in found.relays] == ["member", "craft", "as planned", "as planned"]
    rate = degrees_a_day(api.resolved_ring(made), 5e-5)
    assert craft.drift_deg_day == pytest.approx(rate, rel=2e-3)
    start, days = math.degrees(0.004), found.duration_s / DAY_S
    begins = found.start_s / DAY_S
    assert_degrees(found.series.phase_deg[1, 0], start, within=0.04)  # the flight's short while
    assert craft.phase_deg == pytest.approx(abs(start + rate * (days + begins)), rel=0.02)
    assert found.relays[0].spacing_deg == pytest.approx(craft.phase_deg, rel=1e-3)
    assert found.relays[0].leaving.phase_days is None
    assert found.relays[0].leaving.spacing_days == pytest.approx(craft.leaving.phase_days, rel=1e-3)
    assert found.first_days == pytest.approx(craft.leaving.phase_days, abs=0.1)
    assert found.end_errors[0].what == "as it arrived"
    assert not found.kept
    assert not found.stays
    assert all(relay.upkeep is None for relay in found.relays)
    assert "slot 2, slot 3: nobody flies there" in found.notes[0]
    assert found.numerical_deg < 1e-5


def test_what_is_left_on_board_makes_the_upkeep_for_so_long() -> None:
    """g0 Isp ln(mass / dry mass) over the upkeep, with the small thrusters' impulse."""
    made = about_mars(60.0, slot=1)
    flight = arrival(made, [0.004, 5e-5, 0.0, 0.0, 0.0, 0.0])
    found = hold(made, flight)
    upkeep = found.relays[1].upkeep
    assert upkeep is not None
    assert upkeep.dv_m_s_year > 0
    assert found.kept
    assert found.stays
    mass = flight.arcs[-1].end.mass_kg
    due = G0 * 220.0 * math.log(mass / 310.0) / upkeep.dv_m_s_year
    assert found.tank_years == pytest.approx(due, rel=1e-9)


def test_a_relay_that_begins_outside_is_named() -> None:
    made = about_mars(20.0, slot=1)
    found = hold(made, arrival(made, [0.02, 0.0, 0.0, 0.0, 0.0, 0.0]))
    assert found.first_days == 0.0
    assert not found.kept
    assert "R begins outside its tolerances; to bring it in counts as upkeep" in found.notes


def test_a_relay_that_falls_is_told_and_is_not_kept() -> None:
    """Beyond the ground from some look on: that is in the notes, and every tolerance is left."""
    made = about_mars(20.0, goal=ring(2.6, slots=2), tolerance=Tolerance(phase_rad=0.05))
    state = site(made).relays(np.array([[0.0, 0.0, 0.3, 0.0, 0.0, 0.0], [0.0] * 6]))[0]
    own = Member(name="Low", slot=0, position_m=state[:3], velocity_m_s=state[3:6])
    with pytest.raises(FlightError, match="the orbit of Low is not closed, or meets the body"):
        hold(replace(made, members=(own,), craft=replace(made.craft, slot=1)), None)


def test_a_flight_that_ends_nowhere_is_no_hold() -> None:
    made = about_mars(20.0)
    flight = replace(arrival(made, [0.0] * 6), outcome="crashed")
    with pytest.raises(FlightError, match="does not end on an orbit that could be held"):
        hold(made, flight)


def test_a_hold_of_less_than_four_revolutions_is_refused() -> None:
    """With the time that would do, which does."""
    made = about_mars(1.9)
    with pytest.raises(InputError, match=r"1\.9 days is too short .* 2\.0 days, or longer"):
        hold(made, None)
    assert len(hold(replace(made, hold=HoldAim(duration_s=2.001 * DAY_S)), None).relays) == 4


def test_all_slots_move_with_the_moons_tide_and_that_is_no_error(tmp_path: Path) -> None:
    """Degrees of wander in a month, in which the phase changes by a tenth."""
    made = under_the_sky(tmp_path, "Moon", "2035-01-20T00:00:00", 24.0, 55.0, 60.0)
    found = hold(made, None, upkeep=False)
    assert found.wander_deg[1] - found.wander_deg[0] > 2.0
    assert found.relays[0].phase_deg < 0.8


def test_a_case_without_a_phase_holds_the_rest() -> None:
    made = about_mars(30.0, tolerance=Tolerance(plane_rad=0.002), thrusters=None)
    found = hold(made, None)
    assert found.first_days is None
    assert found.kept
    assert found.ring_closed_share == 1.0


@pytest.mark.parametrize("name", ["mars_ring", "lunar_year"])
def test_the_shipped_rings_are_kept(name: str) -> None:
    """For a year, with no look at which a trim was due and could not be commanded."""
    folder = Path(__file__).parents[2] / "cases"
    found: Hold = api.hold(api.load_case(folder / f"{name}.toml"), duration_s=YEAR_S)
    assert found.kept
    for relay in found.relays:
        assert relay.upkeep is not None
        assert relay.upkeep.largest_use < 1.0
        assert relay.upkeep.untrimmed == 0
        # About the Moon the plane's drift alone, 3 deg a year at 709 m/s, is some 40 m/s.
        assert relay.upkeep.dv_m_s_year < 100.0


def test_a_weak_engine_keeps_nothing() -> None:
    """Burns shorter than it can make: counted at every look, and the ring is lost."""
    coarse = Engine(name="engine", thrust_n=400.0, isp_s=318.0, min_burn_s=900.0)
    made = about_mars(60.0, slot=1, engine=coarse, thrusters=None)
    found = hold(made, arrival(made, [0.004, 5e-5, 0.0, 0.0, 0.0, 0.0]))
    upkeep = found.relays[1].upkeep
    assert upkeep is not None
    assert upkeep.untrimmed > 5
    assert upkeep.largest_use > 1.0
    assert not found.stays


def test_a_tolerance_that_the_forces_alone_leave_is_told(tmp_path: Path) -> None:
    """Of the lunar ring a hundredth of a degree of its plane; a degree is within reach."""
    made = under_the_sky(tmp_path, "Moon", "2035-01-20T00:00:00", 24.0, 55.0, 20.0)
    tight = replace(made, tolerance=Tolerance(plane_rad=math.radians(0.01)))
    said = [note for note in hold(tight, None, upkeep=False).notes if "exactly on its slot" in note]
    assert len(said) == 1
    assert "no upkeep can hold it" in said[0]
    wide = replace(made, tolerance=Tolerance(plane_rad=math.radians(3.0)))
    assert not any("exactly on its slot" in x for x in hold(wide, None, upkeep=False).notes)
