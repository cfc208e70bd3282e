"""What is accepted: new values where something moved, the old ones where nothing did."""

from __future__ import annotations

from simcheck.records.baseline import Found, Trial
from simcheck.records.measures import Allowance, Value
from simcheck.regressing.accepting import accepted
from simcheck.regressing.comparing import compare
from simcheck.version import VERSION
from tests.cli.samples import changed
from tests.regressing.bench import CASE, NO_PLAN, VALUES, baseline, compared, found


def test_a_first_baseline_has_every_value_rounded() -> None:
    """Digits finer than a tenth of the allowance are not worth a line in a diff."""
    case = compare(CASE, found({"plan.total_dv_m_s": 800.123456}), None, Trial())
    made = accepted(case, Trial())
    assert made is not None
    assert list(made.values) == list(VALUES)
    assert made.values["plan.total_dv_m_s"] == 800.12
    assert made.values["flight.verdict"] == "within"
    assert (made.simcheck, made.inputs_sha256) == (VERSION, CASE.inputs_sha256)


def test_where_nothing_moved_the_old_one_stands() -> None:
    """Not even a drift within the allowance goes in, or drifts would add up unseen."""
    case = compared({"plan.total_dv_m_s": 800.5})
    assert case.standing == "same"
    assert accepted(case, Trial()) is case.baseline


def test_only_what_moved_is_replaced() -> None:
    """The others keep their text, drifted or not; allowances of the case stay."""
    allowed = {"plan.total_dv_m_s": Allowance(absolute=1.0)}
    new: dict[str, Value] = {"plan.total_dv_m_s": 790.0, "plan.commanded_dv_m_s": 802.5}
    made = accepted(compared(new, old=baseline(allowed=allowed)), Trial())
    assert made is not None
    assert made.values["plan.total_dv_m_s"] == 790.0
    assert made.values["plan.commanded_dv_m_s"] == 802.0
    assert made.allowed == allowed


def test_another_case_file_is_taken_over_though_nothing_moved() -> None:
    """So that the note about it goes away; the values stay."""
    other = changed(CASE, inputs_sha256="cd" * 32)
    made = accepted(compared({"plan.total_dv_m_s": 800.5}, case=other), Trial())
    assert made is not None
    assert made.inputs_sha256 == "cd" * 32
    assert made.values == VALUES


def test_no_plan_is_accepted_with_its_limit() -> None:
    """And nothing else of a plan that there is no more."""
    case = compare(CASE, Found(values=NO_PLAN, messages=("why",)), baseline(), Trial())
    made = accepted(case, Trial())
    assert made is not None
    assert made.values == NO_PLAN
    assert made.trial.samples == 0


def test_a_failure_is_not_accepted() -> None:
    """There is nothing to compare with later."""
    case = compare(CASE, Found(values={}, failure="why"), baseline(), Trial())
    assert accepted(case, Trial()) is None


def test_accepted_is_the_same_from_then_on() -> None:
    """Whatever was accepted compares as the same with what it was made from."""
    new: dict[str, Value] = {
        "plan.total_dv_m_s": 790.4444,
        "margin.altitude_m": 99_999.9,
        "error.phase_deg": -0.2,
        "dispersion.within": 0.5,
    }
    made = accepted(compared(new), Trial())
    assert compared(new, old=made).standing == "same"
