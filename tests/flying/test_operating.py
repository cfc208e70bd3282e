"""Closed-loop flights: the operation keeps the truth, the team gets an estimate and decides.

Long because each rule of the operation needs a flight of its own. Flights take a tenth of a second
where nothing is planned anew; those that are flown whole with a planner are shared by tests.
"""

import dataclasses
import math
import re

import numpy as np
import pytest

from simcheck.engines.choosing import fast_propagator
from simcheck.engines.gravity import gravity_of
from simcheck.errors import FlightError, NoPlanError
from simcheck.flying.draws import drawn, perfect
from simcheck.flying.mission import fly_plan
from simcheck.flying.operating import Site, Team, _Operation
from simcheck.flying.team import Choice, foreseen, stepwise
from simcheck.judging import judge
from simcheck.kernels.transfers import period_of
from simcheck.planning.planner import plan_ring
from simcheck.records.case import Errors, Operations
from simcheck.records.flight import Flight
from tests.flying.bench import burns, case, command, plan, same
from tests.flying.loops import (
    REALISTIC,
    TEAM,
    TRACKED,
    OwnPlanner,
    Spy,
    always_on,
    fly_by_hand,
    hand,
    numbers_in,
    relay,
    relay_plan,
    ring_of,
)
from tests.helpers import assert_degrees, assert_metres, assert_metres_per_second, assert_seconds

HALF = Operations(replan="each-burn", max_trims=6, settle_revolutions=0.5)
STARTS_OFF = dataclasses.replace(REALISTIC, initial_position_m=200.0, initial_velocity_m_s=0.05)


def tracked(**fields) -> Operations:
    return dataclasses.replace(TRACKED, **fields)


def fly(c, *, team=TEAM, made=None, sample=0, seed=1) -> Flight:
    return fly_plan(c, made or relay_plan(), seed=seed, sample=sample, reference=False, team=team)


def actions(flight) -> list[str]:
    return [one.action for one in flight.decisions]


# Perfect knowledge and a perfect engine


@pytest.mark.parametrize("operations", [TRACKED, HALF], ids=["ten minutes", "half a revolution"])
def test_with_nothing_wrong_the_plan_is_flown_as_it_stands(operations):
    """Without errors the team flies on and stops: the arcs are the open loop's to the last bit."""
    closed, alone = fly(relay(operations=operations)), fly(relay(), team=None)
    assert same(closed.arcs, alone.arcs)
    assert same(closed.errors, alone.errors)
    assert closed.dv_used_m_s == alone.dv_used_m_s
    assert [arc.burn for arc in burns(closed)] == [x.burn for x in relay_plan().commands]
    assert actions(closed)[-1] == "stop"
    assert set(actions(closed)[:-1]) == {"fly-on"}
    if operations is TRACKED:
        assert len(closed.decisions) == len(burns(closed)) == 3  # one after each burn
        assert closed.decisions[0].burns == ("B2", "B3")
    assert alone.decisions == ()


def test_with_nothing_wrong_belief_is_the_truth():
    """Without errors each line of the log believes what is true, and it is what the flight ends in.

    The phase is read where the log looks, at most two revolutions from where the flight ends.
    """
    flight = fly(relay())
    for one in flight.decisions:
        assert same(one.believed, one.true)
        assert one.position_off_m == 0.0
        assert one.velocity_off_m_s == 0.0
        assert_seconds(one.believed.period_s, flight.errors.period_s, 1e-3)
        assert_degrees(one.believed.phase_deg, flight.errors.phase_deg, 1e-3)


# The same sample


@pytest.fixture(scope="module")
def sample_5() -> Flight:
    """A flight with realistic errors, shared."""
    return fly(relay(REALISTIC), sample=5)


def test_a_sample_is_flown_again_to_the_bit(sample_5):
    """Seed and sample give the same arcs and decisions, after another sample was flown too."""
    other = fly(relay(REALISTIC), sample=2)
    again = fly(relay(REALISTIC), sample=5)
    assert len(sample_5.decisions) >= 3
    assert same(again, sample_5)
    assert not same(other.arcs, sample_5.arcs)
    assert not same(other.decisions, sample_5.decisions)


def test_an_open_loop_flight_draws_the_same(sample_5):
    """Up to the first decision both fly the same arcs; later burns err alike, burn by burn."""
    alone = fly(relay(REALISTIC), team=None, sample=5)
    assert same(alone.arcs[:2], sample_5.arcs[:2])
    assert not same(alone.arcs, sample_5.arcs)
    noisy = Errors(magnitude_proportional=0.01, thrust_bias=0.01, initial_position_m=100.0)
    closed, alone = (fly(relay(noisy), team=team, sample=5) for team in (TEAM, None))
    assert same(alone.arcs[0].start, closed.arcs[0].start)
    assert len({arc.thrust_n for arc in burns(alone)}) == 3  # each burn has its own magnitude
    pairs = list(zip(burns(alone), burns(closed), strict=False))
    assert len(pairs) == 3
    assert not same(pairs[1][0], pairs[1][1])
    for mine, theirs in pairs:
        assert mine.thrust_n == theirs.thrust_n


# What the team knows


def flown_with(spy, errors=STARTS_OFF, *, operation=_Operation):
    """The flight of a team whose policy is `spy`, under errors of every kind."""
    c = relay(errors, tracked(max_trims=0))
    p = fast_propagator(gravity_of(c))
    site = Site(c, p, ring_of(c), drawn(1, 5, 30))
    return operation(site, relay_plan(), Team(spy, plan_ring)).run()


def truths(flown, times) -> np.ndarray:
    """Every number of the true motion: states at the ends of arcs and when the team decided."""
    states = [flown.legs[0].stretch.state[:6]]
    states += [leg.end for leg in flown.legs if leg.burn]
    p = fast_propagator(gravity_of(relay()))
    for leg in flown.legs:
        if leg.burn:
            states += [
                p.advance(leg.stretch.end_s, leg.end, time).state
                for time in times
                if abs(time - 600.0 - leg.stretch.end_s) < 1e-6
            ]
    return np.concatenate(states)


def leaks(spy, flown) -> list[float]:
    """Numbers of the truth that can be reached from what the policy was told."""
    true = truths(flown, [now.estimate.time_s for now in spy.told])
    return [x for now in spy.told for found in numbers_in(now) for x in found[np.isin(found, true)]]


def test_no_number_of_the_truth_reaches_the_team():
    """Walking all that the team is told finds no coordinate, speed or mass that is the true one."""
    spy = Spy()
    flown = flown_with(spy)
    assert len(spy.told) >= 2
    told = np.concatenate(list(numbers_in(spy.told[0])))
    assert spy.told[0].estimate.position_m[0] in told  # the walk gets there
    assert relay().craft.position_m[0] in told
    assert leaks(spy, flown) == []


class _Telling(_Operation):
    """An operation that hands its team the truth instead of an estimate."""

    def _situation(self, time, truth, due):
        now = super()._situation(time, truth, due)
        exact = dataclasses.replace(now.estimate, position_m=truth[:3], velocity_m_s=truth[3:6])
        return now._replace(estimate=exact)


class _Weighing(_Operation):
    """An operation that books the true mass."""

    def _situation(self, time, truth, due):
        now = super()._situation(time, truth, due)
        return now._replace(estimate=dataclasses.replace(now.estimate, mass_kg=float(truth[6])))


@pytest.mark.parametrize(("cheat", "count"), [(_Telling, 6), (_Weighing, 1)])
def test_an_operation_that_tells_the_truth_is_caught(cheat, count):
    """Negative control: the true state or mass in what the team is told is found by the walk."""
    spy = Spy()
    flown = flown_with(spy, operation=cheat)
    assert len(leaks(spy, flown)) >= count * len(spy.told)


def test_the_same_estimate_gives_the_same_decision():
    """Two true states and one estimate, equal to the bit: the team decides the same.

    The second craft starts kilometres away; its first tracking error is made such that it looks
    like the first. Cheating would show: the true errors that the log holds are far apart. Sizes of
    that error that are powers of two add no rounding of their own, nor does a craft two hours from
    the node, whose coordinates are all large.
    """
    errors = dataclasses.replace(
        STARTS_OFF,
        initial_position_m=3000.0,
        navigation_position_m=64.0,
        navigation_velocity_m_s=2.0**-8,
    )
    c = relay(errors, tracked(max_trims=0, settle_s=7200.0))
    one, two = drawn(1, 5, 30), drawn(1, 7, 30)
    two = dataclasses.replace(one, flight=np.concatenate([one.flight[:2], two.flight[2:]]))
    spies = Spy(), Spy()
    first = fly_by_hand(c, one, Team(spies[0], plan_ring))
    want = spies[0].told[0].estimate

    scout = Spy(always_on)
    fly_by_hand(c, dataclasses.replace(two, estimates=np.zeros((30, 6))), Team(scout, plan_ring))
    true = scout.told[0].estimate
    fake = two.estimates.copy()
    fake[0, :3] = (want.position_m - true.position_m) / errors.navigation_position_m
    fake[0, 3:] = (want.velocity_m_s - true.velocity_m_s) / errors.navigation_velocity_m_s
    second = fly_by_hand(c, dataclasses.replace(two, estimates=fake), Team(spies[1], plan_ring))

    mine, theirs = spies[0].chosen[0], spies[1].chosen[0]
    assert same(spies[1].told[0].estimate, want)
    assert mine.action == "re-aim"
    assert same(mine.plan, theirs.plan)
    assert (mine.action, mine.why) == (theirs.action, theirs.why)
    assert same(mine.remaining, theirs.remaining)
    lines = first.decisions[0], second.decisions[0]
    assert same(lines[0].believed, lines[1].believed)
    assert abs(lines[0].true.phase_deg - lines[1].true.phase_deg) > 0.1
    assert lines[1].position_off_m > 1000.0


def test_each_line_of_the_log_is_belief_beside_truth(sample_5):
    """Estimates are the truth plus the errors drawn; the log says what follows from each."""
    c, draws = relay(REALISTIC), drawn(1, 5, 204)
    spy = Spy()
    flight = fly(c, team=Team(spy, plan_ring), sample=5)
    assert same(flight, sample_5)
    p = fast_propagator(gravity_of(c))
    ends = {arc.end_s: arc.end for arc in burns(flight)}
    assert len(flight.decisions) == len(ends)
    for k, (now, line) in enumerate(zip(spy.told, flight.decisions, strict=True)):
        cutoff = min(ends, key=lambda end, at=line.time_s: abs(end + 600.0 - at))
        last = np.array(
            [*ends[cutoff].position_m, *ends[cutoff].velocity_m_s, ends[cutoff].mass_kg]
        )
        true = p.advance(cutoff, last, line.time_s).state
        g = draws.estimates[k]
        assert line.time_s == now.estimate.time_s == pytest.approx(cutoff + 600.0, abs=1e-9)
        # What is left is rounding: 1e7 m and 2e3 m/s to sixteen digits.
        assert_metres(now.estimate.position_m - true[:3], 50.0 * g[:3], 1e-8)
        assert_metres_per_second(now.estimate.velocity_m_s - true[3:6], 0.005 * g[3:], 1e-11)
        assert line.position_off_m == pytest.approx(50.0 * np.linalg.norm(g[:3]), abs=1e-8)
        assert line.velocity_off_m_s == pytest.approx(0.005 * np.linalg.norm(g[3:]), abs=1e-11)
        honest = dataclasses.replace(
            now.estimate, position_m=true[:3], velocity_m_s=true[3:6], mass_kg=float(true[6])
        )
        assert same(line.believed, foreseen(now, now.estimate, now.remaining))
        assert same(line.true, foreseen(now, honest, now.remaining))
        assert not same(line.believed, line.true)
    assert [line.burns for line in flight.decisions] == [
        tuple(x.burn for x in choice.remaining) for choice in spy.chosen
    ]


def test_the_team_books_the_nominal_flow():
    """The team's mass is what its engine would have used in the time burnt, not what it did use."""
    spy = Spy(always_on)
    flown = fly_by_hand(relay(Errors(thrust_bias=0.02)), hand(thrust=1.0), Team(spy, plan_ring))
    first = flown.legs[1]
    flow = 400.0 / (9.80665 * 318.0)
    seconds = first.stretch.end_s - first.stretch.start_s
    booked = spy.told[0].estimate.mass_kg
    assert booked == pytest.approx(440.0 - flow * seconds, abs=1e-9)
    assert first.end[6] == pytest.approx(440.0 - 1.02 * flow * seconds, abs=1e-6)
    assert spy.told[0].spent_m_s == pytest.approx(relay_plan().commands[0].dv_m_s, rel=1e-9)
    assert spy.told[0].spent_m_s < spy.told[1].spent_m_s


# Closed loop against open loop


def test_closed_loop_lands_where_open_loop_does_not():
    """Under 1 % thrust, 1 deg pointing and tracking errors all six flights land; open loop, none.

    The whole of six samples; the tolerances are those of the case.
    """
    c = relay(REALISTIC)
    closed = [judge(c, fly(c, sample=k)).verdict for k in range(6)]
    alone = [judge(c, fly(c, sample=k, team=None)).verdict for k in range(6)]
    assert closed == ["within"] * 6
    assert alone.count("within") <= 1


# Missed ignitions


def landed(errors) -> bool:
    """Whether errors are inside the tolerances of the case."""
    inside = abs(errors.phase_deg) < 0.5 and abs(errors.period_s) < 5.0
    return inside and errors.eccentricity < 0.002 and errors.plane_deg < 0.1


@pytest.mark.parametrize("index", [0, 1, 2])
def test_a_missed_ignition_is_made_good(index):
    """A burn that does not light is noticed and planned anew; open loop the flight fails."""
    c = relay(dataclasses.replace(REALISTIC, missed_burn=0.01))
    draws = hand(missed=(index,))
    closed = fly_by_hand(c, draws)
    lost = relay_plan().commands[index].burn
    assert closed.events == [f"{lost}: the ignition failed"]
    assert lost not in [leg.burn for leg in closed.legs]
    line = closed.decisions[index]
    assert line.action in ("re-aim", "replan", "trim")
    assert not landed(line.believed)  # what the burns left would leave undone
    assert closed.decisions[-1].action == "stop"
    assert landed(closed.decisions[-1].true)
    alone = fly_by_hand(c, draws, None)
    assert [leg.burn for leg in alone.legs if leg.burn] == [
        x.burn for x in relay_plan().commands if x.burn != lost
    ]
    assert alone.events == [f"{lost}: the ignition failed"]


def test_a_missed_ignition_fails_an_open_loop_flight():
    """Open loop, a sample whose second burn does not light ends outside; the event says why."""
    c = relay(Errors(missed_burn=0.2), Operations())
    sample = next(k for k in range(100) if drawn(1, k, 3).missed(1, 0.2))
    flight = fly(c, team=None, sample=sample)
    assert "B2: the ignition failed" in flight.events
    assert judge(c, flight).verdict == "outside"
    assert "B2" not in [arc.burn for arc in burns(flight)]


def test_after_a_missed_ignition_burns_already_past_are_dropped():
    """Tracking after a failed ignition may outlast the next burn's time: it is not flown late."""
    spy = Spy(always_on)
    first, second, third = (x.ignition_s for x in relay_plan().commands)
    late = tracked(settle_s=second - first + 100.0)
    assert first + late.settle_s < third
    flown = fly_by_hand(
        relay(Errors(missed_burn=0.01), late), hand(missed=(0,)), Team(spy, plan_ring)
    )
    assert [x.burn for x in spy.told[0].remaining] == ["B3"]
    assert [leg.burn for leg in flown.legs if leg.burn] == ["B3"]


# When it decides


def hand_flight(operations, *commands, policy=always_on, **fields):
    """A hand-made plan flown by a team that notes when it was asked."""
    spy = Spy(policy)
    c = case(operations=operations, errors=Errors(navigation_position_m=1.0), **fields)
    return fly_by_hand(c, perfect(30), Team(spy, plan_ring), plan(*commands)), spy


TWO = (command(2000.0), command(9000.0, 30.0, 502.0, burn="B2", direction=np.array([0, 0, 1.0])))


@pytest.mark.parametrize("seconds", [0.0, 300.0, 4000.0])
def test_settle_in_seconds(seconds):
    """A decision comes that long after the cutoff."""
    flown, spy = hand_flight(tracked(settle_s=seconds), *TWO)
    ends = [leg.stretch.end_s for leg in flown.legs if leg.burn]
    assert len(ends) == 2
    assert_seconds([now.estimate.time_s for now in spy.told], np.array(ends) + seconds, 1e-9)


def test_settle_in_revolutions():
    """Half a revolution is one of the orbit that the burn leaves the craft in."""
    half = Operations(replan="each-burn", max_trims=1, settle_revolutions=0.5)
    later = dataclasses.replace(TWO[1], ignition_s=20_000.0)
    flown, spy = hand_flight(half, TWO[0], later)
    for leg, now in zip([x for x in flown.legs if x.burn], spy.told, strict=True):
        turn = float(
            period_of(leg.end[:3], leg.end[3:6], fast_propagator(gravity_of(case())).gravity.gm)
        )
        assert now.estimate.time_s - leg.stretch.end_s == pytest.approx(turn / 2, abs=1e-6)


def test_a_burn_before_the_estimate_is_flown_as_it_stands():
    """Where the next ignition comes before tracking is done, there is no decision between."""
    flown, spy = hand_flight(tracked(settle_s=8000.0), *TWO)
    assert [leg.burn for leg in flown.legs if leg.burn] == ["B1", "B2"]
    assert len(spy.told) == 1
    assert spy.told[0].remaining == ()
    assert spy.told[0].flown == ("B1", "B2")


def test_open_loop_until_the_trims():
    """replan = "never" flies the plan as it stands, then trims."""
    c = relay(REALISTIC, tracked(replan="never"))
    flight, alone = fly(c, sample=2), fly(c, sample=2, team=None)
    assert same(flight.arcs[:6], alone.arcs[:6])  # three coasts and three burns
    assert [arc.burn for arc in burns(flight)][:4] == ["B1", "B2", "B3", "T1"]
    assert actions(flight)[0] == "trim"
    assert actions(flight)[-1] == "stop"
    assert judge(c, flight).verdict == "within"


def test_without_trims_it_replans_and_no_more():
    """max_trims = 0 re-aims or replans what is left, and decides nothing after the last burn."""
    c = relay(REALISTIC, tracked(max_trims=0))
    flight, alone = fly(c, sample=1), fly(c, sample=1, team=None)
    assert set(actions(flight)) & {"re-aim", "replan"}
    assert set(actions(flight)) <= {"re-aim", "replan", "fly-on"}
    assert len(flight.decisions) == len(burns(flight)) - 1
    assert abs(flight.errors.period_s) < abs(alone.errors.period_s)


def test_no_team_decides_nothing():
    """replan = "never" without trims asks nobody, even where there is a team."""
    spy = Spy()
    c = relay(REALISTIC, Operations())
    flight = fly(c, team=Team(spy, plan_ring), sample=5)
    assert spy.told == []
    assert same(flight, fly(c, team=None, sample=5))


# Other teams


def test_a_policy_that_flies_on_gives_the_open_loop():
    """With a policy that never changes anything the arcs are the open loop's, errors and all."""
    c = relay(STARTS_OFF)
    closed, alone = fly(c, team=Team(always_on, plan_ring), sample=5), fly(c, team=None, sample=5)
    assert same(closed.arcs, alone.arcs)
    assert same(closed.errors, alone.errors)
    assert actions(closed) == ["fly-on"] * 3
    assert {one.why for one in closed.decisions} == {"as always"}


def test_only_the_planner_plugged_in_is_asked(monkeypatch):
    """The team's planner is asked, with the case at the estimate, and its plan is flown."""
    monkeypatch.setattr("simcheck.planning.planner.plan_ring", None)
    own = OwnPlanner(plan(command(1000.0, 1.0, burn="X1"), command(5000.0, 2.0, burn="X2")))
    c = relay(Errors(thrust_bias=0.05), tracked(max_trims=2))
    policy = Spy()
    flown = fly_by_hand(c, hand(thrust=1.0), Team(policy, own))
    assert [leg.burn for leg in flown.legs if leg.burn] == ["B1", "X1", "X2"]
    assert [x.action for x in flown.decisions] == ["replan", "fly-on", "give-up"]
    assert len(own.asked) >= 3
    assert "no more of this" in flown.decisions[-1].why
    now = policy.told[0].estimate
    first, wish = own.asked[0]
    assert first.craft.position_m.tobytes() == now.position_m.tobytes()
    assert first.limits.duration_s == pytest.approx(25 * 86400.0 - now.time_s, abs=1e-6)
    assert [x.burn for x in wish.flying.commands] == ["B2", "B3"]
    assert (wish.most_burns, own.asked[-1][1].most_burns) == (None, 2)
    # On the clock of the estimate, both ways.
    left = relay_plan().commands[1].ignition_s - now.time_s
    assert wish.flying.commands[0].ignition_s == pytest.approx(left, abs=1e-6)
    lit = next(leg.stretch.start_s for leg in flown.legs if leg.burn == "X1")
    assert lit == pytest.approx(now.time_s + 1000.0, abs=1e-6)


@pytest.mark.parametrize("action", ["stop", "give-up"])
def test_a_team_that_stops_flies_no_more(action):
    """After "stop" or "give-up" no burn is flown, whatever is left of the plan."""

    def quits(now, planner):
        return Choice(action, "enough", now.plan, now.remaining)

    flown, spy = hand_flight(TRACKED, *TWO, policy=quits)
    assert len(spy.told) == 1
    assert [leg.burn for leg in flown.legs if leg.burn] == ["B1"]


def test_an_operation_without_end_is_an_error():
    """A team that orders burn after burn is told so, instead of being flown for ever."""

    def again(now, planner):
        c = command(now.estimate.time_s + 100.0, 0.001, burn="T1")
        return Choice("trim", "for ever", now.plan, (c,))

    with pytest.raises(FlightError, match="no end"):
        hand_flight(tracked(settle_s=1.0), *TWO, policy=again)


# How it ends


@pytest.mark.parametrize(
    ("lacking", "reason"),
    [("time", "time"), ("propellant", "tank|propellant")],
)
def test_trims_end_where_something_runs_out(lacking, reason):
    """Out of time or propellant the team gives up, and says of what.

    Short of thrust by 1 % the flight ends 0.9 deg from its slot with its period 42 s off: no burn
    could mend that within ten minutes, and the least trim takes 0.2 kg.
    """
    c = relay(Errors(thrust_bias=0.01), tracked(replan="never"))
    if lacking == "time":
        end = relay_plan().arrival_time_s + 1200.0
        c = dataclasses.replace(c, limits=dataclasses.replace(c.limits, duration_s=end))
    if lacking == "propellant":
        used = -440.0 * math.expm1(-relay_plan().commanded_dv_m_s / (9.80665 * 318.0)) + 0.03
        craft = dataclasses.replace(c.craft, dry_mass_kg=440.0 - used, propellant_kg=used)
        c = dataclasses.replace(c, craft=craft)
    flown = fly_by_hand(c, hand(thrust=-1.0))
    (last,) = flown.decisions
    assert not landed(last.believed)
    assert last.action == "give-up"
    assert re.search(reason, last.why)
    assert last.burns == ()
    assert flown.outcome == "flown"
    assert [leg.burn for leg in flown.legs if leg.burn] == ["B1", "B2", "B3"]


@pytest.mark.parametrize("most", [1, 2])
def test_trims_are_counted(most):
    """After max_trims trim burns, whatever they did, the team gives up."""

    def feeble(case, wish):
        return plan(command(1000.0, 0.001, burn="T1"))

    c = relay(Errors(thrust_bias=0.01), tracked(replan="never", max_trims=most))
    flown = fly_by_hand(c, hand(thrust=-1.0), Team(stepwise, feeble))
    assert [x.action for x in flown.decisions] == ["trim"] * most + ["give-up"]
    assert "no trim is left" in flown.decisions[-1].why
    assert sum(leg.burn is not None for leg in flown.legs) == 3 + most


def test_an_empty_tank_ends_the_operation():
    """When the tank runs dry nothing more is decided; the burn says so."""
    c = relay(REALISTIC)
    craft = dataclasses.replace(c.craft, dry_mass_kg=435.0, propellant_kg=5.0)
    flight = fly(dataclasses.replace(c, craft=craft), team=Team(always_on, plan_ring), sample=5)
    assert flight.outcome == "out-of-propellant"
    assert [arc.burn for arc in burns(flight)] == ["B1", "B2"]
    assert len(flight.decisions) == 1
    assert "B2: tank empty" in flight.events[0]


def test_a_fall_while_tracking_ends_the_flight():
    """A craft that meets the ground before there is an estimate is not decided about."""
    brake = command(2000.0, 700.0, direction=np.array([0.0, -1.0, 0.0]))
    flown, spy = hand_flight(tracked(settle_s=20_000.0), brake)
    assert flown.outcome == "hit-the-body"
    assert spy.told == []
    assert "met the surface" in flown.events[-1]


def test_no_more_trims_than_allowed():
    """However often trims are replanned on the way, no more are flown than max_trims."""

    def always_two(case, wish):
        if any(x.burn.startswith("B") for x in wish.flying.commands):
            raise NoPlanError("no better", limit="test", excess=1.0)
        return plan(*(command(1000.0 + 900.0 * k, 0.5, burn=f"T{k + 1}") for k in range(2)))

    c = relay(Errors(thrust_bias=0.01), tracked(max_trims=2))
    flown = fly_by_hand(c, hand(thrust=-1.0), Team(stepwise, always_two))
    assert sum(str(leg.burn).startswith("T") for leg in flown.legs) == 2
