"""A held ring as drawn, read back."""

from __future__ import annotations

import numpy as np
import pytest
from matplotlib.patches import Rectangle

from simcheck.records.hold import Upkeep
from simcheck.report.figures import ring_time
from tests.cli import samples
from tests.report.figures.drawn import found, line, on_axis
from tests.report.figures.test_gallery import kept
from tests.report.test_hold_text import held, relay


@pytest.mark.parametrize("field", ring_time.SERIES_OF)
def test_lines_are_the_series(field: str) -> None:
    """One a relay, over days from the start, with the band of the tolerance."""
    hold = kept(4)
    with on_axis(lambda axis: ring_time.errors(hold, field, 0.25, axis)) as axis:
        for k, one in enumerate(hold.relays):
            drawn = line(axis, one.name)
            assert drawn[:, 0] == pytest.approx(hold.series.time_days)
            assert drawn[:, 1] == pytest.approx(getattr(hold.series, field)[k])
        band = found(axis, "tolerance")
        assert isinstance(band, Rectangle)
        signed = field in ("phase_deg", "spacing_deg", "period_s")
        assert band.get_y() == pytest.approx(-0.25 if signed else 0.0)
        assert band.get_y() + band.get_height() == pytest.approx(0.25)
        names = [text.get_text() for text in axis.texts]
        assert {one.name for one in hold.relays} <= set(names)


def test_many_relays_are_named_as_far_as_there_is_room() -> None:
    """All are drawn."""
    hold = kept(24)
    with on_axis(lambda axis: ring_time.errors(hold, "phase_deg", 0.25, axis), (7.2, 2.9)) as axis:
        assert all(len(line(axis, one.name)) == 366 for one in hold.relays)
        names = [text.get_text() for text in axis.texts if text.get_text().startswith("R")]
        assert 5 < len(names) < 24


def test_upkeep_as_bars() -> None:
    """As long as the Δv a year; a relay without is left out, one that needs none says so."""
    none = Upkeep(dv_m_s_year=0.0, burns_year=0.0, largest_use=0.2, untrimmed=0)
    hold = held(relay("A", 0), relay("B", 1, upkeep=None), relay("C", 2, upkeep=none))
    with on_axis(lambda axis: ring_time.upkeep(hold, axis)) as axis:
        bars = [p.get_width() for p in axis.patches if isinstance(p, Rectangle)]
        assert bars == pytest.approx([12.34, 0.0])
        said = [text.get_text() for text in axis.texts]
        assert said[0].startswith("12.3 m/s, 8.0 burns a year")
        assert said[1] == "none needed"


def test_only_what_has_a_tolerance() -> None:
    """Spacing goes by the tolerance of the phase; words say who leaves and when."""
    hold = held(relay("A", 0), relay("B", 1))
    names = [picture.name for picture in ring_time.pictures(samples.case(), hold)]
    assert names[:2] == ["hold_phase", "hold_spacing"]
    alone = [picture.name for picture in ring_time.pictures(samples.case(), held(relay("A", 0)))]
    assert "hold_spacing" not in alone
    words = ring_time.pictures(samples.case(), hold)[0].alt
    most = float(np.max(np.abs(hold.series.phase_deg)))
    assert f"A at most {most:.4g} deg, never leaves it" in words
