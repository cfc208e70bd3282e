"""Averages over other windows, and the ring as another propagator has it."""

from __future__ import annotations

import numpy as np
import pytest

from simcheck.doublechecking import windows
from simcheck.doublechecking.windows import averaged_over, ring_seen_by
from simcheck.engines.choosing import fast_propagator
from simcheck.engines.gravity import gravity_of
from simcheck.measuring import REVOLUTIONS, SAMPLES, average, relay_state, resolve_ring
from tests.doublechecking import bench
from tests.helpers import assert_radians, assert_relative

CASE = bench.case()
FAST = fast_propagator(gravity_of(CASE))
MOTION = resolve_ring(CASE.ring, FAST)
START = np.concatenate([*bench.cases.START, [610.0]])


def test_the_same_window_gives_the_same_averages() -> None:
    """Written anew, the averaging gives what the verdict is taken from."""
    one = average(FAST, 0.0, START, MOTION)
    two = averaged_over(
        FAST, 0.0, START, MOTION, near=one, revolutions=REVOLUTIONS, samples=SAMPLES
    )
    assert_radians(two.longitude, one.longitude, 1e-11)  # rounding, at a window settled to 1e-12
    assert_relative(two.period, one.period, 1e-11)
    assert np.max(np.abs(two.e_vector - one.e_vector)) < 1e-11
    assert np.max(np.abs(two.normal - one.normal)) < 1e-11
    assert_relative(two.radius, one.radius, 1e-11)
    assert two.time == one.time


@pytest.mark.parametrize(("revolutions", "samples"), [(1, 96), (3, 96), (2, 48), (2, 192)])
def test_a_relay_on_its_slot_reads_nearly_the_same_over_any_window(
    revolutions: int, samples: int
) -> None:
    """What the definition makes of a relay on its slot is of second order in J2."""
    state = np.append(relay_state(MOTION, FAST, 0), 1.0)
    one = average(FAST, 0.0, state, MOTION)
    two = averaged_over(
        FAST, 0.0, state, MOTION, near=one, revolutions=revolutions, samples=samples
    )
    squared = (CASE.body.j2 * (CASE.body.radius_m / MOTION.radius_m) ** 2) ** 2
    assert abs(two.longitude - one.longitude) < 10 * squared  # whole turns count
    assert np.max(np.abs(two.e_vector - one.e_vector)) < squared


@pytest.mark.parametrize("size", ["period", "radius"])
def test_another_propagator_has_another_ring(size: str) -> None:
    """To first order what resolving the ring with its J2 gives, in period and node alike."""
    goal = bench.ring() if size == "period" else bench.cases.ring(radius_km=12_650.0)
    motion = resolve_ring(goal, FAST)
    other = fast_propagator(FAST.gravity._replace(j2=1.001 * FAST.gravity.j2))
    seen, resolved = ring_seen_by(other, motion, FAST), resolve_ring(goal, other)
    moved = resolved.node_rate - motion.node_rate
    assert_relative(seen.node_rate - motion.node_rate, moved, 0.01)  # left out: 1e-3 of J2's own
    if size == "period":
        assert seen.period_s == motion.period_s
    else:
        longer = resolved.period_s - motion.period_s
        assert abs(longer) > 1e-3
        assert_relative(seen.period_s - motion.period_s, longer, 0.01)


def test_the_same_propagator_has_the_same_ring() -> None:
    """Nothing differs from itself, and in two-body motion nothing is flown."""
    assert ring_seen_by(FAST, MOTION, FAST) == MOTION
    two_body = fast_propagator(gravity_of(bench.case(forces=())))
    motion = resolve_ring(CASE.ring, two_body)
    assert ring_seen_by(two_body, motion, two_body) is motion


def test_a_sample_too_many_is_noticed(monkeypatch: pytest.MonkeyPatch) -> None:
    """Control: a window that is not whole revolutions averages to something else."""
    one = average(FAST, 0.0, START, MOTION)
    honest = windows.sampled

    def longer(*given: object) -> windows.Sampled:
        propagator, time, state, period, revolutions, samples = given
        return honest(propagator, time, state, 1.01 * period, revolutions, samples)  # type: ignore[arg-type,operator]

    monkeypatch.setattr(windows, "sampled", longer)
    two = averaged_over(
        FAST, 0.0, START, MOTION, near=one, revolutions=REVOLUTIONS, samples=SAMPLES
    )
    assert np.max(np.abs(two.e_vector - one.e_vector)) > 1e-5
