"""What is said of a held ring: the numbers, the verdict, and that they fit."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from rich.cells import cell_len

from simcheck.records.case import Case, Tolerance
from simcheck.records.hold import EndError, Hold, HoldSeries, Leaving, RelayHold, Upkeep
from simcheck.report.hold_text import hold_text
from tests.cli import samples
from tests.report.test_network_text import made as network
from tests.report.test_text import WIDTH, text_of

DAYS = np.linspace(0.0, 365.0, 366)


def relay(name: str, slot: int, **fields: Any) -> RelayHold:
    usual: dict[str, Any] = {
        "role": "member",
        "leaving": Leaving(),
        "phase_deg": 0.3,
        "spacing_deg": 0.2,
        "period_s": 1.5,
        "eccentricity": 0.001,
        "plane_deg": 0.05,
        "drift_deg_day": -0.0123,
        "upkeep": Upkeep(dv_m_s_year=12.34, burns_year=8.0, largest_use=0.91, untrimmed=0),
    }
    return RelayHold(name=name, slot=slot, **(usual | fields))


def held(*relays: RelayHold, **fields: Any) -> Hold:
    relays = relays or (relay("R1", 0), relay("R2", 1), relay("R3", 2, role="craft"))
    shape = (len(relays), len(DAYS))
    usual: dict[str, Any] = {
        "start_s": 200_000.0,
        "duration_s": 365.25 * 86400.0,
        "relays": relays,
        "end_errors": (
            EndError(what="as it arrived", leaving=Leaving(phase_days=61.25), drift_deg_day=-0.02),
        ),
        "series": HoldSeries(
            time_days=DAYS,
            phase_deg=np.broadcast_to(-0.001 * DAYS, shape),
            spacing_deg=np.zeros(shape),
            period_s=np.ones(shape),
            eccentricity=np.full(shape, 0.001),
            plane_deg=np.full(shape, 0.02),
        ),
        "wander_deg": (0.0, 0.0),
        "tank_years": None,
        "numerical_deg": 2e-7,
        "network": None,
        "network_end": None,
        "ring_closed_share": None,
        "ring_opens_days": None,
        "notes": (),
    }
    return Hold(**(usual | fields))


def said(found: Hold, case: Case | None = None) -> str:
    case = case or samples.case()
    text = text_of(hold_text(case, samples.plan(), found, samples.ring(case)))
    assert max(cell_len(line) for line in text.splitlines()) <= WIDTH
    return text


def words(found: Hold, case: Case | None = None) -> str:
    return " ".join(said(found, case).split())


def test_a_ring_that_holds() -> None:
    """Dashes for what is not left, the largest error from first to last day, and the verdict."""
    text = words(held())
    assert "R1 0 - - - - - -0.0123" in text
    assert "R3 12.34 8.0 91 %" in text
    assert "0.0 0 0 1 0.001 0.02" in text
    assert "365.0 0.365 0 1 0.001 0.02" in text
    assert "as it arrived 61.2 - - - -0.02" in text
    assert "HOLDS. Every relay stays within its tolerances for 365.2 days." in text
    assert "not a flight clearance" in text


def test_a_ring_that_is_kept() -> None:
    gone = relay("R2", 1, leaving=Leaving(phase_days=80.0, plane_days=42.42))
    dear = relay(
        "R1", 0, upkeep=Upkeep(dv_m_s_year=75.5, burns_year=15, largest_use=1, untrimmed=2)
    )
    text = words(held(dear, gone))
    assert "R2 1 80.0 - - - 42.4" in text
    assert "R1 75.50 15.0 100 % no trim at 2 looks" in text
    assert (
        "KEPT. The first tolerance is left after 42.4 days, nothing being done; trims of at most "
        "75.50 m/s a year and relay keep it."
    ) in text


@pytest.mark.parametrize("use", [1.01, float("inf")])
def test_a_ring_that_trims_do_not_keep(use: float) -> None:
    """Neither is one without trims kept."""
    worse = Upkeep(dv_m_s_year=1.0, burns_year=1.0, largest_use=use, untrimmed=0)
    gone = relay("R2", 1, leaving=Leaving(phase_days=800.0), upkeep=worse)
    found = held(gone, duration_s=3 * 365.25 * 86400.0)
    assert not found.stays
    text = words(found)
    assert (
        "DOES NOT HOLD. The first tolerance is left after 2.19 years, nothing being done, and the "
        "trims do not keep it."
    ) in text
    assert ("lost" if use > 10 else "101 %") in text
    alone = held(relay("R2", 1, leaving=Leaving(phase_days=0.0), upkeep=None))
    text = words(alone)
    assert "Upkeep" not in text
    assert "DOES NOT HOLD. A tolerance is exceeded from the start." in text


def test_only_judged_errors_have_columns() -> None:
    """And the spacing only where there is a phase, and another relay."""
    plane = samples.case(tolerance=Tolerance(plane_rad=0.002))
    head = next(x for x in said(held(), plane).splitlines() if x.startswith("  relay"))
    assert head.split() == ["relay", "slot", "plane", "drift,", "deg/day"]
    assert "Spacing is" not in words(held(), plane)
    alone = said(held(relay("R1", 0)))
    head = next(x for x in alone.splitlines() if x.startswith("  relay"))
    assert "spacing" not in head
    assert "Spacing is" not in alone


def test_the_series_is_thinned_and_keeps_its_end() -> None:
    text = said(held())
    after = text.partition("Largest error of any relay")[2].splitlines()[2:]
    days = [float(line.split()[0]) for line in after[: after.index("")]]
    assert days[0] == 0.0
    assert days[-1] == 365.0
    assert len(days) <= 14


def test_the_network_is_told_at_both_ends() -> None:
    """And for how much of the whole time the ring is closed."""
    three = network(relays=3)
    found = held(network=three, network_end=three, ring_closed_share=0.981, ring_opens_days=47.3)
    text = words(found)
    longest = max(link.longest_m for link in three.links.links) / 1e3
    assert f"longest link {longest:.1f} km {longest:.1f} km" in text
    share = f"{100 * (three.links.closed_share or 0):.1f} %"
    assert f"full ring closed {share} {share}" in text
    assert (
        "the full ring is closed for 98.1 % of the whole time; it is first seen open on day 47."
        in text
    )
    text = words(held(network=three, network_end=three, ring_closed_share=1.0))
    assert "the full ring is closed at every look over the whole time" in text
    text = words(held(network=three, network_end=three, ring_closed_share=0.6, ring_opens_days=0.0))
    assert "open now and then from the start" in text


@pytest.mark.parametrize("relays", [1, 2])
def test_no_ring_has_no_row_of_its_own(relays: int) -> None:
    few = network(relays=relays)
    text = words(held(network=few, network_end=few))
    last = text.partition("The network at the start and at the end")[2].partition("Numerics")[0]
    assert "full ring" not in last
    assert ("longest link" in last) == (relays == 2)


def test_what_moves_all_slots_and_what_the_tank_holds() -> None:
    text = words(held(wander_deg=(-0.001, 24.94), tank_years=2.345))
    assert "move all slots together by +0.00 to +24.94 deg" in text
    assert "has left on arrival makes its upkeep for 2.3 years" in text
    assert "for more than 1000 years" in words(held(tank_years=5e3))


def test_names_of_any_length_fit() -> None:
    long = "A relay with quite a long name that goes on and on " * 3
    found = held(relay(long, 0), relay("R2", 1), notes=(f"{long}: nobody flies there",))
    assert "A relay with" in said(found)
