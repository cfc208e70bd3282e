"""The guard around every planner, ours included: what it does wrong is reported as its fault."""

from __future__ import annotations

import inspect
import math
import sys
import traceback
from collections.abc import Callable
from contextlib import redirect_stdout
from importlib.metadata import EntryPoint
from pathlib import Path
from typing import NamedTuple, TypeAlias

from simcheck.errors import InputError, NoPlanError, PlannerError, SimcheckError
from simcheck.planning.vetting import faults
from simcheck.records.case import Case
from simcheck.records.plan import Plan
from simcheck.records.wish import Wish

Planner: TypeAlias = Callable[[Case, Wish], Plan]

GROUP = "simcheck.planners"


class Source(NamedTuple):
    """Where a planner comes from: its name, "module:function", and the package with its version."""

    name: str
    value: str
    package: str

    def __str__(self) -> str:
        return f"{self.name} ({', '.join(filter(None, (self.package, self.value)))})"


class Guarded:
    """A planner whose answers are checked.

    Called like any planner, it lets NoPlanError and the other errors of simcheck pass, and raises
    PlannerError for any other exception and for an answer that cannot be flown. In flight a case
    that the planner is not made for is one without a plan, so that the flight goes on. What it
    prints goes to stderr. It is pickled by its source.
    """

    def __init__(self, source: Source, function: Planner) -> None:
        self.source = source
        self.function = function

    def __call__(self, case: Case, wish: Wish) -> Plan:
        """The planner's plan."""
        try:
            with redirect_stdout(sys.stderr):
                plan = self.function(case, wish)
        except InputError as error:
            if wish.flying is None:
                raise
            raise NoPlanError(str(error), limit="planner", excess=math.nan) from error
        except SimcheckError:
            raise
        except (Exception, SystemExit) as error:
            raise self._fault(case, wish, f"it raised {_told(error)}") from error
        start = "the case's epoch" if wish.flying is None else "the estimate"
        wrong = faults(case, plan, start)
        if wrong:
            raise self._fault(case, wish, *wrong)
        return plan

    def __reduce__(self) -> tuple[Callable[[Source], Guarded], tuple[Source]]:
        return guarded, (self.source,)

    def _fault(self, case: Case, wish: Wish, *wrong: str) -> PlannerError:
        return PlannerError(
            str(self.source), wrong, _again(self.source.name, case, wish), case, wish
        )


def guarded(source: Source) -> Guarded:
    """The planner of a source, loaded and guarded.

    Raises PlannerError where it cannot be loaded or is nothing that can be called so.
    """
    try:
        with redirect_stdout(sys.stderr):
            function = EntryPoint(source.name, source.value, GROUP).load()
    except (Exception, SystemExit) as error:
        raise _unusable(source, f"it cannot be loaded: {_told(error)}") from error
    wrong = _uncallable(function)
    if wrong:
        raise _unusable(source, wrong)
    return Guarded(source, function)


def _unusable(source: Source, why: str) -> PlannerError:
    return PlannerError(str(source), (why,), "simcheck planners")


def _uncallable(function: object) -> str:
    """Why something cannot be called with a Case and a Wish; empty where it can."""
    wanted = "expected a callable that takes a Case and a Wish"
    if not callable(function):
        return f"{wanted}, got a {type(function).__name__}"
    try:
        signature = inspect.signature(function)
    except ValueError:  # of some compiled callables
        return ""
    try:
        signature.bind(None, None)
    except TypeError:
        return f"{wanted}, got one that takes {signature}"
    return ""


def _told(error: BaseException) -> str:
    """An exception, where it was raised, and its text in a line."""
    frames = traceback.extract_tb(error.__traceback__)
    place = f" at {Path(frames[-1].filename).name}:{frames[-1].lineno}" if frames else ""
    text = " ".join(str(error).split())
    return f"{type(error).__name__}{place}: {text}" if text else f"{type(error).__name__}{place}"


def _again(name: str, case: Case, wish: Wish) -> str:
    """How to ask the planner the same once more."""
    if wish.flying is not None or wish.effort == 0:
        return "the same command; in flight it was asked for `case` with `wish` of this error"
    if not case.path:
        return "ask it for `case` with `wish` of this error"
    words = ["simcheck", "plan", case.path, "--planner", name]
    usual = Wish()
    for option in ("prefer", "effort", "seed"):
        value = getattr(wish, option)
        if value != getattr(usual, option):
            words += [f"--{option}", str(value)]
    return " ".join(words)
