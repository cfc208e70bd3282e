"""What `simcheck trim` says: where the craft stands, what becomes of it, the burns to do next."""

from __future__ import annotations

import io
import math
import re
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from rich.cells import cell_len
from rich.console import Console

from simcheck.files.documents import advice_document
from simcheck.records.advice import Advice
from simcheck.records.case import Case, Tolerance
from simcheck.records.estimate import Estimate
from simcheck.records.flight import FlownErrors
from simcheck.records.reconstruction import Reconstruction
from simcheck.report.trim_text import doing_nothing, trim_text
from tests.cli import samples

WIDTH = 100


def errors(**fields: float) -> FlownErrors:
    made = FlownErrors(phase_deg=-5.2, period_s=0.1, eccentricity=1e-4, plane_deg=0.004)
    return samples.changed(made, **fields)


def advice(**fields: Any) -> Advice:
    made = Advice(
        estimate=Estimate(
            time_s=86_400.0,
            position_m=np.array([samples.RADIUS_M, 0.0, 0.0]),
            velocity_m_s=np.array([0.0, samples.SPEED_M_S, 0.0]),
            mass_kg=400.0,
            source="a tracking solution",
        ),
        errors=errors(),
        sigma=errors(phase_deg=0.01, period_s=0.6),
        within={"phase": False, "period": True, "eccentricity": True, "plane": True},
        drift_deg_day=-0.02,
        holds_days=0.0,
        plan=samples.plan(),
        left=errors(phase_deg=-0.001),
        why="R4 is 5.20 deg behind slot 3.",
    )
    return samples.changed(made, **fields)


def said(found: Advice, case: Case | None = None, made: Reconstruction | None = None) -> str:
    case = case or samples.case()
    stream = io.StringIO()
    text = trim_text(case, found, samples.ring(case), made)
    Console(file=stream, width=WIDTH, color_system=None).print(text)
    return stream.getvalue()


def test_the_table_has_all_that_is_known() -> None:
    """Error, sigma, tolerance, share and what the burns leave stand in one row."""
    text = said(advice())
    row = next(line for line in text.splitlines() if line.startswith("  phase "))
    cells = "-5.2 deg|0.01 deg|0.5 deg|1040.0 %|OUTSIDE|-0.001 within"
    assert re.split(r" {2,}", row.strip()) == ["phase", *cells.split("|")]
    for words in (
        "a tracking solution",
        "1 d 00:00:00.0 after the epoch = 2031-04-13 06:00:00.0 TDB",
        "radius 12652.306 km, 1840.000 m/s",
        "R4 is 5.20 deg behind slot 3.",
        "Burns to do next",
        "B1: raise the periapsis",
        "Waiting longer to pay less",
        "not a flight clearance",
    ):
        assert words in text
    assert "floor" not in text  # a trim has none


def test_propellant_is_counted_from_the_states_mass() -> None:
    """What the burns use is taken from what the state's mass leaves in the tank, not the case's."""
    assert "of 90.00 kg" in said(advice())
    bare = samples.changed(advice().estimate, mass_kg=None)
    text = said(advice(estimate=bare))
    assert "of 200.00 kg" in text
    assert "510.00 kg (the state has none: as in the case file)" in text


def test_without_burns_it_says_so() -> None:
    """Where nothing is needed there is neither plan nor trade."""
    bare = {"plan": None, "left": None, "sigma": None, "errors": errors(phase_deg=0.1)}
    assert "None can be made." in said(advice(**bare))
    text = said(advice(**bare, within={"phase": True}))
    assert "None is needed." in text
    assert "Waiting longer" not in text


def test_what_is_not_listed_is_not_judged() -> None:
    """An error without a tolerance is shown, and said not to be judged."""
    text = said(advice(), samples.case(tolerance=Tolerance(period_s=5.0)))
    assert text.count("not judged") == 4  # three rows, and the phase's future


@pytest.mark.parametrize(
    ("phase", "drift", "days", "words"),
    [
        (0.1, 0.02, 20.0, "drifts by +0.02 deg/day and leaves its tolerance in 20.0 days"),
        (0.1, 0.0, None, "does not drift and stays within its tolerance"),
        (-5.2, 0.02, 0.0, "back inside its tolerance in 235.0 days, and on"),
        (-5.2, -0.02, 0.0, "outside its tolerance and stays there"),
        (-5.2, 0.0, 0.0, "outside its tolerance and stays there; the phase does not drift"),
        (-5.2, 1e-9, 0.0, "outside its tolerance and stays there; the phase does not drift"),
        (0.1, 1e-9, 4e8, "does not drift and stays within"),
    ],
)
def test_what_becomes_of_the_phase(
    phase: float, drift: float, days: float | None, words: str
) -> None:
    """Doing nothing has its consequence told, and never two that contradict each other."""
    made = advice(errors=errors(phase_deg=phase), drift_deg_day=drift, holds_days=days)
    assert words in doing_nothing(samples.case(), made)


def test_a_free_phase_has_no_future() -> None:
    """Where the phase is not judged it is not said to leave anything."""
    case = samples.case(tolerance=Tolerance(period_s=5.0))
    assert doing_nothing(case, advice(holds_days=None)) == "the phase is not judged"


def test_the_document_holds_what_the_text_says() -> None:
    """The JSON document has every field of the advice, plain, and null where there is none."""
    case = samples.case()
    document = advice_document(case, advice(), samples.ring(case))
    assert document["schema"] == "simcheck.trim/1"
    assert document["errors"]["phase_deg"] == -5.2
    assert document["left"]["phase_deg"] == -0.001
    assert document["estimate"]["position_m"] == [samples.RADIUS_M, 0.0, 0.0]
    assert document["plan"]["burns"][0]["label"] == "B1"
    assert document["tolerance"]["phase_deg"] == 0.5
    bare = advice_document(
        case,
        advice(plan=None, left=None, sigma=None, holds_days=None, drift_deg_day=math.nan),
        samples.ring(case),
    )
    for key in ("plan", "left", "sigma", "holds_days", "drift_deg_day"):
        assert bare[key] is None
    assert bare["estimate"]["covariance"] is None


def test_the_burn_just_made() -> None:
    """What was asked, made and how well that is known; a misfit of many sigmas is marked."""
    made = Reconstruction(
        burn="B1",
        purpose="insertion",
        engine="engine",
        start_s=3600.0,
        duration_s=60.0,
        steering="rsw",
        dv_m_s=np.array([0.0, 99.0, 1.0]),
        commanded_m_s=np.array([0.0, 100.0, 0.0]),
        covariance=np.diag([0.01, 0.04, 0.09]),
        thrust_n=400.0,
        isp_s=318.0,
        mass_before_kg=420.0,
        mass_after_kg=407.0,
        misfit=0.8,
    )
    text = said(advice(plan=samples.plan(warnings=("hot",))), made=made)
    rows = [line.split() for line in text.splitlines()]
    assert ["along-track", "+100.000", "+99.000", "-1.000", "0.200"] in rows
    assert ["cross-track", "+0.000", "+1.000", "+1.000", "0.300"] in rows
    assert ["size", "99.005", "m/s,", "-0.99", "%"] in rows
    assert ["direction", "0.579", "deg", "off"] in rows
    assert "0.8 sigma that no Δv explains" in text
    assert ["WARNING", "hot"] in rows
    assert "NOT THIS BURN ALONE" not in text
    assert "NOT THIS BURN ALONE" in said(advice(), made=samples.changed(made, misfit=9.0))
    blind = said(advice(), made=samples.changed(made, covariance=None, misfit=None))
    assert "sigma that no" not in blind
    assert "The burn just made" not in said(advice())


numbers = st.floats(allow_nan=True, allow_infinity=True)
texts = st.text(max_size=300) | st.text("W[]/ \x1b\n°界", min_size=100, max_size=300)


@settings(max_examples=30)
@given(st.lists(numbers, min_size=12, max_size=12), texts, texts)
def test_it_fits_whatever_it_holds(values: list[float], one: str, two: str) -> None:
    """No number or text makes a line longer than 100 columns or breaks the output."""
    three = [
        FlownErrors(phase_deg=a, period_s=b, eccentricity=c, plane_deg=d)
        for a, b, c, d in zip(*[iter(values)] * 4, strict=True)
    ]
    made = advice(
        errors=three[0],
        sigma=three[1],
        left=three[2],
        drift_deg_day=values[0],
        holds_days=values[5],
        estimate=samples.changed(advice().estimate, source=one),
        why=two,
    )
    text = said(made, samples.case(title=two))
    assert max(map(cell_len, text.split("\n"))) <= WIDTH
    assert all(line.isprintable() for line in text.split("\n"))
