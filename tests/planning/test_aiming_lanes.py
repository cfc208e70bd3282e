"""Burns re-aimed for many flights: what they promise is what flying them ends with."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from simcheck.engines.base import Thrust
from simcheck.engines.batches import TaylorBatches
from simcheck.kernels.vectors import TAU, wrap
from simcheck.measuring import average
from simcheck.planning.aiming_lanes import Course, LaneAims
from simcheck.planning.commanding import Range
from simcheck.planning.lane_commands import alike, commandable, flown_perfectly, lane_of
from simcheck.planning.lane_errors import uses
from simcheck.planning.planner import plan_ring
from simcheck.planning.trimming_lanes import Trimmer
from simcheck.records.case import Case, Cutoff, Engine, Tolerance
from simcheck.records.plan import Plan
from simcheck.records.wish import Wish
from tests.cases_for_tests import MARS, case, orbit
from tests.flying.loops import relay, relay_plan
from tests.helpers import assert_metres

THRUSTERS = Engine(name="thrusters", thrust_n=8.0, isp_s=220.0, min_burn_s=0.05)
TRACKING_S = 600.0
N = 16
MUCH = 30.0  # revolutions left for trims


@cache
def course_of(made: Case, plan: Plan) -> Course:
    site = Range(made)
    return Course(site, plan, TaylorBatches(site.propagator.gravity, 1e-12))


def course() -> Course:
    """The relay that the tests of flights share: three burns, the first two eleven hours apart."""
    return course_of(_relay(), relay_plan())


@cache
def _relay() -> Case:
    return relay()


@cache
def approach(low_km: float, high_km: float) -> Course:
    """A craft in the ring's plane, inside or outside of it, whose last burn is along the track."""
    made = case(
        MARS,
        start=orbit(MARS, low_km, high_km, 35.0, 60.0, 20.0, 100.0),
        forces=("j2",),
        slot=3,
        thrusters=THRUSTERS,
        propellant_kg=130.0,
        days=40.0,
    )
    return course_of(made, plan_ring(made, Wish(effort=0)))


def on_course(
    of: Course, first: int, lanes: int = 1, longer: np.ndarray | float = 0.0
) -> tuple[np.ndarray, np.ndarray]:
    """Times and states minutes after burn number first - 1, the first longer by a share (n,)."""
    craft, commands = of.site.case.craft, alike(of.plan.commands[:first], lanes, 8)
    commands.duration[:, 0] *= 1 + longer
    start = np.array([*craft.position_m, *craft.velocity_m_s, craft.mass_kg])
    states = np.tile(start, (lanes, 1))
    times, states = flown_perfectly(of.batches, of.site.case, np.zeros(lanes), states, commands)
    if not first:
        return times, states
    return times + TRACKING_S, of.batches.advance(times, states, times + TRACKING_S)


def ahead(of: Course, times: np.ndarray, states: np.ndarray, degrees: np.ndarray) -> np.ndarray:
    """The states as far ahead on their orbits as the ring turns by these degrees."""
    return of.batches.advance(times, states, times + degrees / 360 * of.site.motion.period_s)


def scattered(of: Course, first: int, seed: int = 0) -> tuple[np.ndarray, np.ndarray]:
    """N estimates about the nominal course: a per cent of the first burn, two km, half a m/s."""
    rng = np.random.default_rng(seed)
    times, states = on_course(of, first, N, 0.01 * rng.normal(size=N))
    states[:, :3] += 2000.0 * rng.normal(size=(N, 3))
    states[:, 3:6] += 0.5 * rng.normal(size=(N, 3))
    return times, states


def flown(of: Course, aims: LaneAims, lane: int, time: float, state: np.ndarray) -> np.ndarray:
    """The six errors that a lane's burns end with, flown by the scalar engine, measured in full.

    The phase when the glance takes it: two of the ring's revolutions after the last burn.
    """
    site = of.site
    p, motion = site.propagator, site.motion
    labels = [f"B{i}" for i in range(int(aims.commands.number[lane]))]
    for one in lane_of(aims.commands, lane, labels, site.case):
        engine = site.case.thrusters if one.engine == "thrusters" else site.case.engine
        assert engine is not None
        thrust = Thrust(
            thrust_n=engine.thrust_n,
            isp_s=engine.isp_s,
            steering=one.steering,
            direction=one.direction,
        )
        state = p.advance(time, state, one.ignition_s).state
        time = one.ignition_s + one.duration_s
        state = p.advance(one.ignition_s, state, time, thrust).state
    found = average(p, time, state, motion)
    then = time + 2 * motion.period_s
    longitude = found.longitude + TAU / found.period * (then - found.time)
    phase = wrap(longitude - motion.longitude(site.case.craft.slot, then))
    return np.array([phase, found.period / motion.period_s - 1, *found.e_vector, *found.normal[:2]])


def bits(aims: LaneAims, lane: int) -> list[bytes]:
    parts = [part[lane].tobytes() for part in aims.commands if part.dtype != object]
    return [*parts, *(part[lane].tobytes() for part in aims[1:])]


# What they promise


@pytest.mark.parametrize("first", [0, 1, 2])
def test_flown_by_the_scalar_engine_they_end_as_promised(first: int) -> None:
    """Errors of every lane are those promised, to what a glance sees: 1e-5, a fiftieth of any
    tolerance but the period's, which is 1e-4.

    None fails, and all can be commanded; some make a small burn before the others, where there is
    room for that: after the first burn it would come too soon before the next.
    """
    of = course()
    times, states = scattered(of, first, seed=2)
    aims = of.reaim(first, times, states, trims=np.full(N, MUCH))
    assert not aims.failed.any()
    assert commandable(of.site.case, aims.commands).all()
    for k in range(N):
        off = np.abs(flown(of, aims, k, times[k], states[k]) - aims.errors[k])
        assert off.max() < 1e-5
    more = aims.commands.number - (len(of.plan.commands) - first)
    assert set(more) <= {0, 1}
    assert more.any() == (first != 1)


@pytest.mark.parametrize("cutoff", ["duration", "orbit"])
def test_a_start_on_course_changes_nothing(cutoff: Cutoff) -> None:
    """From the nominal course itself the plan's own burns come out: Δv, dates and directions.

    They are flown by way of their places, which a coast meets to a millisecond and the plan's
    burns, aimed to a hundredth of each tolerance, do not have to miss.
    """
    engine = replace(_relay().engine, cutoff=cutoff)
    of = course_of(replace(_relay(), engine=engine), relay_plan())
    for first in (0, 1, 2):
        times, states = on_course(of, first)
        aims = of.reaim(first, times, states, trims=np.array([MUCH]))
        assert not aims.failed.any()
        assert (aims.rest[0], aims.turns[0]) == (0.0, 0)
        assert np.max(uses(aims.errors, of.tolerance)) < 0.02
        left = of.plan.commands[first:]
        assert aims.commands.number[0] == len(left)
        for i, one in enumerate(left):
            assert aims.commands.dv[0, i] == pytest.approx(one.dv_m_s, abs=1e-3)
            assert aims.commands.ignition[0, i] == pytest.approx(one.ignition_s, abs=0.2)
            assert aims.commands.duration[0, i] == pytest.approx(one.duration_s, abs=1e-3)
            assert_metres(aims.commands.direction[0, i], one.direction, 1e-4)
            assert aims.commands.turning[0, i] == (one.steering == "rsw")
            watch = aims.commands.watch[0, i]
            assert (watch is not None) == (cutoff == "orbit")
            if watch is not None and one.watch is not None:
                assert watch.quantity == one.watch.quantity
                assert watch.target == pytest.approx(one.watch.target, rel=1e-5)


@pytest.mark.parametrize(("first", "share"), [(1, 0.01), (1, -0.01), (1, 0.003), (2, 0.01)])
def test_a_burn_gone_wrong_is_met(first: int, share: float) -> None:
    """A per cent of the first burn, unmended some tolerances, ends within every one of them.

    With two burns left within a fifth, with one within eight tenths; Δv moves by tenths of a m/s.
    """
    of = course()
    longer = np.zeros(1)
    longer[0] = share
    times, states = on_course(of, first, 1, longer)
    left = alike(of.plan.commands[first:], 1, 4)
    at, end = flown_perfectly(of.batches, of.site.case, times, states, left)
    unmended = LaneAims(left, np.zeros((1, 6)), longer, np.zeros(1, int), np.zeros(1, bool))
    before = flown(of, unmended, 0, times[0], states[0])
    assert at[0] > times[0]
    assert end.shape == (1, 7)
    aims = of.reaim(first, times, states, trims=np.zeros(1))
    assert not aims.failed.any()
    use = np.max(uses(aims.errors, of.tolerance))
    assert use < (0.2 if first == 1 else 0.8)
    assert use < 0.6 * np.max(uses(before[None], of.tolerance))
    planned = sum(one.dv_m_s for one in of.plan.commands[first:])
    assert abs(aims.commands.total_dv[0] - planned) < 0.5


def test_they_do_better_than_the_burns_as_planned() -> None:
    """Over many starts, what trimming the errors left would take falls to a fraction."""
    of = course()
    for first in (1, 2):
        times, states = scattered(of, first, seed=5)
        left = alike(of.plan.commands[first:], N, 4)
        none = np.zeros(N)
        as_planned = LaneAims(left, np.zeros((N, 6)), none, none.astype(int), none.astype(bool))
        before = np.array([flown(of, as_planned, k, times[k], states[k]) for k in range(N)])
        aims = of.reaim(first, times, states, trims=np.full(N, MUCH))
        worst = [np.max(uses(x, of.tolerance), axis=1) for x in (before, aims.errors)]
        assert np.median(worst[1]) < 0.6 * np.median(worst[0])


# A phase that is off


@pytest.mark.parametrize(
    ("orbit_km", "degrees", "free"),
    [
        ((9000.0, 11500.0), -10.0, True),
        ((9000.0, 11500.0), -3.0, True),
        ((13500.0, 16000.0), 3.0, True),
        ((13500.0, 16000.0), 10.0, True),
        ((9000.0, 11500.0), 10.0, False),
        ((13500.0, 16000.0), -10.0, False),
    ],
)
def test_a_phase_that_is_off_is_met_by_parting_the_last_burn(
    orbit_km: tuple[float, float], degrees: float, free: bool
) -> None:
    """The last burn stops short, and its rest comes so many revolutions later, the slot met.

    A craft behind, coming from inside, stays in a shorter period for a while, one ahead and from
    outside in a longer: burn and rest together cost what was planned, to 0.1 %. The other way round
    the burn goes too far and the rest back: twice a little, over many revolutions.
    """
    of = approach(*orbit_km)
    first = len(of.plan.commands) - 1
    times, states = on_course(of, first)
    states = ahead(of, times, states, np.array([degrees]))
    aims = of.reaim(first, times, states, trims=np.array([MUCH]))
    assert not aims.failed.any()
    turns, planned = int(aims.turns[0]), of.plan.commands[-1].dv_m_s
    assert turns > 0
    total = float(aims.commands.total_dv[0] + aims.rest[0])
    assert total == pytest.approx(planned, rel=1e-3 if free else 0.02)
    assert (aims.commands.total_dv[0] < planned - 0.9 * aims.rest[0]) == free
    # After these revolutions the phase is met, and the rest sets the period: dT/T = 3 dv/v.
    phase, period = aims.errors[0, :2]
    assert abs(phase - TAU * turns * period) < 0.5 * of.tolerance[0]
    v = np.sqrt(of.site.case.body.gm_m3_s2 / of.site.motion.radius_m)
    assert aims.rest[0] == pytest.approx(abs(period) * v / 3, rel=0.03)
    # And a trim from there takes about that: no more than a fifth again and a tenth of a m/s.
    at, end = flown_perfectly(of.batches, of.site.case, times, states, aims.commands)
    trims = Trimmer(of.site.case, of.batches, of.site.motion).trims(at, end, np.array([6]))
    assert not trims.none.any()
    if free:
        assert trims.commands.total_dv[0] < 1.2 * aims.rest[0] + 0.1


@pytest.mark.parametrize("degrees", [-10.0, 10.0])
def test_without_time_for_trims_there_is_no_rest(degrees: float) -> None:
    """No time, no rest; some time, a rest within it; the error then left is said."""
    of = approach(9000.0, 11500.0)
    first = len(of.plan.commands) - 1
    times, states = on_course(of, first, 5)
    states = ahead(of, times, states, np.full(5, degrees))
    trims = np.array([0.0, -3.0, 1.9, 5.0, MUCH])
    aims = of.reaim(first, times, states, trims=trims)
    assert (aims.turns <= np.maximum(trims, 0)).all()
    assert aims.turns[:2].tolist() == [0, 0]
    assert (aims.rest[:2] == 0.0).all()
    assert (aims.rest[3:] > 0.0).all()
    off = flown(of, aims, 0, times[0], states[0])
    assert np.abs(off - aims.errors[0]).max() < 1e-5
    assert uses(aims.errors, of.tolerance)[0, 0] > 1


def test_what_is_not_judged_is_not_met() -> None:
    """Without a tolerance on the phase a craft far ahead keeps its burns, and none follows."""
    free = replace(_relay(), tolerance=replace(_relay().tolerance, phase_rad=None))
    of = course_of(free, relay_plan())
    times, states = on_course(of, 2)
    states = ahead(of, times, states, np.array([20.0]))
    aims = of.reaim(2, times, states, trims=np.array([MUCH]))
    assert (aims.turns[0], aims.rest[0]) == (0, 0.0)
    assert aims.errors[0, 0] == 0.0
    assert aims.commands.total_dv[0] == pytest.approx(relay_plan().commands[2].dv_m_s, abs=0.1)
    assert isinstance(free.tolerance, Tolerance)


# No answer, and company


def test_what_cannot_be_reaimed_is_flagged_alone() -> None:
    """Far off the course, past the next burn, on an open orbit, no number: failed, alone."""
    of = course()
    times, states = scattered(of, 1)
    good = of.reaim(1, times, states, trims=np.full(N, MUCH))
    strange = states.copy()
    strange[2, 3:6] *= 1.1
    strange[5, 3:6] *= 2.0
    strange[7, 1] = np.nan
    strange[8, :3] *= -1.0
    late = times.copy()
    late[10] = of.plan.commands[-1].ignition_s + 1e5
    found = of.reaim(1, late, strange, trims=np.full(N, MUCH))
    bad = np.isin(np.arange(N), [2, 5, 7, 8, 10])
    assert found.failed[[2, 5, 7, 8]].all()
    assert not found.failed[~bad].any()
    for k in np.flatnonzero(~bad):
        assert bits(found, k) == bits(good, k)


@pytest.mark.parametrize("first", [0, 1, 2])
def test_a_lane_is_the_same_alone_and_in_any_company(first: int) -> None:
    """Alone, shuffled and in part: the same bits; the states given are left alone."""
    of = course()
    times, states = scattered(of, first, seed=2)
    trims = np.where(np.arange(N) % 3, MUCH, 0.0)
    before = states.tobytes()
    whole = of.reaim(first, times, states, trims=trims)
    assert states.tobytes() == before
    rng = np.random.default_rng(1)
    for size in (1, 1, 2, 7, N):
        rows = rng.permutation(N)[:size]
        some = of.reaim(first, times[rows], states[rows], trims=trims[rows])
        assert [bits(some, k) for k in range(size)] == [bits(whole, k) for k in rows]
    fresh = Course(of.site, of.plan, of.batches).reaim(first, times, states, trims=trims)
    assert [bits(fresh, k) for k in range(N)] == [bits(whole, k) for k in range(N)]


def test_no_burn_is_shorter_than_its_engine_can() -> None:
    """A small burn before the next is the thrusters' where the engine cannot; none is too short."""
    coarse = replace(_relay(), engine=replace(_relay().engine, min_burn_s=2.0))
    of = course_of(coarse, relay_plan())
    times, states = scattered(of, 2)
    aims = of.reaim(2, times, states, trims=np.full(N, MUCH))
    small = aims.commands.thrusters
    least = np.where(small, THRUSTERS.min_burn_s, 2.0)
    assert (aims.commands.duration >= least)[aims.commands.meant & ~aims.failed[:, None]].all()
    assert (small & aims.commands.meant).any()
