"""Linear covariance as text: it fits the screen, and says what is compared with what."""

from __future__ import annotations

import io
from typing import Any

import numpy as np
import pytest
from rich.cells import cell_len
from rich.console import Console

from simcheck.dispersing.beside import METHOD
from simcheck.records.linear import (
    Comparison,
    Linear,
    LinearBeside,
    LinearOutcome,
    LinearSource,
    Spread,
)
from simcheck.report.linear_text import linear_text
from simcheck.report.tables import stacked

OUTCOMES: dict[str, Spread] = {
    "phase_deg": "sigma",
    "period_s": "sigma",
    "eccentricity": "rms",
    "plane_deg": "rms",
    "dv_used_m_s": "sigma",
    "propellant_used_kg": "sigma",
}
SOURCES = ("thrust_bias", "magnitude_proportional", "pointing_proportional", "isp_bias")


def text_of(found: LinearBeside) -> str:
    stream = io.StringIO()
    Console(file=stream, width=100, color_system=None).print(stacked(*linear_text(found)))
    return stream.getvalue()


def words_of(found: LinearBeside) -> str:
    """The same on one line."""
    return " ".join(text_of(found).split())


def linear(spread: float = 0.0123, **fields: Any) -> Linear:
    given: dict[str, Any] = {
        "nominal": np.zeros(8),
        "sources": tuple(LinearSource(source=name, matrix=np.ones((8, 2))) for name in SOURCES),
        "covariance": np.eye(8),
        "outcomes": tuple(
            LinearOutcome(outcome=name, nominal=-1.234e-5, kind=kind, spread=spread)
            for name, kind in OUTCOMES.items()
        ),
        "drivers": {
            name: dict(zip(SOURCES, (0.7, 0.2, 0.0999, 0.0001), strict=True)) for name in OUTCOMES
        },
        "left_out": (),
    }
    return Linear(**(given | fields))


def beside(parting: str = "", flown: float = 0.0125, **fields: Any) -> LinearBeside:
    given: dict[str, Any] = {
        "closed_loop": False,
        "linear": linear(),
        "flights": 400,
        "comparisons": tuple(
            Comparison(
                outcome=name,
                kind=kind,
                linear=0.0123,
                flown=flown,
                low=0.9 * flown,
                high=1.1 * flown,
                parts=name == parting,
            )
            for name, kind in OUTCOMES.items()
        ),
        "method": METHOD,
    }
    return LinearBeside(**(given | fields))


def test_both_spreads_stand_side_by_side() -> None:
    """A row an outcome with its interval, what it is, and whether the two agree."""
    lines = [" ".join(line.split()) for line in text_of(beside("plane_deg")).splitlines()]
    assert "phase, deg sigma -1.23e-05 0.0123 0.0125 0.0113 0.0138 agree" in lines
    assert "plane, deg rms -1.23e-05 0.0123 0.0125 0.0113 0.0138 part" in lines
    words = words_of(beside())
    assert "the spread of 400 flights with its chi-square interval of 99%" in words
    assert "errors too large for straight lines" in words


def test_what_drives_an_outcome_is_named() -> None:
    """The sources by share; one that would read as nothing is not."""
    lines = [" ".join(line.split()) for line in text_of(beside()).splitlines()]
    driven = "thrust_bias 70.0 %, magnitude_proportional 20.0 %, pointing_proportional 10.0 %"
    assert f"period, s {driven}" in lines
    assert "isp_bias" not in text_of(beside())


def test_a_team_is_told_apart() -> None:
    """Closed loop: what the spreads would be, and no column of flights."""
    words = words_of(beside(closed_loop=True, comparisons=(), flights=0, method=""))
    assert "flown without corrections" in words
    assert "Flown without corrections these would be the spreads" in words
    assert "not compared" in words
    assert "agree" not in words


def test_missed_burns_and_few_flights_are_said() -> None:
    """What is left out of the numbers stands below them."""
    words = words_of(beside(linear=linear(left_out=("missed_burn",))))
    assert "Missed burns have no derivative and are left out, and so are the flights" in words
    few = beside(comparisons=(), flights=12, method="", linear=linear(left_out=("missed_burn",)))
    assert "too few flights to compare with: 12" in words_of(few)
    assert "are left out." in words_of(few)


def test_none_has_its_reason() -> None:
    """No covariance, or no error that varies: a line says why."""
    why = "the flight without errors ends otherwise: out-of-propellant"
    assert f"None: {why}." in words_of(LinearBeside(closed_loop=False, linear=None, why_not=why))
    empty = linear(sources=(), drivers={})
    assert "None: no error varies." in words_of(beside(linear=empty))


@pytest.mark.parametrize("size", [0.0, 1e-12, 1.0, 1.234e9, -9.87e-300, 1.234e300])
def test_it_fits_the_screen(size: float) -> None:
    """100 columns whatever the numbers."""
    for closed in (False, True):
        text = text_of(beside("phase_deg", flown=size, linear=linear(size), closed_loop=closed))
        assert max(cell_len(line) for line in text.splitlines()) <= 100
        assert "…" not in text
