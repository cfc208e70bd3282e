"""Rings of circular orbits, exact, for what is found from their samples."""

from __future__ import annotations

import math

import numpy as np

from simcheck.kernels.sampled import SampledMotion, sampled_motion
from simcheck.kernels.vectors import rotation
from simcheck.records.case import Body

EARTH = Body(
    name="Earth",
    gm_m3_s2=398600.4415e9,
    radius_m=6378.137e3,
    rotation_period_s=86164.090524,
    prime_meridian_rad=0.0,
)
GEO_M = 42164.1696e3  # Vallado Ex. 1-1
DAY = 86400.0


def period(radius: float, body: Body = EARTH) -> float:
    """Of a circular orbit, s."""
    return math.tau * math.sqrt(radius**3 / body.gm_m3_s2)


def circular(
    radius: float,
    relays: int,
    times: np.ndarray,
    *,
    inclination: float = 0.0,
    raan: float = 0.0,
    body: Body = EARTH,
) -> tuple[np.ndarray, np.ndarray]:
    """Positions and velocities (relays, T, 3), evenly spaced, relay 0 at the node at time 0."""
    rate = math.tau / period(radius, body)
    u = rate * times + math.tau * np.arange(relays)[:, None] / relays
    turn = rotation(2, raan) @ rotation(0, inclination)
    places = radius * np.stack([np.cos(u), np.sin(u), 0.0 * u], axis=-1) @ turn.T
    speeds = radius * rate * np.stack([-np.sin(u), np.cos(u), 0.0 * u], axis=-1) @ turn.T
    return places, speeds


def ring(radius: float, relays: int, times: np.ndarray, **plane: float) -> SampledMotion:
    """The same as a sampled motion."""
    return sampled_motion(times, *circular(radius, relays, times, **plane))


def names(relays: int) -> list[str]:
    """R1, R2 and so on."""
    return [f"R{k + 1}" for k in range(relays)]
