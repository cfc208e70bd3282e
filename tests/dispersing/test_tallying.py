"""One pass over the rows: the same counts, whatever the blocks."""

from __future__ import annotations

import numpy as np
import pytest

from simcheck.dispersing import tallying
from simcheck.dispersing.tallying import NUMBERS, SPENT, Tally
from simcheck.files import row_file
from simcheck.files.row_file import RowFile
from tests.cli import samples
from tests.dispersing.rows import some


@pytest.mark.parametrize("block", [1, 7, 1000])
def test_counts_are_those_of_all_rows(block: int, monkeypatch: pytest.MonkeyPatch) -> None:
    """Within, outcomes, values that are numbers and their means, against numpy on all at once."""
    monkeypatch.setattr(row_file, "BLOCK", block)
    rows = some(300, made=samples.case())
    with RowFile() as table:
        table.put(0, rows)
        tally = Tally(samples.case(), table, 300)
    assert tally.within == rows["within"].sum()
    assert tally.failures == np.flatnonzero(rows["within"] == 0).tolist()
    assert tally.outcomes.tolist() == [np.sum(rows["outcome"] == k) for k in range(5)]
    for column, name in enumerate(NUMBERS):
        known = rows[name][np.isfinite(rows[name])]
        assert tally.known[column] == len(known)
        assert abs(tally.mean[column] - known.mean()) < 1e-14  # rounding of 300 additions
    spent = rows["propellant_used_kg"][rows["within"] == 1]
    assert tally.known[SPENT] == len(spent)
    assert abs(tally.mean[SPENT] - spent.mean()) < 1e-14


@pytest.mark.parametrize("block", [7, 1000])
def test_the_worst_are_the_furthest_out(block: int, monkeypatch: pytest.MonkeyPatch) -> None:
    """By the largest share of a tolerance used; without a value first; ties by number."""
    monkeypatch.setattr(row_file, "BLOCK", block)
    rows = some(50, failing=0.0, made=samples.case())
    for name in ("phase_deg", "period_s", "eccentricity", "plane_deg"):
        rows[name] = 0.0
    rows["phase_deg"][[40, 3]] = -2.0, 1.9  # tolerance 0.5 deg: 4 and 3.8 times
    rows["plane_deg"][20] = 0.39  # tolerance 0.1 deg: 3.9 times
    rows["period_s"][[33, 8]] = np.nan
    with RowFile() as table:
        table.put(0, rows)
        worst = Tally(samples.case(), table, 50).worst
    assert worst == (8, 33, 40, 20, 3, 0, 1, 2, 4, 5)


def test_the_list_of_failures_has_an_end(monkeypatch: pytest.MonkeyPatch) -> None:
    """The first ones are listed, all are counted."""
    monkeypatch.setattr(tallying, "LISTED", 12)
    monkeypatch.setattr(row_file, "BLOCK", 10)
    rows = some(100, failing=0.5, made=samples.case())
    with RowFile() as table:
        table.put(0, rows)
        tally = Tally(samples.case(), table, 100)
    failed = np.flatnonzero(rows["within"] == 0)
    assert tally.failures == failed[:12].tolist()
    assert tally.within == 100 - len(failed)
