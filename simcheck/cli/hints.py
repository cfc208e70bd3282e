"""What to do next: a line on stderr after a result, for a person at a terminal and for nobody else.

Nothing is said where stdout or stderr goes elsewhere, or where JSON was asked for: a script must
find what it found before.
"""

from __future__ import annotations

import shlex
import sys
from typing import TYPE_CHECKING

from simcheck.cli.screen import tell
from simcheck.errors import InputError, NoPlanError, SimcheckError

if TYPE_CHECKING:
    from simcheck.records.case import Case
    from simcheck.records.dispersion import Dispersion
    from simcheck.records.fleet import Assignment
    from simcheck.records.flight import Flight, Verdict
    from simcheck.records.hold import Hold

_MISSING = ".toml: there is no such file"
_TEAM = 'replan = "each-burn" and max_trims = 6 in [operations]'
_SEARCHED = {"duration", "dv", "propellant"}  # limits that a longer search may come to keep


def suggest(text: str, *, as_json: bool = False) -> None:
    """Tell the next step, where a person sees both it and the result; nothing for no text."""
    if text and not as_json and is_seen():
        tell(f"next: {text}")


def is_seen() -> bool:
    """Whether a person sees both results and messages."""
    return sys.stdout.isatty() and sys.stderr.isatty()


def command_for(command: str, path: str, *rest: str) -> str:
    """A command of ours as the shell takes it."""
    return shlex.join(["simcheck", command, path, *rest])


def after_plan(path: str) -> str:
    """A plan is not a verdict."""
    return f"{command_for('check', path)} flies the plan and judges it"


def after_flight(case: Case, flight: Flight, verdict: Verdict) -> str:
    """From a perfect flight to many; from one outside to what may help."""
    if flight.sample is not None:
        lonely = case.operations.replan == "never" and not case.operations.max_trims
        if verdict.verdict == "within" or not lonely:
            return f"{command_for('disperse', case.path)} says how often it works"
        return f"nobody corrects this flight: a flight team does, with {_TEAM}"
    if verdict.verdict == "within":
        if _has_errors(case):
            return f"{command_for('disperse', case.path)} says how likely it works with [errors]"
        return f"give the case its [errors], then {command_for('disperse', case.path)}"
    return f"{command_for('check', case.path, '--effort', '4')} searches harder"


def after_dispersion(case: Case, found: Dispersion) -> str:
    """From a success to the years after it; from the rest to more flights or a flight team."""
    if found.decision == "met":
        return f"{command_for('hold', case.path)} follows the finished ring"
    if found.decision == "inconclusive":
        more = command_for("disperse", case.path, "--until-decided", "--out", "flights")
        return f"{more} flies until it is settled and keeps the flights"
    if case.operations.replan == "never" and not case.operations.max_trims:
        return f"nobody corrects these flights: a flight team does, with {_TEAM}"
    return ""


def after_hold(case: Case, found: Hold, *, planned: bool) -> str:
    """Where the shape is lost, whether that is the transfer's fault."""
    if found.stays or not planned:
        return ""
    return f"{command_for('hold', case.path, '--as-planned')} says how the ring holds without it"


def after_assignment(found: Assignment) -> str:
    """An assignment is flown without errors; a case a craft says more."""
    if found.verdict != "within":
        return ""
    return "write a case with [craft] and its slot for each craft, then simcheck disperse"


def after_error(error: SimcheckError, command: str) -> str:
    """Where the message itself does not say it already; command: what was run."""
    if isinstance(error, InputError) and any(_MISSING in fault for fault in error.faults):
        return "simcheck new FILE.toml writes a starter case"
    searched = isinstance(error, NoPlanError) and error.limit in _SEARCHED
    if searched and command != "trim":
        return "change the case; where little is missing, --effort 4 may find a plan that fits"
    return ""


def _has_errors(case: Case) -> bool:
    """Whether anything is drawn."""
    return any(value for value in vars(case.errors).values())
