"""Burns side by side are those of `execute`, one by one."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from simcheck.engines.batches import TaylorBatches
from simcheck.engines.gravity import gravity_of
from simcheck.engines.taylor import TaylorPropagator
from simcheck.flying.draws import Draws, drawn
from simcheck.flying.executing import Executed, execute
from simcheck.flying.lane_burns import LaneBurns, LaneDraws, burn, pointed
from simcheck.kernels.transfers import period_of
from simcheck.kernels.vectors import cross, dot, norm, unit
from simcheck.planning.lane_commands import LaneCommands, alike, cutoffs, lane_of
from simcheck.records.case import Case, Cutoff, Engine, Errors
from simcheck.records.plan import Watch
from tests.flying.bench import START, case, command
from tests.helpers import assert_metres, assert_metres_per_second, assert_relative, assert_seconds

ERRORS = Errors(
    thrust_bias=0.02,
    isp_bias=0.01,
    magnitude_proportional=0.01,
    magnitude_fixed_m_s=0.05,
    pointing_proportional_rad=0.02,
    pointing_fixed_m_s=0.1,
    accelerometer_scale=0.005,
)
N = 12
LIT = 2000.0
SMALL = Engine(name="thrusters", thrust_n=30.0, isp_s=220.0)


def craft(cutoff: Cutoff = "duration", small: Cutoff | None = None, **errors: Any) -> Case:
    """A case whose engine and thrusters end burns as said, with errors of every kind."""
    made = case(errors=replace(ERRORS, **errors))
    return replace(
        made,
        engine=replace(made.engine, cutoff=cutoff),
        thrusters=replace(SMALL, cutoff=small or cutoff),
    )


def samples(count: int = N, seed: int = 3) -> list[Draws]:
    return [drawn(seed, k, 2) for k in range(count)]


def side_by_side(draws: list[Draws], index: int = 0) -> LaneDraws:
    return LaneDraws(
        np.array([d.burns[index] for d in draws]),
        np.array([d.flight for d in draws]),
        np.array([d.accelerometer for d in draws]),
    )


def states(count: int = N) -> np.ndarray:
    """States (n, 7) about the same place, of masses of their own."""
    rng = np.random.default_rng(1)
    rows = np.tile(START, (count, 1))
    rows[:, :3] += 1000.0 * rng.normal(size=(count, 3))
    rows[:, 6] = rng.uniform(400.0, 500.0, count)
    return rows


def watch(quantity: str, made: Case) -> Watch:
    """What a burn of 50 m/s along the track has when it is over without errors."""
    p = TaylorPropagator(gravity_of(made))
    one = command(LIT, 50.0)
    quiet = replace(made, errors=Errors())
    state = _executed(p, one_lane(one), 0, quiet, drawn(0, 0, 1), START).state
    if quantity == "period_s":
        return Watch(
            quantity="period_s", target=float(period_of(state[:3], state[3:6], p.gravity.gm))
        )
    before, after = (unit(cross(y[:3], y[3:6])) for y in (START, state))
    axis = unit(after - before)
    return Watch(quantity="tilt", target=float(dot(after, axis)), direction=axis)


def one_lane(one: Any) -> LaneCommands:
    return alike((one,), 1, 2)


def _executed(
    p: TaylorPropagator,
    commands: LaneCommands,
    lane: int,
    made: Case,
    draws: Draws,
    state: np.ndarray,
    index: int = 0,
) -> Executed:
    (one,) = lane_of(commands, lane, ["B1"], made)
    engine = made.thrusters if one.engine == "thrusters" else made.engine
    assert engine is not None
    return execute(
        p,
        one,
        engine=engine,
        errors=made.errors,
        draws=draws,
        index=index,
        time=LIT,
        state=state,
        dry_mass=made.craft.dry_mass_kg,
    )


def assert_alike(went: LaneBurns, k: int, one: Executed) -> None:
    """A lane's burn is that one: same engine in the same way, so by rounding only."""
    assert_seconds(went.ends[k], one.cutoff_s, 1e-6)
    assert_metres(went.states[k, :3], one.state[:3], 1e-2)
    assert_metres_per_second(went.states[k, 3:6], one.state[3:6], 1e-5)
    assert_relative(went.states[k, 6], one.state[6], 1e-9)


def fly(made: Case, commands: LaneCommands, draws: list[Draws], rows: np.ndarray) -> LaneBurns:
    """Fly the lanes, the cutoffs of their commands made those of the case's engines."""
    commands.cutoff[:] = cutoffs(made, commands.thrusters)
    batches = TaylorBatches(gravity_of(made))
    return burn(batches, made, np.full(len(rows), LIT), rows, commands, side_by_side(draws))


@pytest.mark.parametrize("steering", ["rsw", "inertial"])
@pytest.mark.parametrize("cutoff", ["duration", "velocity", "orbit"])
def test_burns_are_those_of_one_flight(cutoff: Cutoff, steering: str) -> None:
    """Ends, states, masses and Δv of either engine, by each cutoff and steering, with errors."""
    made = craft(cutoff)
    one = command(LIT, 50.0, steering=steering, watch=watch("period_s", made))
    if steering == "inertial":
        one = replace(one, direction=unit(START[3:6]))
    commands = alike((one,), N, 2)
    commands.thrusters[1::3] = True
    commands.duration[1::3] *= 400.0 / 30.0
    draws, rows = samples(), states()
    rows[:, :3] = START[:3]
    went = fly(made, commands, draws, rows)
    p = TaylorPropagator(gravity_of(made))
    for k in range(N):
        alone = _executed(p, commands, k, made, draws[k], rows[k])
        if went.odd[k]:
            assert alone.ended in ("tank empty", "watch not reached")
            continue
        assert alone.ended == cutoff
        assert_alike(went, k, alone)
        exhaust = alone.thrust.exhaust_m_s
        assert went.dv[k] == pytest.approx(exhaust * np.log(rows[k, 6] / alone.state[6]), rel=1e-9)
    assert (~went.odd).sum() >= N - 3
    assert not went.missed.any()
    assert np.ptp(went.ends) > (0.0 if cutoff == "duration" else 0.1)


def test_engines_of_one_case_may_end_in_different_ways() -> None:
    """The engine by the orbit, thrusters by duration, in one batch: each as its engine has it."""
    made = craft("orbit", "duration")
    tilt = watch("tilt", made)
    commands = alike((command(LIT, 50.0, watch=watch("period_s", made)),), 6, 1)
    commands.thrusters[[1, 4]] = True
    commands.watch[5, 0] = None  # without a watch, by its duration
    across = command(LIT, 50.0, direction=np.array([0.0, 0.6, 0.8]), watch=tilt)
    commands.put(np.array([3]), one_lane(across))
    draws, rows = samples(6), np.tile(START, (6, 1))
    went = fly(made, commands, draws, rows)
    p = TaylorPropagator(gravity_of(made))
    ended = []
    for k in range(6):
        alone = _executed(p, commands, k, made, draws[k], rows[k])
        ended.append(alone.ended)
        if not went.odd[k]:
            assert_alike(went, k, alone)
        assert went.odd[k] == (alone.ended == "watch not reached")
    assert [ended[k] for k in (0, 1, 2, 4, 5)] == ["orbit", "duration", "orbit"] + ["duration"] * 2
    assert went.ends[1] == LIT + commands.duration[1, 0]


def test_the_second_burn_of_a_flight_has_draws_of_its_own() -> None:
    """The same lanes with the numbers of their second burn, as `execute` takes them by index."""
    made, draws, rows = craft("velocity"), samples(), states()
    commands = alike((command(LIT, 50.0, cutoff="velocity"),), N, 1)
    batches = TaylorBatches(gravity_of(made))
    went = burn(batches, made, np.full(N, LIT), rows, commands, side_by_side(draws, 1))
    first = burn(batches, made, np.full(N, LIT), rows, commands, side_by_side(draws, 0))
    p = TaylorPropagator(gravity_of(made))
    for k in range(N):
        alone = _executed(p, commands, k, made, draws[k], rows[k], index=1)
        assert_alike(went, k, alone)
    assert (np.abs(went.dv - first.dv) > 1e-3).all()


@pytest.mark.parametrize("chance", [0.0, 0.3, 1.0])
def test_missed_ignitions_are_those_drawn(chance: float) -> None:
    """Those that `Draws.missed` says: no time, no Δv, the state to the bit."""
    made, draws, rows = craft(missed_burn=chance), samples(40), states(40)
    went = fly(made, alike((command(LIT, 50.0),), 40, 1), draws, rows)
    assert went.missed.tolist() == [d.missed(0, chance) for d in draws]
    assert went.missed.sum() == {0.0: 0, 0.3: went.missed.sum(), 1.0: 40}[chance]
    assert (went.ends[went.missed] == LIT).all()
    assert (went.dv[went.missed] == 0.0).all()
    assert went.states[went.missed].tobytes() == rows[went.missed].tobytes()
    assert not went.odd[went.missed].any()
    assert (went.dv[~went.missed] > 40.0).all()
    if chance == 0.3:
        assert 5 < went.missed.sum() < 20


@pytest.mark.parametrize("cutoff", ["duration", "velocity", "orbit"])
def test_an_empty_tank_is_odd(cutoff: Cutoff) -> None:
    """Lanes that would burn more than they hold are flagged, just those that `execute` runs dry."""
    made, draws, rows = craft(cutoff), samples(), states()
    rows[:, 6] = made.craft.dry_mass_kg + np.linspace(4.0, 9.0, N)
    one = command(LIT, 50.0, mass=315.0, watch=watch("period_s", made))
    commands = alike((one,), N, 1)
    went = fly(made, commands, draws, rows)
    p = TaylorPropagator(gravity_of(made))
    for k in range(N):
        alone = _executed(p, commands, k, made, draws[k], rows[k])
        # A watched burn may end before the tank it might have emptied does: that is odd as well.
        if alone.ended in ("tank empty", "watch not reached"):
            assert went.odd[k]
        elif cutoff != "orbit":
            assert not went.odd[k]
            assert_alike(went, k, alone)
    assert 0 < went.odd.sum() <= N
    assert (went.odd.sum() < N) or cutoff == "orbit"


def test_a_watch_never_reached_is_odd() -> None:
    """A period that the burn cannot give leaves its lane to `execute`; the others stop."""
    made, draws, rows = craft("orbit"), samples(4), np.tile(START, (4, 1))
    commands = alike((command(LIT, 50.0, watch=watch("period_s", made)),), 4, 1)
    commands.watch[2, 0] = Watch(quantity="period_s", target=1e9)
    assert fly(made, commands, draws, rows).odd.tolist() == [False, False, True, False]


def test_a_lane_is_the_same_alone_and_in_any_company() -> None:
    """Alone and in part, burns of all cutoffs keep their bits."""
    for cutoff in ("duration", "velocity", "orbit"):
        made, draws, rows = craft(cutoff), samples(), states()
        one = command(LIT, 50.0, watch=watch("period_s", made))
        commands = alike((one,), N, 1)
        commands.turning[::2] = False
        whole = fly(made, commands, draws, rows)
        for some in (np.array([4]), np.array([7, 2, 5]), np.arange(N)[::-1]):
            part = fly(made, commands.of(some), [draws[k] for k in some], rows[some])
            pairs = [*zip(part[:-1], whole[:-1], strict=True)]
            pairs += zip(part.push, whole.push, strict=True)  # type: ignore[arg-type]
            for mine, theirs in pairs:
                assert mine.tobytes() == theirs[some].tobytes()  # type: ignore[attr-defined]


def test_without_errors_it_is_the_command() -> None:
    """No bias, no noise: as long as commanded, the Δv commanded, the direction to the bit."""
    made = replace(craft(), errors=Errors())
    rows = states()
    rows[:, 6] = 510.0
    went = fly(made, alike((command(LIT, 50.0),), N, 1), samples(), rows)
    assert (went.ends == LIT + command(LIT, 50.0).duration_s).all()
    assert_relative(went.dv, 50.0, 1e-12)
    direction = unit(np.random.default_rng(2).normal(size=(5, 3)))
    assert pointed(direction, np.zeros((5, 2))).tobytes() == direction.tobytes()


def test_pointing_turns_by_the_angles() -> None:
    """Unit vectors turned by small angles across them: by their hypotenuse, to third order."""
    rng = np.random.default_rng(4)
    direction, angles = unit(rng.normal(size=(50, 3))), 1e-3 * rng.normal(size=(50, 2))
    found = pointed(direction, angles)
    assert_relative(norm(found), 1.0, 1e-15)
    turned = np.arcsin(norm(cross(direction, found)))
    assert_relative(turned, np.hypot(*angles.T), 1e-5)
