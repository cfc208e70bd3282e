"""The flight team's log as drawn, read back."""

from __future__ import annotations

import numpy as np
import pytest

from simcheck.report.figures import loop
from tests.report.figures.drawn import flown, line, on_axis

TOLERANCES = {"phase_deg": 0.5, "period_s": 5.0, "eccentricity": 0.002, "plane_deg": 0.1}
NAMES = {"phase": "phase_deg", "period": "period_s", "eccentricity": "eccentricity",
         "plane": "plane_deg"}  # fmt: skip


@pytest.mark.parametrize("name", NAMES)
def test_marks_are_the_errors_over_their_tolerance(name: str) -> None:
    """Believed and true at every decision, the measured ones last; within the band below one."""
    flight, field = flown("mars_ring", 7).flight, NAMES[name]
    with on_axis(lambda axis: loop.decisions(flight, TOLERANCES, axis)) as axis:
        for which in ("believed", "true"):
            shares = [
                abs(getattr(getattr(d, which), field)) / TOLERANCES[field] for d in flight.decisions
            ]
            if which == "true":
                shares.append(abs(getattr(flight.errors, field)) / TOLERANCES[field])
            drawn = line(axis, f"{which} {name}")
            assert drawn[:, 1] == pytest.approx(shares)
            assert np.round(drawn[:, 0]) == pytest.approx(np.arange(len(shares)))
        ticks = [tick.get_text() for tick in axis.get_xticklabels()]
        for decision, text in zip(flight.decisions, ticks, strict=False):
            assert text == f"{decision.action}\n{decision.time_s / 86400:.2f} d"
        assert axis.get_ylim()[1] > max(line(axis, f"true {n}")[:, 1].max() for n in NAMES)


def test_only_what_is_judged_is_drawn() -> None:
    flight = flown("mars_ring", 7).flight
    with on_axis(lambda axis: loop.decisions(flight, {"period_s": 5.0}, axis)) as axis:
        named = {one.get_gid() for one in axis.get_lines() if one.get_gid()}
        assert {n for n in named if n.startswith("true")} == {"true period"}


def test_no_team_no_log() -> None:
    assert loop.pictures(flown().flight, TOLERANCES) == []
    words = loop.pictures(flown("mars_ring", 7).flight, TOLERANCES)[0].alt
    first = flown("mars_ring", 7).flight.decisions[0]
    assert f"period {first.true.period_s:.3g} s" in words
