"""When the body takes the Sun from the relays, and the seasons in which it does."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Literal

import numpy as np

from simcheck.arrays import Array
from simcheck.kernels.sampled import SampledMotion, sampled_motion
from simcheck.kernels.vectors import cross, dot, unit
from simcheck.kernels.visibility import eclipse_share, shadow
from simcheck.kernels.windows import Rows, longest, total, windows
from simcheck.records.case import Body
from simcheck.records.network import Eclipse, RelayEclipses, SeasonRow


def eclipses(
    names: Sequence[str], motion: SampledMotion, sun: Array, body: Body
) -> tuple[RelayEclipses, ...]:
    """Each relay's eclipses by the body over the time of the samples.

    sun: (T, 3) m from the body's centre, at the motion's times. Left out: eclipses by other bodies,
    flattening, an atmosphere, the limb of the Sun being darker.
    """
    course = sampled_motion(motion.times, sun[None], _velocities(motion.times, sun)[None])
    zero = np.zeros(1, dtype=np.intp)

    def depths(rows: Rows, times: Array) -> tuple[Array, Array]:
        return shadow(
            motion.at(rows, times),
            course.at(np.broadcast_to(zero, rows.shape), times),
            body.radius_m,
        )

    umbra, penumbra = shadow(motion.positions, sun, body.radius_m)
    dark = windows(motion.times, umbra, lambda rows, times: depths(rows, times)[0])
    dim = windows(motion.times, penumbra, lambda rows, times: depths(rows, times)[1])
    beta = np.degrees(beta_angle(motion.positions, motion.velocities, sun))
    return tuple(
        _of_relay(name, dim[k], dark[k], (motion.times, beta[k])) for k, name in enumerate(names)
    )


def _velocities(times: Array, sun: Array) -> Array:
    """Velocities (T, 3) of the Sun by differences: off by less than 1 mm/s at steps of ten minutes.

    A spline does it too, but its import takes longer than a hold's network.
    """
    order: Literal[1, 2] = 2 if len(times) > 2 else 1
    return np.asarray(np.gradient(sun, times, axis=0, edge_order=order))


def beta_angle(positions: Array, velocities: Array, sun: Array) -> Array:
    """Angle (...) rad of the Sun above the plane of the orbits, towards their normals."""
    normal = unit(cross(positions, velocities))
    return np.asarray(np.arcsin(np.clip(dot(normal, unit(sun)), -1.0, 1.0)))


def _of_relay(name: str, dim: Array, dark: Array, beta: tuple[Array, Array]) -> RelayEclipses:
    times, angle = beta
    span = float(times[-1] - times[0])
    return RelayEclipses(
        relay=name,
        eclipses=tuple(
            Eclipse(start_s=float(start), end_s=float(end), umbra_s=_within(dark, start, end))
            for start, end in dim
        ),
        share=total(dim) / span,
        longest_s=longest(dim),
        umbra_share=total(dark) / span,
        longest_umbra_s=longest(dark),
        beta_least_deg=float(angle.min()),
        beta_most_deg=float(angle.max()),
    )


def _within(spans: Array, start: float, end: float) -> float:
    """Time of the spans that lie in a longer one."""
    first, last = np.searchsorted(spans[:, 0], [start, end])
    return total(spans[first:last])


def season(
    times: Array, normals: Array, sun: Array, radius_m: float, body: Body
) -> tuple[SeasonRow, ...]:
    """The shadow of a revolution of a circular ring as the Sun and the ring's plane go on.

    times (K,) s, normals of the ring and sun (K, 3) m or unit vectors; radius_m of the ring. In
    closed form: a year costs nothing (cylinder of shadow, so without the penumbra).
    """
    beta = np.arcsin(np.clip(dot(unit(normals), unit(sun)), -1.0, 1.0))
    period = math.tau * math.sqrt(radius_m**3 / body.gm_m3_s2)
    dark = period * eclipse_share(radius_m, body.radius_m, beta)
    return tuple(
        SeasonRow(time_s=float(t), beta_deg=math.degrees(float(b)), shadow_s=float(s))
        for t, b, s in zip(times, beta, dark, strict=True)
    )
