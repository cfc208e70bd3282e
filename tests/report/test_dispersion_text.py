"""Many flights as text: what is added is said, and it fits the screen."""

from __future__ import annotations

import io
from typing import Any

from rich.cells import cell_len
from rich.console import Console

from simcheck.dispersing.flights import Job
from simcheck.dispersing.summary import summarise
from simcheck.files.row_file import RowFile
from simcheck.records.case import DispersionAim, Errors
from simcheck.records.dispersion import Dispersion
from simcheck.report.dispersion_text import dispersion_text
from tests.cli import samples
from tests.dispersing.rows import some


def text_of(count: int = 3000, failing: float = 0.3, **aim: Any) -> str:
    made = samples.case(
        dispersion=DispersionAim(**aim), errors=Errors(thrust_bias=0.01, isp_bias=0.01)
    )
    job = Job(case=made, plan=samples.plan(), seed=2, planner="ring")
    rows = some(count, failing=failing)
    rows["propellant_used_kg"] += 150
    with RowFile() as table:
        table.put(0, rows)
        found: Dispersion = summarise(job, table, count, "all samples flown")
    stream = io.StringIO()
    console = Console(file=stream, width=100, color_system=None)
    console.print(dispersion_text(made, job.plan, found, samples.ring(made)))
    assert max(cell_len(line) for line in stream.getvalue().splitlines()) <= 100
    return " ".join(stream.getvalue().split())


def test_a_margin_stands_in_its_column_and_in_the_load() -> None:
    """Its size, what it is a share of, and how much of the propellant to load is for it."""
    text = text_of(margin_share=0.05)
    plan = samples.plan()
    margin = (
        f"policy margin {0.05 * plan.commanded_dv_m_s:.3f} m/s, 5.0 % of what the plan commands"
    )
    assert margin in text
    assert text.count("kg of it for the policy margin") == 2
    text = text_of(margin_m_s=20.0)
    assert "policy margin 20.000 m/s" in text
    assert "of what the plan commands" not in text


def test_without_a_margin_none_is_loaded() -> None:
    """None was asked for: said so, and the load is what flights spend."""
    text = text_of()
    assert "policy margin none asked for" in text
    assert "of it for the policy margin" not in text


def test_what_drives_lengths_is_said() -> None:
    """The method names the components; they themselves are left to the rows and the JSON."""
    text = text_of()
    assert "two signed components about their mean" in text
    assert "eccentricity_k" not in text
    assert "plane_x" not in text


def test_all_failures_are_counted() -> None:
    """The first are named; the others counted, those beyond the list too."""
    text = text_of(30_000, failing=1.1)
    assert "11 and 29988 more" in text
