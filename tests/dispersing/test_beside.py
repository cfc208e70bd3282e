"""Linear covariance beside Monte Carlo: agreeing, parting, or not to be compared."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from simcheck.dispersing.beside import linear_beside
from simcheck.dispersing.flights import Job
from simcheck.files.records_json import read_record, write_record
from simcheck.records.case import Case, Cutoff, Operations
from simcheck.records.dispersion import OUTCOMES
from simcheck.records.linear import LinearBeside
from simcheck.records.plan import Plan
from tests.dispersing.open_loop import CUTOFFS, SEED, errors, relay, rows_of


def job(made: Case, plan: Plan) -> Job:
    return Job(case=made, plan=plan, seed=SEED, planner="ring")


def of(cutoff: Cutoff, share: float, samples: int, *only: str, missed: float = 0.0) -> LinearBeside:
    """Linear covariance beside flights with a share of the ordinary errors."""
    made, plan = relay(cutoff)
    made = replace(made, errors=replace(errors(share, *only), missed_burn=missed))
    return linear_beside(job(made, plan), [rows_of(made, plan, samples)])


@pytest.mark.parametrize("cutoff", CUTOFFS)
def test_small_errors_spread_as_the_flights_do(cutoff: Cutoff) -> None:
    """A twentieth of ordinary errors, 1000 flights: each spread within its interval of 99 %."""
    found = of(cutoff, 0.05, 1000)
    assert found.flights == 1000
    for part in found.comparisons:
        assert part.low <= part.linear <= part.high
        assert part.low < part.flown < part.high
        # Gaussian or nearly: 2.58 / sqrt(2 * 1000) = 5.8 % either way.
        assert 0.03 < part.high / part.low - 1 < 0.16
        assert not part.parts


def test_large_errors_part_and_it_is_said() -> None:
    """A thrust a tenth off and 6 deg beside the aim: more than straight lines can say."""
    found = of("duration", 10.0, 400, "thrust_bias", "pointing_proportional_rad")
    parting = {part.outcome for part in found.comparisons if part.parts}
    # Phases go round, and the period grows by less for a short burn than it shrinks for a long one.
    assert parting == {"phase_deg", "period_s"}
    for part in found.comparisons:
        outside = not part.low <= part.linear <= part.high
        assert part.parts is (outside and abs(part.linear / part.flown - 1) > 0.05)


def test_what_only_rounding_moves_agrees() -> None:
    """A burn ended by its velocity makes it whatever the thrust: Δv is moved by rounding alone."""
    found = of("velocity", 0.05, 60, "thrust_bias")
    dv = next(part for part in found.comparisons if part.outcome == "dv_used_m_s")
    assert dv.linear < 1e-12
    assert 1e-14 < dv.flown < 1e-9
    assert not dv.parts


def test_the_smallest_errors_are_compared_too() -> None:
    """Spreads of a millionth of Δv itself: no digits of them are lost, and intervals stay wide."""
    found = of("velocity", 1e-4, 300, "magnitude_proportional")
    dv = next(part for part in found.comparisons if part.outcome == "dv_used_m_s")
    assert dv.flown < 1e-6 * 700.0
    # Gaussian: 2.58 / sqrt(2 * 300) = 10.5 % either way.
    assert 0.15 < dv.high / dv.low - 1 < 0.3
    assert dv.low < dv.linear < dv.high


def test_phases_halfway_round_are_compared() -> None:
    """Half of the flights end beyond 180 deg, where phases jump: the spread is not that jump."""
    made, plan = relay("duration")
    turned = made.ring.argument_of_latitude_rad + np.pi
    ring = replace(made.ring, argument_of_latitude_rad=turned)
    made = replace(made, errors=errors(0.05), ring=ring)
    rows = rows_of(made, plan, 100)
    assert np.ptp(rows["phase_deg"]) > 350.0
    found = linear_beside(job(made, plan), [rows])
    assert found.comparisons[0].flown < 1.0
    assert not found.comparisons[0].parts


def test_lengths_are_taken_from_zero() -> None:
    """One burn of the plan leaves eccentricity and tilt: their root mean square is about those."""
    made, plan = relay("velocity")
    made, part = replace(made, errors=errors(0.05)), replace(plan, commands=plan.commands[:1])
    found = linear_beside(job(made, part), [rows_of(made, part, 100)])
    lengths = [x for x in found.comparisons if x.kind == "rms"]
    assert found.linear is not None
    sizes = [of.nominal for of in found.linear.outcomes if of.kind == "rms"]
    assert sizes[0] > 0.1
    assert sizes[1] > 1.0
    for size, length in zip(sizes, lengths, strict=True):
        assert abs(length.flown / size - 1) < 0.01
        assert abs(length.linear / length.flown - 1) < 1e-3


def test_flights_that_missed_a_burn_are_left_out() -> None:
    """A chance of 0.2 a burn: about half the flights are compared, and they agree."""
    found = of("velocity", 0.05, 400, missed=0.2)
    # 0.8^3 = 0.512 of 400 make all three burns; 4 sigma are 40.
    assert abs(found.flights - 205) < 40
    assert not any(part.parts for part in found.comparisons)
    assert found.linear is not None
    assert found.linear.left_out == ("missed_burn",)


def test_rows_may_come_in_blocks() -> None:
    """Some at a time give what all together give; a flight that ended badly does not count."""
    made, plan = relay("velocity")
    made = replace(made, errors=errors(0.05))
    rows = rows_of(made, plan, 200)
    rows["outcome"][7] = OUTCOMES.index("hit-the-body")
    whole = linear_beside(job(made, plan), [rows])
    parts = linear_beside(job(made, plan), [rows[:60], rows[60:61], rows[61:]])
    assert whole.flights == parts.flights == 199
    for one, other in zip(whole.comparisons, parts.comparisons, strict=True):
        assert np.isclose(one.flown, other.flown, rtol=1e-12)
        assert np.isclose(one.high, other.high, rtol=1e-9)


def test_a_team_is_not_compared() -> None:
    """Closed loop: the linear numbers stand, of nobody correcting; rows are not looked at."""
    made, plan = relay("velocity")
    made = replace(made, errors=errors(1.0), operations=Operations(max_trims=3))
    found = linear_beside(job(made, plan), [])
    assert found.closed_loop
    assert found.linear is not None
    assert found.comparisons == ()


def test_few_flights_are_not_compared() -> None:
    """Twenty, or none: their fourth moment says nothing."""
    made, plan = relay("velocity")
    made = replace(made, errors=errors(0.05))
    rows = rows_of(made, plan, 20)
    for blocks, count in (([], 0), ([rows[:0]], 0), ([rows], 20)):
        found = linear_beside(job(made, plan), blocks)
        assert found.flights == count
        assert found.comparisons == ()
        assert found.linear is not None


def test_why_there_is_none_is_said() -> None:
    """The flight without errors runs dry: no linear covariance, and the reason; nothing raises."""
    made, plan = relay("duration")
    dry = replace(made, errors=errors(1.0), craft=replace(made.craft, propellant_kg=50.0))
    found = linear_beside(job(dry, plan), [rows_of(made, plan, 40)])
    assert found.linear is None
    assert "out-of-propellant" in found.why_not


def test_it_goes_through_json() -> None:
    """Written and read back, with every number as it was."""
    found = of("orbit", 0.05, 40)
    again = read_record(LinearBeside, write_record(found), "a file")
    assert write_record(again) == write_record(found)
    assert again.linear is not None
    assert found.linear is not None
    assert np.array_equal(again.linear.covariance, found.linear.covariance)
