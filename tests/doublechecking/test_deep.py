"""A flight computed by other means: small error bars, and a fault in one of them shows."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from simcheck.doublechecking import deep, posing, variations
from simcheck.doublechecking.deep import doublecheck
from simcheck.engines import reference
from simcheck.engines.gravity import Gravity
from simcheck.engines.pulls import pull
from simcheck.errors import FlightError, InputError
from simcheck.planning import later
from simcheck.records.deep import DeepCheck
from tests.cli import samples
from tests.doublechecking import bench

SMALL = {"phase": 1e-7, "period": 3e-6, "eccentricity": 1e-10, "plane": 1e-9}
"""Deg, s, 1, deg: ten times what two days about Mars were seen to give."""


def checked(plan: Any = None, **other: Any) -> DeepCheck:
    case, plan = bench.case(**other), plan or bench.two_burns()
    return doublecheck(case, plan, bench.flown(case, plan))


@pytest.fixture
def only(monkeypatch: pytest.MonkeyPatch) -> pytest.MonkeyPatch:
    """Without the averagings, which no bar holds."""
    monkeypatch.setattr(deep, "averagings", lambda site: iter(()))
    return monkeypatch


@pytest.fixture
def propagators(only: pytest.MonkeyPatch) -> pytest.MonkeyPatch:
    """Without the posings, nor the finer steps, which are slow."""
    only.setattr(deep, "posings", lambda site: iter(()))
    only.setattr(variations, "Stepwise", lambda inner, pieces: inner)
    return only


@pytest.fixture
def posings(only: pytest.MonkeyPatch) -> pytest.MonkeyPatch:
    """Without the propagators, which are slow."""
    only.setattr(deep, "propagators", lambda site: iter(()))
    return only


@pytest.mark.parametrize("cutoff", ["duration", "orbit"])
def test_error_bars_are_those_of_rounding(cutoff: Any, only: Any) -> None:
    """However burns are cut off, no other means moves an error by more than rounding does."""
    found = checked(bench.two_burns(cutoff))
    for bar in found.errors:
        assert 0.0 < bar.bar < SMALL[bar.name]
        assert bar.cause in {one.name for one in found.variations}
    assert len(found.variations) == 8
    assert found.firm
    assert found.overturned == ()
    assert {one.verdict for one in found.variations} == {"outside"}


def test_all_zonals_and_an_equatorial_ring(only: Any) -> None:
    """J3 and J4 are in both propagators and know no direction but the pole's."""
    body = samples.changed(bench.cases.MARS, j3=3.1e-5, j4=-1.5e-5)
    ring = bench.ring(inclination=0.0)
    found = checked(body=body, forces=("j2", "j3", "j4"), goal=ring)
    for bar in found.errors:
        assert bar.bar < SMALL[bar.name]


def test_the_averaging_is_told_apart(monkeypatch: pytest.MonkeyPatch) -> None:
    """Other windows move the errors by far more than any bar, which holds none of it."""
    monkeypatch.setattr(deep, "propagators", lambda site: iter(()))
    found = checked()
    assert len(found.averaging) == 4
    assert max(abs(one.phase_deg) for one in found.averaging) > 1e-5
    assert found.errors[0].bar < SMALL["phase"]
    assert {one.means for one in found.variations} == {"posing"}
    assert {one.means for one in found.averaging} == {"averaging"}


def test_a_wrong_j2_in_one_propagator_shows(propagators: pytest.MonkeyPatch) -> None:
    """A millionth of J2 too much in the reference one, and it is named as the cause."""

    def wrong(gravity: Gravity, time: float, r: Any) -> Any:
        return pull(gravity._replace(j2=gravity.j2 * (1.0 + 1e-6)), time, r)

    propagators.setattr(reference, "pull", wrong)
    found = checked()
    for bar in found.errors:
        assert bar.bar > SMALL[bar.name]
        assert bar.cause is not None
        assert bar.cause.startswith("reference")


def test_a_sloppy_integrator_shows(propagators: pytest.MonkeyPatch) -> None:
    """A tolerance that is too loose makes a bar, by the variation that has it."""
    propagators.setattr(variations, "_LOOSE_REFERENCE", 1e-8)
    found = checked()
    phase = found.errors[0]
    assert phase.bar > SMALL["phase"]
    assert phase.cause == "reference, tolerance 1e-08"


def test_a_ring_that_turns_otherwise_shows(propagators: pytest.MonkeyPatch) -> None:
    """The ring as the reference has it is what the reference measures against."""
    propagators.setattr(
        variations, "ring_seen_by", lambda other, motion, fast: motion._replace(node_rate=1e-10)
    )
    plane = checked().errors[3]
    assert plane.bar > SMALL["plane"]
    assert plane.cause == "reference, flight, ring and measuring"


def test_a_clock_that_is_off_shows(posings: pytest.MonkeyPatch) -> None:
    """A tenth of a second lost when the epoch moves, and the epoch is the cause."""
    posings.setattr(posing, "shifted", lambda plan, seconds: later.shifted(plan, seconds + 0.1))
    found = checked()
    assert all(bar.bar > 10.0 * SMALL[bar.name] for bar in found.errors)
    assert {bar.cause for bar in found.errors} == {"another epoch"}


def test_a_mirrored_turn_shows(posings: pytest.MonkeyPatch) -> None:
    """Commands turned the wrong way, and the turned axes are the cause."""
    honest = posing._turned_command
    posings.setattr(posing, "_turned_command", lambda x, matrix: honest(x, matrix.T))
    assert {bar.cause for bar in checked().errors} == {"axes turned about the pole"}


def test_what_cannot_be_flown_again_is_infinite(propagators: pytest.MonkeyPatch) -> None:
    """A variation that breaks down leaves no bar to trust."""

    class Broken:
        def __init__(self, inner: Any, tolerance: float) -> None:
            self.gravity, self.name = inner.gravity, inner.name

        def advance(self, *given: Any) -> Any:
            raise FlightError("broken")

    propagators.setattr(variations, "OneLane", Broken)
    found = checked()
    assert all(np.isinf(bar.bar) for bar in found.errors)
    assert not found.firm


def test_without_the_fast_propagator_the_reference_is_varied(only: pytest.MonkeyPatch) -> None:
    """Where heyoka has no package: no second propagator, but tolerances, steps and posings."""
    only.setattr(variations, "fast_propagator", variations.reference_propagator)
    case, plan = bench.case(forces=()), bench.two_burns()
    found = doublecheck(case, plan, bench.flown(case, plan))
    assert [one.name for one in found.variations] == [
        "reference, tolerance 3e-13",
        "reference, finer steps",
        "another epoch",
        "axes turned about the pole",
        "other units",
    ]
    for bar in found.errors:
        assert bar.bar < SMALL[bar.name]


def test_a_flight_on_no_orbit_has_nothing_to_check() -> None:
    """No bars and no firm verdict, and it says why."""
    flight = samples.flight(errors=samples.no_orbit(), outcome="hit-the-body")
    found = doublecheck(samples.case(), samples.plan(), flight)
    assert (found.firm, found.errors, found.variations) == (False, (), ())
    assert "no orbit" in found.why


def test_drawn_errors_are_refused() -> None:
    """A sample's flight is not the one that is computed again."""
    flight = samples.flight(sample=3, seed=1)
    with pytest.raises(InputError, match="perfect flight"):
        doublecheck(samples.case(), samples.plan(), flight)
