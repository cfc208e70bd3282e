"""Flights to double-check: invented burns that end somewhere on a closed orbit, not on a slot."""

from __future__ import annotations

from typing import Any

import numpy as np

from simcheck.flying.mission import fly_plan
from simcheck.records.case import Case, Cutoff, Ring
from simcheck.records.flight import Flight
from simcheck.records.plan import Command, Plan, Watch
from tests import cases_for_tests as cases
from tests.cli import samples

ACROSS = np.array([0.6, 0.64, 0.48])
ALONG = np.array([0.1, 0.99, 0.0]) / np.hypot(0.1, 0.99)
EQUATORIAL = {"prograde": 0.0, "retrograde": 180.0}


def ring(**other: Any) -> Ring:
    return cases.ring(12.0, **other)


def command(number: int, ignition_s: float, dv_m_s: float, **other: Any) -> Command:
    """A burn of about that size with the engine of `cases_for_tests`."""
    made = {
        "burn": f"B{number}",
        "engine": "engine",
        "ignition_s": ignition_s,
        "duration_s": dv_m_s * 1.5,
        "steering": "inertial",
        "direction": ACROSS,
        "dv_m_s": dv_m_s,
        "cutoff": "duration",
    }
    return Command(**(made | other))


def plan(*commands: Command) -> Plan:
    """A plan of these commands; its impulses are of no concern here."""
    burns = tuple(samples.burn(k, 100.0) for k in range(1, len(commands) + 1))
    return samples.plan(burns=burns, commands=commands)


def two_burns(cutoff: Cutoff = "duration", first_s: float = 9000.0) -> Plan:
    """A burn fixed in space and one that turns with the craft, ended in one of three ways."""
    period = Watch(quantity="period_s", target=20_000.0)
    apsis = Watch(quantity="apsis_radius_m", target=12_200e3)
    watches = (period, apsis) if cutoff == "orbit" else (None, None)
    return plan(
        command(1, first_s, 100.0, cutoff=cutoff, watch=watches[0]),
        command(
            2,
            first_s + 20_000.0,
            60.0,
            cutoff=cutoff,
            watch=watches[1],
            steering="rsw",
            direction=ALONG,
        ),
    )


def case(**other: Any) -> Case:
    """A relay about Mars under J2."""
    return cases.case(**({"forces": ("j2",), "goal": ring()} | other))


def flown(case: Case, plan: Plan) -> Flight:
    return fly_plan(case, plan, reference=False)
