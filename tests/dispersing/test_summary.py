"""The summary of many flights: order statistics, Δv in four columns, propellant to load."""

from __future__ import annotations

import math
import subprocess
import sys
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from simcheck.dispersing.flights import Job
from simcheck.dispersing.summary import summarise
from simcheck.dispersing.tallying import NUMBERS
from simcheck.files import row_file
from simcheck.files.records_json import write_record
from simcheck.files.row_file import RowFile
from simcheck.kernels.quantiles import quantile_interval
from simcheck.records.case import DispersionAim
from simcheck.records.dispersion import Dispersion, Rows
from tests.cli import samples
from tests.dispersing.rows import some

G0 = 9.80665


def job(**aim: Any) -> Job:
    made = samples.case(dispersion=DispersionAim(**aim))
    return Job(case=made, plan=samples.plan(), seed=2, planner="ring")


def found(rows: Rows, **aim: Any) -> Dispersion:
    with RowFile() as table:
        table.put(0, rows)
        return summarise(job(**aim), table, len(rows), "all samples flown")


def test_percentiles_are_those_of_the_sorted_rows() -> None:
    """Value and bounds of every column at every level, against sorting."""
    rows = some(3000, made=samples.case())
    summary = found(rows)
    for name in NUMBERS:
        part, known = summary.percentiles[name], np.sort(rows[name][np.isfinite(rows[name])])
        for at, level in enumerate(part.levels):
            low, high = quantile_interval(len(known), level / 100, 0.9)
            assert part.values[at] == known[math.ceil(len(known) * level / 100 - 1e-9) - 1]
            assert part.low[at] == known[int(low)]
            assert math.isnan(high) or part.high[at] == known[int(high)]
            assert math.isnan(high) == math.isnan(part.high[at])


def test_the_summary_does_not_depend_on_the_blocks(monkeypatch: pytest.MonkeyPatch) -> None:
    """Rows read a few at a time or all at once: the same but for the rounding of means."""
    rows = some(500, made=samples.case())
    once = write_record(found(rows))
    monkeypatch.setattr(row_file, "BLOCK", 7)
    again = write_record(found(rows))
    for document in (once, again):
        parts = [*document["percentiles"].values(), document["dv"]["statistical"]]
        for part in [*parts, *(one["closest"] for one in document["approaches"])]:
            part["mean"] = float(f"{part['mean']:.9e}")
    assert once == again


def test_nothing_is_added_silently() -> None:
    """Four columns apart: impulses, what re-aiming adds, what was flown beyond both, the margin."""
    rows = some(3000, made=samples.case())
    rows["dv_used_m_s"] += 800
    plan = job().plan
    dv = found(rows, margin_share=0.05).dv
    assert dv.deterministic == plan.total_dv_m_s
    assert dv.finite_burn_loss == plan.commanded_dv_m_s - plan.total_dv_m_s
    median = np.sort(rows["dv_used_m_s"])[1499] - plan.commanded_dv_m_s
    assert dv.statistical.values[dv.statistical.levels.index(50.0)] == median
    assert dv.margin == 0.05 * plan.commanded_dv_m_s
    assert found(rows, margin_m_s=20.0).dv.margin == 20.0
    none = found(rows)
    assert none.dv.margin == 0.0
    assert none.dv.statistical == pytest.approx(dv.statistical) or (
        none.dv.statistical.values == dv.statistical.values
    )


def test_the_margin_is_loaded_on_top() -> None:
    """What flights spend, and what the margin takes from the mass that is left: by hand."""
    rows = some(3000, made=samples.case())
    rows["propellant_used_kg"] += 150
    plain, more = found(rows), found(rows, margin_m_s=20.0)
    spent = np.sort(rows["propellant_used_kg"][rows["within"] == 1])
    engine, craft = job().case.engine, job().case.craft
    for name, level in (("99 %", 0.99), ("99.87 %", 0.9987)):
        used = spent[math.ceil(len(spent) * level) - 1]
        assert plain.load_kg[name] == used
        assert plain.margin_kg[name] == 0.0
        left = craft.dry_mass_kg + craft.propellant_kg - used
        # The rocket equation: what must burn of `left` for 20 m/s.
        part = left * (1 - math.exp(-20.0 / (G0 * engine.isp_s)))
        assert more.margin_kg[name] == pytest.approx(part, rel=1e-12)
        assert more.load_kg[name] == pytest.approx(used + part, rel=1e-12)
    # The bound on the load is the bound on what is spent, with its own margin.
    bound = plain.load_high_kg["99 %"]
    left = craft.dry_mass_kg + craft.propellant_kg - bound
    part = left * (1 - math.exp(-20.0 / (G0 * engine.isp_s)))
    assert more.load_high_kg["99 %"] == pytest.approx(bound + part, rel=1e-12)
    assert more.within.count == plain.within.count


def test_nothing_within_loads_nothing_known() -> None:
    """No flight within: no load is known, with or without a margin."""
    rows = some(300, failing=1.1, made=samples.case())
    for aim in ({}, {"margin_m_s": 20.0}):
        summary = found(rows, **aim)
        assert all(math.isnan(x) for x in summary.load_kg.values())
        assert all(math.isnan(x) for x in summary.load_high_kg.values())
    assert summary.within.count == 0


def test_failures_are_listed_and_the_others_counted(monkeypatch: pytest.MonkeyPatch) -> None:
    """The first ten thousand; how many more there are is said."""
    monkeypatch.setattr("simcheck.dispersing.tallying.LISTED", 20)
    summary = found(some(200, failing=0.5, made=samples.case()))
    assert len(summary.failures) == 20
    assert summary.failures_left_out == 200 - summary.within.count - 20


FLAT = """
import sys
import numpy as np
from simcheck.dispersing import running
from simcheck.dispersing.dispersal import disperse
from simcheck.dispersing.executors import HereExecutor
from simcheck.files.chunk_store import MemoryStore
from simcheck.files.row_file import RowFile
from tests.dispersing.rows import some
from tests.cli import samples as made_up
from tests.dispersing.test_summary import varied

def peak():
    with open("/proc/self/status") as status:
        return int(next(x for x in status if x.startswith("VmHWM")).split()[1]) / 1024

made = some(500, made=made_up.case())
def fly(job, first, count):
    rows = made[:count].copy()
    rows["sample"] += first
    rows["phase_deg"] += first
    return rows

running.fly_chunk = fly
for samples in map(int, sys.argv[1:]):
    with RowFile() as table:
        disperse(varied(), samples, MemoryStore(), table, HereExecutor, 1)
    print(peak())
"""


def varied() -> Job:
    """A job whose errors vary, so that drivers are looked for."""
    errors = samples.changed(job().case.errors, thrust_bias=0.01, isp_bias=0.01)
    return replace(job(), case=samples.case(errors=errors))


@pytest.mark.skipif(not sys.platform.startswith("linux"), reason="reads /proc")
def test_memory_does_not_grow_with_the_samples() -> None:
    """A million flights need no more than a hundred thousand: 4 MB at most, of 130 MB of rows.

    One column of a million numbers is 8 MB.
    """
    command = [sys.executable, "-c", FLAT, "100000", "1000000"]
    done = subprocess.run(command, capture_output=True, text=True, check=True)
    few, many = (float(x) for x in done.stdout.split())
    assert many - few < 4.0
