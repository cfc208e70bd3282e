"""The exception tree, with the exit code that a command ends with.

    SimcheckError
    ├── InputError     2  a file or an argument is wrong: raised by the edges (files, cli)
    ├── NoPlanError    3  no plan exists within the limits: raised by planners
    └── FlightError    1  a flight cannot be flown at all (it does not raise for a bad outcome)

A flight that ends badly (out of propellant, into the ground) is an outcome, not an exception.
"""

from __future__ import annotations


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
