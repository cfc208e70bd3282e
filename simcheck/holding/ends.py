"""What the craft's errors on arrival do to its hold.

One relay for each error alone, near the edge of its tolerance, beside one exactly on the slot and
the craft as it arrived: so that a tolerance can be set by the time it buys.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from simcheck.arrays import Array
from simcheck.engines.base import Propagator
from simcheck.errors import FlightError
from simcheck.holding.drifting import Drift
from simcheck.holding.leaving import leaving, mean_drift
from simcheck.holding.relays import Relays
from simcheck.measuring import RingMotion, relay_state
from simcheck.planning.lane_errors import tolerances
from simcheck.records.case import Case
from simcheck.records.hold import EndError

_EDGE = 0.9  # of a tolerance: what an arrival may well use
_LARGE = 0.3  # relative period, eccentricity or tilt in rad that is no relay's of a ring any more
_EDGES = (
    ("phase ahead", 0, 1.0),
    ("phase behind", 0, -1.0),
    ("period longer", 1, 1.0),
    ("period shorter", 1, -1.0),
    ("eccentricity", 2, 1.0),
    ("plane", 4, 1.0),
)


EXACT = "exactly on the slot"
"""Name of the arrival without errors."""


class Posed(NamedTuple):
    """Relays (k, 7) on the craft's slot, each with the end error that its name tells."""

    names: list[str]
    states: Array


def pose_ends(case: Case, motion: RingMotion, propagator: Propagator, relays: Relays) -> Posed:
    """A relay for each listed tolerance, and one without error where the craft has arrived."""
    limits = tolerances(case.tolerance, motion.period_s)
    asked: list[tuple[str, Array]] = []
    if relays.craft is not None:
        asked.append((EXACT, np.zeros(6)))
    for what, which, sign in _EDGES:
        size = _EDGE * limits[which]
        if np.isfinite(size) and (size < _LARGE or not which):
            errors = np.zeros(6)
            errors[which] = sign * size
            asked.append((f"{what}, {100 * _EDGE:.0f} % of its tolerance", errors))
    names, states = [], []
    mass = relays.states[0, 6]
    for what, errors in asked:
        try:
            state = relay_state(motion, propagator, case.craft.slot, relays.time, errors)
        except FlightError:
            continue  # such an orbit does not settle in these forces
        names.append(what)
        states.append(np.append(state, mass))
    return Posed(names, np.array(states).reshape(-1, 7))


def end_errors(
    case: Case, motion: RingMotion, start: float, names: list[str], flown: Drift
) -> tuple[EndError, ...]:
    """The hold of the craft for each end error; spacing is against neighbours that hold."""
    days, nothing = flown.days(start), np.zeros(len(flown.times))
    return tuple(
        EndError(
            what=what,
            leaving=leaving(case.tolerance, motion.period_s, days, sizes, nothing),
            drift_deg_day=mean_drift(days, sizes[:, 0]),
        )
        for what, sizes in zip(names, flown.sizes, strict=True)
    )
