"""Errors over time as drawn, read back."""

from __future__ import annotations

import numpy as np
import pytest
from matplotlib.lines import Line2D
from matplotlib.patches import Rectangle

from simcheck.records.quantities import QUANTITIES
from simcheck.report.figures import timeline
from tests.report.figures.drawn import flown, found, line, on_axis

DRAWS = {
    "phase": timeline.phase,
    "period": timeline.period,
    "eccentricity": timeline.eccentricity,
    "plane": timeline.plane,
}


@pytest.mark.parametrize("quantity", QUANTITIES, ids=lambda q: q.name)
def test_the_line_is_the_trace_and_the_band_the_tolerance(quantity: object) -> None:
    """In days past the epoch; both edges of the band are ticks, and lie well apart."""
    made, name = flown(), quantity.name  # type: ignore[attr-defined]
    error = quantity.error  # type: ignore[attr-defined]
    with on_axis(lambda axis: DRAWS[name](made.trace, axis)) as axis:
        drawn = line(axis, name)
        assert drawn[:, 0] == pytest.approx(made.trace.time_s / 86400)
        assert drawn[:, 1] == pytest.approx(getattr(made.trace, error))
        band = found(axis, "tolerance")
        assert isinstance(band, Rectangle)
        tolerance = {"phase": 0.5, "period": 5.0, "eccentricity": 0.002, "plane": 0.1}[name]
        low = -tolerance if name in ("phase", "period") else 0.0
        assert band.get_y() == pytest.approx(low)
        assert band.get_height() == pytest.approx(tolerance - low)
        assert {low, tolerance} <= {round(float(t), 9) for t in axis.get_yticks()}
        axis.get_figure().draw_without_rendering()  # type: ignore[union-attr]
        edges = axis.transData.transform([[0, low], [0, tolerance]])[:, 1]
        assert edges[1] - edges[0] > 0.15 * axis.bbox.height  # the band is seen
        unit = {"phase": ", deg", "period": ", s", "eccentricity": "", "plane": ", deg"}[name]
        assert axis.get_ylabel().endswith(unit)
        assert axis.get_xlabel() == "time past the epoch, days"


def test_burns_are_marked_where_they_are() -> None:
    """A line each in the middle of the burn, with its name."""
    made = flown("mars_ring", 7)
    with on_axis(lambda axis: timeline.phase(made.trace, axis)) as axis:
        upright = [
            float(one.get_xdata()[0])
            for one in axis.get_lines()
            if isinstance(one, Line2D)
            and len(set(one.get_xdata())) == 1
            and len(one.get_xdata()) == 2
        ]
        middles = [
            (arc.start_s + arc.end_s) / 2 / 86400 for arc in made.flight.arcs if arc.kind == "burn"
        ]
        assert upright == pytest.approx(middles)
        written = [text.get_text() for text in axis.texts]
        assert next(arc.burn for arc in made.flight.arcs if arc.burn) in written


def test_names_of_burns_close_together_are_left_out() -> None:
    """Their lines are not."""
    burns = [(f"B{k}", 0.5 + 1e-4 * k) for k in range(6)]
    with on_axis(lambda axis: timeline.mark_burns(axis, burns)) as axis:
        assert len(axis.get_lines()) == 6
        assert [text.get_text() for text in axis.texts] == ["B0", "B1"]  # in two rows


def test_a_wrapped_angle_is_no_line_across() -> None:
    times, values = timeline.broken(np.arange(4.0), np.array([170.0, 179.0, -179.0, -170.0]), 180.0)
    assert np.isnan(values).tolist() == [False, False, True, False, False]
    assert times[[0, 1, 3, 4]] == pytest.approx([0, 1, 2, 3])


def test_distances_are_the_trace() -> None:
    """In km; a dot at each least one, the separation asked for as a line."""
    made = flown()
    with on_axis(lambda axis: timeline.distances(made.trace, axis)) as axis:
        for member in made.trace.members:
            drawn = line(axis, f"member {member.name}")
            assert drawn[:, 1] == pytest.approx(member.distance_m / 1e3)
        level = [one for one in axis.get_lines() if set(one.get_ydata()) == {50.0}]
        assert len(level) == 1  # the case asks for 50 km
        nearest = min(float(m.distance_m.min()) for m in made.trace.members)
        # The flight's own is found between samples, these at samples: 1 % at 120 a revolution.
        assert nearest == pytest.approx(made.flight.closest_approach_m, rel=0.01)


def test_words_say_both_ends() -> None:
    made = flown()
    alt = {p.name: p.alt for p in timeline.pictures(made.trace)}["timeline_period"]
    assert f"{made.trace.period_s[0]:.6g} s at the start" in alt
    assert "tolerance 5 s" in alt
    assert "B1 at 2.1" in alt
