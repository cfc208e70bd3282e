"""The team of many flights: what it decides, from estimates alone."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from typing import Any

import numpy as np
import pytest

from simcheck.engines.base import G0
from simcheck.engines.batches import TaylorBatches
from simcheck.flying.lanes import _Lanes, fly_lanes
from simcheck.flying.team import FLY_ON, Situation, stepwise
from simcheck.flying.team_lanes import ACTIONS, Choices, Situations, TeamLanes
from simcheck.measuring_lanes import glance_lanes
from simcheck.planning.commanding import Range
from simcheck.planning.lane_commands import alike, flown_perfectly
from simcheck.planning.lane_errors import uses
from simcheck.planning.trimming import MARGIN
from simcheck.records.case import Case
from tests.flying.loops import (
    REALISTIC,
    TRACKED,
    estimate_of,
    near_slot,
    numbers_in,
    relay,
    relay_plan,
    situation,
)

WIDTH = 4


@cache
def team_of(made: Case) -> TeamLanes:
    site = Range(made)
    return TeamLanes(site, relay_plan(), TaylorBatches(site.propagator.gravity, 1e-12))


@cache
def usual() -> TeamLanes:
    return team_of(relay())


def arrived(*behind_deg: float, faster: float = 0.0, **fields: Any) -> Situations:
    """Craft so far behind their slot, no burn left, six trims allowed."""
    n = len(behind_deg)
    now = Situations(
        np.zeros(n),
        np.array([near_slot(x, faster=faster) for x in behind_deg]),
        alike((), n, WIDTH),
        np.full(n, 6),
        np.zeros(n, dtype=bool),
        np.zeros(n),
    )
    return now._replace(**{name: np.asarray(value) for name, value in fields.items()})


def on_the_way(first: int, *off_m: float, **fields: Any) -> Situations:
    """Craft ten minutes after burn number first - 1, that far off their course, the rest left."""
    n, craft, batches = len(off_m), relay().craft, usual().batches
    states = np.tile(np.array([*craft.position_m, *craft.velocity_m_s, craft.mass_kg]), (n, 1))
    made = alike(relay_plan().commands[:first], n, WIDTH)
    times, states = flown_perfectly(batches, relay(), np.zeros(n), states, made)
    states = batches.advance(times, states, times + 600.0)
    states[:, :3] += np.array(off_m)[:, None] * [0.8, -0.6, 0.0]
    now = Situations(
        times + 600.0,
        states,
        alike(relay_plan().commands[first:], n, WIDTH),
        np.full(n, 6),
        np.zeros(n, dtype=bool),
        np.zeros(n),
    )
    return now._replace(**{name: np.asarray(value) for name, value in fields.items()})


def actions(choice: Choices) -> list[str]:
    return ["odd" if odd else ACTIONS[k] for k, odd in zip(choice.action, choice.odd, strict=True)]


def left_after(team: TeamLanes, now: Situations, choice: Choices) -> np.ndarray:
    """The largest use of a tolerance (n,) that the burns chosen end with."""
    case, motion = team.site.case, team.site.motion
    times, states = flown_perfectly(team.batches, case, now.times, now.states, choice.left)
    seen = glance_lanes(team.batches, times, states, motion, case.craft.slot)
    return np.max(uses(seen.errors, team.trimmer.tolerance), axis=1)


# What it decides


def test_with_no_burn_left_it_stops_inside_half_and_trims_beyond() -> None:
    """0.24 deg of 0.5 is left, 0.26 is trimmed, and so is any other error beyond its half."""
    now = arrived(0.24, -0.24, 0.26, 5.2, -20.0)
    choice = usual().decide(now)
    assert actions(choice) == ["stop", "stop", "trim", "trim", "trim"]
    assert choice.left.number[:2].tolist() == [0, 0]
    assert (choice.left.number[2:] > 0).all()
    assert (left_after(usual(), now, choice)[2:] < 0.85).all()
    assert (choice.left.ignition[2:, 0] > 0.0).all()
    assert (choice.wait[2:] >= 1).all()
    quick = usual().decide(arrived(0.0, faster=2.5e-5))
    assert actions(quick) == ["trim"]  # 3.2 s of 5 s


def test_with_no_trim_left_it_stops_inside_and_gives_up_outside() -> None:
    """Within its tolerance, though not within half of it, it stops; beyond it gives up."""
    choice = usual().decide(arrived(0.1, 0.4, 0.6, trims_left=[0, 0, 0]))
    assert actions(choice) == ["stop", "stop", "give-up"]


def test_burns_that_land_are_flown_on() -> None:
    """Within a tenth of each tolerance burns left stay as they are; beyond they are re-aimed."""
    team = usual()
    now = on_the_way(1, 0.0, 1.0, 400.0, 3000.0)
    use = np.max(uses(team._foreseen(now).errors, team.trimmer.tolerance), axis=1)
    assert use[1] < FLY_ON < use[2]
    choice = team.decide(now)
    assert actions(choice) == ["fly-on", "fly-on", "re-aim", "re-aim"]
    assert (choice.left.ignition[:2] == now.left.ignition[:2]).all()
    assert choice.left.number.tolist() == [2, 2, 2, 2]
    assert (left_after(team, now, choice)[2:] < use[2:]).all()


def test_what_it_says_is_left_is_what_flying_on_leaves() -> None:
    """The errors are those of the burns left as they stand, not those of the burns chosen."""
    now = on_the_way(1, 0.0, 3000.0)
    choice = usual().decide(now)
    kept = choice._replace(left=now.left)
    use = np.max(uses(choice.errors, usual().trimmer.tolerance), axis=1)
    assert use == pytest.approx(left_after(usual(), now, kept), rel=1e-9)


def test_trims_under_way_are_trimmed_again() -> None:
    """With burns of a trim left and trimming begun it trims anew; before that it re-aims."""
    now = on_the_way(2, 2000.0, 2000.0, trimming=[True, False])
    now.states[:] = near_slot(5.2)
    now.times[:] = 0.0
    now.left.ignition[:] = 50000.0
    now.left.duration[:, 0], now.left.dv[:, 0] = 2.0, 2.0
    first, second = actions(usual().decide(now))
    assert first == "trim"
    assert second in ("re-aim", "odd")


def test_it_keeps_trims_for_what_these_leave() -> None:
    """Of six trims allowed four burns at most are used, of three one where one will do."""
    for left in (6, 4, 3):
        choice = usual().decide(arrived(5.2, -20.0, trims_left=[left, left]))
        assert actions(choice) == ["trim", "trim"]
        assert (choice.left.number <= left).all()
    few = usual().decide(arrived(5.2, trims_left=[1]))
    assert actions(few) in (["trim"], ["give-up"])


# What it leaves to the planner


def test_what_cannot_be_measured_is_odd() -> None:
    """An open orbit, and no number, with trims and with none left: odd, not stopped."""
    now = arrived(0.0, 0.0, 0.0)
    now.states[0, 3:6] *= 1.5
    now.states[1, 2] = np.nan
    assert actions(usual().decide(now)) == ["odd", "odd", "stop"]


def test_what_has_no_trim_is_odd_or_given_up() -> None:
    """Without time to trim: odd where trims are left to ask the planner for, else given up."""
    end = relay().limits.duration_s
    now = arrived(5.2, 5.2, 0.4, trims_left=[6, 1, 6])
    motion = usual().site.motion
    late = end - 0.5 * motion.period_s
    states = [near_slot(x, time=late) for x in (5.2, 5.2, 0.4)]
    now = now._replace(times=np.full(3, late), states=np.array(states))
    assert actions(usual().decide(now)) == ["odd", "give-up", "stop"]


def test_burns_that_cannot_be_reaimed_are_odd() -> None:
    """Half a radius off the course there is no re-aiming; its neighbour is re-aimed."""
    choice = usual().decide(on_the_way(1, 3000.0, 2e6))
    assert actions(choice) == ["re-aim", "odd"]


@pytest.mark.parametrize("limit", ["dv_m_s", "duration_s"])
def test_burns_beyond_a_limit_are_odd(limit: str) -> None:
    """Δv spent already, or a date too late: the planner is asked, where it had been re-aimed."""
    made, planned = relay(), relay_plan()
    value = {"dv_m_s": 100.0, "duration_s": planned.commands[-1].ignition_s - 3e3}[limit]
    team = team_of(replace(made, limits=replace(made.limits, **{limit: value})))
    assert actions(team.decide(on_the_way(1, 3000.0, spent=[95.0]))) == ["odd"]
    assert actions(usual().decide(on_the_way(1, 3000.0, spent=[95.0]))) == ["re-aim"]


def test_burns_that_cost_too_much_are_odd() -> None:
    """A phase that only much more Δv would meet, with no time for trims: the planner is asked."""
    made = relay()
    short = replace(made.limits, duration_s=relay_plan().commands[-1].ignition_s + 3e4)
    team = team_of(replace(made, limits=short))
    now = on_the_way(2, 0.0)
    now = now._replace(
        states=team.batches.advance(now.times, now.states, now.times + 30 / 360 * 43200.0)
    )
    assert actions(team.decide(now)) == ["odd"]


# Company, and what it knows


def bits(choice: Choices, lane: int) -> list[bytes]:
    parts = [part[lane].tobytes() for part in choice.left if part.dtype != object]
    return [*parts, *(np.asarray(part[lane]).tobytes() for part in (choice[0], *choice[2:]))]


def test_a_lane_is_the_same_alone_and_in_any_company() -> None:
    """Alone, in another order, decided by a team made anew: the same bits; nothing is changed."""
    parts = (
        on_the_way(1, 0.0, 500.0, 4000.0, 2e6),
        on_the_way(2, 100.0, 3000.0),
        arrived(0.1, 9.0),
    )
    joined = [
        np.concatenate(x) for x in zip(*(p._replace(left=p.times) for p in parts), strict=True)
    ]
    left = alike((), 8, WIDTH)
    for start, part in zip((0, 4, 6), parts, strict=True):
        left.put(np.arange(start, start + len(part.times)), part.left)
    now = Situations(*joined)._replace(left=left)
    before = now.states.tobytes(), now.left.ignition.tobytes()
    whole = usual().decide(now)
    assert (now.states.tobytes(), now.left.ignition.tobytes()) == before
    fresh = TeamLanes(usual().site, relay_plan(), usual().batches)
    for rows in (np.array([3]), np.array([6]), np.array([7, 2]), np.arange(8)[::-1]):
        for team in (usual(), fresh):
            choice = team.decide(now.of(rows))
            assert [bits(choice, k) for k in range(len(rows))] == [bits(whole, k) for k in rows]


def test_no_lanes() -> None:
    """Nobody to decide for."""
    choice = usual().decide(arrived(0.1).of(np.empty(0, dtype=np.intp)))
    assert choice.action.shape == (0,)


def test_the_truth_cannot_be_reached(monkeypatch: pytest.MonkeyPatch) -> None:
    """No number of the true state can be reached from what the team is told, nor from the team.

    What it is told is the truth with the errors drawn, and the mass by its own books.
    """
    told: list[tuple[TeamLanes, Situations]] = []
    true: list[np.ndarray] = []
    decide, make = TeamLanes.decide, _Lanes._situations

    def listen(team: TeamLanes, now: Situations) -> Choices:
        told.append((team, now))
        return decide(team, now)

    def note(lanes: _Lanes, rows: np.ndarray, times: np.ndarray) -> Situations:
        true.append(lanes.batches.advance(lanes.times[rows], lanes.states[rows], times))
        return make(lanes, rows, times)

    monkeypatch.setattr(TeamLanes, "decide", listen)
    monkeypatch.setattr(_Lanes, "_situations", note)
    fly_lanes(relay(REALISTIC), relay_plan(), 1, range(4), closed_loop=True)
    assert len(told) == len(true) >= 3
    for (team, now), truth in zip(told, true, strict=True):
        for row in numbers_in([now, team]):
            if row.dtype == np.float64:
                assert not np.isin(truth.ravel(), row).any()
        off = np.linalg.norm((now.states - truth)[:, :3], axis=1)
        assert (off > 1.0).all()
        assert (off < 6 * 50.0).all()
    first, engine = told[0][1], relay().engine
    booked = G0 * engine.isp_s * np.log(relay().craft.mass_kg / first.states[:, 6])
    assert first.spent == pytest.approx(booked, rel=1e-12)
    assert (first.spent > 10.0).all()
    # The search finds what is there.
    leaky = told[0][1]._replace(spent=true[0][:, 0])
    assert any(np.isin(true[0].ravel(), row).any() for row in numbers_in(leaky))


def test_it_decides_much_as_the_team_of_one_flight() -> None:
    """On the same estimates both stop, trim and give up alike, and their trims cost alike."""
    for behind, trims in ((0.1, 6), (0.3, 6), (5.2, 6), (0.6, 0), (0.4, 0)):
        lanes = usual().decide(arrived(behind, trims_left=[trims]))
        y = near_slot(behind)
        one: Situation = situation(y, relay_plan(), remaining=(), trims_left=trims)
        one = one._replace(estimate=estimate_of(y, mass_kg=float(y[6])))
        choice = stepwise(one, _planner)
        assert choice.action == actions(lanes)[0]
        if choice.action == "trim":
            mine, theirs = lanes.left.total_dv[0], sum(x.dv_m_s for x in choice.remaining)
            assert mine == pytest.approx(theirs, rel=0.3, abs=0.05)
    assert TRACKED.max_trims == 6
    assert MARGIN == 0.5


def _planner(case: Any, wish: Any) -> Any:
    from simcheck.planning.planner import plan_ring

    return plan_ring(case, wish)
