"""The exception tree, with the exit code that a command ends with.

    SimcheckError
    ├── InputError     2   a file or an argument is wrong: raised by the edges (files, cli)
    ├── NoPlanError    3   no plan exists within the limits: raised by planners
    ├── FlightError    1   a flight cannot be flown at all (it does not raise for a bad outcome)
    └── PlannerError   76  a planner does not work: raised by the guard around every planner

A flight that ends badly (out of propellant, into the ground) is an outcome, not an exception.
"""

from __future__ import annotations

from typing import Any


class SimcheckError(Exception):
    """Base of all errors that are reported as one message without a traceback."""

    exit_code = 1


class InputError(SimcheckError):
    """The input is wrong. `faults` holds one line a fault, each saying what to write instead."""

    exit_code = 2

    def __init__(self, *faults: str) -> None:
        super().__init__("\n".join(faults))
        self.faults = faults


class NoPlanError(SimcheckError):
    """No plan within the limits. `limit` names the one that binds, `excess` by how much (SI)."""

    exit_code = 3

    def __init__(self, message: str, *, limit: str, excess: float) -> None:
        super().__init__(message)
        self.limit = limit
        self.excess = excess


class FlightError(SimcheckError):
    """The flight cannot be computed. Tell the user which arc and state; never swallow it."""


class PlannerError(SimcheckError):
    """A planner failed by its own fault, or what it returned cannot be flown.

    `planner` names it and its package, `faults` holds one line a fault; `case` and `wish` are what
    it was asked (None where it could not even be loaded), and `again` says how to ask it again.
    """

    exit_code = 76  # sysexits.h: the other side broke the protocol

    def __init__(
        self,
        planner: str,
        faults: tuple[str, ...],
        again: str,
        case: Any = None,
        wish: Any = None,
    ) -> None:
        super().__init__(planner, faults, again, case, wish)  # as given, so that it can be pickled
        self.planner = planner
        self.faults = faults
        self.again = again
        self.case = case
        self.wish = wish

    def __str__(self) -> str:
        return "\n  ".join(
            [f"the planner {self.planner} is at fault", *self.faults, f"to reproduce: {self.again}"]
        )

    @property
    def in_a_line(self) -> str:
        """The fault without how to reproduce it, for a table."""
        return f"the planner {self.planner} is at fault: {'; '.join(self.faults)}"
