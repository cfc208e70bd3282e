"""One flight decided as among many: the same flight, and words that a person can follow."""

from __future__ import annotations

import re
from dataclasses import replace
from functools import cache
from importlib import util
from pathlib import Path
from typing import Any

import numpy as np
import pytest

import simcheck
from simcheck.errors import NoPlanError
from simcheck.flying import together
from simcheck.flying.advising import nothing_left
from simcheck.flying.lanes import LaneFlights, fly_lanes
from simcheck.flying.mission import fly_plan
from simcheck.flying.operating import Team
from simcheck.flying.team import Choice, Situation, flown_perfectly, foreseen, stepwise
from simcheck.flying.together import Together, team_of
from simcheck.judging import judge
from simcheck.planning.planner import plan_ring
from simcheck.records.case import Case, Operations
from simcheck.records.flight import Flight
from simcheck.records.plan import Plan
from simcheck.records.wish import Wish
from tests.flying.bench import burns, same
from tests.flying.loops import (
    REALISTIC,
    Spy,
    estimate_of,
    near_slot,
    numbers_in,
    relay,
    relay_plan,
    situation,
)

DEMO = Path(__file__).parents[2] / "cases" / "mars_ring.toml"
SEED, COUNT = 3, 10


def nobody(case: Any, wish: Any) -> Plan:
    raise AssertionError("asked a planner")


def none(case: Any, wish: Any) -> Plan:
    raise NoPlanError("nothing can be done", limit="test", excess=1.0)


@cache
def demo() -> tuple[Case, Plan, LaneFlights, list[Flight]]:
    """The demonstration flown with its errors and team: ten lanes, and the same ten alone."""
    made = simcheck.load_case(DEMO)
    plan = plan_ring(made, Wish())
    lanes = fly_lanes(made, plan, SEED, range(COUNT), closed_loop=True)
    alone = [
        fly_plan(
            made,
            plan,
            seed=SEED,
            sample=k,
            reference=False,
            team=team_of(made, plan, "ring", nobody),
        )
        for k in range(COUNT)
    ]
    return made, plan, lanes, alone


def start(off_m: float = 0.0) -> np.ndarray:
    craft = relay().craft
    y = np.array([*craft.position_m, *craft.velocity_m_s, craft.mass_kg])
    y[:3] += np.array([0.8, -0.6, 0.0]) * off_m
    return y


def decided(now: Any, planner: Any = nobody, plan: Plan | None = None) -> Choice:
    """The choice of a team that has just begun to fly `plan`."""
    return Together(relay(), plan or relay_plan())(now, planner)


def arrived(behind_deg: float, **fields: Any) -> Any:
    """A situation near the slot with no burn left."""
    y = near_slot(behind_deg)
    fields = {"remaining": (), "flown": ("B1", "B2", "B3"), **fields}
    return situation(y, nothing_left(estimate_of(y)), **fields)


# The same flight


def test_a_flight_alone_is_its_lane() -> None:
    """Errors, Δv, propellant, dates, burns and decisions of ten samples of the demonstration.

    Both fly and decide by the same steps; the integrators of one and of many differ by rounding,
    which four to ten burns decided from it carry to 1e-6 of each tolerance and less.
    """
    made, _, lanes, alone = demo()
    assert not lanes.alone.any()
    for k, one in enumerate(alone):
        assert abs(np.degrees(lanes.phase[k]) - one.errors.phase_deg) < 1e-6 * 0.5
        assert abs(lanes.period[k] - one.errors.period_s) < 1e-6 * 5.0
        assert abs(lanes.eccentricity[k] - one.errors.eccentricity) < 1e-6 * 0.002
        assert abs(np.degrees(lanes.plane[k]) - one.errors.plane_deg) < 1e-6 * 0.1
        assert lanes.dv[k] == pytest.approx(one.dv_used_m_s, rel=1e-9)
        assert lanes.propellant[k] == pytest.approx(one.propellant_used_kg, rel=1e-9)
        assert lanes.arrival[k] == pytest.approx(one.arrival_time_s, abs=1e-3)
        assert lanes.burns[k] == len(burns(one))
        assert lanes.decisions[k] == len(one.decisions)
        low = lanes.lowest[k] - made.body.radius_m
        assert low == pytest.approx(one.lowest_altitude_m, abs=300.0)
        assert lanes.nearest[:, k].min() == pytest.approx(one.closest_approach_m, abs=1.0)
    assert np.ptp(lanes.dv) > 1.0
    assert (lanes.decisions >= 3).all()


def test_they_arrive_and_each_decision_follows_from_what_was_believed() -> None:
    """The ten end within; a trim or re-aim follows belief outside its bounds, a stop one inside."""
    made, plan, _, alone = demo()
    assert [judge(made, one).verdict for one in alone] == ["within"] * COUNT
    seen = set()
    for one in alone:
        for line in one.decisions:
            seen.add(line.action)
            assert (line.action == "stop") == (line.burns == ())
            if line.action == "stop":
                assert abs(line.believed.period_s) <= 2.5 * (1 + 1e-3)
                assert abs(line.believed.phase_deg) <= 0.25 * (1 + 1e-3)
        assert one.decisions[-1].action == "stop"
    assert {"re-aim", "trim", "stop"} <= seen
    assert len(plan.commands) >= 2


def test_labels_go_on_from_burn_to_burn() -> None:
    """Plan's burns keep their names; trims are T1, T2 ... as flown, corrections C1, C2 ..."""
    for one in demo()[3]:
        labels = [arc.burn for arc in burns(one)]
        for letter in "BTC":
            mine = [x for x in labels if x and x.startswith(letter)]
            assert mine == [f"{letter}{i + 1}" for i in range(len(mine))]
        assert len([x for x in labels if x and x.startswith("B")]) == len(demo()[1].commands)


WORDS = {
    "fly-on": r"the burns left are flown as they stand: the \w+ is .+ off, \d+% of its tolerance",
    "re-aim": r"the \w+ is [+-][\d.e-]+( \w+)? off, [\d.e+]+(%| times) (of )?its tolerance: "
    r"the burns left are re-aimed, [+-]\d+\.\d{3} m/s"
    r"(, a burn of \d+\.\d{3} m/s before them included)?"
    r"(; a trim of \d+\.\d{3} m/s is to follow \d+ rev after the last)?",
    "trim": r"the \w+ is [+-][\d.e-]+( \w+)? off, [\d.e+]+(%| times) (of )?its tolerance: "
    r"trims within \d+ rev, (1 burn|[23] burns), \d+\.\d{3} m/s",
    "stop": r"every error is within its tolerance: the \w+ is .+ off, \d+% of its tolerance",
}


def test_the_words_of_the_log() -> None:
    """Each line says what the worst error is believed to be, and what is changed, in numbers."""
    lines = [line for one in demo()[3] for line in one.decisions]
    assert len(lines) > 30
    for line in lines:
        assert re.fullmatch(WORDS[line.action], line.why), line.why
        for unit in re.findall(r"off|Nan|nan|inf|None", line.why):
            assert unit == "off"
    trims = [line for line in lines if line.action == "trim"]
    for line in trims:
        found = re.search(r"(\d) burns?, ([\d.]+) m/s", line.why)
        assert found
        assert int(found[1]) == len(line.burns)
        assert float(found[2]) == pytest.approx(line.dv_left_m_s, abs=6e-4)


# One decision


def test_a_plan_that_lands_is_flown_on() -> None:
    """The same plan and burns, and no planner is asked."""
    now = situation(start(), relay_plan())
    choice = decided(now)
    assert choice.action == "fly-on"
    assert choice.plan is now.plan
    assert choice.remaining is now.remaining
    assert re.fullmatch(WORDS["fly-on"], choice.why), choice.why


def test_burns_are_reaimed_and_their_plan_is_what_is_flown() -> None:
    """Burns keep names and purposes; the plan's impulses are the commands', at their middles."""
    now = situation(start(3000.0), relay_plan())
    choice = decided(now)
    assert choice.action == "re-aim"
    assert [x.burn for x in choice.remaining] == ["B1", "B2", "B3"]
    assert choice.plan.commands == choice.remaining
    purposes = [x.purpose for x in relay_plan().burns]
    assert [x.purpose for x in choice.plan.burns] == purposes
    for burn, one in zip(choice.plan.burns, choice.remaining, strict=True):
        assert burn.time_s == pytest.approx(one.ignition_s + one.duration_s / 2)
        assert np.linalg.norm(burn.dv_m_s) == pytest.approx(one.dv_m_s)
    assert choice.plan.commanded_dv_m_s == pytest.approx(sum(x.dv_m_s for x in choice.remaining))
    assert choice.plan.primer is None
    before, after = (foreseen(now, now.estimate, x) for x in (now.remaining, choice.remaining))
    assert abs(after.period_s) < abs(before.period_s)


def test_trims_are_numbered_on_and_say_what_they_cost() -> None:
    """T1 at first, T4 after three flown; their plan holds trims and nothing else."""
    for flown, first in ((("B1", "B2", "B3"), 1), (("B1", "T1", "T2", "T3"), 4)):
        choice = decided(arrived(5.2, flown=flown))
        assert choice.action == "trim"
        labels = [x.burn for x in choice.remaining]
        assert labels == [f"T{first + i}" for i in range(len(labels))]
        assert {x.purpose for x in choice.plan.burns} == {"trim"}
        assert "the phase is -5.2 deg off, 10.4 times its tolerance: trims within" in choice.why


def before_the_last(degrees: float = 0.0, speed: tuple[float, ...] = (0.0, 0.0, 0.0)) -> Situation:
    """Ten minutes after the second burn, so far ahead of the course and so much faster, m/s."""
    now = situation(start(), relay_plan())
    time, state = flown_perfectly(now, now.estimate, relay_plan().commands[:2])
    later = 600.0 + degrees / 360 * now.motion.period_s
    state = now.propagator.advance(time, state, time + later).state
    state[3:6] += speed
    left = relay_plan().commands[2:]
    fields: dict[str, Any] = {"remaining": left, "flown": ("B1", "C1", "B2")}
    return situation(state, relay_plan(), time=time + 600.0, **fields)


def test_a_small_burn_before_the_others_is_a_correction() -> None:
    """Where one is added it is called C, numbered on, and the words say how large it is."""
    rng = np.random.default_rng(1)
    for _ in range(12):
        choice = decided(before_the_last(speed=tuple(0.5 * rng.normal(size=3))))
        assert choice.action == "re-aim"
        if len(choice.remaining) == 1:
            continue
        assert [x.burn for x in choice.remaining] == ["C2", "B3"]
        assert choice.plan.burns[0].purpose == "correction"
        size = f"a burn of {choice.remaining[0].dv_m_s:.3f} m/s before them included"
        assert size in choice.why
        assert re.fullmatch(WORDS["re-aim"], choice.why)
        return
    raise AssertionError("no correction was added")


def test_a_rest_that_is_to_follow_is_said() -> None:
    """A craft far ahead has its last burn parted, and the words say what is to follow and when."""
    choice = decided(before_the_last(degrees=10.0))
    assert choice.action == "re-aim"
    assert re.search(r"; a trim of \d\.\d{3} m/s is to follow \d+ rev after the last$", choice.why)


@pytest.mark.parametrize(
    ("behind", "left", "action", "words"),
    [
        (0.2, 6, "stop", "every error is within its tolerance: the phase is -0.2 deg off, 40% of"),
        (0.4, 0, "stop", "the phase is -0.4 deg off, 80% of its tolerance, and no trim is left"),
        (5.2, 0, "give-up", "10.4 times its tolerance, and no trim is left"),
    ],
)
def test_why_it_ends(behind: float, left: int, action: str, words: str) -> None:
    """It says whether all is well, or what is not and that nothing is left for it."""
    choice = decided(arrived(behind, trims_left=left))
    assert choice.action == action
    assert words in choice.why
    assert choice.remaining == ()


def test_without_a_trim_that_will_do_it_says_so() -> None:
    """One trim left, no time for it: given up, in words; more trims left, the planner is asked."""
    late = relay().limits.duration_s - 2e4
    y = near_slot(5.2, time=late)
    fields: dict[str, Any] = {"remaining": (), "time": late}
    now = situation(y, nothing_left(estimate_of(y)), trims_left=1, **fields)
    choice = decided(now)
    assert choice.action == "give-up"
    assert choice.why.endswith("and no trim of the burns left is good enough")
    choice = decided(now._replace(trims_left=6), none)
    assert choice.action == "give-up"
    assert choice.why.endswith("but nothing can be done")


# What it leaves to the planner


@pytest.mark.parametrize("what", ["missed", "strange plan", "far off", "open orbit"])
def test_what_is_odd_goes_to_the_planner(what: str) -> None:
    """A missed burn, a plan of others, a craft far off: what `stepwise` makes of it, to the bit."""
    now = situation(start(3000.0), relay_plan())
    team = Together(relay(), relay_plan())
    if what == "missed":
        now = now._replace(missed=True)
    elif what == "strange plan":
        now = now._replace(plan=replace(relay_plan(), summary="another"))
    elif what == "far off":
        now = situation(start(3e6), relay_plan())
    else:
        y = start()
        y[3:6] *= 1.6
        now = situation(y, relay_plan())
    asked: list[Any] = []

    def planner(case: Any, wish: Any) -> Plan:
        asked.append(wish)
        raise NoPlanError("nothing can be done", limit="test", excess=1.0)

    choice = team(now, planner)
    assert len(asked) >= 1
    expected = stepwise(now, none)
    assert (choice.action, choice.why) == (expected.action, expected.why)
    assert same(choice.remaining, expected.remaining)


def test_a_plan_made_anew_is_not_known() -> None:
    """A plan that this team re-aimed stays its own; one that the planner made is the planner's.

    Its burns are then re-aimed by the planner too, and trims at the end are not.
    """
    asked: list[Wish] = []

    def planner(made: Case, wish: Wish) -> Plan:
        asked.append(wish)
        return plan_ring(made, replace(wish, effort=0))

    team = Together(relay(), relay_plan())
    now = situation(start(3000.0), relay_plan())
    first = team(now, nobody)
    now = now._replace(plan=first.plan, remaining=first.remaining)
    assert team(now, nobody).action in ("fly-on", "re-aim")
    fresh = team(now._replace(missed=True, remaining=first.remaining[2:]), planner)
    assert (fresh.action, len(asked)) == ("replan", 1)
    off = replace(now.estimate, position_m=start(9e3)[:3])
    after = now._replace(plan=fresh.plan, remaining=fresh.remaining, estimate=off)
    assert team(after, planner).action in ("re-aim", "replan")
    assert len(asked) == 2
    assert team(arrived(5.2)._replace(plan=fresh.plan), nobody).action == "trim"


def test_nothing_but_the_estimate_is_known() -> None:
    """The team holds no number of the flight's true state: its own were made before the flight."""
    made = relay(REALISTIC)
    policy = Together(made, relay_plan())
    spy = Spy(policy)
    flight = fly_plan(
        made, relay_plan(), seed=1, sample=5, reference=False, team=Team(spy, plan_ring)
    )
    assert len(spy.told) >= 3
    ends = np.concatenate([arc.end.position_m for arc in flight.arcs])
    for row in numbers_in([policy, *spy.told]):
        if row.dtype == np.float64:
            assert not np.isin(ends, row).any()


# Who decides


def test_who_decides(monkeypatch: pytest.MonkeyPatch) -> None:
    """Our team for our planner where the fast engine is; else step by step; nobody if so set."""
    made, plan = relay(), relay_plan()
    team = team_of(made, plan, "ring", plan_ring)
    assert team is not None
    assert isinstance(team.policy, Together)
    assert team.planner is plan_ring
    foreign = team_of(made, plan, "mine", nobody)
    assert foreign == Team(stepwise, nobody)
    quiet = replace(made, operations=Operations())
    assert team_of(quiet, plan, "ring", plan_ring) is None
    trims = replace(made, operations=Operations(max_trims=2))
    assert team_of(trims, plan, "ring", plan_ring) is not None
    monkeypatch.setattr(together, "find_spec", lambda name: None)
    assert team_of(made, plan, "ring", plan_ring) == Team(stepwise, plan_ring)
    assert util.find_spec("heyoka") is not None


def test_a_plan_that_cannot_be_flown_is_left_to_the_planner() -> None:
    """A plan whose burns overlap has no course: no team of many, and `stepwise` answers."""
    made = relay()
    one = relay_plan().commands[0]
    wrong = replace(relay_plan(), commands=(one, replace(one, burn="B2")))
    assert Together(made, wrong).team is None
    choice = Together(made, wrong)(arrived(0.1), nobody)
    assert choice.action == "stop"
