"""The verdict: which errors and limits hold, and that nothing but all of them is enough."""

from __future__ import annotations

import math
from typing import Any

import pytest

from simcheck.judging import judge
from simcheck.records.case import Limits, Tolerance
from simcheck.records.flight import Flight
from simcheck.records.quantities import listed_tolerances
from tests.cli import samples


def flight(**errors: float) -> Flight:
    """The sample flight with other errors."""
    made = samples.flight()
    return samples.changed(made, errors=samples.changed(made.errors, **errors))


def test_a_good_flight_is_within() -> None:
    """Where everything holds the verdict is "within" and nothing is found."""
    verdict = judge(samples.case(), samples.flight())
    assert verdict.verdict == "within"
    assert verdict.within == dict.fromkeys(["phase", "period", "eccentricity", "plane"], True)
    assert all(verdict.kept.values())
    assert verdict.findings == ()
    assert verdict.used["phase"] == pytest.approx(0.02, rel=1e-12)  # 0.01 of 0.5 deg
    assert verdict.used["period"] == pytest.approx(0.04, rel=1e-12)  # 0.2 of 5 s


@pytest.mark.parametrize(
    ("name", "error", "edge"),
    [
        ("phase", "phase_deg", 0.5),
        ("period", "period_s", 5.0),
        ("eccentricity", "eccentricity", 0.002),
        ("plane", "plane_deg", 0.1),
    ],
)
@pytest.mark.parametrize("sign", [1.0, -1.0])
def test_each_error_is_judged_alone(name: str, error: str, edge: float, sign: float) -> None:
    """An error counts by its size; on the edge it is within, beyond it outside."""
    on, beyond = sign * edge, sign * math.nextafter(edge, math.inf)
    assert judge(samples.case(), flight(**{error: on})).verdict == "within"
    verdict = judge(samples.case(), flight(**{error: beyond}))
    assert verdict.verdict == "outside"
    assert [key for key, good in verdict.within.items() if not good] == [name]
    assert len(verdict.findings) == 1
    assert name in verdict.findings[0]


@pytest.mark.parametrize("error", ["phase_deg", "period_s", "eccentricity", "plane_deg"])
@pytest.mark.parametrize("value", [math.nan, math.inf, -math.inf])
def test_no_number_is_not_within(error: str, value: float) -> None:
    """An error that could not be measured keeps no tolerance."""
    assert judge(samples.case(), flight(**{error: value})).verdict == "outside"


def test_only_listed_tolerances_are_judged() -> None:
    """An error without a tolerance is not judged, however large."""
    case = samples.case(tolerance=Tolerance(period_s=5.0))
    verdict = judge(case, flight(phase_deg=170.0, plane_deg=math.nan))
    assert verdict.verdict == "within"
    assert set(verdict.within) == set(verdict.used) == {"period"}


def test_tolerances_read_as_they_were_written() -> None:
    """Degrees come back from radians without the rounding of the way there."""
    for degrees in (0.09, 0.11, 0.17, 0.5, 2.3):
        listed = listed_tolerances(Tolerance(plane_rad=degrees * math.pi / 180.0))
        assert listed == {"plane_deg": degrees}


@pytest.mark.parametrize(
    ("fields", "name", "key", "margin"),
    [
        ({"arrival_time_s": 15.5 * 86400.0}, "duration", "duration_s", -43_200.0),
        ({"dv_used_m_s": 1501.0}, "dv", "dv_m_s", -1.0),
        ({"propellant_used_kg": 203.0}, "propellant", "propellant_kg", -3.0),
        ({"lowest_altitude_m": 150e3}, "altitude", "altitude_m", -50e3),
        ({"largest_radius_m": 61e6}, "radius", "radius_m", -1e6),
        ({"closest_approach_m": 5e3}, "separation", "separation_m", -15e3),
    ],
)
def test_each_limit_is_judged_alone(
    fields: dict[str, Any], name: str, key: str, margin: float
) -> None:
    """A broken limit makes the verdict "outside" with a negative margin and a sentence."""
    verdict = judge(samples.case(), samples.flight(**fields))
    assert verdict.verdict == "outside"
    assert [limit for limit, kept in verdict.kept.items() if not kept] == [name]
    assert verdict.margins[key] == pytest.approx(margin)
    assert len(verdict.findings) == 1
    assert all(verdict.within.values())


@pytest.mark.parametrize("fields", [{"lowest_altitude_m": math.nan}, {"closest_approach_m": None}])
def test_an_unknown_value_keeps_no_limit(fields: dict[str, Any]) -> None:
    """A limit whose value is not known does not hold."""
    verdict = judge(samples.case(), samples.flight(**fields))
    assert verdict.verdict == "outside"
    assert "could not be judged" in verdict.findings[0]


def test_margins_only_for_limits_that_stand() -> None:
    """Without [limits] there remain the body's surface and the propellant on board."""
    verdict = judge(samples.case(limits=Limits()), samples.flight())
    assert set(verdict.margins) == {"propellant_kg", "altitude_m"}
    assert verdict.verdict == "within"


def test_no_member_no_separation() -> None:
    """A separation asked for from nobody is kept."""
    case = samples.case(members=())
    verdict = judge(case, samples.flight(closest_approach_m=None, closest_member=None))
    assert "separation" not in verdict.kept
    assert verdict.verdict == "within"


@pytest.mark.parametrize("outcome", ["out-of-propellant", "hit-the-body", "left-the-body"])
def test_a_flight_that_ended_badly_is_outside(outcome: Any) -> None:
    """However good its numbers, a flight that was not flown to its end is not within."""
    verdict = judge(samples.case(), samples.flight(outcome=outcome))
    assert verdict.verdict == "outside"
    assert verdict.findings[0].startswith("the flight ")


def test_an_emptied_tank_is_not_more_than_empty() -> None:
    """All the propellant may be used, rounding included."""
    used = math.nextafter(200.0, math.inf)
    assert judge(samples.case(), samples.flight(propellant_used_kg=used)).verdict == "within"
