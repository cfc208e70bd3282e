"""Many flights as text: what is added is said, and it fits the screen."""

from __future__ import annotations

import io
from typing import Any

import numpy as np
from rich.cells import cell_len
from rich.console import Console

from simcheck.dispersing.flights import Job
from simcheck.dispersing.summary import summarise
from simcheck.files.row_file import RowFile
from simcheck.records.case import DispersionAim, Errors, Member
from simcheck.records.dispersion import Dispersion
from simcheck.report.dispersion_text import dispersion_text
from tests.cli import samples
from tests.dispersing.rows import some


def text_of(
    count: int = 3000,
    failing: float = 0.3,
    members: tuple[Member, ...] = samples.case().members,
    **aim: Any,
) -> str:
    made = samples.case(
        dispersion=DispersionAim(**aim),
        errors=Errors(thrust_bias=0.01, isp_bias=0.01),
        members=members,
    )
    job = Job(case=made, plan=samples.plan(), seed=2, planner="ring")
    rows = some(count, failing=failing, made=made)
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


def test_each_members_closest_approach_is_told() -> None:
    """The least and its sample, percentiles, and how likely the separation is kept."""
    text = text_of()
    assert "Closest approach to each member" in text
    assert "member least, km sample 1 % at least 1 % 5 % 50 % kept" in text
    assert "separation 20.0 km from every member is kept by 0 flights = 0.0 %" in text
    rows = some(3000, made=samples.case())
    least, sample = np.nanmin(rows["closest_2_m"]), np.nanargmin(rows["closest_2_m"])
    assert f"R2 {least / 1e3:.3f} {sample} " in text


def test_many_members_are_named_in_part() -> None:
    """The nearest dozen, and how many others there are."""
    members = tuple(Member(name=f"R{k}", slot=None) for k in range(30))
    text = text_of(members=members)
    assert text.count("0.0 % R") == 11
    assert "18 members further away not listed." in text


def test_without_members_nothing_is_told() -> None:
    """No member, no section."""
    assert "Closest approach to each member" not in text_of(members=())
