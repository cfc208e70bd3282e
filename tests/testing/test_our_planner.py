"""Our own planner against random cases, as a team would test its own."""

from __future__ import annotations

from hypothesis import Phase, given, settings

from simcheck.planning.registry import planner
from simcheck.records.case import Case
from simcheck.records.wish import Wish
from simcheck.testing import assert_plan_keeps, cases, planned

USED = 0.1  # of each tolerance by the nominal flight: the project's own bar
UNSHRUNK = (Phase.explicit, Phase.generate)  # a plan takes a second, shrinking hundreds of them
SHARE = 20  # a plan stands for so many of the examples that the profile asks for
MANY = settings.default.max_examples // SHARE if settings.default else 5


def keeps(made: Case, wish: Wish | None = None) -> None:
    assert_plan_keeps(made, planned(planner(), made, wish), used=USED)


@settings(max_examples=MANY, phases=UNSHRUNK)
@given(cases())
def test_every_plan_keeps(made: Case) -> None:
    """Whatever the case, its plan can be flown and lands well inside.

    HYPOTHESIS_PROFILE=explore looks at twenty times as many, ever new ones.
    """
    keeps(made)


@settings(max_examples=2, phases=UNSHRUNK)
@given(cases(with_limits=False, with_errors=False))
def test_so_do_the_earliest_plans(made: Case) -> None:
    """Asked for the earliest, it keeps as much."""
    keeps(made, Wish(prefer="time"))
