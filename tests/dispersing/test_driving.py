"""What drives which outcome: known shares are found, also where the outcome is a length."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from simcheck.dispersing.driving import METHOD, drivers
from simcheck.dispersing.flights import Job
from simcheck.files.row_file import RowFile
from simcheck.flying.draws import Draws, engine_draws
from simcheck.records.case import Errors
from simcheck.records.dispersion import Driver, Rows
from tests.cli import samples
from tests.dispersing.rows import some

COUNT = 2000
CHANCE = 4 * 2 / np.sqrt(COUNT) * 0.5  # 4 sigma of a share near a half
ERRORS = Errors(thrust_bias=0.01, isp_bias=0.01, pointing_fixed_m_s=0.01, accelerometer_scale=0.1)
JOB = Job(case=samples.case(errors=ERRORS), plan=samples.plan(), seed=2, planner="ring")


def draws() -> list[Draws]:
    return [engine_draws(JOB.seed, k, len(JOB.plan.commands)) for k in range(COUNT)]


def found(rows: Rows, job: Job = JOB) -> tuple[Driver, ...]:
    with RowFile() as table:
        table.put(0, rows)
        return drivers(job, table, len(rows))


def shares(rows: Rows, outcome: str) -> dict[str, float]:
    return {d.source: d.share for d in found(rows) if d.outcome == outcome}


def test_a_length_is_driven_through_its_parts() -> None:
    """k of one source and h of two, about a mean: variances 9, 1 and 2, of 12 in all.

    The length itself, of parts without a mean, no straight line explains: control.
    """
    rows = some(COUNT, failing=0.0)
    x = draws()
    thrust = np.array([d.thrust for d in x])
    isp = np.array([d.isp for d in x])
    scale = np.array([d.accelerometer for d in x])
    rows["eccentricity_k"] = 30 + 3 * thrust
    rows["eccentricity_h"] = isp + np.sqrt(2) * scale
    rows["eccentricity"] = np.hypot(3 * thrust, rows["eccentricity_h"])
    got = shares(rows, "eccentricity")
    assert got["thrust_bias"] == pytest.approx(9 / 12, abs=CHANCE)
    assert got["isp_bias"] == pytest.approx(1 / 12, abs=CHANCE)
    assert got["accelerometer_scale"] == pytest.approx(2 / 12, abs=CHANCE)
    assert got["rest"] < 1e-12
    rows["phase_deg"] = rows["eccentricity"]
    assert shares(rows, "phase_deg")["rest"] > 0.9


def test_the_plane_too_and_burns_are_added_up() -> None:
    """Half by the pointing of all burns, half by noise that no source holds: the rest."""
    rows = some(COUNT, failing=0.0)
    pointing = np.array([d.burns[:, 4:6].sum() for d in draws()])
    rows["plane_x_deg"] = pointing / np.sqrt(2 * len(JOB.plan.commands))
    got = shares(rows, "plane_deg")  # plane_y_deg is a normal number of its own
    assert got["pointing_fixed"] == pytest.approx(1 / 2, abs=CHANCE)
    assert got["rest"] == pytest.approx(1 / 2, abs=CHANCE)


def test_drivers_are_ordered() -> None:
    """Outcome by outcome, the largest share first, every source and the rest in each."""
    got = found(some(COUNT, failing=0.0))
    assert len(got) == 5 * 5
    assert [d.outcome for d in got[::5]] == [
        *("phase_deg", "period_s", "eccentricity", "plane_deg", "dv_used_m_s")
    ]
    for k in range(0, 25, 5):
        part = [d.share for d in got[k : k + 5]]
        assert part == sorted(part, reverse=True)
        assert sum(part) == pytest.approx(1.0, abs=CHANCE)


def test_flights_without_a_value_are_left_out() -> None:
    """NaN does not spoil the others; the sample numbers tell which draws are whose."""
    rows = some(COUNT, failing=0.4)
    rows["dv_used_m_s"] = 800 + np.array([d.thrust for d in draws()])
    assert np.isnan(rows["phase_deg"]).any()
    assert shares(rows, "dv_used_m_s")["thrust_bias"] == pytest.approx(1.0, abs=1e-9)


def test_too_few_name_none() -> None:
    """Ten flights for each number drawn, or none is named; nor without errors that vary."""
    width = 3 + 2 * len(JOB.plan.commands)
    assert found(some(10 * width - 1, failing=0.0)) == ()
    assert found(some(10 * width, failing=0.0)) != ()
    assert found(some(COUNT), replace(JOB, case=samples.case())) == ()


def test_what_does_not_vary_has_no_drivers() -> None:
    """All alike: shares of nothing are nothing."""
    rows = some(COUNT, failing=0.0)
    rows["plane_x_deg"], rows["plane_y_deg"] = 0.1, -0.2
    assert set(shares(rows, "plane_deg").values()) == {0.0}


def test_the_method_says_how() -> None:
    """Regression, and what is done about lengths."""
    assert "regression" in METHOD
    assert "signed components about their mean" in METHOD
