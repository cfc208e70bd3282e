"""What a person reads of a regression: a line a case, a table for what moved, a verdict."""

from __future__ import annotations

import io

import pytest
from rich.console import Console

from simcheck.records.baseline import Found, Regression, Trial
from simcheck.records.measures import Value
from simcheck.regressing.comparing import compare
from simcheck.report.regress_text import how_to_accept, regression_text
from tests.cli.samples import changed
from tests.regressing.bench import CASE, NO_PLAN, VALUES, baseline, compared, found, regression


def printed(made: Regression) -> str:
    stream = io.StringIO()
    Console(file=stream, width=100, color_system=None).print(regression_text(made))
    return stream.getvalue()


def test_a_case_that_is_the_same_is_one_line() -> None:
    """Nothing else is said of it."""
    lines = [line for line in printed(regression(compared())).splitlines() if "relay" in line]
    assert len(lines) == 1
    assert "same" in lines[0]
    assert "all 24 values as in the baseline" in lines[0]


def test_what_moved_is_told_with_its_allowance() -> None:
    """From what, to what, by how much, how much is allowed, and which way that is."""
    text = printed(regression(compared({"plan.total_dv_m_s": 812.5})))
    row = next(line for line in text.splitlines() if "impulses" in line)
    for part in ("800.000 m/s", "812.500 m/s", "+12.500 m/s", "0.800 m/s", "worse"):
        assert part in row
    assert "REGRESSED. 1 case: 1 worse." in text


@pytest.mark.parametrize(
    ("changes", "verdict"),
    [
        ({}, "KEPT. 1 case: 1 same."),
        ({"plan.total_dv_m_s": 700.0}, "BETTER. 1 case: 1 better."),
        ({"burn.B1.ignition_s": 0.0}, "REGRESSED. 1 case: 1 changed."),
    ],
)
def test_the_verdict_is_a_word(changes: dict[str, Value], verdict: str) -> None:
    """Kept, better, or regressed."""
    assert verdict in printed(regression(compared(changes)))


def test_cases_that_were_not_compared() -> None:
    """No baseline is not a regression, but nothing was compared; a failure says why."""
    lone = compare(CASE, found(), None, Trial())
    text = printed(regression(lone))
    assert "2 burns, 802.000 m/s, within" in text
    assert "NOT COMPARED. 1 case: 1 no baseline." in text
    none = compare(CASE, Found(values=NO_PLAN, messages=("why",)), None, Trial())
    assert "no plan: the limit on dv binds" in printed(regression(none))
    failed = compare(CASE, Found(values={}, failure="it broke"), baseline(), Trial())
    assert "it broke" in printed(regression(failed))


def test_a_plan_lost_says_why() -> None:
    """The planner's message stands below the table."""
    lost = compare(
        CASE, Found(values=NO_PLAN, messages=("needs 3 m/s more.",)), baseline(), Trial()
    )
    assert "Needs 3 m/s more." in printed(regression(lost))


def test_every_line_fits_a_hundred_columns() -> None:
    """With everything moved, by much, and long names."""
    wild = {
        path: "hit-the-body" if isinstance(value, str) else -1e7 - value
        for path, value in VALUES.items()
        if path != "plan.result"
    }
    long = changed(CASE, path="a/very/long/path/" * 6 + "case.toml", inputs_sha256="0" * 64)
    text = printed(regression(compared(wild, case=long), left_out=3))
    assert max(map(len, text.splitlines())) <= 100
    assert "Interrupted: 3 cases left out." in text


def test_how_to_accept_is_a_command() -> None:
    """Only what has something new, quoted, with the options of the trial."""
    better = compared({"plan.total_dv_m_s": 700.0}, case=changed(CASE, path="my cases/a.toml"))
    assert how_to_accept(regression(compared(), better)) == (
        "simcheck regress --accept 'my cases/a.toml'"
    )
    other = changed(regression(better), trial=Trial(planner="mine", effort=2, samples=9))
    assert how_to_accept(other) == (
        "simcheck regress --accept --planner mine --effort 2 --samples 9 'my cases/a.toml'"
    )
    assert how_to_accept(regression(compared())) == ""
