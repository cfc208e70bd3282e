"""What an error on arrival does: relays posed with one error each."""

from __future__ import annotations

import numpy as np
import pytest

from simcheck import api
from simcheck.holding.drifting import drift, look_times
from simcheck.holding.ends import pose_ends
from simcheck.holding.relays import relays_of
from simcheck.records.case import Tolerance
from tests.cases_for_tests import TOLERANCE, ring
from tests.holding.bench import DAY_S, about_mars, degrees_a_day, site


def test_each_relay_reads_nine_tenths_of_one_tolerance() -> None:
    """And nothing else; of the phase and the period to both sides."""
    here = site(about_mars(slot=1))
    relays = relays_of(here.case, here.motion, here.propagator, 0.0, here.relays()[1])
    posed = pose_ends(here.case, here.motion, here.propagator, relays)
    assert posed.names[0] == "exactly on the slot"
    looks = look_times(0.0, 4 * DAY_S, here.motion.period_s)
    slots = np.full(len(posed.names), 1)
    found = drift(here.batches, here.motion, slots, posed.states, looks).begun(0.0, here.motion)
    limits = [TOLERANCE.phase_rad, TOLERANCE.period_s, TOLERANCE.eccentricity, TOLERANCE.plane_rad]
    scale = np.array([1.0, here.motion.period_s, 1.0, 1.0])
    used = found.sizes[:, 0] * scale / np.array(limits, dtype=float)
    due = np.zeros((7, 4))
    due[[1, 2, 3, 4, 5, 6], [0, 0, 1, 1, 2, 3]] = [0.9, -0.9, 0.9, -0.9, 0.9, 0.9]
    assert np.max(np.abs(used - due)) < 2e-3  # the quick look, and J2 over the eccentricity


def test_only_what_is_judged_is_posed() -> None:
    made = about_mars(tolerance=Tolerance(plane_rad=0.01), goal=ring(12.0, slots=2))
    here = site(made)
    relays = relays_of(here.case, here.motion, here.propagator, 0.0, None)
    posed = pose_ends(here.case, here.motion, here.propagator, relays)
    assert posed.names == ["plane, 90 % of its tolerance"]


def test_a_tolerance_too_wide_to_pose_is_left_out() -> None:
    """Of a phase any is an arrival; 150 deg of tilt, or an eccentricity of 0.8, are no ring's."""
    wide = Tolerance(phase_rad=2.0, plane_rad=3.0, eccentricity=0.9, period_s=3e4)
    made = about_mars(tolerance=wide)
    here = site(made)
    relays = relays_of(here.case, here.motion, here.propagator, 0.0, None)
    names = pose_ends(here.case, here.motion, here.propagator, relays).names
    assert names == [
        "phase ahead, 90 % of its tolerance",
        "phase behind, 90 % of its tolerance",
    ]


def test_the_time_that_a_tighter_period_buys_is_the_closed_form() -> None:
    """Half a degree at 0.9 of 5 s in 43200 s: 6.67 days; at 1 s five times as long."""
    for seconds in (5.0, 1.0):
        tolerance = Tolerance(phase_rad=TOLERANCE.phase_rad, period_s=seconds)
        made = about_mars(60.0, tolerance=tolerance, goal=ring(12.0, slots=1))
        found = {x.what: x for x in api.hold(made, upkeep=False).end_errors}
        motion = api.resolved_ring(made)
        for sign, word in ((1.0, "longer"), (-1.0, "shorter")):
            one = found[f"period {word}, 90 % of its tolerance"]
            rate = degrees_a_day(motion, sign * 0.9 * seconds / 43200.0)
            assert one.drift_deg_day == pytest.approx(rate, rel=2e-3)
            assert one.leaving.phase_days == pytest.approx(0.5 / abs(rate), rel=5e-3)
            assert one.leaving.period_days is None
