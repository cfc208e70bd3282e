"""Whole flights: repeatable, contiguous, as an outside integrator has them; and how they end.

Long because each outcome needs a flight of its own, made by hand.
"""

import dataclasses
import math

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from simcheck.engines.base import G0
from simcheck.engines.gravity import Gravity
from simcheck.engines.taylor import TaylorPropagator
from simcheck.errors import FlightError
from simcheck.files.records_json import read_record, write_record
from simcheck.flying.mission import fly_plan
from simcheck.kernels.kepler import propagate
from simcheck.kernels.transfers import period_of
from simcheck.kernels.vectors import rsw_frame
from simcheck.measuring import relay_state, resolve_ring
from simcheck.planning.planner import plan_ring
from simcheck.records.case import Engine, Errors, Member, Ring
from simcheck.records.flight import NEAR, Flight
from simcheck.records.plan import Watch
from tests.engines.bench import MARS, gravity, state
from tests.flying.bench import ENGINE, START, burns, case, command, plan, same
from tests.helpers import assert_metres, assert_seconds

TWO = (command(2000.0), command(9000.0, 30.0, 502.0, burn="B2", direction=np.array([0, 0, 1.0])))
NOISY = Errors(
    thrust_bias=0.01,
    isp_bias=0.003,
    magnitude_proportional=0.005,
    magnitude_fixed_m_s=0.005,
    pointing_proportional_rad=0.01,
    pointing_fixed_m_s=0.003,
    ignition_time_s=0.2,
    initial_position_m=200.0,
    initial_velocity_m_s=0.05,
)


def fly(c=None, *commands, **options):
    options.setdefault("reference", False)
    return fly_plan(c or case(), plan(*commands), **options)


def end_of(flight) -> np.ndarray:
    return flight.arcs[-1].end.position_m


# What is flown


def test_a_perfect_flight_does_what_is_commanded():
    """Without errors ignitions, lengths, directions and Δv are the commanded ones."""
    flight = fly(None, *TWO)
    assert flight.outcome == "flown"
    assert flight.sample is None
    assert flight.seed is None
    for arc, c in zip(burns(flight), TWO, strict=True):
        assert arc.burn == c.burn
        assert arc.start_s == c.ignition_s
        assert arc.end_s == pytest.approx(c.ignition_s + c.duration_s, abs=1e-9)
        assert arc.direction.tobytes() == c.direction.tobytes()
        assert (arc.thrust_n, arc.isp_s) == (ENGINE.thrust_n, ENGINE.isp_s)
        assert arc.ended == "duration"
    assert burns(flight)[0].dv_m_s == pytest.approx(50.0, rel=1e-12)
    assert flight.dv_used_m_s == sum(arc.dv_m_s for arc in flight.arcs)
    assert flight.propellant_used_kg == pytest.approx(510.0 - flight.arcs[-1].end.mass_kg)
    assert flight.arrival_time_s == burns(flight)[-1].end_s


def test_arcs_follow_each_other_without_a_gap():
    """Each arc starts when, where and as heavy as the one before ended, to the bit."""
    for sample in (None, 3):
        c = case(errors=NOISY)
        flight = fly(c, *TWO, seed=5, sample=sample)
        assert [arc.kind for arc in flight.arcs] == ["coast", "burn", "coast", "burn", "coast"]
        assert flight.arcs[0].start_s == 0.0
        for before, after in zip(flight.arcs, flight.arcs[1:], strict=False):
            assert after.start_s == before.end_s
            assert same(after.start, before.end)
    perfect = fly(case(), *TWO).arcs[0].start
    assert perfect.position_m.tobytes() == START[:3].tobytes()
    assert perfect.velocity_m_s.tobytes() == START[3:6].tobytes()
    assert perfect.mass_kg == START[6]


def outside(flight, j=(MARS.j2, MARS.j3, MARS.j4)) -> np.ndarray:
    """The flight's arcs flown by plain scipy with equations of this test's own.

    Gravity is the gradient of the potential in Cartesian coordinates, polynomial by polynomial
    (Vallado, section 8.6, in the form with z/r written out).
    """
    gm, radius = MARS.gm, MARS.radius

    def rates(_, y, arc):
        x, z = y[:3], y[2]
        r = math.sqrt(x @ x)
        s, q = z / r, radius / r
        pole = np.array([0.0, 0.0, 1.0])
        pull = -x / r
        pull = pull + 1.5 * j[0] * q**2 * ((5 * s**2 - 1) * x / r - 2 * s * pole)
        pull = pull + 0.5 * j[1] * q**3 * (
            5 * (7 * s**3 - 3 * s) * x / r + 3 * (1 - 5 * s**2) * pole
        )
        pull = pull + 0.625 * j[2] * q**4 * (
            (3 - 42 * s**2 + 63 * s**4) * x / r + (12 * s - 28 * s**3) * pole
        )
        push, flow = np.zeros(3), 0.0
        if arc.kind == "burn":
            d = arc.direction
            if arc.steering == "rsw":
                h = np.cross(x, y[3:6])
                w = h / np.linalg.norm(h)
                d = d[0] * x / r + d[1] * np.cross(w, x / r) + d[2] * w
            push, flow = arc.thrust_n / y[6] * d, arc.thrust_n / (9.80665 * arc.isp_s)
        return np.concatenate([y[3:6], gm / r**2 * pull + push, [-flow]])

    first = flight.arcs[0].start
    y = np.array([*first.position_m, *first.velocity_m_s, first.mass_kg])
    for arc in flight.arcs:
        span = (arc.start_s, arc.end_s)
        found = solve_ivp(rates, span, y, args=(arc,), method="DOP853", rtol=1e-12, atol=1e-7)
        y = found.y[:, -1]
    return y


@pytest.mark.parametrize("sample", [None, 2])
def test_an_outside_integrator_gets_there_too(sample):
    """From the arcs alone, plain scipy with its own equations ends within ten metres.

    Measured: under a decimetre.
    """
    flight = fly(case(errors=NOISY), *TWO, seed=1, sample=sample)
    y = outside(flight)
    assert_metres(y[:3], end_of(flight), 10.0)
    assert y[6] == pytest.approx(flight.arcs[-1].end.mass_kg, abs=1e-6)


def test_the_outside_integrator_would_notice():
    """Negative control: with J3 left out the outside integrator ends elsewhere."""
    flight = fly(None, *TWO)
    y = outside(flight, (MARS.j2, 0.0, MARS.j4))
    assert np.linalg.norm(y[:3] - end_of(flight)) > 100.0


def test_short_strong_burns_are_impulses():
    """In two-body motion burns of a tenth of a second do what impulses do in Kepler's motion."""
    strong = Engine(name="engine", thrust_n=5e5, isp_s=318.0)
    c = case(engine=strong, forces=())
    exhaust = G0 * 318.0
    r, v, time, mass, commands = START[:3], START[3:6], 0.0, 510.0, []
    for when, local in ((2000.0, [3.0, 50.0, 20.0]), (9000.0, [0.0, -20.0, 30.0])):
        size = np.linalg.norm(local)
        length = -mass * math.expm1(-size / exhaust) * exhaust / strong.thrust_n
        r, v = propagate(r, v, when - time, MARS.gm)
        # Fixed in space: RSW turns with the plane that the burn itself turns, however short it is.
        push = rsw_frame(r, v).T @ np.array(local)
        v = v + push
        timing = {"duration_s": length, "direction": push / size, "steering": "inertial"}
        commands.append(command(when - length / 2, size, mass, **timing))
        time, mass = when, mass * math.exp(-size / exhaust)
    flight = fly(c, *commands)
    after = flight.arcs[-1].start
    place, speed = propagate(r, v, flight.arcs[-1].start_s - time, MARS.gm)
    # The mean place of the thrust lags by a hundredth of 27 ms at 50 m/s: cm over 7000 s.
    assert_metres(after.position_m, place, 10.0)
    assert np.linalg.norm(after.velocity_m_s - speed) < 0.01


# Repeatable


def test_the_same_sample_flies_the_same():
    """Seed and sample give the same flight to the bit, other flights between them or not."""
    c = case(errors=NOISY)
    one = fly(c, *TWO, seed=4, sample=7)
    others = [fly(c, *TWO, seed=4, sample=8), fly(c, *TWO, seed=5, sample=7), fly(c, *TWO)]
    assert same(one, fly(c, *TWO, seed=4, sample=7))
    assert (one.seed, one.sample) == (4, 7)
    for other in others:
        assert np.linalg.norm(end_of(other) - end_of(one)) > 10.0


def test_a_sample_without_a_seed_is_of_seed_zero():
    """No seed is seed 0, and the flight says so."""
    c = case(errors=NOISY)
    assert same(fly(c, *TWO, sample=7), fly(c, *TWO, seed=0, sample=7))


def test_a_sample_without_errors_is_the_perfect_flight():
    """Where the case has no errors, a sample ends where the perfect flight does, to the bit."""
    a, b = fly(None, *TWO), fly(None, *TWO, seed=3, sample=9)
    assert same(a.arcs, b.arcs)
    assert same(a.errors, b.errors)


@pytest.mark.parametrize(
    ("errors", "moved"),
    [
        (Errors(initial_position_m=100.0), "position"),
        (Errors(initial_velocity_m_s=0.1), "velocity"),
    ],
)
def test_initial_errors_are_one_sigma_an_axis(errors, moved):
    """The start is off by the size asked for on each axis, and by nothing else.

    40 samples of three axes: 4 sigma of the standard deviation's estimator, sigma/sqrt(2n).
    """
    c = case(errors=errors, members=(), forces=())
    nothing = [fly(c, seed=1, sample=k).arcs[0].start for k in range(40)]
    off = {
        "position": np.array([s.position_m - START[:3] for s in nothing]).ravel(),
        "velocity": np.array([s.velocity_m_s - START[3:6] for s in nothing]).ravel(),
    }
    size = off.pop(moved)
    want = errors.initial_position_m + errors.initial_velocity_m_s
    assert size.std() == pytest.approx(want, rel=4 / math.sqrt(2 * 120))
    assert abs(size.mean()) < 4 * want / math.sqrt(120)
    assert not np.any(next(iter(off.values())))


def test_initial_position_and_velocity_are_drawn_apart():
    """The two errors of a start do not go together: 4 sigma of a correlation of 120 pairs."""
    c = case(errors=Errors(initial_position_m=1.0, initial_velocity_m_s=1.0), members=(), forces=())
    starts = [fly(c, seed=1, sample=k).arcs[0].start for k in range(40)]
    place = np.array([s.position_m - START[:3] for s in starts]).ravel()
    speed = np.array([s.velocity_m_s - START[3:6] for s in starts]).ravel()
    assert abs(np.corrcoef(place, speed)[0, 1]) < 4 / math.sqrt(120)


def test_ignition_errors_move_only_the_ignition():
    """Under ignition errors burns keep their length and come early or late."""
    errors = Errors(ignition_time_s=5.0)
    flight = fly(case(errors=errors), *TWO, seed=1, sample=1)
    for arc, c in zip(burns(flight), TWO, strict=True):
        assert 0.1 < abs(arc.start_s - c.ignition_s) < 25.0
        assert arc.end_s - arc.start_s == pytest.approx(c.duration_s, abs=1e-9)


def test_a_burn_never_lights_before_the_last_has_ended():
    """An ignition due before the previous cutoff waits for it; no arc of no length is left."""
    late = command(2001.0, 30.0, burn="B2")
    flight = fly(None, command(2000.0), late)
    first, second = burns(flight)
    assert second.start_s == first.end_s
    assert [arc.kind for arc in flight.arcs] == ["coast", "burn", "burn", "coast"]
    assert all(arc.end_s > arc.start_s for arc in flight.arcs)
    # Errors that would light it before the epoch: it lights at the epoch.
    early = fly(case(errors=Errors(ignition_time_s=1e3)), command(1.0), seed=2, sample=0)
    assert min(arc.start_s for arc in early.arcs) == 0.0


def test_no_commands_are_one_coast():
    """A plan without commands flies: one coast, over which the craft is measured."""
    flight = fly()
    assert [arc.kind for arc in flight.arcs] == ["coast"]
    assert flight.outcome == "flown"
    assert flight.arrival_time_s == 0.0
    assert flight.dv_used_m_s == 0.0
    assert math.isfinite(flight.errors.phase_deg)
    turn = float(period_of(START[:3], START[3:6], MARS.gm))
    assert flight.arcs[0].end_s == pytest.approx(2 * turn, rel=0.01)


def test_close_approaches_are_listed_by_member():
    """Each member's closest at least, within its arc; the least of all is the flight's."""
    flight = fly(None, command(2000.0, 600.0))
    assert [one.member for one in flight.approaches] == ["R1", "R2"]
    distances = [one.distance_m for one in flight.approaches]
    assert flight.closest_approach_m == min(distances)
    assert flight.closest_member == flight.approaches[int(np.argmin(distances))].member
    for one in flight.approaches:
        arc = flight.arcs[one.arc]
        assert arc.start_s <= one.time_s <= arc.end_s
        assert np.linalg.norm(one.relative_rsw_m) == pytest.approx(one.distance_m, rel=1e-12)
    assert read_record(Flight, write_record(flight), "x.json").approaches[1].time_s == (
        flight.approaches[1].time_s
    )


def test_every_approach_within_ten_separations_is_listed():
    """A craft that stays beside a member is near it again and again, to the end of the flight.

    On an orbit of equal period and little eccentricity, as `test_clearances` has it.
    """
    c = case()
    p = TaylorPropagator(gravity())
    y = np.append(relay_state(resolve_ring(c.ring, p), p, 0), 510.0)
    y[3:6] += 0.5 * y[:3] / np.linalg.norm(y[:3])
    near = dataclasses.replace(case(y), limits=dataclasses.replace(c.limits, separation_m=1e3))
    flight = fly(near)
    some = [one for one in flight.approaches if one.member == "R1"]
    assert len(some) >= 3
    assert all(one.distance_m < NEAR * 1e3 for one in some)
    assert sum(one.member == "R2" for one in flight.approaches) == 1
    assert flight.closest_approach_m == min(one.distance_m for one in some)
    assert [one.member for one in fly(case(y)).approaches].count("R1") == 1


def test_a_member_of_the_ring_reads_zero():
    """A craft on its slot, with nothing to do, reads no error, and its neighbours their spacing."""
    c = case()
    p = TaylorPropagator(gravity())
    motion = resolve_ring(c.ring, p)
    y = np.append(relay_state(motion, p, 3), 510.0)
    flight = fly(case(y))
    assert abs(flight.errors.phase_deg) < 1e-8
    assert abs(flight.errors.period_s) < 1e-7
    assert flight.errors.eccentricity < 1e-9
    assert flight.errors.plane_deg < 1e-8
    assert abs(flight.drift_deg_day) < 1e-8
    for neighbour, spacing in zip(flight.neighbours, (-90.0, 180.0), strict=True):
        assert abs((neighbour.spacing_deg - spacing + 180) % 360 - 180) < 1e-9
        assert abs((neighbour.phase_deg - spacing + 180) % 360 - 180) < 1e-2
    assert flight.closest_approach_m > 1e6
    assert flight.closest_member in ("R1", "R2")


def test_lengths_have_signed_parts():
    """An apsis 0.5 rad past the node, a node and a tilt off by a little: signs as on paper."""
    tilt, turn = 1e-3, 2e-3
    small = state(2.4, 0.01, 0.7 + tilt, raan=1.0 + turn, argp=0.5, mass=510.0)
    flight = fly(dataclasses.replace(case(small), forces=()))
    parts, errors = flight.components, flight.errors
    # The craft's node leads the ring's by turn, of which cos(tilt) counts along the ring.
    past_node = 0.5 + turn * math.cos(0.7)
    assert parts.eccentricity_k == pytest.approx(0.01 * math.cos(past_node), rel=1e-4)
    assert parts.eccentricity_h == pytest.approx(0.01 * math.sin(past_node), rel=1e-4)
    # To first order: the normal leans by turn * sin(inclination) to the node, by -tilt past it.
    assert parts.plane_x_deg == pytest.approx(math.degrees(turn * math.sin(0.7)), rel=5e-3)
    assert parts.plane_y_deg == pytest.approx(-math.degrees(tilt), rel=5e-3)
    both = math.hypot(parts.eccentricity_k, parts.eccentricity_h)
    assert both == pytest.approx(errors.eccentricity, rel=1e-12)
    # Two angles add up as a vector to third order, some 1e-6 of themselves here.
    both = math.hypot(parts.plane_x_deg, parts.plane_y_deg)
    assert both == pytest.approx(errors.plane_deg, rel=1e-5)


@pytest.mark.parametrize("push", [-1e-5, 1e-5], ids=["ahead", "behind"])
def test_drift_and_holding_time_follow_from_the_period(push):
    """The drift is the difference of the rates; the phase leaves its tolerance when it says."""
    c = case()
    p = TaylorPropagator(gravity())
    motion = resolve_ring(c.ring, p)
    y = np.append(relay_state(motion, p, 3), 510.0)
    y[3:6] *= 1 + push
    flight = fly(case(y))
    period = motion.period_s + flight.errors.period_s
    drift = 360 * 86400 * (1 / period - 1 / motion.period_s)
    assert flight.drift_deg_day == pytest.approx(drift, rel=1e-9)
    assert drift * push < 0
    assert flight.errors.phase_deg * drift > 0
    room = 0.5 - abs(flight.errors.phase_deg)
    assert flight.holds_days == pytest.approx(room / abs(drift), rel=1e-9)


def test_the_engines_disagreement_is_stated():
    """Asked for, the flight says how far the other engine ends from it: millimetres here."""
    flight = fly(None, *TWO, reference=True)
    assert 0.0 < flight.engine_disagreement_m < 0.1
    assert fly(None, *TWO).engine_disagreement_m is None


# How it ends


def test_running_dry_ends_the_burn_and_is_reported():
    """A tank that empties in a burn ends it there; the rest is flown, measured, and reported."""
    flight = fly(case(propellant=5.0), *TWO)
    assert flight.outcome == "out-of-propellant"
    first, second = burns(flight)
    assert first.ended == "tank empty"
    assert second.ended == "tank empty"
    assert second.end_s == second.start_s
    assert flight.propellant_used_kg == pytest.approx(5.0, abs=1e-9)
    assert math.isfinite(flight.errors.phase_deg)
    assert any("B1: tank empty after" in text for text in flight.events)


def test_an_unmet_watch_is_reported():
    """A burn that does not reach what it watches ends at its cap and says so."""
    c = command(2000.0, cutoff="orbit", watch=Watch(quantity="period_s", target=1e9))
    flight = fly(None, c)
    assert flight.outcome == "flown"
    assert burns(flight)[0].ended == "watch not reached"
    assert any("watch not reached" in text for text in flight.events)


def brake(ignition: float = 2000.0, dv: float = 700.0):
    return command(ignition, dv, direction=np.array([0.0, -1.0, 0.0]))


def test_braking_into_the_ground_hits_the_body():
    """A brake that takes the periapsis below the surface ends there: an outcome, and NaN errors."""
    flight = fly(None, brake())
    assert flight.outcome == "hit-the-body"
    for record in (flight.errors, flight.components):
        assert all(math.isnan(value) for value in dataclasses.astuple(record))
    assert math.isnan(flight.drift_deg_day)
    assert flight.neighbours == ()
    assert np.linalg.norm(end_of(flight)) == pytest.approx(MARS.radius, abs=5.0)  # 1 ms at 4 km/s
    assert flight.lowest_altitude_m == pytest.approx(0.0, abs=5.0)
    assert flight.arcs[-1].ended == "impact"
    assert any("met the surface" in text for text in flight.events)
    down = flight.arcs[-1].end
    assert down.position_m @ down.velocity_m_s < 0


def test_no_burn_follows_the_ground():
    """Burns after the impact are not flown."""
    flight = fly(None, brake(), command(12000.0, burn="B2"))
    assert flight.outcome == "hit-the-body"
    assert [arc.burn for arc in burns(flight)] == ["B1"]


def test_the_ground_is_met_once_and_first():
    """A long coast with many dips below the surface ends at the first of them."""
    y = state(0.98, 0.6, 0.7, nu=3.1, mass=510.0)
    flight = fly(case(y), command(40 * float(period_of(y[:3], y[3:6], MARS.gm))))
    assert flight.outcome == "hit-the-body"
    turn = float(period_of(y[:3], y[3:6], MARS.gm))
    assert 0.3 * turn < flight.arcs[-1].end_s < 0.55 * turn
    assert np.linalg.norm(end_of(flight)) == pytest.approx(MARS.radius, abs=5.0)


def test_a_fall_to_the_centre_hits_the_body():
    """Dead stopped, a craft falls into the ground, although the fall itself cannot be flown out."""
    y = state(1.4, 0.3, 0.7, nu=2.0, mass=510.0)
    y[3:6] = 0.1
    flight = fly(case(y))
    assert flight.outcome == "hit-the-body"
    assert np.linalg.norm(end_of(flight)) == pytest.approx(MARS.radius, abs=5.0)


def test_leaving_is_an_outcome():
    """A burn to escape ends in an open orbit: nothing to measure, NaN errors, and it goes away."""
    flight = fly(case(propellant=400.0), command(2000.0, 2500.0))
    assert flight.outcome == "left-the-body"
    assert math.isnan(flight.errors.phase_deg)
    assert flight.neighbours == ()
    assert flight.holds_days is None
    assert flight.arcs[-1].kind == "coast"
    assert any("not closed" in text for text in flight.events)


def test_an_empty_tank_on_the_way_out_is_told():
    """A craft that runs dry on an open orbit has left, and the empty tank stands in the events."""
    flight = fly(case(propellant=270.0), command(2000.0, 5000.0))
    assert flight.outcome == "left-the-body"
    assert any("tank empty" in text for text in flight.events)
    assert any("not closed" in text for text in flight.events)


@pytest.mark.parametrize(
    ("y", "outcome"),
    [
        (state(1.4, 1.3, 0.7, nu=0.5, mass=510.0), "left-the-body"),
        (state(1.4, 1.3, 0.7, nu=-2.0, mass=510.0), "left-the-body"),
        (state(0.8, 1.3, 0.7, nu=-2.0, mass=510.0), "hit-the-body"),
        (state(0.8, 1.3, 0.7, nu=2.0, mass=510.0), "left-the-body"),
        (state(0.8, 0.7, 0.7, nu=2.6, mass=510.0), "hit-the-body"),
        (state(0.8, 0.2, 0.7, nu=0.0, mass=510.0), "hit-the-body"),
    ],
    ids=["out", "flyby", "into it", "out of it", "closed", "below"],
)
def test_without_commands_too(y, outcome):
    """A plan without commands ends as its orbit does: away, past, into or from below the ground."""
    flight = fly(case(y))
    assert flight.outcome == outcome
    assert math.isnan(flight.errors.phase_deg)
    assert flight.arcs


def test_thrusters_that_the_case_lacks_are_an_error():
    """A command for thrusters where there are none cannot be flown."""
    with pytest.raises(FlightError, match="B1 asks for the thrusters"):
        fly(None, command(engine="thrusters"))


def test_thrusters_burn_with_their_own_thrust():
    """A command for the thrusters is flown with theirs."""
    small = Engine(name="thrusters", thrust_n=8.0, isp_s=220.0)
    flight = fly(case(thrusters=small), command(engine="thrusters", duration_s=30.0))
    assert (burns(flight)[0].thrust_n, burns(flight)[0].isp_s) == (8.0, 220.0)


# With a real plan


@pytest.fixture(scope="module")
def small_case():
    """A small true job: from a near ring to a slot, coplanar, in two-body motion plus J2."""
    c = case(forces=("j2",))
    p = TaylorPropagator(Gravity(MARS.gm, MARS.radius, MARS.j2))
    near = Ring(
        size="radius",
        size_value=2.2 * MARS.radius,
        inclination_rad=0.7,
        raan_rad=1.0,
        slots=1,
        argument_of_latitude_rad=1.0,
    )
    y = np.append(relay_state(resolve_ring(near, p), p, 0), 510.0)
    return dataclasses.replace(
        case(y, forces=("j2",)),
        tolerance=dataclasses.replace(c.tolerance, eccentricity=0.002),
        members=(Member(name="R1", slot=0),),
    )


def test_a_planned_flight_lands_in_its_slot(small_case):
    """A plan of the planner, flown perfectly, is inside a tenth of each tolerance."""
    made = plan_ring(small_case)
    flight = fly_plan(small_case, made)
    assert abs(flight.errors.phase_deg) < 0.05
    assert abs(flight.errors.period_s) < 0.5
    assert flight.errors.eccentricity < 2e-4
    assert flight.engine_disagreement_m < 1.0
    assert flight.dv_used_m_s == pytest.approx(made.commanded_dv_m_s, rel=1e-6)
    assert len(burns(flight)) == len(made.commands)


def test_orbit_cutoff_beats_duration(small_case):
    """Under a thrust bias, watching the orbit leaves a tenth of the period error, or less."""
    biased = dataclasses.replace(small_case, errors=Errors(thrust_bias=0.03))
    made = plan_ring(biased)
    last = made.commands[-1]
    assert last.watch is not None
    assert last.watch.quantity == "period_s"
    misses = []
    for cutoff in ("duration", "orbit"):
        commands = tuple(dataclasses.replace(c, cutoff=cutoff) for c in made.commands)
        flight = fly_plan(
            biased, dataclasses.replace(made, commands=commands), seed=1, sample=1, reference=False
        )
        end = burns(flight)[-1].end
        period = float(period_of(end.position_m, end.velocity_m_s, MARS.gm))
        misses.append(abs(period - last.watch.target))
        assert abs(burns(flight)[-1].thrust_n / ENGINE.thrust_n - 1) > 0.005
    assert misses[0] > 10 * misses[1]
    assert_seconds(misses[1], 0.0, 1e-6)
