"""Two plans side by side as text."""

from __future__ import annotations

from typing import Any

import pytest
from rich.cells import cell_len

from simcheck import comparing
from simcheck.comparing import compare
from simcheck.records.plan import Plan
from simcheck.report.comparison_text import comparison_text
from tests.cli import samples
from tests.report.test_text import WIDTH, text_of

NAMES = ("planned here", "other.json")


@pytest.fixture(autouse=True)
def flying(monkeypatch: pytest.MonkeyPatch) -> None:
    """The sample flight for every plan, outside where a plan arrives at once."""
    outside = samples.flight(errors=samples.changed(samples.flight().errors, phase_deg=0.7))
    monkeypatch.setattr(
        comparing,
        "fly_plan",
        lambda case, plan, reference: outside if plan.arrival_time_s == 1.0 else samples.flight(),
    )


def lines(other: Plan, **fields: Any) -> str:
    case = samples.case()
    found = compare(case, samples.plan(), samples.case(**fields), other)
    return text_of(comparison_text(found, NAMES))


def test_both_stand_side_by_side() -> None:
    """Where each is from, rows of A, B and what differs, which is better, both verdicts."""
    cheap = samples.plan(
        burns=(samples.burn(1, 500.0),), total_dv_m_s=500.0, commanded_dv_m_s=501.0
    )
    text = lines(cheap)
    assert "A  planned here: two burns over three revolutions (planner: ring)" in text
    assert "B  other.json: " in text
    rows = [line.split() for line in text.splitlines()]
    assert ["Δv", "commanded", "802.000", "m/s", "501.000", "m/s", "-301.000", "m/s", "B"] in rows
    burns = [row[:2] for row in rows if row[1:] and row[1] in {"B1", "B2", "turned"}]
    assert burns == [["A", "B1"], ["B", "B1"], ["B-A", "turned"], ["A", "B2"]]
    assert text.count("WITHIN") == 2
    assert "costs 301.000 m/s less" in text


def test_warnings_stand_with_their_plan() -> None:
    """What a plan warns of is told once, under the side that it is of."""
    text = " ".join(lines(samples.plan(warnings=("its mass is another's",))).split())
    assert text.count("B WARNING its mass is another's") == text.count("WARNING") == 1


def test_a_bad_one_says_why() -> None:
    """The verdict that is outside is marked, with what was found."""
    text = lines(samples.plan(arrival_time_s=1.0))
    assert text.count("OUTSIDE") == 1
    assert "the phase error of 0.7 deg is outside its tolerance" in " ".join(text.split())


def test_two_cases_are_both_named() -> None:
    """Titles side by side where they differ, once where they do not."""
    assert "A fourth relay for the ring | Another" in lines(samples.plan(), title="Another")
    assert "|" not in lines(samples.plan())


@pytest.mark.parametrize("size", [1e-12, 1e12])
def test_it_fits_the_screen(size: float) -> None:
    """Whatever the numbers are, and where no burn is needed."""
    huge = samples.plan(
        burns=(samples.burn(1, size),), total_dv_m_s=size, commanded_dv_m_s=size, summary="x" * 200
    )
    for other in (huge, samples.plan(burns=())):
        assert max(map(cell_len, lines(other, title="y" * 200).splitlines())) <= WIDTH
