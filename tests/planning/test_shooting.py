"""Burns tied to places: where they come to lie, and the slopes chained over the arcs."""

from __future__ import annotations

import numpy as np
import pytest

from simcheck.errors import FlightError
from simcheck.kernels.kepler import propagate
from simcheck.kernels.vectors import TAU, angle_between, turn_about, unit
from simcheck.planning.burns import Burns, first_burns
from simcheck.planning.candidates import Candidate
from simcheck.planning.commanding import Range
from simcheck.planning.shooting import Shooter, moved
from simcheck.records.case import Case, Engine
from tests.cases_for_tests import ENGINE, IMPULSIVE, MARS, VESTA, case, orbit, ring
from tests.helpers import assert_metres, assert_seconds
from tests.planning.test_aiming import best

STRONG = Engine(name="engine", thrust_n=1e6, isp_s=318.0)


def shot(made: Case, share: float = 1.0) -> tuple[Shooter, Burns, Candidate]:
    """A shooter for the case, the burns of its cheapest candidate, and the candidate."""
    site, candidate = Range(made), best(made)
    burns = first_burns(candidate, made.craft, made.engine, None, made.body.gm_m3_s2)
    return Shooter(site.setup, site.propagator, share), burns, candidate


def test_impulses_in_two_body_motion_come_when_the_candidate_says() -> None:
    """With bursts of thrust and no J2, places and sweeps give back the candidate's dates."""
    made = case(MARS, slot=3, engine=IMPULSIVE)
    shooter, burns, candidate = shot(made)
    flown = shooter.fly(burns)
    for ignition, length, impulse in zip(
        flown.ignitions, flown.durations, candidate.impulses, strict=True
    ):
        assert_seconds(ignition + length / 2, impulse.time, 1e-3)
    assert flown.worst < 1e-3


@pytest.mark.parametrize("body", [MARS, VESTA], ids=lambda body: body.name)
def test_the_middle_of_a_burn_is_on_its_place(body) -> None:
    """Half a burn of unpowered flight after each ignition, the craft is at the burn's place."""
    start = START_NEAR_VESTA if body is VESTA else None
    goal = ring(radius_km=900.0) if body is VESTA else None
    engine = Engine(name="engine", thrust_n=40.0, isp_s=318.0) if body is VESTA else ENGINE
    extra = {"start": start, "goal": goal} if body is VESTA else {}
    made = case(body, slot=3, forces=("j2",), engine=engine, **extra)
    shooter, burns, _ = shot(made)
    flown = shooter.fly(burns)
    for i, place in enumerate(burns.places):
        lit = flown.lit[i]
        r, v = propagate(lit[:3], lit[3:6], flown.durations[i] / 2, body.gm_m3_s2)
        w = unit(np.cross(r, v))
        flat = unit(place - (place @ w) * w)
        assert angle_between(r, flat) < 1e-9


START_NEAR_VESTA = orbit(VESTA, 400.0, 600.0, 32.0, 55.0, 75.0, 200.0)


def test_whole_revolutions_are_kept_under_a_flattened_body() -> None:
    """A wait of thirty revolutions about Vesta, where J2 alone moves the date by several, is one.

    Counted here by the propagator's own passages through the place's plane.
    """
    made = case(VESTA, START_NEAR_VESTA, ring(radius_km=900.0), forces=("j2",), engine=STRONG)
    shooter, burns, _ = shot(made)
    one = Burns(burns.places[:1], burns.sweeps[:1] % TAU + 30 * TAU, burns.dvs[:1], *burns[3:])
    flown = shooter.fly(one)
    start = shooter.setup.start
    seen = shooter.propagator.passages(0.0, start, float(flown.ignitions[0]), start[3:6])
    turns = sum(event.kind == "periapsis" for event in seen)
    assert abs(turns - 30) <= 1


def test_slopes_are_those_of_the_miss() -> None:
    """Each slope is the central difference of flights flown whole, for each target and the end."""
    made = case(MARS, slot=3, forces=("j2",))
    shooter, burns, _ = shot(made)
    flown = shooter.fly(burns)
    slopes = shooter.slopes(burns, flown)
    count = len(burns.sweeps)
    assert slopes.shape == (len(flown.miss) + 1, 4 * count)
    for column in range(4 * count):
        step = 1e-6 if column % 4 == 0 else 1e-2
        change = np.zeros(4 * count)
        change[column] = step
        sides = [
            shooter.fly(moved(burns, flown, sign * change.reshape(count, 4))) for sign in (1, -1)
        ]
        ends = [np.append(side.miss, side.cutoff) for side in sides]
        whole = (ends[0] - ends[1]) / (2 * step)
        size = np.max(np.abs(slopes), axis=1)
        # The averaging window is held: what it does to the phase vanishes with the period's miss.
        room = np.append(1e-2, np.full(len(size) - 1, 1e-4))
        assert np.all(np.abs(whole - slopes[:, column]) < room * size)


def test_dropping_a_burn_keeps_the_revolutions() -> None:
    """The next burn's sweep takes over what the dropped one's was."""
    _, burns, _ = shot(case(MARS, slot=3))
    assert len(burns.sweeps) >= 3
    fewer = burns.without(1)
    assert np.sum(fewer.sweeps) == np.sum(burns.sweeps)
    assert len(fewer.dvs) == len(burns.dvs) - 1
    assert np.sum(burns.without(len(burns.sweeps) - 1).sweeps) == np.sum(burns.sweeps[:-1])


def behind(by: float) -> tuple[Shooter, Burns]:
    """Burns whose first place is this angle (rad) behind the start, no revolution to wait."""
    shooter, burns, _ = shot(case(MARS, slot=3, engine=STRONG))
    start = shooter.setup.start
    pole = unit(np.cross(start[:3], start[3:6]))
    place = turn_about(unit(start[:3]), pole, np.asarray(-by))
    places = np.vstack([place, burns.places[1:]])
    return shooter, burns._replace(places=places, sweeps=np.append(-by, burns.sweeps[1:]))


def test_a_burn_that_would_begin_before_the_start_is_refused() -> None:
    """A place long passed, without a revolution to wait, is too early by what the message says."""
    shooter, burns = behind(0.8)
    with pytest.raises(FlightError, match=r"burn 1 would begin \d+ s too early"):
        shooter.fly(burns)


def test_a_first_place_just_passed_is_made_at_once() -> None:
    """A little behind, the first burn is lit at the start."""
    shooter, burns = behind(0.1)
    assert shooter.fly(burns).ignitions[0] == shooter.setup.start_s


def test_a_flight_is_the_same_flown_twice() -> None:
    """Bit for bit, whatever was flown between."""
    shooter, burns, _ = shot(case(MARS, slot=3, forces=("j2",)))
    first = shooter.fly(burns)
    shooter.slopes(burns, first)
    again = shooter.fly(burns)
    assert np.array_equal(first.states, again.states)
    assert_metres(first.states[-1, :3], again.states[-1, :3], 0)
