"""For teams that test a planner of their own: random cases, and what every plan must keep to.

    from hypothesis import given
    from simcheck.testing import assert_plan_keeps, cases, planned

    @given(cases())
    def test_my_planner(case):
        assert_plan_keeps(case, planned(my_planner, case))

Needs hypothesis, which simcheck itself does not.
"""

from simcheck.files.case_text import as_toml
from simcheck.testing.drawing import cases
from simcheck.testing.keeping import assert_plan_keeps, planned

__all__ = ["as_toml", "assert_plan_keeps", "cases", "planned"]
