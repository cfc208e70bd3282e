"""Error bars and firmness, from hand-made variations."""

from __future__ import annotations

import math

import pytest

from simcheck.doublechecking.bars import deviation, error_bars, firmness, limit_bars
from simcheck.doublechecking.variations import Varied
from simcheck.judging import judge
from simcheck.records.case import Tolerance
from simcheck.records.deep import ErrorBar
from simcheck.records.flight import Components, Flight
from tests.cli import samples

CASE = samples.case()
NOMINAL = samples.flight(
    components=Components(
        eccentricity_k=6e-5, eccentricity_h=8e-5, plane_x_deg=0.004, plane_y_deg=0.0
    )
)


def moved(name: str, **errors: float) -> Varied:
    """The sample flight with other errors, or other parts of eccentricity and plane."""
    parts = {key: errors.pop(key) for key in list(errors) if hasattr(NOMINAL.components, key)}
    flight = samples.changed(
        NOMINAL,
        errors=samples.changed(NOMINAL.errors, **errors),
        components=samples.changed(NOMINAL.components, **parts),
    )
    return Varied(name, "propagator", flight)


def judged(nominal: Flight, varied: list[Varied]) -> tuple[bool, str]:
    verdict = judge(CASE, nominal)
    found = [deviation(CASE, nominal, one) for one in varied]
    changed = [one.name for one in found if one.verdict != verdict.verdict]
    bars = error_bars(CASE, nominal, varied) + limit_bars(CASE, nominal, varied)
    return firmness(verdict, bars, changed)


def test_a_bar_is_the_largest_deviation_and_names_it() -> None:
    """Each error has its own; lengths differ by their parts, however alike the lengths are."""
    varied = [
        moved("one", phase_deg=-0.013, period_s=0.21),
        moved("two", phase_deg=-0.009, period_s=0.17),
        moved("three", eccentricity_k=-6e-5, plane_y_deg=0.003),  # the same length of eccentricity
    ]
    phase, period, eccentricity, plane = error_bars(CASE, NOMINAL, varied)
    assert (phase.cause, period.cause) == ("one", "two")
    assert (eccentricity.cause, plane.cause) == ("three", "three")
    assert phase.bar == pytest.approx(0.003, rel=1e-12)
    assert period.bar == pytest.approx(0.03, rel=1e-12)
    assert eccentricity.bar == pytest.approx(1.2e-4, rel=1e-12)
    assert plane.bar == pytest.approx(0.003, rel=1e-12)
    assert phase.room == pytest.approx(0.49, rel=1e-12)
    assert phase.bars_of_room == pytest.approx(0.49 / 0.003, rel=1e-9)
    assert deviation(CASE, NOMINAL, varied[0]).phase_deg == pytest.approx(-0.003, rel=1e-12)


def test_a_phase_is_compared_the_short_way_round() -> None:
    """From 179.99 to -179.99 deg is 0.02 deg."""
    nominal = samples.changed(NOMINAL, errors=samples.changed(NOMINAL.errors, phase_deg=179.99))
    assert error_bars(CASE, nominal, [moved("other", phase_deg=-179.99)])[0].bar == pytest.approx(
        0.02, abs=1e-12
    )


def test_nothing_that_moves_is_no_bar() -> None:
    """No cause, and room without end."""
    for bar in error_bars(CASE, NOMINAL, [moved("same")]):
        assert (bar.bar, bar.cause, bar.bars_of_room) == (0.0, None, math.inf)
    assert judged(NOMINAL, [moved("same")])[0]


def test_an_error_without_tolerance_has_a_bar_and_no_room() -> None:
    """It is shown, and no verdict hangs on it."""
    case = samples.case(tolerance=Tolerance(period_s=5.0))
    bar = error_bars(case, NOMINAL, [moved("one", phase_deg=1.0)])[0]
    assert bar.bar == pytest.approx(1.01, rel=1e-12)
    assert (bar.allowed, bar.room, bar.bars_of_room) == (None, None, None)


def test_a_limit_has_its_bar_too() -> None:
    """What is held against a limit is compared like an error."""
    lower = Varied("low", "posing", samples.changed(NOMINAL, lowest_altitude_m=449e3))
    bars: dict[str, ErrorBar] = {bar.name: bar for bar in limit_bars(CASE, NOMINAL, [lower])}
    altitude = bars["altitude"]
    assert (altitude.bar, altitude.cause, altitude.room) == (1e3, "low", 250e3)
    assert bars["propellant"].bar == 0.0


def test_a_verdict_that_changes_is_not_firm() -> None:
    """One way of computing it that ends outside is enough, and is named."""
    firm, why = judged(NOMINAL, [moved("same"), moved("bad", period_s=5.1)])
    assert not firm
    assert "outside" in why
    assert "bad" in why
    assert "same" not in why


def test_a_flight_that_broke_down_is_not_firm() -> None:
    """What could not be computed counts as infinite, and ends outside."""
    broken = Varied("broken", "propagator", samples.changed(NOMINAL, errors=samples.no_orbit()))
    assert error_bars(CASE, NOMINAL, [broken])[0].bar == math.inf
    assert not judged(NOMINAL, [broken])[0]


def test_a_bar_beyond_the_edge_is_not_firm() -> None:
    """A verdict that no variation changes hangs on luck where an edge is nearer than a bar."""
    edge = samples.changed(NOMINAL, errors=samples.changed(NOMINAL.errors, period_s=4.9))
    firm, why = judged(edge, [moved("lower", period_s=4.5)])
    assert not firm
    assert "the period is nearest" in why
    assert judged(edge, [moved("lower", period_s=4.85)])[0]


def test_outside_is_firm_by_what_is_broken() -> None:
    """An error far beyond its tolerance bears the verdict out, however near others are."""
    values = {"phase_deg": 3.0, "period_s": 4.9}
    far = samples.changed(NOMINAL, errors=samples.changed(NOMINAL.errors, **values))
    firm, why = judged(far, [moved("other", phase_deg=3.01, period_s=4.5)])
    assert firm
    assert "the phase is farthest beyond" in why
    values["period_s"] = 50.0  # more than one is broken: one that stands fast is enough
    both = samples.changed(NOMINAL, errors=samples.changed(NOMINAL.errors, **values))
    assert judged(both, [moved("other", phase_deg=3.01, period_s=99.0)])[0]
    values = {"phase_deg": 0.501, "period_s": 4.9}
    near = samples.changed(NOMINAL, errors=samples.changed(NOMINAL.errors, **values))
    assert not judged(near, [moved("other", phase_deg=0.51, period_s=4.9)])[0]


def test_a_flight_that_ended_early_is_outside_whatever_its_numbers() -> None:
    """An empty tank stands by itself where everything else holds."""
    dry = samples.changed(NOMINAL, outcome="out-of-propellant")
    assert judged(dry, [Varied("other", "posing", dry)])[0]
