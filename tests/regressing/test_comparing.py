"""Values against a baseline: same, better, worse, changed; and what a case comes to."""

from __future__ import annotations

import math

import pytest

from simcheck.records.baseline import Found, Trial
from simcheck.records.measures import MEASURES, Allowance, Value
from simcheck.regressing.comparing import allowed_drift, compare, number_move, word_move
from tests.cli.samples import changed
from tests.regressing.bench import (
    CASE,
    NO_PLAN,
    SCALES,
    VALUES,
    baseline,
    compared,
    found,
    moves,
)

NUMBERS = [path for path, value in VALUES.items() if not isinstance(value, str)]


def test_the_same_is_the_same() -> None:
    """Nothing moved: every value is compared, and none is told."""
    case = compared()
    assert case.standing == "same"
    assert case.moved == ()
    assert [difference.path for difference in case.differences] == list(VALUES)
    assert case.notes == ()


@pytest.mark.parametrize("path", NUMBERS)
@pytest.mark.parametrize("sign", [1.0, -1.0])
def test_a_drift_is_allowed_up_to_its_allowance_and_no_further(path: str, sign: float) -> None:
    """Just within the allowance is the same, just beyond it is not, either way."""
    old = float(VALUES[path])
    drift = allowed_drift(path, old, found(), None)
    inside, outside = (old + sign * part * drift for part in (0.999, 1.001))
    if drift > 0.0:
        assert compared({path: inside}).standing == "same"
        assert path in moves(compared({path: outside}))
    else:
        assert path in moves(compared({path: old + sign}))


@pytest.mark.parametrize(
    ("path", "value", "move"),
    [
        ("plan.total_dv_m_s", 801.0, "worse"),
        ("plan.total_dv_m_s", 799.0, "better"),
        ("plan.burns", 3.0, "worse"),
        ("plan.lower_bound_dv_m_s", 789.0, "changed"),
        ("plan.lower_bound_dv_m_s", 791.0, "changed"),
        ("burn.B2.ignition_s", 199_930.0, "changed"),
        ("flight.arrival_time_s", 249_900.0, "better"),
        ("flight.outcome", "hit-the-body", "worse"),
        ("flight.verdict", "outside", "worse"),
        ("error.phase_deg", -0.03, "worse"),
        ("error.phase_deg", 0.03, "worse"),
        ("error.phase_deg", 0.012, "changed"),
        ("error.phase_deg", 0.0, "better"),
        ("error.plane_deg", math.nan, "worse"),
        ("margin.dv_m_s", 696.0, "worse"),
        ("margin.altitude_m", 263_000.0, "better"),
        ("dispersion.within", 0.96, "worse"),
        ("dispersion.dv_95_m_s", 836.0, "worse"),
    ],
)
def test_each_measure_knows_which_way_is_better(path: str, value: Value, move: str) -> None:
    """Less Δv, sooner, nearer zero, more room and more flights within are better."""
    assert moves(compared({path: value})) == {path: move}


def test_an_errors_allowance_is_a_share_of_its_tolerance() -> None:
    """And a margin's one of its limit, not of what is left of it."""
    assert allowed_drift("error.period_s", 0.0, found(), None) == pytest.approx(0.02 * 5.0)
    assert allowed_drift("margin.dv_m_s", 0.1, found(), None) == pytest.approx(1.5)
    assert SCALES["margin.dv_m_s"] == 1500.0


def test_a_baseline_may_have_its_own_allowances() -> None:
    """They hold for its case, for every burn alike, and replace simcheck's whole."""
    old = baseline(
        allowed={
            "plan.total_dv_m_s": Allowance(absolute=0.1),
            "burn.ignition_s": Allowance(absolute=600.0),
        }
    )
    assert moves(compared({"plan.total_dv_m_s": 800.2}, old=old)) == {"plan.total_dv_m_s": "worse"}
    later = {"burn.B1.ignition_s": 100_400.0, "burn.B2.ignition_s": 200_400.0}
    assert compared(later, old=old).standing == "same"
    assert compared(later).standing == "changed"


def test_a_change_is_excused_by_what_got_better() -> None:
    """Cheaper with burns elsewhere is better; with anything worse besides it is worse."""
    elsewhere: dict[str, Value] = {"burn.B1.ignition_s": 90_000.0}
    assert compared(elsewhere).standing == "changed"
    assert compared(elsewhere | {"plan.total_dv_m_s": 780.0}).standing == "better"
    worse: dict[str, Value] = {"plan.total_dv_m_s": 780.0, "margin.altitude_m": 1000.0}
    assert compared(elsewhere | worse).standing == "worse"


def test_another_number_of_burns_is_not_compared_burn_by_burn() -> None:
    """The number is told; dates of burns that mean something else are not."""
    case = compared({"plan.burns": 3.0, "burn.B3.ignition_s": 1.0, "burn.B3.dv_m_s": 2.0})
    assert moves(case) == {"plan.burns": "worse"}


def test_no_plan_any_more_is_worse_and_a_plan_at_last_better() -> None:
    """Nothing else is compared then; another limit that binds is a change."""
    lost = compare(CASE, Found(values=NO_PLAN, messages=("why",)), baseline(), Trial())
    assert moves(lost) == {"plan.result": "worse"}
    never = baseline().values
    old = changed(baseline(), values=NO_PLAN)
    assert never["plan.result"] == "planned"
    assert moves(compared(old=old)) == {"plan.result": "better"}
    assert compare(CASE, Found(values=NO_PLAN), old, Trial()).standing == "same"
    other: dict[str, Value] = NO_PLAN | {"plan.limit": "duration"}
    assert moves(compare(CASE, Found(values=other), old, Trial())) == {"plan.limit": "changed"}


def test_a_failure_is_not_compared() -> None:
    """It stands as failed, whether there is a baseline or not."""
    for old in (baseline(), None):
        case = compare(CASE, Found(values={}, failure="why"), old, Trial())
        assert (case.standing, case.differences) == ("failed", ())


def test_without_a_baseline_there_is_nothing_to_compare() -> None:
    """The case says so and counts as not compared."""
    case = compare(CASE, found(), None, Trial())
    assert (case.standing, case.differences, case.notes) == ("no baseline", (), ())


def test_a_value_on_one_side_only_is_a_change() -> None:
    """A new limit, or a margin that the baseline lacks."""
    old = baseline()
    values = {path: value for path, value in old.values.items() if path != "margin.radius_m"}
    case = compared(old=changed(old, values=values))
    (difference,) = case.moved
    assert (difference.path, difference.baseline, difference.move) == (
        "margin.radius_m",
        None,
        "changed",
    )


def test_other_flights_are_not_compared() -> None:
    """Another number of samples, or none, leaves the dispersion out and says so."""
    case = compared({"dispersion.within": 0.1}, trial=Trial(samples=50))
    assert case.standing == "same"
    assert "not compared with 50" in case.notes[0]
    without = compare(CASE, found(drop=("dispersion",)), baseline(), Trial(samples=0))
    assert without.standing == "same"
    assert "200 flights are not compared" in without.notes[0]


def test_it_is_told_what_the_baseline_was_made_of() -> None:
    """Another case file, planner or effort."""
    other = changed(CASE, inputs_sha256="cd" * 32)
    case = compared(case=other, trial=Trial(planner="mine", effort=3))
    assert case.notes == (
        "the case file changed since the baseline was made",
        "the baseline was made by the planner ring",
        "the baseline was made with effort 1",
    )


def test_what_cannot_be_measured_is_worse_than_any_number() -> None:
    """NaN against NaN is the same."""
    assert number_move("none", math.nan, math.nan, 0.1) == "same"
    assert number_move("none", 1.0, math.nan, 0.1) == "worse"
    assert number_move("lower", math.nan, 1e9, 0.1) == "better"


def test_words_that_nobody_knows_stand_behind_the_known() -> None:
    """From one unknown word to another is a change."""
    outcome = MEASURES["flight.outcome"]
    assert word_move(outcome, "flown", "left-the-body") == "worse"
    assert word_move(outcome, "left-the-body", "flown") == "better"
    assert word_move(outcome, "left-the-body", "hit-the-body") == "changed"


def test_a_difference_reads_as_a_line() -> None:
    """What, from what to what, by how much, how much is allowed, and which way."""
    (difference,) = compared({"plan.total_dv_m_s": 812.5}).moved
    assert str(difference) == (
        "Δv, impulses: 800 m/s -> 812.5 m/s, +12.5 where 0.8 is allowed: worse"
    )
