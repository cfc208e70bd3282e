"""Many flights as drawn, each by itself, read back."""

from __future__ import annotations

import numpy as np
import pytest
from matplotlib.patches import Circle, Rectangle, StepPatch

from simcheck.records.dispersion import Percentiles, Rows
from simcheck.report.figures import spread
from tests.dispersing.rows import some
from tests.report.figures.drawn import found, line, on_axis

TOLERANCES = {"phase_deg": 0.5, "period_s": 5.0, "eccentricity": 0.7, "plane_deg": 1.5}
PLANES = {plane.name: plane for plane in spread.PLANES}


def rows(count: int = 400) -> Rows:
    return some(count, seed=3)


@pytest.mark.parametrize("name", PLANES)
def test_every_flight_is_a_mark(name: str) -> None:
    """Dots within, crosses outside, at the row's own numbers."""
    made, plane = rows(), PLANES[name]
    with on_axis(lambda axis: spread.scatter(made, plane, TOLERANCES, axis)) as axis:
        for which, good in (("within", 1), ("outside", 0)):
            some_ = made[made["within"] == good]
            expected = np.stack([some_[column] for column in plane.columns], axis=-1)
            assert line(axis, which) == pytest.approx(expected, nan_ok=True)
        assert axis.get_xlabel() == plane.says[0]


def test_the_tolerance_is_a_box_or_a_circle() -> None:
    """A box of both where they are two, a circle about zero where it is a length; seen whole."""
    made = rows()
    with on_axis(
        lambda axis: spread.scatter(made, PLANES["spread_phase_period"], TOLERANCES, axis)
    ) as axis:
        box = found(axis, "tolerance")
        assert isinstance(box, Rectangle)
        assert (box.get_x(), box.get_y()) == (-0.5, -5.0)
        assert (box.get_width(), box.get_height()) == (1.0, 10.0)
        assert axis.get_xlim()[1] >= 0.5
        assert axis.get_ylim()[1] >= 5.0
    with on_axis(
        lambda axis: spread.scatter(made, PLANES["spread_plane"], TOLERANCES, axis)
    ) as axis:
        ring = found(axis, "tolerance")
        assert isinstance(ring, Circle)
        assert (ring.radius, tuple(ring.center)) == (1.5, (0, 0))
        assert axis.get_aspect() == 1.0


def test_flights_beyond_the_frame_are_counted() -> None:
    """Three tolerances to either side are shown at most; those without a value are not seen."""
    made = rows()
    plane = PLANES["spread_phase_period"]
    tight = {"phase_deg": 0.2, "period_s": 5.0}
    with on_axis(lambda axis: spread.scatter(made, plane, tight, axis)) as axis:
        assert axis.get_xlim() == pytest.approx((-0.6, 0.6))
        x, y = made["phase_deg"], made["period_s"]
        gone = int(np.sum(~((np.abs(x) <= 0.6) & (np.abs(y) <= axis.get_ylim()[1]))))
        assert gone > 100
        assert any(f"{gone} beyond the frame" in text.get_text() for text in axis.texts)


def test_a_histogram_counts_every_flight() -> None:
    """As numpy counts them; a line at each percentile from the median up."""
    made = rows(1000)
    made["dv_used_m_s"] += 900
    part = Percentiles(
        unit="m/s", mean=900.0, levels=(1.0, 50.0, 99.0), values=(897.0, 900.1, 902.5),
        low=(896.0, 900.0, 902.0), high=(898.0, 900.2, 903.0),
    )  # fmt: skip
    with on_axis(lambda axis: spread.histogram(made, "dv_used_m_s", part, axis)) as axis:
        steps = found(axis, "histogram")
        assert isinstance(steps, StepPatch)
        counts, edges, _ = steps.get_data()
        assert counts.sum() == 1000
        expected, _ = np.histogram(made["dv_used_m_s"], bins=edges)
        assert counts == pytest.approx(expected)
        level = sorted(float(one.get_xdata()[0]) for one in axis.get_lines())
        assert level == pytest.approx([900.1, 902.5])
        assert axis.get_xlabel() == "Δv flown, m/s"


def test_of_an_approach_the_small_percentiles_matter() -> None:
    made = rows(1000)
    made["closest_approach_m"] = 5000 + 100 * np.arange(1000.0)
    part = Percentiles(
        unit="m", mean=9000.0, levels=(1.0, 50.0, 99.0), values=(6000.0, 55000.0, 104000.0),
        low=(1.0, 1.0, 1.0), high=(1.0, 1.0, 1.0),
    )  # fmt: skip
    with on_axis(lambda axis: spread.histogram(made, "closest_approach_m", part, axis)) as axis:
        level = sorted(float(one.get_xdata()[0]) for one in axis.get_lines())
        assert level == pytest.approx([6.0, 55.0])
        assert axis.get_xlabel().endswith(", km")


def test_so_many_rows_are_drawn() -> None:
    """The first 20,000; as pixels, lest the file grows."""
    made = rows(25_000)
    with on_axis(
        lambda axis: spread.scatter(made, PLANES["spread_plane"], TOLERANCES, axis)
    ) as axis:
        assert found(axis, "within").get_rasterized()
    assert spread.MOST_ROWS == 20_000
