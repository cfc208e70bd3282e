"""Linear covariance: flight by flight, source by source, and in closed form for one burn."""

from __future__ import annotations

import importlib.util
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from simcheck.dispersing import linear
from simcheck.dispersing.linear import linear_covariance, plane_angle
from simcheck.dispersing.tangents import Normals, linear_course
from simcheck.errors import FlightError
from simcheck.flying.lanes import fly_lanes
from simcheck.kernels.vectors import unit
from simcheck.records.case import Case, Cutoff, Errors
from simcheck.records.linear import LINEAR_QUANTITIES, Linear
from simcheck.records.plan import Command, Plan
from tests.cases_for_tests import IMPULSIVE, MARS, case
from tests.cli import samples as made_up
from tests.dispersing.open_loop import CUTOFFS, SIZES, drawn_normals, errors, relay, values_of
from tests.helpers import assert_relative

TINY = 1e-3
"""Share of ordinary errors that leaves curvature far below the first order."""

FLIGHTS = 12
FLOOR = np.array([1e-8, 1e-6, 1e-10, 1e-9, 1e-8, 1e-8])
"""What two propagators differ by, and averages are rounded to: deg, s, -, deg, m/s, kg."""


def predicted(found: Linear, made: Case, plan: Plan) -> np.ndarray:
    """The six outcomes (FLIGHTS, 6) by straight lines, from the numbers that are drawn."""
    burns = len(plan.commands)
    numbers = drawn_normals(Normals(made.errors, burns), burns, FLIGHTS)
    matrix = np.hstack([source.matrix for source in found.sources])
    phase, period, k, h, x, y, dv, used = (found.nominal + numbers @ matrix.T).T
    plane = np.array([plane_angle(*leans) for leans in zip(x, y, strict=True)])
    return np.stack([phase, period, np.hypot(k, h), plane, dv, used], axis=-1)


def assert_flown_as_predicted(made: Case, plan: Plan, within: float) -> None:
    """Each flight is where the lines say, to a fraction of the spread of all."""
    found = linear_covariance(made, plan)
    nominal = values_of(fly_lanes(replace(made, errors=Errors()), plan, 4, range(1)))[0]
    assert np.all(np.abs([of.nominal for of in found.outcomes] - nominal) <= FLOOR)
    flown = values_of(fly_lanes(made, plan, 4, range(FLIGHTS)))
    wrong = np.sqrt(np.mean((flown - predicted(found, made, plan)) ** 2, axis=0))
    spread = np.array([of.spread for of in found.outcomes])
    assert np.all(wrong <= within * spread + FLOOR), wrong / (spread + FLOOR)


@pytest.mark.parametrize("cutoff", CUTOFFS)
@pytest.mark.parametrize("source", SIZES)
def test_each_source_alone(source: str, cutoff: Cutoff) -> None:
    """A thousandth of an ordinary error: flights go where its column says, to 1e-4 of its spread.

    Errors of a thousandth leave a thousandth of the curvature that ordinary ones have: 6e-5.
    """
    made, plan = relay(cutoff)
    made = replace(made, errors=errors(TINY, source))
    assert_flown_as_predicted(made, plan, 1e-4)


@pytest.mark.parametrize("cutoff", CUTOFFS)
def test_all_sources_together(cutoff: Cutoff) -> None:
    """They add up, whatever ends the burns; at ten times the size the curvature is ten times."""
    made, plan = relay(cutoff)
    assert_flown_as_predicted(replace(made, errors=errors(TINY)), plan, 1e-4)
    assert_flown_as_predicted(replace(made, errors=errors(10 * TINY)), plan, 1e-3)


@pytest.mark.parametrize("cutoff", CUTOFFS)
def test_turning_burns(cutoff: Cutoff) -> None:
    """Burns that turn with RSW, here along the track: their direction turns with the errors too.

    With the orbit's cutoff the period stands for what is watched.
    """
    made, plan = relay(cutoff)
    direction = unit(np.array([0.1, 1.0, 0.2]))
    turning = tuple(
        replace(c, steering="rsw", direction=direction, watch=plan.commands[0].watch)
        for c in plan.commands[:1]
    )
    made = replace(made, errors=errors(TINY))
    assert_flown_as_predicted(made, replace(plan, commands=turning), 2e-4)


def test_a_burn_that_waits_moves_with_the_one_before() -> None:
    """Commanded to light while the first still burns: it lights at its end, whenever that is."""
    made, plan = relay("velocity")
    first = plan.commands[0]
    second = replace(first, burn="B1b", ignition_s=first.ignition_s + 1.0, dv_m_s=20.0)
    made = replace(made, errors=errors(TINY))
    assert_flown_as_predicted(made, replace(plan, commands=(first, second)), 2e-4)


def test_the_phase_where_it_wraps() -> None:
    """Halfway round from the slot the flights fall on both sides of 180 deg, and spread as much."""
    made, plan = relay("duration")
    made = replace(made, errors=errors(TINY))
    here = linear_covariance(made, plan)
    turned = made.ring.argument_of_latitude_rad + np.pi
    far = replace(made, ring=replace(made.ring, argument_of_latitude_rad=turned))
    there = linear_covariance(far, plan)
    assert abs(abs(there.nominal[0]) - 180.0) < 1.0
    assert_relative(there.outcomes[0].spread, here.outcomes[0].spread, 1e-5)


def test_the_record_adds_up() -> None:
    """Covariance is the sources', shares add up to one, lengths join nominal and variance."""
    made, plan = relay("velocity")
    found = linear_covariance(replace(made, errors=errors(1.0)), plan)
    assert len(found.sources) == len(SIZES)
    together = sum(source.matrix @ source.matrix.T for source in found.sources)
    assert np.allclose(found.covariance, together, rtol=1e-12, atol=0.0)
    for of in found.outcomes:
        shares = list(found.drivers[of.outcome].values())
        assert abs(sum(shares) - 1.0) < 1e-12
        assert shares == sorted(shares, reverse=True)
    parts = [LINEAR_QUANTITIES.index(name) for name in ("plane_x_deg", "plane_y_deg")]
    trace = found.covariance[parts[0], parts[0]] + found.covariance[parts[1], parts[1]]
    plane = next(of for of in found.outcomes if of.outcome == "plane_deg")
    assert plane.kind == "rms"
    assert_relative(plane.spread**2, np.sum(found.nominal[parts] ** 2) + trace, 1e-12)
    assert found.left_out == ()
    missing = replace(made, errors=replace(errors(1.0), missed_burn=0.6))
    again = linear_covariance(missing, plan)
    assert again.left_out == ("missed_burn",)
    assert np.allclose(again.covariance, found.covariance, rtol=1e-12, atol=0.0)


@pytest.mark.parametrize("tilt", [1e-6, 0.3, 1.2, 2.5])
def test_the_angle_of_a_lean(tilt: float) -> None:
    """Two leans give the angle back, right up to an orbit turned over."""
    x, y, z = np.sin(tilt) * np.cos(0.7), np.sin(tilt) * np.sin(0.7), np.cos(tilt)
    leans = np.degrees([np.arctan2(x, z), np.arctan2(y, z)])
    assert_relative(plane_angle(*leans), np.degrees(tilt), 1e-12)


def test_without_errors_nothing_spreads() -> None:
    """No source, no variance; the lengths are those of the flight without errors."""
    found = linear_covariance(*relay("duration"))
    assert found.sources == ()
    assert not any(found.drivers.values())
    assert not np.any(found.covariance)
    assert all(of.spread == (0.0 if of.kind == "sigma" else of.nominal) for of in found.outcomes)


def one_burn(sizes: dict[str, float]) -> tuple[Case, Plan]:
    """10 m/s in half a millisecond, so that gravity has no part in it."""
    made = replace(case(MARS), engine=IMPULSIVE, errors=Errors(**sizes))
    mass, exhaust = made.craft.mass_kg, IMPULSIVE.isp_s * 9.80665
    command = Command(
        burn="B1",
        engine="engine",
        ignition_s=1000.0,
        duration_s=-mass * np.expm1(-10.0 / exhaust) * exhaust / IMPULSIVE.thrust_n,
        steering="inertial",
        direction=unit(np.array([1.0, 2.0, -2.0])),
        dv_m_s=10.0,
        cutoff="duration",
    )
    return made, made_up.plan(commands=(command,))


@pytest.mark.reference("Gates (1963), JPL TR 32-504: the covariance's form, from memory")
@pytest.mark.parametrize(
    ("sizes", "along", "across", "together"),
    [
        ((0.010, 0.002, 0.0175, 0.0035), 22.3607, 39.1312, 59.6867),
        ((0.0035, 0.02, 0.0035, 0.012), 200.0306, 120.0510, 262.3676),
    ],
)
def test_the_moments_of_one_burn(
    sizes: tuple[float, ...], along: float, across: float, together: float
) -> None:
    """10 m/s: variance fixed^2 + (proportional V)^2, along the burn and on each axis across it.

    mm/s; the numbers follow from that form. To all their digits.
    """
    fields = (
        "magnitude_fixed_m_s",
        "magnitude_proportional",
        "pointing_fixed_m_s",
        "pointing_proportional_rad",
    )
    made, plan = one_burn(dict(zip(fields, sizes, strict=True)))
    course = linear_course(made, plan, Normals(made.errors, 1))
    assert_relative(course.dv, 10.0, 1e-9)
    spread = 1e3 * course.by_state[3:6]
    covariance, u = spread @ spread.T, plan.commands[0].direction
    outer = np.outer(u, u)
    expected = along**2 * outer + across**2 * (np.eye(3) - outer)
    assert np.max(np.abs(covariance - expected)) < 1e-5 * np.max(expected)
    assert np.sqrt(np.trace(covariance)) == pytest.approx(together, abs=6e-5)
    assert np.sqrt(u @ covariance @ u) == pytest.approx(along, abs=6e-5)


def test_biases_scale_the_burn() -> None:
    """Thrust alone, and Isp alone, of one timed burn: Δv by F, and the mass by F and Isp."""
    made, plan = one_burn({"thrust_bias": 0.01, "isp_bias": 0.02})
    course = linear_course(made, plan, Normals(made.errors, 1))
    burnt = made.craft.mass_kg - course.state[6]
    # 10 m/s burn a millionth of the mass: Δv is force times time over mass, to that.
    assert_relative(course.by_dv[0], 0.01 * 10.0, 1e-4)
    assert abs(course.by_dv[1]) < 0.02 * 10.0 * 1e-4
    assert_relative(-course.by_state[6], [0.01 * burnt, -0.02 * burnt], 1e-8)


def test_it_says_why_there_is_none(monkeypatch: pytest.MonkeyPatch) -> None:
    """A dry tank on the flight without errors, and a system without the fast propagator."""
    made, plan = relay("duration")
    dry = replace(made, craft=replace(made.craft, propellant_kg=50.0))
    with pytest.raises(FlightError, match="out-of-propellant"):
        linear_covariance(dry, plan)

    def none(name: str) -> Any:
        return None

    monkeypatch.setattr(linear, "find_spec", none)
    with pytest.raises(FlightError, match="heyoka"):
        linear_covariance(made, plan)
    assert importlib.util.find_spec("heyoka") is not None
