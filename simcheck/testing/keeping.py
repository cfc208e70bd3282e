"""What every plan must keep to, whatever the case and whoever made it."""

from __future__ import annotations

from hypothesis import reject

from simcheck import api
from simcheck.errors import NoPlanError
from simcheck.planning.guarding import Planner
from simcheck.planning.vetting import faults
from simcheck.records.case import Case
from simcheck.records.flight import Verdict
from simcheck.records.plan import Plan
from simcheck.records.wish import Wish


def planned(planner: Planner, case: Case, wish: Wish | None = None) -> Plan:
    """A planner's plan of a case; where it says that there is none the case is left out.

    A test whose planner refuses nearly all cases fails by hypothesis' own health check.
    """
    try:
        return planner(case, Wish() if wish is None else wish)
    except NoPlanError:
        reject()


def assert_plan_keeps(case: Case, plan: Plan, *, used: float = 1.0) -> Verdict:
    """The plan can be flown by the case's engines and, flown perfectly, keeps all that is asked.

    That is every tolerance, of which it may use the share `used`, and every limit. Returns the
    verdict on the perfect flight. Raises AssertionError with every fault, a line each.
    """
    wrong = faults(case, plan)
    if wrong:
        raise AssertionError("\n  ".join(["the plan cannot be flown:", *wrong]))
    flight = api.fly(case, plan, reference=False)
    verdict = api.judge(case, flight)
    findings = list(verdict.findings)
    findings += [
        f"the {name} error uses {share:.3g} of its tolerance, more than {used:g}"
        for name, share in verdict.used.items()
        if verdict.within[name] and not share <= used
    ]
    if findings or verdict.verdict != "within":
        raise AssertionError("\n  ".join(["flown perfectly, the plan does not keep:", *findings]))
    return verdict
