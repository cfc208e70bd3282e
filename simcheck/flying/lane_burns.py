"""What engines make of the commands of many flights: `executing`, a lane each."""

from __future__ import annotations

from statistics import NormalDist
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from simcheck.arrays import Array
from simcheck.engines.base import G0
from simcheck.engines.batches import TaylorBatches, ThrustBatch
from simcheck.flying.executing import WATCH_CAP, stop_of
from simcheck.kernels.vectors import cross, norm, turn_about, unit
from simcheck.planning.lane_commands import CUTOFFS, LaneCommands, nominal
from simcheck.records.case import Case


class LaneDraws(NamedTuple):
    """Standard normals of n lanes for one burn (n, 8) and for the whole flight (n, 8), (n,)."""

    burn: Array
    flight: Array
    accelerometer: Array


class LaneBurns(NamedTuple):
    """How the burns of n lanes went: ends (n,), states (n, 7), Δv (n,) made.

    missed are failed ignitions; odd are burns that `executing` has to fly: a tank run dry, a watch
    never reached. push is the thrust with its errors.
    """

    ends: Array
    states: Array
    dv: Array
    missed: NDArray[np.bool_]
    odd: NDArray[np.bool_]
    push: ThrustBatch


def burn(
    batches: TaylorBatches,
    case: Case,
    times: Array,
    states: Array,
    commands: LaneCommands,
    draws: LaneDraws,
) -> LaneBurns:
    """Fly each lane's first command, lit at times (n,) with states (n, 7)."""
    errors, g, size = case.errors, draws.burn, commands.dv[:, 0]
    small, mass = commands.thrusters[:, 0], states[:, 6]
    more = np.maximum(
        errors.magnitude_proportional * g[:, 0] + errors.magnitude_fixed_m_s / size * g[:, 1], -0.99
    )
    angles = errors.pointing_proportional_rad * g[:, 2:4]
    angles = angles + (errors.pointing_fixed_m_s / size)[:, None] * g[:, 4:6]
    thrusts = nominal(case, small)
    thrust = thrusts.newton * (1 + errors.thrust_bias * draws.flight[:, 0])
    isp = thrusts.isp * (1 + errors.isp_bias * draws.flight[:, 1])
    push = ThrustBatch(
        np.maximum(thrust, 1e-9 * thrusts.newton) * (1 + more),
        np.maximum(isp, 1e-9 * thrusts.isp) * (1 + more),
        commands.turning[:, 0],
        pointed(commands.direction[:, 0], angles),
    )
    exhaust = G0 * push.isp_s
    flow = push.thrust_n / exhaust
    by = np.array(CUTOFFS)[commands.cutoff[:, 0]]
    scale = (1 + more) * (1 + errors.accelerometer_scale * draws.accelerometer)
    shown = -mass * np.expm1(-size * scale / exhaust) / flow
    length = np.where(by == "velocity", shown, commands.duration[:, 0])
    watched = (by == "orbit") & np.array([w is not None for w in commands.watch[:, 0]], dtype=bool)
    length = np.where(watched, WATCH_CAP * length, length)
    missed = _missed(errors.missed_burn, g[:, 7])
    length = np.where(missed, 0.0, length)
    odd = (mass - case.craft.dry_mass_kg) / flow < length
    ends = times + length
    after = batches.advance(times, states, np.where(watched, times, ends), push)
    rows = np.flatnonzero(watched & ~missed)
    if len(rows):
        stops = [stop_of(commands.watch[k, 0], batches.gravity.gm) for k in rows]
        found = batches.until_stop(times[rows], states[rows], ends[rows], push.of(rows), stops)
        after[rows], ends[rows] = found.states, found.times
        odd[rows] |= ~found.stopped
    dv = np.where(missed, 0.0, exhaust * np.log(mass / after[:, 6]))
    return LaneBurns(ends, after, dv, missed, odd, push)


def _missed(chance: float, drawn: Array) -> NDArray[np.bool_]:
    if not 0 < chance < 1:
        return np.full(len(drawn), chance >= 1)
    return np.asarray(drawn < NormalDist().inv_cdf(chance))


def pointed(direction: Array, angles: Array) -> Array:
    """Directions (n, 3) turned by two angles each (n, 2), as `executing` turns one."""
    helper = np.eye(3)[np.argmin(np.abs(direction), axis=1)]
    one = unit(cross(direction, helper))
    other = cross(direction, one)
    turned = turn_about(turn_about(direction, one, angles[:, 0]), other, angles[:, 1])
    straight = ~np.any(angles, axis=1)
    return np.where(straight[:, None], direction, turned / norm(turned)[:, None])
