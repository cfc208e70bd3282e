"""Every case in cases/: it loads, plans, flies well inside its tolerance, and says what is printed.

What each flight uses of its tolerance is bounded by the project's own bar, 10 %; two propagators
must end within 1 m of each other over the whole flight.
"""

from __future__ import annotations

import math
import re
from pathlib import Path
from typing import NamedTuple

import pytest

import simcheck
from simcheck.api import resolved_ring
from simcheck.files.case_search import find_cases
from simcheck.kernels.elements import classical_from_state
from simcheck.kernels.transfers import speed_for_apsis
from simcheck.records.case import Case
from simcheck.records.flight import Flight, Verdict
from simcheck.records.plan import Plan

CASES = sorted(find_cases([Path(__file__).parents[1] / "cases"]))
DAY_S = 86400.0
SHARE = 0.1  # of each tolerance that a perfect flight may use
AGREEMENT_M = 1.0
NEARLY_CHEAPEST = 1.005  # the project's own bar


class Run(NamedTuple):
    """A case from the file to the verdict."""

    case: Case
    plan: Plan
    flight: Flight
    verdict: Verdict


_RUNS: dict[str, Run] = {}


def run(name: str) -> Run:
    """The run of cases/<name>.toml, made once for all tests."""
    if name not in _RUNS:
        path = next(path for path in CASES if path.stem == name)
        case = simcheck.load_case(path)
        plan = simcheck.plan(case)
        flight = simcheck.fly(case, plan)
        _RUNS[name] = Run(case, plan, flight, simcheck.judge(case, flight))
    return _RUNS[name]


@pytest.mark.parametrize("name", [path.stem for path in CASES])
def test_the_perfect_flight_ends_well_within(name: str) -> None:
    """Within every tolerance and limit, using less than a tenth of each tolerance."""
    verdict = run(name).verdict
    assert verdict.verdict == "within", verdict.findings
    assert verdict.used
    assert max(verdict.used.values()) < SHARE
    assert all(verdict.kept.values())


@pytest.mark.parametrize("name", [path.stem for path in CASES])
def test_two_propagators_agree(name: str) -> None:
    """The whole flight flown twice, by two integrators, ends within a metre."""
    disagreement = run(name).flight.engine_disagreement_m
    assert disagreement is not None
    assert disagreement < AGREEMENT_M


@pytest.mark.parametrize("path", CASES, ids=lambda path: path.stem)
def test_a_header_comment_says_what_the_case_shows(path: Path) -> None:
    """The comment stands before the first table and tells invented or assumed data apart."""
    header = path.read_text(encoding="utf-8").partition("\n[")[0]
    assert all(line.startswith("#") for line in header.strip().splitlines())
    assert re.search(r"\b(invented|[Aa]ssumed)\b", header)


def test_the_lunar_engine_never_burns_longer_than_it_may() -> None:
    """More than one burn is parted, each part within max_burn."""
    case, plan, flight, _ = run("lunar_ring")
    burns = [arc.end_s - arc.start_s for arc in flight.arcs if arc.kind == "burn"]
    assert max(burns) <= case.engine.max_burn_s
    assert sum(burns) > 3 * case.engine.max_burn_s
    assert sum("Part 1 of" in burn.reason for burn in plan.burns) >= 2


@pytest.mark.reference("poliastro 0.17 test_maneuver.py, data from Vallado Ex. 6-1")
def test_the_handbook_transfer_costs_what_the_handbook_prints() -> None:
    """3.935224 km/s in two burns, half an ellipse of 5.256713 h apart."""
    plan = run("handbook_transfer").plan
    assert plan.total_dv_m_s == pytest.approx(3935.224, abs=2e-3)  # two units of the last digit
    assert plan.burns[-1].time_s - plan.burns[0].time_s == pytest.approx(5.256713 * 3600, abs=2.0)


@pytest.mark.reference("operators' rule of 5.68 m/s for 1 deg a day (from memory)")
def test_the_geostationary_move_costs_what_its_drift_rate_does() -> None:
    """Started and stopped, a drift costs 5.68 m/s for each degree a day of the drift itself."""
    burns = [burn for burn in run("geostationary_move").plan.burns if burn.magnitude_m_s > 1e-3]
    assert len(burns) == 2
    rate = 20.0 / ((burns[1].time_s - burns[0].time_s) / DAY_S)
    total = sum(burn.magnitude_m_s for burn in burns)
    assert total / rate == pytest.approx(5.68, abs=0.01)  # the rule's own last digit
    assert 0.9 < rate < 1.1


@pytest.mark.reference("Galileo reference constellation: 613.72253566 and -0.02764398 deg/day")
def test_the_navigation_ring_turns_as_its_constellation_does() -> None:
    """A radius of 29600.318 km gives the published rate of the argument of latitude.

    The node's published rate includes the pull of Sun and Moon, a tenth of it, which the case
    leaves out.
    """
    ring = resolved_ring(run("navigation_satellite").case)
    assert ring.period_s == pytest.approx(360.0 / 613.72253566 * DAY_S, abs=1.0)
    node_deg_day = math.degrees(ring.node_rate) * DAY_S
    assert node_deg_day == pytest.approx(-0.02764398, rel=0.1)


@pytest.mark.reference("13,713 x 25,900 km: SINC (2014), gpsworld.com (2014)")
def test_the_navigation_satellite_starts_where_it_was_left() -> None:
    """The start orbit has the published apsides.

    The rise of the perigee that was flown, 3,500 km and more, takes some 155 m/s; the way to the
    slot takes four times that, as the header says.
    """
    case, plan, _, _ = run("navigation_satellite")
    gm, radius = case.body.gm_m3_s2, case.body.radius_m
    apogee, perigee = radius + 25900e3, radius + 13713e3
    start = classical_from_state(case.craft.position_m, case.craft.velocity_m_s, gm)
    assert start.p / (1.0 - start.e) == pytest.approx(apogee, abs=1.0)
    assert start.p / (1.0 + start.e) == pytest.approx(perigee, abs=1.0)
    before, after = (speed_for_apsis(apogee, low, gm) for low in (perigee, perigee + 3588e3))
    assert after - before == pytest.approx(154.7, abs=0.1)  # computed for the published apsides
    assert plan.lower_bound_dv_m_s is not None
    assert plan.total_dv_m_s < plan.lower_bound_dv_m_s * NEARLY_CHEAPEST
    assert plan.total_dv_m_s > 4.0 * (after - before)
