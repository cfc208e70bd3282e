"""Finite burns in the making: who burns, how long, steered how."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from simcheck.arrays import Array
from simcheck.engines.base import G0, Steering
from simcheck.kernels.transfers import coast_time, period_of
from simcheck.kernels.vectors import TAU, cross, dot, norm, rsw_frame, unit
from simcheck.planning.candidates import Candidate
from simcheck.records.case import Craft, Engine

TURNING_FROM = np.radians(10.0)
"""A burn that sweeps more than this turns with RSW; below it the loss is under 0.13 %."""


class Burns(NamedTuple):
    """Where the middle of each burn is, its Δv (n, 3) m/s in steering axes, and who burns how.

    places (n, 3) are unit directions from the body; sweeps (n,) the angles in rad from each place
    to the next, the first from the start: they say how many revolutions lie between.
    """

    places: Array
    sweeps: Array
    dvs: Array
    steering: tuple[Steering, ...]
    engines: tuple[Engine, ...]

    @property
    def total(self) -> float:
        """Sum of the magnitudes, m/s."""
        return float(norm(self.dvs).sum())

    def without(self, index: int) -> Burns:
        """The burns less one."""
        keep = [i for i in range(len(self.sweeps)) if i != index]
        sweeps = self.sweeps.copy()
        if index + 1 < len(sweeps):
            sweeps[index + 1] += sweeps[index]
        return Burns(
            self.places[keep],
            sweeps[keep],
            self.dvs[keep],
            tuple(self.steering[i] for i in keep),
            tuple(self.engines[i] for i in keep),
        )


def first_burns(
    candidate: Candidate, craft: Craft, engine: Engine, thrusters: Engine | None, gm: float
) -> Burns:
    """Burns of a candidate: engine or thrusters by length, steering by the angle swept."""
    mass, dvs = craft.mass_kg, []
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
        engines.append(who)
        mass *= np.exp(-size / (G0 * who.isp_s))
    places = unit(np.array([x.position for x in candidate.impulses]).reshape(-1, 3))
    sweeps = _sweeps(candidate, craft, gm)
    return Burns(places, sweeps, np.array(dvs).reshape(-1, 3), tuple(steering), tuple(engines))


def _sweeps(candidate: Candidate, craft: Craft, gm: float) -> Array:
    """Angles (n,) in rad swept on the way to each impulse."""
    found, time, r, v = [], 0.0, craft.position_m, craft.velocity_m_s
    for impulse in candidate.impulses:
        w = unit(cross(r, v))
        angle = float(np.arctan2(dot(cross(w, r), impulse.position), dot(r, impulse.position)))
        period = float(period_of(r, v, gm))
        rest = impulse.time - time - coast_time(r, v, angle, gm)
        turns = round(rest / period) if np.isfinite(period) else int(angle < 0)
        found.append(angle + TAU * turns)
        time, r, v = impulse.time, impulse.position, impulse.after
    return np.array(found)


def chosen_engine(size: float, mass: float, engine: Engine, thrusters: Engine | None) -> Engine:
    """The main engine unless its shortest burn is too long for this Δv (m/s)."""
    if thrusters is None or burn_seconds(size, mass, engine) >= engine.min_burn_s:
        return engine
    return thrusters


def burn_seconds(size: float, mass: float, engine: Engine) -> float:
    """Length in s of a burn of `size` m/s from `mass` kg: the rocket equation at full thrust."""
    exhaust = G0 * engine.isp_s
    return float(-mass * exhaust / engine.thrust_n * np.expm1(-size / exhaust))
