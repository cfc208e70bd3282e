"""Craft that come too close: one waits on its first orbit, where that helps."""

from __future__ import annotations

import math

import numpy as np
import pytest

import simcheck
from simcheck.records.fleet import Assignment, FleetCraft
from tests.assigning.fleets import at, craft, fleet, start
from tests.cases_for_tests import MARS

DAYS = 4.0


def assigned(*members: FleetCraft, separation_m: float = 0.0) -> Assignment:
    made = fleet(*members, slots=4, days=DAYS, separation_m=separation_m)
    return simcheck.assign(made)


@pytest.mark.slow
def test_one_waits_so_that_both_keep_apart() -> None:
    """Asked for a little more than they kept of themselves, one is put off by whole revolutions.

    Its first burn then comes no sooner than that, its Δv stays what it was (waiting is free), and
    both are still within their tolerances.
    """
    two = craft("Curlew", slot=3), craft("Egret", slot=0)
    free = assigned(*two)
    near = free.approaches[0].distance_m
    assert free.verdict == "within"
    found = assigned(*two, separation_m=1.02 * near)
    assert found.verdict == "within", found.findings
    assert found.approaches[0].kept
    assert found.approaches[0].distance_m >= 1.02 * near
    waiting = [one for one in found.assigned if one.waited_revolutions]
    assert len(waiting) == 1
    position, velocity = start(waiting[0].craft)
    axis = 1 / (2 / np.linalg.norm(position) - np.dot(velocity, velocity) / MARS.gm_m3_s2)
    turn = math.tau * math.sqrt(axis**3 / MARS.gm_m3_s2)
    assert waiting[0].waited_s == pytest.approx(waiting[0].waited_revolutions * turn, rel=1e-9)
    assert waiting[0].flight.arcs[0].end_s > waiting[0].waited_s
    before = {one.craft: one.plan.total_dv_m_s for one in free.assigned}
    assert waiting[0].plan.total_dv_m_s == pytest.approx(before[waiting[0].craft], rel=1e-3)
    assert "put off by" in waiting[0].plan.summary
    assert found.value == pytest.approx(free.value, rel=1e-9)  # of the plans as first made


def test_two_that_start_too_close_are_a_finding() -> None:
    """No wait parts them at the epoch: nobody is put off, and the verdict is outside."""
    position, velocity = start("Heron")
    ahead = position + 0.5 * velocity  # half a second of flight: a kilometre or two
    one = craft("Heron", slot=0)
    found = assigned(one, at(craft("Egret", slot=1), ahead, velocity), separation_m=30e3)
    assert found.verdict == "outside"
    assert all(one.verdict.verdict == "within" for one in found.assigned)
    assert all(one.waited_revolutions == 0 for one in found.assigned)
    (finding,) = found.findings
    assert finding.startswith("Heron and Egret come as close as ")
    assert found.approaches[0].distance_m <= 0.5 * float(np.linalg.norm(velocity)) * (1 + 1e-9)
