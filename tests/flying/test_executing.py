"""One burn as it goes: each error alone, Gates' covariance, the cutoffs, the empty tank."""

import dataclasses
import math

import numpy as np
import pytest

from simcheck.engines.base import G0
from simcheck.engines.gravity import Gravity
from simcheck.engines.taylor import TaylorPropagator
from simcheck.flying.draws import Draws, drawn, perfect
from simcheck.flying.executing import WATCH_CAP, Executed, execute, ignition
from simcheck.kernels.transfers import apsis_radii, period_of
from simcheck.kernels.vectors import angle_between, unit
from simcheck.records.case import Errors
from simcheck.records.plan import Watch
from tests.engines.bench import MARS, gravity
from tests.flying.bench import ENGINE, START, command

P = TaylorPropagator(gravity())
FREE = TaylorPropagator(Gravity(1e-6, 1.0))
AT = np.array([1e9, 0.0, 0.0, 0.0, 0.0, 1.0, 510.0])  # in next to no gravity


def draws(*, burn=(), **flight) -> Draws:
    """Zeros but for what is named: burn by index, thrust or isp of the flight."""
    names = {"thrust": 0, "isp": 1}
    f, b = np.zeros(8), np.zeros((1, 8))
    for name, value in flight.items():
        f[names[name]] = value
    for index, value in dict(burn).items():
        b[0, index] = value
    return Draws(flight=f, burns=b)


def fly(c=None, errors=Errors(), d=None, propagator=P, start=START, dry=310.0) -> Executed:  # noqa: B008
    return execute(
        propagator,
        c or command(),
        engine=ENGINE,
        errors=errors,
        draws=d or perfect(1),
        index=0,
        time=100.0,
        state=start,
        dry_mass=dry,
    )


def dv_of(burn: Executed, start=AT) -> np.ndarray:
    return burn.state[3:6] - start[3:6]


def along(dv=50.0, **fields):
    return command(dv=dv, steering="inertial", direction=np.array([0.0, 0.6, 0.8]), **fields)


def test_a_perfect_burn_is_the_command():
    """Without errors thrust, Isp, direction and length are the commanded ones, to the bit."""
    c = command()
    burn = fly(c)
    assert burn.thrust.thrust_n == ENGINE.thrust_n
    assert burn.thrust.isp_s == ENGINE.isp_s
    assert burn.thrust.direction.tobytes() == c.direction.tobytes()
    assert burn.thrust.steering == "rsw"
    assert burn.cutoff_s == 100.0 + c.duration_s
    assert burn.ended == "duration"


def test_a_perfect_burn_gives_the_commanded_dv():
    """In next to no gravity it changes the velocity by the commanded Δv."""
    got = dv_of(fly(along(), propagator=FREE, start=AT))
    assert np.allclose(got, 50.0 * np.array([0.0, 0.6, 0.8]), atol=1e-9)


# Each error alone


def test_thrust_bias_scales_thrust_and_flow():
    """A bias of 1 % at +2 sigma thrusts 2 % harder at the same Isp: a timed burn gives more."""
    burn = fly(along(), Errors(thrust_bias=0.01), draws(thrust=2.0), FREE, AT)
    assert burn.thrust.thrust_n == pytest.approx(1.02 * ENGINE.thrust_n, rel=1e-15)
    assert burn.thrust.isp_s == ENGINE.isp_s
    nominal = fly(along(), propagator=FREE, start=AT)
    spent, usual = AT[6] - burn.state[6], AT[6] - nominal.state[6]
    assert spent == pytest.approx(1.02 * usual, rel=1e-9)
    assert np.linalg.norm(dv_of(burn)) == pytest.approx(51.0, abs=0.02)


def test_isp_bias_spends_less_for_the_same_force():
    """A better Isp keeps the force and lowers the flow."""
    burn = fly(along(), Errors(isp_bias=0.01), draws(isp=1.0), FREE, AT)
    assert burn.thrust.thrust_n == ENGINE.thrust_n
    assert burn.thrust.isp_s == pytest.approx(1.01 * ENGINE.isp_s, rel=1e-15)
    nominal = fly(along(), propagator=FREE, start=AT)
    spent, usual = AT[6] - burn.state[6], AT[6] - nominal.state[6]
    assert spent == pytest.approx(usual / 1.01, rel=1e-9)


@pytest.mark.parametrize("cut", ["duration"])
@pytest.mark.parametrize(
    ("errors", "index", "factor"),
    [
        (Errors(magnitude_proportional=0.005), 0, 1.01),
        (Errors(magnitude_fixed_m_s=0.005), 1, 1 + 0.01 / 50.0),
    ],
    ids=["proportional", "fixed"],
)
def test_magnitude_errors_scale_the_dv(errors, index, factor, cut):
    """A magnitude error at +2 sigma makes exactly that much more Δv from the same propellant."""
    burn = fly(along(cutoff=cut), errors, draws(burn={index: 2.0}), FREE, AT)
    assert np.linalg.norm(dv_of(burn)) == pytest.approx(50.0 * factor, rel=1e-10)
    nominal = fly(along(), propagator=FREE, start=AT)
    assert burn.state[6] == pytest.approx(nominal.state[6], abs=1e-10)
    assert float(angle_between(dv_of(burn), np.array([0.0, 0.6, 0.8]))) < 1e-9


@pytest.mark.parametrize("index", [2, 3, 4, 5])
@pytest.mark.parametrize("steering", ["inertial", "rsw"])
def test_pointing_errors_turn_the_direction(index, steering):
    """A pointing error at +2 sigma turns the direction by it; its axes are at right angles."""
    errors = Errors(pointing_proportional_rad=0.01, pointing_fixed_m_s=0.25)
    size = 0.02 if index < 4 else 0.5 / 50.0
    c = dataclasses.replace(along(), steering=steering)
    turned = fly(c, errors, draws(burn={index: 2.0})).thrust.direction
    assert float(angle_between(turned, c.direction)) == pytest.approx(size, rel=1e-9)
    assert np.linalg.norm(turned) == pytest.approx(1.0, abs=1e-15)
    mate = fly(c, errors, draws(burn={index ^ 1: 2.0})).thrust.direction
    off = [unit(d - c.direction) for d in (turned, mate)]
    assert abs(off[0] @ off[1]) < 0.02  # half the angle: the chords lean inwards


@pytest.mark.parametrize("direction", [*np.eye(3), -np.eye(3)[1], [0.6, 0.0, -0.8]])
def test_any_direction_can_be_turned(direction):
    """The axes that a direction turns about exist whatever the direction is."""
    c = command(direction=np.array(direction))
    errors = Errors(pointing_proportional_rad=0.01)
    turned = fly(c, errors, draws(burn={2: 1.0})).thrust.direction
    assert float(angle_between(turned, c.direction)) == pytest.approx(0.01, rel=1e-9)


def test_ignition_error_moves_the_ignition():
    """Ignition comes early or late by the error, but never before the previous arc has ended."""
    errors = Errors(ignition_time_s=0.2)
    c = command(ignition=2000.0)
    assert ignition(c, errors, draws(burn={6: -2.0}), 0, 0.0) == pytest.approx(1999.6)
    assert ignition(c, errors, draws(burn={6: 1.5}), 0, 0.0) == pytest.approx(2000.3)
    assert ignition(c, errors, draws(burn={6: -2.0}), 0, 1999.9) == 1999.9
    assert ignition(c, Errors(), draws(burn={6: -2.0}), 0, 0.0) == 2000.0


def test_extreme_draws_still_push():
    """However far out a draw is, the engine neither pulls nor stops."""
    errors = Errors(thrust_bias=0.9, isp_bias=0.9, magnitude_proportional=0.9)
    burn = fly(command(dv=1.0), errors, draws(burn={0: -9.0}, thrust=-9.0, isp=-9.0))
    assert burn.thrust.thrust_n > 0
    assert burn.thrust.isp_s > 0


# Gates


def sampled(v: float, errors: Errors, count: int) -> np.ndarray:
    """Executed Δv (n, 3) of a burn of v m/s along y in next to no gravity: along, and across."""
    c = command(dv=v, steering="inertial", direction=np.array([0.0, 1.0, 0.0]))
    rows = [dv_of(fly(c, errors, drawn(11, k, 1), FREE, AT)) for k in range(count)]
    return np.array(rows)[:, [1, 0, 2]]


@pytest.mark.reference("Gates (1963), JPL TR 32-504, form from memory; numbers derived")
@pytest.mark.parametrize(
    ("fm", "pm", "fp", "pp", "on", "across"),
    [
        (10e-3, 0.002, 17.5e-3, 3.5e-3, 22.3607e-3, 39.1312e-3),
        (3.5e-3, 0.02, 3.5e-3, 12e-3, 200.0306e-3, 120.0510e-3),
    ],
)
def test_published_covariance(fm, pm, fp, pp, on, across):
    """At 10 m/s the executed Δv scatters as Gates' covariance says, along and on each axis across.

    4 sigma of the estimator of a standard deviation, sigma/sqrt(2n); the other set's numbers are
    outside it.
    """
    errors = Errors(
        magnitude_fixed_m_s=fm,
        magnitude_proportional=pm,
        pointing_fixed_m_s=fp,
        pointing_proportional_rad=pp,
    )
    n = 3000
    rows = sampled(10.0, errors, n)
    room = 4 / math.sqrt(2 * n)
    assert rows.std(axis=0) == pytest.approx([on, across, across], rel=room)
    off = np.corrcoef(rows.T) - np.eye(3)
    assert np.abs(off).max() < 4 / math.sqrt(n)
    # Negative control: a tenth more of one term would show.
    assert rows.std(axis=0)[1] != pytest.approx(1.1 * across, rel=room)


@pytest.mark.reference("derived: mean of the executed Δv under Gaussian pointing, exp(-s^2/2)")
def test_mean_shortfall_by_pointing():
    """Pointing errors shorten the mean Δv by exp(-s^2/2) an axis: 0.8825 for 0.5 rad.

    An angle on each of two axes across multiplies twice: cos a cos b. With one axis alone it is
    the published factor.
    """
    n, s = 4000, 0.5
    errors = Errors(pointing_proportional_rad=s)
    c = along()
    kept = []
    for k in range(n):
        d = drawn(5, k, 1)
        both = fly(c, errors, d).thrust.direction @ c.direction
        single = d.burns[0].copy()
        single[3] = 0.0
        alone = Draws(flight=d.flight, burns=single[None])
        kept.append((both, fly(c, errors, alone).thrust.direction @ c.direction))
    mean = np.mean(kept, axis=0)
    room = 4 * np.std(kept, axis=0) / math.sqrt(n)
    assert abs(mean[1] - math.exp(-(s**2) / 2)) < room[1]
    assert mean[1] == pytest.approx(0.8825, abs=room[1] + 5e-5)
    assert abs(mean[0] - math.exp(-(s**2))) < room[0]
    assert abs(mean[0] - 0.8825) > 4 * room[0]  # negative control


# Cutoffs


@pytest.mark.parametrize("bias", [-0.05, 0.05])
def test_a_velocity_cutoff_removes_the_biases(bias):
    """With an accelerometer a wrong thrust or Isp changes the length of the burn, not its Δv."""
    c = along(cutoff="velocity")
    errors = Errors(thrust_bias=abs(bias), isp_bias=abs(bias))
    for d in (draws(thrust=math.copysign(1, bias)), draws(isp=math.copysign(1, bias))):
        burn = fly(c, errors, d, FREE, AT)
        assert np.linalg.norm(dv_of(burn)) == pytest.approx(50.0, rel=1e-10)
        assert burn.ended == "velocity"
        timed = fly(along(), errors, d, FREE, AT)
        assert abs(np.linalg.norm(dv_of(timed)) - 50.0) > (1.0 if d.thrust else 0.01)


@pytest.mark.parametrize("drawn_", [-2.0, 3.0])
@pytest.mark.parametrize("bias", [0.0, 0.05])
def test_an_accelerometers_scale_is_the_error_left(drawn_, bias):
    """Cut off on it, a burn is off by the scale times its draw; biases of the engine drop out."""
    errors = Errors(accelerometer_scale=0.002, thrust_bias=bias, isp_bias=bias)
    d = dataclasses.replace(draws(thrust=1.0, isp=-1.0), accelerometer=drawn_)
    burn = fly(along(cutoff="velocity"), errors, d, FREE, AT)
    wanted = 50.0 * (1 + 0.002 * drawn_)
    assert np.linalg.norm(dv_of(burn)) == pytest.approx(wanted, rel=1e-10)
    timed = fly(along(), errors, d, FREE, AT)
    plain = fly(along(), dataclasses.replace(errors, accelerometer_scale=0.0), d, FREE, AT)
    assert timed.state.tobytes() == plain.state.tobytes()


def test_an_accelerometer_errs_beside_the_magnitude():
    """Scale and magnitude error multiply; a fixed scale is the same for every burn of a flight."""
    errors = Errors(accelerometer_scale=0.002, magnitude_proportional=0.01)
    d = dataclasses.replace(draws(burn={0: 1.0}), accelerometer=1.0)
    for size in (5.0, 50.0):
        burn = fly(along(size, cutoff="velocity"), errors, d, FREE, AT)
        assert np.linalg.norm(dv_of(burn)) == pytest.approx(size * 1.01 * 1.002, rel=1e-9)


def quantity(name: str, y: np.ndarray, direction=None) -> float:
    if name == "period_s":
        return float(period_of(y[:3], y[3:6], MARS.gm))
    if name == "apsis_radius_m":
        return float(apsis_radii(y[:3], y[3:6], MARS.gm)[0])
    return float(unit(np.cross(y[:3], y[3:6])) @ direction)


@pytest.mark.parametrize("name", ["period_s", "apsis_radius_m", "tilt"])
def test_an_orbit_cutoff_reaches_its_quantity(name):
    """Watching its quantity, a burn with 2 % more thrust is ten times (and more) nearer than timed.

    Measured: it ends at the target to rounding.
    """
    way = np.array([0.0, 0.0, 1.0]) if name == "tilt" else np.array([0.0, 1.0, 0.0])
    c = command(direction=way)
    perfectly = fly(c).state
    direction = None
    if name == "tilt":
        direction = unit(
            unit(np.cross(perfectly[:3], perfectly[3:6])) - unit(np.cross(START[:3], START[3:6]))
        )
    target = quantity(name, perfectly, direction)
    watch = Watch(quantity=name, target=target, direction=direction)
    errors = Errors(thrust_bias=0.01)
    timed = fly(c, errors, draws(thrust=2.0)).state
    watched = fly(dataclasses.replace(c, cutoff="orbit", watch=watch), errors, draws(thrust=2.0))
    assert watched.ended == "orbit"
    misses = [abs(quantity(name, y, direction) - target) for y in (timed, watched.state)]
    assert misses[0] > 10 * misses[1]
    assert misses[1] < 1e-9 * max(abs(target), 1e-3)
    assert watched.cutoff_s < 100.0 + c.duration_s


def test_an_orbit_cutoff_gives_up():
    """A quantity that is not reached ends the burn at 1.25 times its length, and it says so."""
    watch = Watch(quantity="period_s", target=1e9)
    c = command(cutoff="orbit", watch=watch)
    burn = fly(c)
    assert burn.ended == "watch not reached"
    assert burn.cutoff_s == pytest.approx(100.0 + WATCH_CAP * c.duration_s, abs=1e-9)


@pytest.mark.parametrize("cutoff", ["duration", "velocity", "orbit"])
def test_an_empty_tank_ends_the_burn(cutoff):
    """Whatever cutoff is commanded, the burn ends when the tank is empty, at the dry mass."""
    watch = Watch(quantity="period_s", target=1e9) if cutoff == "orbit" else None
    c = command(dv=200.0, cutoff=cutoff, watch=watch)
    burn = fly(c, dry=500.0)
    assert burn.ended == "tank empty"
    assert burn.state[6] == pytest.approx(500.0, abs=1e-9)
    expected = 10.0 * G0 * ENGINE.isp_s / ENGINE.thrust_n
    assert burn.cutoff_s - 100.0 == pytest.approx(expected, rel=1e-12)


def test_an_empty_tank_does_not_burn():
    """With nothing left the burn has no length and changes nothing."""
    burn = fly(dry=float(START[6]))
    assert burn.cutoff_s == 100.0
    assert burn.state.tobytes() == START.tobytes()
    assert burn.ended == "tank empty"


def test_a_tilt_needs_its_direction():
    """A watch on the tilt without a direction is refused."""
    c = command(cutoff="orbit", watch=Watch(quantity="tilt", target=0.1))
    with pytest.raises(ValueError, match="direction"):
        fly(c)
