"""What the case's engine makes of a manoeuvre in a message: its size, and where the two part."""

from __future__ import annotations

import math

import numpy as np

from simcheck.engines.base import G0
from simcheck.files.message_manoeuvres import Manoeuvre
from simcheck.kernels.vectors import norm
from simcheck.records.case import Engine

LATEST_S = 1e9
"""As for the times of a plan in JSON: a time beyond is a mistake, and would be flown for hours."""

OVERLAP_S = 1e-6
SAME = 1e-9
"""Relative: durations that are one, up to rounding."""

_LEAST = 1e-9  # m/s
_TELL = 0.03  # relative: durations and masses that differ by more are told


def size_of(man: Manoeuvre, mass: float) -> float:
    """The Δv in m/s of a manoeuvre that begins with that mass; NaN where it burns all of it."""
    if man.thrust_n is None:
        return float(norm(np.asarray(man.dv_m_s)))
    impulse = float(norm(man.thrust_n)) * man.duration_s
    burnt = -man.delta_mass_kg if math.isnan(man.isp_s) else impulse / (G0 * man.isp_s)
    return -impulse / burnt * math.log1p(-burnt / mass) if burnt < mass else math.nan


def refused(starts: float, duration: float, size: float) -> str:
    """Why a manoeuvre of such a time, duration and Δv is none to fly; empty where it is one."""
    if starts < -OVERLAP_S:
        return f"expected a manoeuvre after the case's epoch, got one {-starts:.6g} s before it"
    if starts > LATEST_S or duration > LATEST_S:
        return f"expected times up to {LATEST_S:.0e} s past the case's epoch"
    if math.isnan(size):
        return "this thrust would burn all of the craft"
    if size < _LEAST:
        return f"expected a manoeuvre with a Δv above 0, got {size:.3g} m/s"
    return ""


def early(seconds: float, engine: Engine, length: float, *, first: bool) -> str:
    """Why a burn that begins so many seconds before it may cannot be commanded."""
    ahead = "the case's epoch" if first else "the manoeuvre ahead of it has ended"
    return (
        f"with the {engine.name} of the case this burn lasts {length:.6g} s and would begin "
        f"{seconds:.6g} s before {ahead}"
    )


def told(
    man: Manoeuvre, engine: Engine, length: float, mass: float, after: float
) -> tuple[str, ...]:
    """Where the message and the case's engine part."""
    found = []
    if man.duration_s > 0.0 and abs(length / man.duration_s - 1.0) > _TELL:
        found.append(
            f"it lasts {man.duration_s:.6g} s in the message and {length:.6g} s with the case's "
            f"{engine.name} ({length / man.duration_s - 1.0:+.1%})"
        )
    lost, burnt = -man.delta_mass_kg, mass - after
    if math.isfinite(lost) and abs(burnt / lost - 1.0) > _TELL:
        found.append(
            f"it takes {lost:.6g} kg in the message and {burnt:.6g} kg with the case's "
            f"{engine.name} ({burnt / lost - 1.0:+.1%})"
        )
    if length > engine.max_burn_s * (1.0 + SAME):
        found.append(f"it is longer than max_burn of the {engine.name}, {engine.max_burn_s:g} s")
    if length < engine.min_burn_s * (1.0 - SAME):
        found.append(f"it is shorter than min_burn of the {engine.name}, {engine.min_burn_s:g} s")
    return tuple(found)
