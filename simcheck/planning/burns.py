"""Finite burns in the making: who burns, how long, steered how."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from simcheck.arrays import Array
from simcheck.engines.base import G0, Steering
from simcheck.kernels.vectors import cross, norm, rsw_frame
from simcheck.planning.candidates import Candidate
from simcheck.records.case import Craft, Engine

TURNING_FROM = np.radians(10.0)
"""A burn that sweeps more than this turns with RSW; below it the loss is under 0.13 %."""


class Burns(NamedTuple):
    """Centre times (n,) s, Δv (n, 3) m/s in steering axes, and who burns how."""

    times: Array
    dvs: Array
    steering: tuple[Steering, ...]
    engines: tuple[Engine, ...]

    @property
    def total(self) -> float:
        """Sum of the magnitudes, m/s."""
        return float(norm(self.dvs).sum())

    def without(self, index: int) -> Burns:
        """The burns less one."""
        keep = [i for i in range(len(self.times)) if i != index]
        return Burns(
            self.times[keep],
            self.dvs[keep],
            tuple(self.steering[i] for i in keep),
            tuple(self.engines[i] for i in keep),
        )


def first_burns(
    candidate: Candidate, craft: Craft, engine: Engine, thrusters: Engine | None
) -> Burns:
    """Burns of a candidate: engine or thrusters by length, steering by the angle swept."""
    mass, times, dvs = craft.mass_kg, [], []
    steering: list[Steering] = []
    engines = []
    for impulse in candidate.impulses:
        size = float(norm(impulse.dv))
        who = chosen_engine(size, mass, engine, thrusters)
        rate = norm(cross(impulse.position, impulse.before)) / norm(impulse.position) ** 2
        turning = rate * burn_seconds(size, mass, who) > TURNING_FROM
        steering.append("rsw" if turning else "inertial")
        # The burn itself turns RSW: the axes halfway stand for all of it.
        frame = rsw_frame(impulse.position, 0.5 * (impulse.before + impulse.after))
        dvs.append(frame @ impulse.dv if turning else impulse.dv)
        times.append(impulse.time)
        engines.append(who)
        mass *= np.exp(-size / (G0 * who.isp_s))
    return Burns(np.array(times), np.array(dvs).reshape(-1, 3), tuple(steering), tuple(engines))


def chosen_engine(size: float, mass: float, engine: Engine, thrusters: Engine | None) -> Engine:
    """The main engine unless its shortest burn is too long for this Δv (m/s)."""
    if thrusters is None or burn_seconds(size, mass, engine) >= engine.min_burn_s:
        return engine
    return thrusters


def burn_seconds(size: float, mass: float, engine: Engine) -> float:
    """Length in s of a burn of `size` m/s from `mass` kg: the rocket equation at full thrust."""
    exhaust = G0 * engine.isp_s
    return float(-mass * exhaust / engine.thrust_n * np.expm1(-size / exhaust))
