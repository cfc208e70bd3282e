"""The double check as text: it fits the screen, names causes and keeps the definition apart."""

from __future__ import annotations

import math
from typing import Any

import pytest
from rich.cells import cell_len

from simcheck.records.deep import DeepCheck, Deviation, ErrorBar
from simcheck.report.deep_text import deep_text
from simcheck.report.tables import stacked
from tests.cli import samples
from tests.report.test_text import WIDTH, text_of


def deviation(**fields: Any) -> Deviation:
    made = Deviation(
        name="reference, flight, ring and measuring",
        means="propagator",
        phase_deg=-3.21e-10,
        period_s=4e-8,
        eccentricity=1e-13,
        plane_deg=2e-12,
        verdict="within",
    )
    return samples.changed(made, **fields)


def bar(**fields: Any) -> ErrorBar:
    made = ErrorBar(
        name="phase",
        unit="deg",
        value=-0.01,
        bar=3.21e-10,
        cause="other units",
        allowed=0.5,
        room=0.49,
        bars_of_room=1.53e9,
    )
    return samples.changed(made, **fields)


def check(**fields: Any) -> DeepCheck:
    made = DeepCheck(
        firm=True,
        why="No other means changes the verdict.",
        overturned=(),
        errors=(bar(), bar(name="plane", allowed=None, room=None, bars_of_room=None)),
        limits=(bar(name="dv", unit="m/s", bar=0.0, cause=None, bars_of_room=math.inf),),
        variations=(deviation(), deviation(name="other units", verdict="outside")),
        averaging=(deviation(name="1 revolution of 96 samples", means="averaging"),),
    )
    return samples.changed(made, **fields)


def lines(found: DeepCheck) -> str:
    return text_of(stacked(*deep_text(found)))


def test_bars_stand_beside_what_is_allowed() -> None:
    """Bar, tolerance, how many bars of room and the cause of the bar in a row."""
    rows = {line.split()[0]: line.split() for line in lines(check()).splitlines() if line.strip()}
    assert rows["phase"] == ["phase", "3.21e-10", "deg", "0.5", "deg", "1.53e+09", "other", "units"]
    assert rows["plane"][:4] == ["plane", "3.21e-10", "deg", "none"]
    assert rows["Δv"][:3] == ["Δv", "none", "seen"]


def test_each_variation_has_its_row_and_the_definition_its_own_table() -> None:
    """Signed differences, the verdict marked where it is another, the averaging apart."""
    text = lines(check())
    assert "in 2 ways more" in " ".join(text.split())
    before, _, after = text.partition("The averaging itself")
    assert "-3.21e-10" in before
    assert before.count("OUTSIDE") == 1
    assert "1 revolution of 96 samples" in after
    assert "1 revolution of 96 samples" not in before
    assert "FIRM. No other means changes the verdict." in after
    assert "NOT FIRM" not in text


def test_what_is_not_firm_says_so() -> None:
    """Also where there was nothing to compute again."""
    assert "NOT FIRM. why" in lines(check(firm=False, why="why"))
    empty = check(firm=False, why="why", errors=(), limits=(), variations=(), averaging=())
    assert lines(empty).split() == ["Double", "check", "verdict", "NOT", "FIRM.", "why"]


@pytest.mark.parametrize("size", [0.0, 1e-300, 1e300, math.inf, math.nan])
def test_it_fits_the_screen(size: float) -> None:
    """Whatever the numbers are."""
    values = {"phase_deg": -size, "period_s": size, "eccentricity": size, "plane_deg": size}
    found = check(
        errors=(bar(bar=size, allowed=size, bars_of_room=size),), variations=(deviation(**values),)
    )
    assert max(map(cell_len, lines(found).splitlines())) <= WIDTH
