"""The numbered contract of a propagator, point by point, for both of them.

Long because the contract is tested in one place, in the order of its numbers.
"""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from simcheck.engines.base import Stop, Thrust, stop_at_apsis, stop_at_period, stop_at_tilt, watched
from simcheck.engines.choosing import fast_propagator, reference_propagator
from simcheck.engines.gravity import Gravity, gravity_of
from simcheck.engines.reference import ReferencePropagator, crossings
from simcheck.errors import FlightError
from simcheck.kernels.transfers import apsis_radii, period_of
from simcheck.measuring import relay_state, resolve_ring
from simcheck.records.case import Ring
from tests.cli.samples import case
from tests.engines.bench import ENGINES, MARS, NAMES, POLE, gravity, kinds, period, state
from tests.helpers import assert_metres, assert_seconds
from tests.strategies import BODIES, TAU

both = pytest.mark.parametrize("engine", ENGINES, ids=NAMES)
J2_ONLY = Gravity(MARS.gm, MARS.radius, MARS.j2)
FORWARD, BACKWARD = np.array([0.0, 1.0, 0.0]), np.array([0.0, -1.0, 0.0])


def thrust(direction=FORWARD, newton=4000.0) -> Thrust:
    return Thrust(thrust_n=newton, isp_s=318.0, steering="rsw", direction=direction)


# 1, 2: states and advance


@both
@pytest.mark.parametrize(("until", "burn"), [(100.0, False), (100.0, True), (99.0, True)])
def test_nothing_moves_without_time(engine, until, burn):
    """No time gives the start back, bit for bit and as a copy; so does a burn back in time."""
    y = state()
    end = engine(gravity()).advance(100.0, y, until, thrust() if burn else None)
    assert end.time == 100.0
    assert not end.stopped
    assert end.state.tobytes() == y.tobytes()
    assert not np.shares_memory(end.state, y)


@both
def test_a_coast_goes_back_in_time(engine):
    """Flown back by what it was flown ahead, the craft is where it was."""
    p, y = engine(gravity()), state()
    there = p.advance(100.0, y, 5100.0)
    back = p.advance(there.time, there.state, 100.0)
    assert back.time == 100.0
    assert_metres(back.state[:3], y[:3], 1e-4)


@both
def test_the_start_is_left_alone(engine):
    """No method changes the state that it is given."""
    y = state()
    y.flags.writeable = False
    p, span = engine(gravity()), 5000.0
    p.advance(0.0, y, span)
    p.advance(0.0, y, 50.0, thrust(), stop_at_period(2e4, MARS.gm))
    p.sample(0.0, y, np.array([0.0, span]))
    p.passages(0.0, y, span, POLE)


@both
def test_only_a_burn_changes_the_mass(engine):
    """A coast keeps the mass to the bit; a burn spends thrust over exhaust speed times time."""
    p, y = engine(gravity()), state()
    assert p.advance(0.0, y, 3e4).state[6] == y[6]
    burn = thrust()
    spent = y[6] - p.advance(0.0, y, 60.0, burn).state[6]
    # 1e-12 kg: the rounding of a tonne.
    assert spent == pytest.approx(60.0 * 4000.0 / (9.80665 * 318.0), abs=1e-11)


@both
@pytest.mark.parametrize("direction", [FORWARD, BACKWARD], ids=["away", "back"])
@pytest.mark.parametrize("stop", ["period", "periapsis", "apoapsis", "tilt"])
def test_a_start_on_the_stop_does_not_stop(engine, stop, direction):
    """A burn that begins exactly where it should end burns on, whichever way it leaves."""
    y, gm = state(), MARS.gm
    low, high = (float(x) for x in apsis_radii(y[:3], y[3:6], gm))
    h = np.cross(y[:3], y[3:6])
    tilted = np.cross(h, y[:3]) / np.linalg.norm(np.cross(h, y[:3]))
    stops = {
        "period": stop_at_period(float(period_of(y[:3], y[3:6], gm)), gm),
        "periapsis": stop_at_apsis(low, gm),
        "apoapsis": stop_at_apsis(high, gm),
        "tilt": stop_at_tilt(tilted, 0.0),
    }
    way = direction if stop != "tilt" else direction[[0, 2, 1]]
    end = engine(gravity()).advance(0.0, y, 60.0, thrust(way), stops[stop])
    assert not end.stopped
    assert end.time == 60.0


@both
def test_a_burn_goes_on_from_its_stop(engine):
    """A stop that was met lets the next burn from there go on, and so does the way back."""
    p, y = engine(gravity()), state()
    stop = stop_at_period(float(period_of(y[:3], y[3:6], MARS.gm)) + 200.0, MARS.gm)
    first = p.advance(0.0, y, 60.0, thrust(), stop)
    assert first.stopped
    for way in (FORWARD, BACKWARD):
        after = p.advance(first.time, first.state, first.time + 60.0, thrust(way), stop)
        assert not after.stopped


@both
def test_a_stop_is_met_to_machine_precision(engine):
    """Where a burn stops its stop function is zero to rounding; both engines stop together."""
    y, gm = state(), MARS.gm
    low, high = (float(x) for x in apsis_radii(y[:3], y[3:6], gm))
    stops = [stop_at_period(1.05 * period(y, gm), gm), stop_at_apsis(1.05 * high, gm)]
    for stop in stops:
        end = engine(gravity()).advance(0.0, y, 300.0, thrust(), stop)
        assert end.stopped
        # Terms of order 1: 1e-14 is some fifty roundings.
        assert abs(float(stop.value(end.state, gm))) < 1e-14
    up = np.cross(y[:3], y[3:6])
    away = np.cross(up, y[:3]) / np.linalg.norm(np.cross(up, y[:3]))
    burn = thrust(np.array([0.0, 0.0, -1.0]))
    end = engine(gravity()).advance(0.0, y, 300.0, burn, stop_at_tilt(away, 0.01))
    h = np.cross(end.state[:3], end.state[3:6])
    assert end.stopped
    assert h @ away / np.linalg.norm(h) == pytest.approx(0.01, abs=1e-14)
    assert low < high


def test_the_engines_stop_together():
    """Both propagators stop at the same time and place."""
    y = state()
    stop = stop_at_period(1.05 * period(y, MARS.gm), MARS.gm)
    a, b = (e(gravity()).advance(0.0, y, 300.0, thrust(), stop) for e in ENGINES)
    assert_seconds(a.time, b.time, 1e-9)
    assert_metres(a.state[:3], b.state[:3], 1e-5)


@both
def test_an_unmet_stop_leaves_the_burn_alone(engine):
    """With a stop that is not met, a burn ends where it does without one."""
    p, y = engine(gravity()), state()
    free = p.advance(0.0, y, 60.0, thrust())
    held = p.advance(0.0, y, 60.0, thrust(), stop_at_period(1e9, MARS.gm))
    assert not held.stopped
    assert_metres(held.state[:3], free.state[:3], 1e-6)


@both
def test_a_coast_heeds_no_stop(engine):
    """A stop without thrust does nothing, although J2 moves the osculating period across it."""
    p, y = engine(gravity()), state()
    coast = p.advance(0.0, y, 9000.0, None, stop_at_period(1.00001 * period(y, MARS.gm), MARS.gm))
    assert not coast.stopped
    assert coast.state.tobytes() == p.advance(0.0, y, 9000.0).state.tobytes()


def test_stop_functions_take_batches():
    """One state and a row of a batch give the same stop function."""
    rows = np.stack([state(nu=nu) for nu in (0.1, 1.0, 2.0)])
    stop = Stop(1e-7, (1e-11, 2e-11, 3e-11), 1e-11, 1e-21, 0.5)
    values = stop.value(rows, MARS.gm)
    assert values.shape == (3,)
    assert [float(stop.value(row, MARS.gm)) for row in rows] == values.tolist()


# 3: sample


@both
def test_sampling_is_advancing(engine):
    """Samples are the states that advance gives; the first may be the start itself."""
    p, y = engine(gravity()), state()
    times = 50.0 + np.array([0.0, 1.0, 777.0, 20000.0])
    rows = p.sample(50.0, y, times)
    assert rows.shape == (4, 7)
    assert np.allclose(rows[0], y, rtol=4e-16, atol=0.0)  # one rounding each way
    for time, row in zip(times[1:], rows[1:], strict=True):
        assert_metres(row[:3], p.advance(50.0, y, float(time)).state[:3], 1e-5)
        assert row[6] == y[6]


@both
def test_sampling_later_than_the_start(engine):
    """A first sample after the start is not taken for the start."""
    p, y = engine(gravity()), state()
    rows = p.sample(0.0, y, np.array([3000.0]))
    assert_metres(rows[0, :3], p.advance(0.0, y, 3000.0).state[:3], 1e-5)


@both
def test_no_times_no_rows(engine):
    """Sampling at no time gives no state."""
    assert engine(gravity()).sample(0.0, state(), np.array([])).shape == (0, 7)


# 4: passages


@both
@pytest.mark.parametrize("zonal", [False, True], ids=["two-body", "zonal"])
def test_passages_are_where_they_say(engine, zonal):
    """At each node z is zero, at each apsis r.v is, and they come in the order of the orbit."""
    p, y = engine(gravity(zonal=zonal)), state()
    events = p.passages(10.0, y, 10.0 + 2.2 * period(y, MARS.gm), POLE)
    assert [e.time for e in events] == sorted(e.time for e in events)
    assert [e.kind for e in events][:4] == ["node", "apoapsis", "node", "periapsis"]
    for event in events:
        r, v = event.state[:3], event.state[3:6]
        off = r[2] if event.kind == "node" else r @ v / np.linalg.norm(v)
        assert abs(off) < 1e-3  # m: the reference's dense output
        assert_metres(r, p.advance(10.0, y, event.time).state[:3], 1e-3)


@both
@pytest.mark.parametrize(
    ("nu", "expected"),
    [
        (0.0, ["node", "apoapsis", "node", "periapsis"]),
        (np.pi, ["node", "periapsis", "node", "apoapsis"]),
    ],
)
def test_a_start_on_a_passage_does_not_count(engine, nu, expected):
    """From exactly an apsis, a little more than a revolution holds each passage once."""
    y = state(nu=nu, argp=0.5)
    assert kinds(engine(gravity(zonal=False)), y, 1.01 * period(y, MARS.gm)) == expected


@both
def test_a_start_on_a_node_does_not_count(engine):
    """From exactly a node, a little more than a revolution holds two nodes."""
    y = state(argp=0.5, nu=-0.5)
    y[2] = 0.0
    found = kinds(engine(gravity()), y, 1.01 * period(y, MARS.gm))
    assert found.count("node") == 2


@both
@pytest.mark.parametrize("nu", [-0.5, 0.0], ids=["before", "on it"])
def test_two_passages_at_one_time(engine, nu):
    """Where the line of apsides is the line of nodes, both passages are found."""
    y = state(argp=0.0, nu=nu)
    found = kinds(engine(gravity(zonal=False)), y, 1.1 * period(y, MARS.gm))
    first = ["node", "periapsis"] if nu else []
    assert sorted(found[:2]) == (sorted(first) or ["apoapsis", "node"])
    assert sorted(found) == sorted([*first, "node", "apoapsis", "node", "periapsis"])


@both
@pytest.mark.parametrize("i", [0.0, np.pi], ids=["0 deg", "180 deg"])
@pytest.mark.parametrize("zonal", [False, True], ids=["two-body", "zonal"])
def test_an_orbit_in_the_plane_has_no_nodes(engine, zonal, i):
    """An equatorial orbit has apsides only, however rounding moves it about the equator."""
    y = state(i=i, nu=2.0)
    found = kinds(engine(gravity(zonal=zonal)), y, 1.1 * period(y, MARS.gm))
    assert found == ["apoapsis", "periapsis"]


@both
def test_a_circular_orbit_has_no_apsides(engine):
    """In two-body motion a circle has nodes only."""
    y = state(e=0.0)
    assert set(kinds(engine(gravity(zonal=False)), y, 2 * period(y, MARS.gm))) == {"node"}


@both
def test_a_round_equatorial_orbit_has_no_passages(engine):
    """Neither has the circle in the equator under zonals, though its osculating e is not zero."""
    g = Gravity(MARS.gm, MARS.radius, MARS.j2)
    r = 2 * MARS.radius
    speed = np.sqrt(g.gm / r * (1 + 1.5 * g.j2 * (g.radius / r) ** 2))
    y = np.array([r, 0.0, 0.0, 0.0, speed, 0.0, 1.0])
    assert kinds(engine(g), y, 2.5 * period(y, g.gm)) == []


@both
def test_near_an_oblate_body_apsides_keep_their_names(engine):
    """On a near-circular orbit about an oblate body, periapses lie lower than apoapses.

    There the speed at both can exceed the circular one, which so does not tell them apart.
    """
    g = Gravity(MARS.gm, MARS.radius, 0.02)
    y = state(e=0.004, i=0.05, periapsis=1.3)
    events = engine(g).passages(0.0, y, 5 * period(y, g.gm), POLE)
    low = [np.linalg.norm(e.state[:3]) for e in events if e.kind == "periapsis"]
    high = [np.linalg.norm(e.state[:3]) for e in events if e.kind == "apoapsis"]
    assert len(low) >= 4
    assert len(high) >= 4
    assert max(low) < min(high)


def test_a_plane_that_the_orbit_leaves_has_nodes():
    """An orbit that starts in an inclined plane is carried out of it by J2: its nodes count."""
    y = state()
    normal = np.cross(y[:3], y[3:6])
    assert watched(y, normal, gravity(zonal=False)) == (False, True)
    assert watched(y, normal, gravity()) == (True, True)
    turn = period(y, MARS.gm)
    found = [e(gravity()).passages(0.0, y, 3 * turn, normal) for e in ENGINES]
    # The start touches the plane: what rounding makes of that is no one's concern.
    nodes = [[e.time for e in events if e.kind == "node" and e.time > 1.0] for events in found]
    assert len(nodes[0]) == 5
    assert_seconds(nodes[0], nodes[1], 1e-3)


def _grazing(push: float) -> np.ndarray:
    """A relay of an inclined ring under J2, pushed forward by this share of its speed."""
    p = ENGINES[0](J2_ONLY)
    ring = Ring(
        size="radius",
        size_value=1.5 * MARS.radius,
        inclination_rad=1.2,
        raan_rad=1.0,
        slots=4,
        argument_of_latitude_rad=0.9,
    )
    y = np.append(relay_state(resolve_ring(ring, p), p, 0), 1.0)
    y[3:6] *= 1 + push
    return y


def test_short_double_crossings_are_found_at_any_tolerance():
    """Two apsides seconds apart are found whatever the integrator's tolerance and steps.

    J2 turns the radius of a relay twice a revolution. The eccentricity of a small push suppresses
    one pair of its four apsides; just before it does, they follow each other within a fraction of
    a step, which step-end events miss.
    """
    span = 1.3 * period(_grazing(0.0), MARS.gm)
    low, high = 1.5e-4, 2e-4  # five apsides, and three
    for _ in range(14):
        middle = (low + high) / 2
        y = _grazing(middle)
        found = ENGINES[0](J2_ONLY).passages(0.0, y, span, POLE)
        times = [e.time for e in found if e.kind != "node"]
        low, high = (middle, high) if len(times) == 5 else (low, middle)
        if len(times) == 5:
            gap = min(np.diff(times)) / span
            flown = [ReferencePropagator(J2_ONLY, t) for t in (1e-10, 1e-12, 3e-14)]
            counts = [len(p.passages(0.0, y, span, POLE)) for p in flown]
            assert counts == [len(found)] * 3
        if len(times) == 5 and gap < 0.01:
            break
    assert gap < 0.01  # of 1.3 revolutions: a fifth of the reference's step


@pytest.mark.parametrize("tolerance", [1e-6, 1e-9, 1e-12])
def test_grazed_thresholds_are_crossed_twice_each(tolerance):
    """Twenty grazes of a sine's peaks give forty crossings at any tolerance.

    Looking at the ends of the steps only finds few of them: 0 to 20 of 40 at these tolerances.
    """
    line = 1 - 2e-5
    solution = solve_ivp(
        lambda t, y: [y[1], -y[0]],
        (0.0, 20 * TAU),
        [0.0, 1.0],
        method="DOP853",
        rtol=tolerance,
        atol=tolerance / 10,
        dense_output=True,
    )
    amplitude = np.hypot(*solution.y[:, -1])
    assert amplitude > line
    roots = crossings(solution, lambda y: y[..., 0] - line)
    assert len(roots) == 40
    assert np.sum(np.diff(np.sign(solution.y[0] - line)) != 0) < 30


@settings(max_examples=25)
@given(
    e=st.floats(1e-4, 0.9),
    i=st.floats(0.01, np.pi - 0.01),
    argp=st.floats(0.0, TAU),
    nu=st.floats(-np.pi, np.pi),
    spans=st.floats(0.3, 2.7),
)
def test_the_number_of_passages_does_not_depend_on_the_step(e, i, argp, nu, spans):
    """Both engines, and the reference at a loose tolerance, count the same passages."""
    y = state(1.2, e, i, argp=argp, nu=nu)
    g = gravity(zonal=False)
    span = spans * period(y, g.gm)
    sets = [p.passages(0.0, y, span, POLE) for p in (ENGINES[0](g), ReferencePropagator(g, 1e-9))]
    # A passage within 1e-6 revolutions of either end of the coast may fall on both sides of it.
    inner = [[x for x in s if 1e-6 < x.time / span < 1 - 1e-6] for s in sets]
    assert sorted(x.kind for x in inner[0]) == sorted(x.kind for x in inner[1])


# 5: repeatability


@both
def test_equal_starts_end_equal_bit_for_bit(engine):
    """A coast, a burn, a stop and passages repeat to the bit after flights about other bodies."""
    p, y = engine(gravity()), state()
    stop = stop_at_period(1.02 * period(y, MARS.gm), MARS.gm)

    def flown() -> list[bytes]:
        out = [p.advance(0.0, y, 2e4).state, p.advance(0.0, y, 60.0, thrust()).state]
        stopped = p.advance(0.0, y, 300.0, thrust(), stop)
        out += [stopped.state, np.array(stopped.time), p.sample(0.0, y, np.array([5.0, 1e4]))]
        out += [np.append(e.state, e.time) for e in p.passages(0.0, y, 2e4, POLE)]
        return [x.tobytes() for x in out]

    before = flown()
    for name in ("Earth", "Ceres"):
        body = BODIES[name]
        other, z = engine(gravity(body)), state(body=body, e=0.6, mass=77.0)
        other.advance(5.0, z, 4e3)
        other.advance(
            5.0, z, 40.0, thrust(BACKWARD, 3.0), stop_at_apsis(1.1 * body.radius, body.gm)
        )
        other.passages(5.0, z, 4e3, np.array([1.0, 0.0, 0.0]))
    assert flown() == before


@both
def test_an_arc_does_not_depend_on_when_it_starts(engine):
    """The forces do not know the time: the same arc a year later ends in the same state.

    To the rounding of the time itself, 4 ns at a year, some 1e-5 m of way.
    """
    p, y, year = engine(gravity()), state(), 3.15e7
    now, later = p.advance(0.0, y, 9000.0), p.advance(year, y, year + 9000.0)
    assert_metres(later.state[:3], now.state[:3], 1e-4)


# 6: errors


@both
@pytest.mark.parametrize("how", ["advance", "sample", "passages"])
def test_a_fall_through_the_centre_raises(engine, how):
    """Motion that cannot be computed raises FlightError from every method."""
    y = state()
    y[3:6] = 0.0
    p = engine(gravity())
    calls = {
        "advance": lambda: p.advance(0.0, y, 1e5),
        "sample": lambda: p.sample(0.0, y, np.linspace(0.0, 1e5, 5)),
        "passages": lambda: p.passages(0.0, y, 1e5, POLE),
    }
    with pytest.raises(FlightError, match=r"from 0\.000 s broke down"):
        calls[how]()


@both
def test_a_state_of_nans_raises(engine):
    """A state that is no number raises FlightError instead of running for ever."""
    with pytest.raises(FlightError):
        engine(gravity()).advance(0.0, np.full(7, np.nan), 1e4)


@both
def test_a_propagator_knows_no_limits(engine):
    """A flight below the surface and an escape are both flown."""
    p = engine(gravity())
    low = p.advance(0.0, state(periapsis=0.5, e=0.6), 2e4).state
    y = state(e=1.5)
    assert np.isfinite(low).all()
    assert np.linalg.norm(p.advance(0.0, y, 1e6).state[:3]) > 10 * MARS.radius


# What a case switches on


def test_forces_switch_zonals_on():
    """Only the zonal terms that the case names act; scaling keeps the point mass."""
    body = case().body
    assert gravity_of(case(forces=())) == Gravity(body.gm_m3_s2, body.radius_m)
    assert gravity_of(case(forces=("j2",))).j2 == body.j2
    half = Gravity(1.0, 2.0, 3.0, 4.0, 5.0).scaled(0.5)
    assert half == Gravity(1.0, 2.0, 1.5, 2.0, 2.5)


def test_which_propagator_flies(monkeypatch):
    """The Taylor propagator flies where heyoka is, the reference one elsewhere."""
    assert fast_propagator(gravity()).name == "taylor"
    assert reference_propagator(gravity()).name == "reference"
    monkeypatch.setattr("simcheck.engines.choosing.find_spec", lambda name: None)
    assert fast_propagator(gravity()).name == "reference"
