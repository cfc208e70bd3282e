"""Commands side by side are the commands of records, and flown perfectly they end the same."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from simcheck.engines.base import Thrust
from simcheck.engines.batches import TaylorBatches
from simcheck.engines.gravity import gravity_of
from simcheck.engines.taylor import TaylorPropagator
from simcheck.planning.burns import burn_seconds, chosen_engine
from simcheck.planning.lane_commands import (
    CUTOFFS,
    LaneCommands,
    alike,
    commandable,
    cutoffs,
    empty,
    flown_perfectly,
    for_thrusters,
    lane_of,
    nominal,
    seconds,
    smallest_dv,
)
from simcheck.records.case import Engine
from simcheck.records.plan import Command, Watch
from tests.cases_for_tests import case
from tests.flying.bench import START, command, same
from tests.helpers import assert_metres, assert_metres_per_second, assert_relative

MAIN = Engine(name="engine", thrust_n=400.0, isp_s=318.0, min_burn_s=2.0, max_burn_s=600.0)
SMALL = Engine(
    name="thrusters",
    thrust_n=8.0,
    isp_s=220.0,
    min_burn_s=0.5,
    max_burn_s=90.0,
    cutoff="velocity",
)
BOTH = case(engine=MAIN, thrusters=SMALL)
ONE = case(engine=MAIN)

WATCH = Watch(quantity="period_s", target=4e4)
THREE = (
    command(2000.0, 50.0, direction=np.array([0.6, 0.8, 0.0]), watch=WATCH),
    command(9000.0, 0.3, burn="B2", engine="thrusters", cutoff="velocity", duration_s=19.0),
    command(20000.0, 20.0, burn="B3", steering="inertial", direction=np.array([0.0, 0.0, -1.0])),
)


def some(number: tuple[int, ...] = (3, 1, 0, 2)) -> LaneCommands:
    """Lanes with so many of the three commands, made later by 100 s a lane."""
    made = alike(THREE, len(number), 4)
    made.number[:] = number
    made.ignition[:] += 100.0 * np.arange(len(number))[:, None]
    return made


def bits(commands: LaneCommands) -> list[bytes]:
    return [part.tobytes() for part in commands if part.dtype != object]


# To and from records


def test_records_come_back_as_they_were() -> None:
    """Commands put into lanes and taken out again are the same records, in every lane."""
    made = alike(THREE, 3, 5)
    for lane in range(3):
        found = lane_of(made, lane, ["B1", "B2", "B3"], BOTH)
        assert all(same(a, b) for a, b in zip(found, THREE, strict=True))
    assert made.number.tolist() == [3, 3, 3]
    assert made.meant.tolist() == [[True, True, True, False, False]] * 3
    assert alike((), 2, 3).number.tolist() == [0, 0]


def test_labels_and_engines_are_those_given() -> None:
    """A lane's first commands get the labels; engine and cutoff are those of its commands."""
    first, second = lane_of(some(), 0, ["T4", "T5"], BOTH)
    assert (first.burn, first.engine, first.cutoff) == ("T4", "engine", "duration")
    assert (second.burn, second.engine, second.cutoff) == ("T5", "thrusters", "velocity")
    assert first.watch is WATCH
    assert second.watch is None


def test_without_the_first_the_next_moves_up() -> None:
    """The lanes named lose their first command, the others keep theirs; a copy keeps them all."""
    made = some()
    kept = made.of(np.arange(4))
    made.without_first(np.array([0, 3]))
    assert made.number.tolist() == [2, 1, 0, 1]
    for lane in (0, 3):
        assert made.ignition[lane, 0] == kept.ignition[lane, 1]
        assert made.thrusters[lane, 0]
        assert made.watch[lane, 0] is None
        assert made.direction[lane, 1].tolist() == [0.0, 0.0, -1.0]
        assert not made.turning[lane, 1]
    assert made.ignition[1].tolist() == kept.ignition[1].tolist()
    assert kept.number.tolist() == [3, 1, 0, 2]
    assert made.watch[1, 0] is WATCH


@pytest.mark.parametrize("width", [2, 4, 6])
def test_putting_gives_lanes_other_commands(width: int) -> None:
    """The lanes named get number and commands of another set, narrower or wider; no other does."""
    made, other = some(), empty(2, width)
    other.number[:] = 1, 2
    other.ignition[:], other.dv[:], other.thrusters[:] = 7.0, 0.25, True
    before = made.of(np.array([0, 2]))
    made.put(np.array([3, 1]), other)
    assert made.number.tolist() == [3, 2, 0, 1]
    assert made.total_dv[[1, 3]].tolist() == [0.5, 0.25]
    assert made.ignition[1, :2].tolist() == [7.0, 7.0]
    assert made.ignition.shape == (4, 4)
    assert bits(made.of(np.array([0, 2]))) == bits(before)


def test_only_what_is_meant_is_counted() -> None:
    """Δv is the sum over the commands meant, whatever stands in the other places."""
    assert some().total_dv.tolist() == pytest.approx([70.3, 50.0, 0.0, 50.3])
    assert empty(2, 3).total_dv.tolist() == [0.0, 0.0]


# Engines


def test_lengths_are_those_of_one_burn() -> None:
    """The rocket equation and the choice of engine are those of `burns`, lane by lane."""
    rng = np.random.default_rng(2)
    size, mass = 10 ** rng.uniform(-3, 2, 60), rng.uniform(250.0, 600.0, 60)
    for made in (BOTH, ONE):
        small = for_thrusters(made, size, mass)
        length = seconds(size, mass, nominal(made, small))
        for k in range(60):
            engine = chosen_engine(size[k], mass[k], made.engine, made.thrusters)
            assert small[k] == (engine.name == "thrusters")
            assert_relative(length[k], burn_seconds(size[k], mass[k], engine), 1e-15)
        assert small.any() == (made is BOTH)
    assert not small.all()


def test_the_smallest_burn_is_that_of_the_engine_that_can_do_less() -> None:
    """4 N s by thrusters of 8 N for 0.5 s, 800 N s by the engine of 400 N for 2 s."""
    mass = np.array([400.0, 800.0])
    assert smallest_dv(BOTH, mass).tolist() == [0.01, 0.005]
    assert smallest_dv(ONE, mass).tolist() == [2.0, 1.0]


def test_cutoffs_are_those_of_the_engine_that_burns() -> None:
    """The engine's by duration, the thrusters' by velocity; without thrusters all by duration."""
    small = np.array([[False, True], [True, False]])
    names = np.array(CUTOFFS)
    expected = [["duration", "velocity"], ["velocity", "duration"]]
    assert names[cutoffs(BOTH, small)].tolist() == expected
    assert (names[cutoffs(ONE, small)] == "duration").all()


def test_what_an_engine_cannot_do_is_not_commandable() -> None:
    """A burn too short or too long for its own engine, if it is meant."""
    made = empty(6, 2)
    made.number[:] = 1, 1, 1, 1, 2, 0
    made.duration[:, 0] = 2.0, 1.99, 600.1, 90.0, 90.1, 0.0
    made.thrusters[:, 0] = False, False, False, True, True, False
    assert commandable(BOTH, made).tolist() == [True, False, False, True, False, True]
    made.thrusters[:] = True  # of which this case has none: by its engine
    assert commandable(ONE, made).tolist() == [True, False, False, True, False, True]
    # The second place counts only where it is meant.
    made.duration[4], made.duration[0, 1] = (100.0, 700.0), 700.0
    assert commandable(ONE, made).tolist() == [True, False, False, True, False, True]


# Flown perfectly


def scalar(made: LaneCommands, lane: int, time: float) -> tuple[float, np.ndarray]:
    """A lane's commands flown one by one by the scalar engine."""
    p, state = TaylorPropagator(gravity_of(BOTH)), START
    labels = [str(i) for i in range(int(made.number[lane]))]
    for one in lane_of(made, lane, labels, BOTH):
        state, time = _burnt(p, one, time, state)
    return time, state


def _burnt(
    p: TaylorPropagator, one: Command, time: float, state: np.ndarray
) -> tuple[np.ndarray, float]:
    engine = SMALL if one.engine == "thrusters" else MAIN
    light = max(one.ignition_s, time)
    thrust = Thrust(
        thrust_n=engine.thrust_n,
        isp_s=engine.isp_s,
        steering=one.steering,
        direction=one.direction,
    )
    state = p.advance(time, state, light).state
    return p.advance(light, state, light + one.duration_s, thrust).state, light + one.duration_s


def test_flown_perfectly_is_the_scalar_engine() -> None:
    """Each lane's burns, of either engine and steering, end where the scalar engine's do.

    A burn already due is lit at once; a lane without burns stays where it is, to the bit.
    """
    made = some()
    times = np.array([0.0, 2500.0, 100.0, 0.0])
    states = np.tile(START, (4, 1))
    batches = TaylorBatches(gravity_of(BOTH))
    ends, found = flown_perfectly(batches, BOTH, times, states, made)
    for lane in range(4):
        time, state = scalar(made, lane, times[lane])
        assert ends[lane] == time
        assert_metres(found[lane, :3], state[:3], 1e-3)
        assert_metres_per_second(found[lane, 3:6], state[3:6], 1e-6)
        assert_relative(found[lane, 6], state[6], 1e-13)
    assert found[2].tobytes() == START.tobytes()
    assert ends[1] == 2500.0 + THREE[0].duration_s
    assert times.tolist() == [0.0, 2500.0, 100.0, 0.0]
    assert (states == START).all()


def test_flown_perfectly_a_lane_knows_of_no_other() -> None:
    """Alone, among others and beside one without a number: the same bits."""
    made, batches = some(), TaylorBatches(gravity_of(BOTH))
    states = np.tile(START, (4, 1))
    states[1, 0] = np.nan
    _, found = flown_perfectly(batches, BOTH, np.zeros(4), states, made)
    assert np.isnan(found).any(axis=1).tolist() == [False, True, False, False]
    for lane in (0, 2, 3):
        one = np.array([lane])
        _, alone = flown_perfectly(batches, BOTH, np.zeros(1), states[one], made.of(one))
        assert alone.tobytes() == found[lane].tobytes()


def test_flown_perfectly_errors_of_a_case_do_not_matter() -> None:
    """A biased engine's case flies as the nominal one."""
    biased = replace(BOTH, errors=replace(BOTH.errors, thrust_bias=0.1))
    batches, states = TaylorBatches(gravity_of(BOTH)), np.tile(START, (4, 1))
    one = flown_perfectly(batches, BOTH, np.zeros(4), states, some())
    other = flown_perfectly(batches, biased, np.zeros(4), states, some())
    assert one[1].tobytes() == other[1].tobytes()
