"""A flown ring as a network: links, coverage, contacts and eclipses together."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from simcheck.arrays import Array
from simcheck.kernels.sampled import SampledMotion, sampled_motion
from simcheck.kernels.vectors import norm
from simcheck.networking import surface
from simcheck.networking.contacts import contacts
from simcheck.networking.coverage import coverage
from simcheck.networking.eclipses import eclipses
from simcheck.networking.links import links
from simcheck.networking.sizing import ring_geometry
from simcheck.records.case import Body
from simcheck.records.network import Network, NetworkAim, SeasonRow

_SAMPLES_A_REVOLUTION = 60
"""Below it the cubics between samples are off by more than 3e-7 of the radius, 8 m of 26,000 km."""


def network(
    names: Sequence[str],
    times: Array,
    positions: Array,
    body: Body,
    aim: NetworkAim,
    *,
    slots: Sequence[int],
    ring_slots: int,
    velocities: Array | None = None,
    sun: Array | None = None,
    radius_m: float | None = None,
    season: tuple[SeasonRow, ...] = (),
) -> Network:
    """Everything that a flown ring serves.

    names (M,) of the relays; times (T,) s past the epoch, increasing; positions (M, T, 3) m and
    velocities m/s, inertial (without velocities those of a spline); slots (M,) of the relays and
    ring_slots of the ring; sun (T, 3) m from the body, None where it is not known; radius_m: the
    ring's mean radius, else that of the samples. Raises ValueError where shapes do not fit.
    """
    motion = sampled_motion(times, positions, velocities)
    if not len(names) == len(slots) == len(motion.positions):
        raise ValueError(
            f"expected a name and a slot for each of {len(motion.positions)} relays, got "
            f"{len(names)} and {len(slots)}"
        )
    radius = float(norm(motion.positions).mean()) if radius_m is None else radius_m
    return Network(
        start_s=float(motion.times[0]),
        end_s=float(motion.times[-1]),
        step_s=float(np.diff(motion.times).max()),
        relays=tuple(names),
        geometry=ring_geometry(body, aim, ring_slots, radius),
        links=links(names, motion, body, aim, slots),
        coverage=coverage(motion, body, aim),
        contacts=contacts(names, motion, body, aim.sites),
        eclipses=() if sun is None else eclipses(names, motion, np.asarray(sun), body),
        season=season,
        notes=tuple(_notes(motion, body, aim, (len(slots), ring_slots), sun is not None)),
    )


def _notes(
    motion: SampledMotion, body: Body, aim: NetworkAim, filled: tuple[int, int], sunlit: bool
) -> list[str]:
    said = surface.notes(body, aim.sites)
    if filled[0] != filled[1]:
        said.append(
            f"{filled[0]} relays fly where the ring has {filled[1]} slots: links are those of the"
            " relays that fly."
        )
    if not sunlit:
        said.append("Where the Sun is is not known: eclipses are left out.")
    lowest = float(norm(motion.positions).min())
    revolution = math.tau * math.sqrt(lowest**3 / body.gm_m3_s2)
    step = float(np.diff(motion.times).max())
    if revolution < _SAMPLES_A_REVOLUTION * step:
        said.append(
            f"The states are {step:g} s apart, {revolution / step:.0f} a revolution: times of"
            " windows are off by more than their digits say."
        )
    return said
