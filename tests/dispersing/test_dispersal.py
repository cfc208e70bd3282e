"""A whole dispersion: in order, stopped in time, broken off and gone on with, always the same."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from simcheck.dispersing import dispersal, flights, running
from simcheck.dispersing.dispersal import Interrupted, Progress, disperse
from simcheck.dispersing.executors import HereExecutor
from simcheck.dispersing.flights import Job, fly_chunk
from simcheck.errors import FlightError
from simcheck.files.chunk_store import MemoryStore
from simcheck.files.row_file import RowFile
from simcheck.records.case import DispersionAim, Errors
from simcheck.records.dispersion import OUTCOMES, ROW, Rows
from tests.cases_for_tests import MARS, case
from tests.cli import samples as made_up

CHUNK = 50


def job(success: float = 0.9, confidence: float = 0.9) -> Job:
    """A job whose flights are stood for by coins; the errors make it one that varies."""
    errors = Errors(thrust_bias=0.01, isp_bias=0.01)
    aim = DispersionAim(samples=100, success=success, confidence=confidence)
    made = replace(case(MARS, slot=3), errors=errors, dispersion=aim)
    return Job(case=made, plan=made_up.plan(), seed=2, planner="ring")


def coins(share: float) -> Any:
    """Stands for fly_chunk: each sample within with this chance, drawn by its number alone."""

    def flown(job: Job, first: int, count: int) -> Rows:
        rows = np.zeros(count, dtype=ROW)
        for row, sample in zip(rows, range(first, first + count), strict=True):
            x = np.random.default_rng([job.seed, sample]).normal(size=8)
            row["sample"], row["within"] = sample, np.random.default_rng(sample).random() < share
            row["phase_deg"], row["dv_used_m_s"] = 0.3 * x[0] + 0.1 * x[1], 800 + x[2]
            row["propellant_used_kg"] = 100 + x[3]
        return rows

    return flown


def fly(monkeypatch: pytest.MonkeyPatch, share: float, samples: int, **options: Any) -> Any:
    monkeypatch.setattr(running, "fly_chunk", coins(share))
    monkeypatch.setattr(dispersal, "CHUNK", {True: CHUNK, False: CHUNK})
    with RowFile() as table:
        found = disperse(job(), samples, MemoryStore(), table, HereExecutor, 1, **options)
        return found, np.concatenate(list(table.blocks(found.samples)))


def test_all_samples_are_summed_up(monkeypatch: pytest.MonkeyPatch) -> None:
    """Rows in order of samples; counts, failures and probability are those of the rows."""
    found, rows = fly(monkeypatch, 0.8, 130)
    assert rows["sample"].tolist() == list(range(130))
    good = int(rows["within"].sum())
    assert (found.samples, found.within.count) == (130, good)
    assert found.within.low < good / 130 < found.within.high
    assert found.failures == tuple(np.flatnonzero(rows["within"] == 0))
    assert found.outcomes["flown"] == 130


@pytest.mark.parametrize(
    ("share", "decision"), [(1.0, "met"), (0.5, "not met"), (0.92, "inconclusive")]
)
def test_the_question_is_judged(
    monkeypatch: pytest.MonkeyPatch, share: float, decision: str
) -> None:
    """90 % asked with 90 % confidence: shown, ruled out, or open with how many more it takes."""
    found, _ = fly(monkeypatch, share, 200)
    assert found.decision == decision
    assert (found.more_samples > 0) is (decision == "inconclusive")


def test_it_stops_once_decided_whatever_the_order(monkeypatch: pytest.MonkeyPatch) -> None:
    """The first chunk in order of samples that settles it ends the run; order does not matter."""
    found, rows = fly(monkeypatch, 1.0, 5000, until_decided=True)
    assert found.decision == "met"
    assert found.samples == len(rows) < 500
    assert found.samples % CHUNK == 0
    assert "likelier" in found.stopped_by

    def backwards(*args: Any, **kwargs: Any) -> Iterator[Any]:
        yield from reversed(list(running.run(*args, **kwargs)))

    monkeypatch.setattr(dispersal, "run", backwards)
    other, same = fly(monkeypatch, 1.0, 5000, until_decided=True)
    assert other.samples == found.samples
    assert same.tobytes() == rows.tobytes()


def test_progress_is_told(monkeypatch: pytest.MonkeyPatch) -> None:
    """After each chunk: how many are done, of how many, and within."""
    seen: list[Progress] = []
    _, rows = fly(monkeypatch, 0.8, 130, watcher=seen.append)
    assert [x.done for x in seen] == [50, 100, 130]
    assert seen[-1] == Progress(130, 130, int(rows["within"].sum()))


def test_an_interrupt_sums_up_what_is_there(monkeypatch: pytest.MonkeyPatch) -> None:
    """Ctrl-C: the flights before the first gap are summed up; none at all is none."""

    def stop(progress: Progress) -> None:
        if progress.done >= 100:
            raise KeyboardInterrupt

    with pytest.raises(Interrupted) as caught:
        fly(monkeypatch, 0.8, 500, watcher=stop)
    assert caught.value.partial is not None
    assert caught.value.flown == 100
    assert caught.value.partial.samples == 100
    assert caught.value.partial.stopped_by == "interrupted"


def test_a_flight_that_cannot_be_computed_is_a_failure(monkeypatch: pytest.MonkeyPatch) -> None:
    """It keeps its number, counts against the success, and is among the worst."""

    def wrong(*args: Any, sample: int, **kwargs: Any) -> Any:
        raise FlightError(f"sample {sample} cannot be flown")

    monkeypatch.setattr(flights, "fly_plan", wrong)
    monkeypatch.setattr(flights, "find_spec", lambda name: None)  # one by one
    rows = fly_chunk(job(), 7, 2)
    assert rows["sample"].tolist() == [7, 8]
    assert [OUTCOMES[k] for k in rows["outcome"]] == ["not-flown"] * 2
    assert not rows["within"].any()
    assert np.isnan(rows["phase_deg"]).all()
    with RowFile() as table:
        table.put(0, rows)
        found = dispersal.summarise(job(), table, 2, "all samples flown")
    assert found.failures == (7, 8)
    assert found.outcomes["not-flown"] == 2
    assert np.isnan(found.percentiles["phase_deg"].mean)


def test_percentiles_and_loads_are_order_statistics(monkeypatch: pytest.MonkeyPatch) -> None:
    """Each is one of the values, bounded by others; too few samples for a bound gives NaN."""
    found, rows = fly(monkeypatch, 0.8, 400)
    part = found.percentiles["propellant_used_kg"]
    assert part.unit == "kg"
    for level, value, low, high in zip(part.levels, part.values, part.low, part.high, strict=True):
        known = np.sort(rows["propellant_used_kg"])
        if level > 99.5:
            assert np.isnan(value)  # of 400 flights none is expected beyond it
            continue
        assert value in known
        assert abs(np.mean(known <= value) - level / 100) <= 1 / 400
        assert not low > value
        assert not high < value
    within = np.sort(rows["propellant_used_kg"][rows["within"] == 1])
    assert found.load_kg["99 %"] in within
    assert np.mean(within <= found.load_kg["99 %"]) >= 0.99
    assert np.isnan(found.load_kg["99.87 %"])  # that takes thousands


def test_drivers_of_a_linear_case(monkeypatch: pytest.MonkeyPatch) -> None:
    """Of an outcome made of 0.3 and 0.1 of two numbers drawn, they drive 90 % and 10 %."""

    def linear(one: Job, first: int, count: int) -> Rows:
        rows = np.zeros(count, dtype=ROW)
        for row, sample in zip(rows, range(first, first + count), strict=True):
            draws = flights_draws(one, sample)
            row["sample"] = sample
            row["phase_deg"] = 0.3 * draws.thrust + 0.1 * draws.isp
        return rows

    monkeypatch.setattr(running, "fly_chunk", linear)
    with RowFile() as table:
        found = disperse(job(), 2000, MemoryStore(), table, HereExecutor, 1)
    shares = {d.source: d.share for d in found.drivers if d.outcome == "phase_deg"}
    assert abs(shares["thrust_bias"] - 0.9) < 0.05  # chance correlation, 2 sigma of 1/sqrt(2000)
    assert abs(shares["isp_bias"] - 0.1) < 0.05
    assert abs(shares["rest"]) < 1e-9
    assert "regression" in found.method


def flights_draws(one: Job, sample: int) -> Any:
    from simcheck.flying.draws import drawn

    return drawn(one.seed, sample, len(one.plan.commands))
