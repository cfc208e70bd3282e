"""Rings to hold, in one place; every ring and craft here is invented."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np

from simcheck.engines.batches import TaylorBatches
from simcheck.engines.choosing import fast_propagator
from simcheck.engines.gravity import gravity_of
from simcheck.files.ephemeris import with_sun
from simcheck.holding.drifting import TOLERANCE
from simcheck.measuring import RingMotion, relay_state, resolve_ring
from simcheck.records.case import Case, Engine
from simcheck.records.hold import HoldAim
from tests.cases_for_tests import MARS, case, load, ring, toml

DAY_S, YEAR_S = 86400.0, 365.25 * 86400.0
THRUSTERS = Engine(name="thrusters", thrust_n=8.0, isp_s=220.0, min_burn_s=0.05)


class Site(NamedTuple):
    """A case with its ring resolved."""

    case: Case
    motion: RingMotion
    propagator: Any
    batches: TaylorBatches

    @property
    def slots(self) -> np.ndarray:
        return np.arange(self.case.ring.slots)

    def relays(self, errors: np.ndarray | None = None, time: float = 0.0) -> np.ndarray:
        """States (m, 7) of relays that read errors (m, 6), or none, on all the ring's slots."""
        given = np.zeros((len(self.slots), 6)) if errors is None else errors
        rows = [
            np.append(relay_state(self.motion, self.propagator, int(slot), time, off), 500.0)
            for slot, off in zip(self.slots, given, strict=True)
        ]
        return np.array(rows)


def site(made: Case) -> Site:
    propagator = fast_propagator(gravity_of(made))
    motion = resolve_ring(made.ring, propagator)
    return Site(made, motion, propagator, TaylorBatches(propagator.gravity, TOLERANCE))


def about_mars(days: float = 365.25, **fields: Any) -> Case:
    """A ring of 12 h about Mars under J2, of which the craft of slot 0 is the only one there."""
    usual: dict[str, Any] = {"forces": ("j2",), "goal": ring(12.0), "thrusters": THRUSTERS}
    return replace(case(MARS, **(usual | fields)), hold=HoldAim(duration_s=days * DAY_S))


def under_the_sky(
    folder: Path, body: str, epoch: str, period_h: float, inclination: float, days: float
) -> Case:
    """A single relay about a built-in body under J2 and the other bodies' pull, read as a file."""
    text = toml(
        {
            "case": {"epoch": epoch},
            "body": {"name": body, "forces": ["j2", "third-bodies"]},
            "ring": {"period": f"{period_h} h", "inclination": f"{inclination} deg"},
            "craft.orbit": {"periapsis_altitude": "1500 km"},
            "thrusters": {"thrust": "8 N", "isp": "220 s", "min_burn": "0.05 s"},
        }
    )
    made = replace(load(text, folder), hold=HoldAim(duration_s=days * DAY_S))
    return with_sun(made, 1.1 * days * DAY_S)


def degrees_a_day(motion: RingMotion, relative: float) -> float:
    """Phase drift of a relay whose period is this share longer: less angle a day, exactly."""
    mean = 360.0 * DAY_S / motion.period_s
    return mean * (1.0 / (1.0 + relative) - 1.0)
