"""Plan, fly and judge the burns that bring a craft to its place in a ring of relays.

case = simcheck.load_case("cases/fourth-relay.toml")
plan = simcheck.plan(case)
flight = simcheck.fly(case, plan)
verdict = simcheck.judge(case, flight)
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from simcheck.version import VERSION

__version__ = VERSION

__all__ = [
    "__version__",
    "accept",
    "assign",
    "compare",
    "disperse",
    "doublecheck",
    "fly",
    "hold",
    "judge",
    "load_case",
    "load_fleet",
    "plan",
    "read_plan",
    "read_state",
    "reconstruct",
    "regress",
    "setbacks",
    "trim",
    "write_advice",
    "write_figures",
    "write_message",
    "write_report",
]

if TYPE_CHECKING:
    from simcheck.api import (
        accept,
        assign,
        compare,
        disperse,
        doublecheck,
        fly,
        hold,
        judge,
        load_case,
        load_fleet,
        plan,
        read_plan,
        read_state,
        reconstruct,
        regress,
        setbacks,
        trim,
        write_advice,
        write_figures,
        write_message,
        write_report,
    )


def __getattr__(name: str) -> object:
    """Import a public verb when it is first asked for, which keeps start-up short."""
    if name in __all__:
        from simcheck import api

        return getattr(api, name)
    raise AttributeError(f"module 'simcheck' has no attribute {name!r}")


def __dir__() -> list[str]:
    return sorted({*globals(), *__all__})
