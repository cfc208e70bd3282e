"""What many flights say together, read back from the pictures."""

from __future__ import annotations

import math
from functools import cache

import numpy as np
import pytest
from matplotlib.patches import Rectangle

from simcheck.dispersing.flights import Job
from simcheck.dispersing.summary import summarise
from simcheck.files.row_file import RowFile
from simcheck.records.case import Errors
from simcheck.records.dispersion import Dispersion
from simcheck.report.figures import chances
from tests.cli import samples
from tests.dispersing.rows import some
from tests.report.figures.drawn import found, line, on_axis


@cache
def many(count: int = 3000) -> Dispersion:
    made = samples.case(errors=Errors(thrust_bias=0.01, isp_bias=0.01))
    job = Job(case=made, plan=samples.plan(), seed=2, planner="ring")
    rows = some(count, made=made)
    rows["propellant_used_kg"] += 150
    rows["dv_used_m_s"] += 900
    with RowFile() as table:
        table.put(0, rows)
        return summarise(job, table, count, "all samples flown")


def test_success_with_its_interval() -> None:
    """In per cent; what is asked is seen too."""
    dispersion = many()
    with on_axis(lambda axis: chances.success(dispersion, axis)) as axis:
        part = dispersion.within
        assert line(axis, "interval")[:, 0] == pytest.approx([100 * part.low, 100 * part.high])
        assert line(axis, "probability")[0, 0] == pytest.approx(100 * part.count / 3000)
        assert line(axis, "asked")[:, 0] == pytest.approx(100 * dispersion.asked)
        low, high = axis.get_xlim()
        assert low < min(100 * part.low, 100 * dispersion.asked) < 100 <= high


def test_percentiles_with_theirs() -> None:
    """numpy's order statistics lie in the bars; where there are too few flights it is said."""
    dispersion = many()
    part = dispersion.percentiles["dv_used_m_s"]
    rows = some(3000, made=samples.case())["dv_used_m_s"] + 900
    with on_axis(lambda axis: chances.cumulative(dispersion, "dv_used_m_s", axis)) as axis:
        dots = line(axis, "percentiles")
        assert dots[:, 0] == pytest.approx(part.values, nan_ok=True)
        for level, value in zip(part.levels, dots[:, 0], strict=True):
            if math.isfinite(value):  # between neighbours in order, whichever rule is used
                near = np.percentile(rows, [max(level - 0.1, 0), min(level + 0.1, 100)])
                assert near[0] <= value <= near[1]
        assert line(axis, "mean")[0, 0] == pytest.approx(rows.mean(), abs=0.02)
    few = many(50)
    with on_axis(lambda axis: chances.cumulative(few, "dv_used_m_s", axis)) as axis:
        assert "too few flights to say" in [text.get_text() for text in axis.texts]


def test_drivers_as_bars() -> None:
    """As long as their shares, the largest first, what is left last."""
    dispersion = many()
    shares = {(one.outcome, one.source): one.share for one in dispersion.drivers}
    with on_axis(lambda axis: chances.drivers(dispersion, axis)) as axis:
        drawn = [p for p in axis.patches if isinstance(p, Rectangle)]
        assert len(drawn) == len(shares)  # two sources and the rest of five outcomes
        for (outcome, source), part in shares.items():
            bar = found(axis, f"{outcome} {source}")
            assert isinstance(bar, Rectangle)
            assert bar.get_width() == pytest.approx(100 * part)
        rests = [found(axis, f"{outcome} rest").get_y() for outcome, _ in shares]  # type: ignore[attr-defined]
        assert sorted(rests) == sorted(rests, key=float)
        assert len(axis.get_yticklabels()) == len(shares)


def test_words() -> None:
    dispersion = many()
    words = {picture.name: picture.alt for picture in chances.pictures(dispersion)}
    part = dispersion.within
    assert f"{part.count} of 3000 flights within" in words["success"]
    assert f"{100 * part.low:.1f} %" in words["success"]
    assert "50 % 900.0 m/s" in words["dv_percentiles"]
    assert "thrust_bias" in words["drivers"]
