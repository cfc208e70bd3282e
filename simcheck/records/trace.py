"""A flight sampled for pictures, in the ring frame."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from simcheck.arrays import Array, frozen_array


@dataclass(frozen=True, kw_only=True, eq=False)
class TracedBurn:
    """A burn as flown: when, where its middle is and the Δv made, ring frame."""

    label: str
    start_s: float
    end_s: float
    position_m: Array
    dv_m_s: Array

    def __post_init__(self) -> None:
        for name in ("position_m", "dv_m_s"):
            object.__setattr__(self, name, frozen_array(getattr(self, name), (3,), name))


@dataclass(frozen=True, kw_only=True, eq=False)
class TracedMember:
    """A member: its place at the end of the flight (ring frame), and its distance throughout."""

    name: str
    slot: int | None
    position_m: Array
    distance_m: Array

    def __post_init__(self) -> None:
        object.__setattr__(self, "position_m", frozen_array(self.position_m, (3,), "position"))
        object.__setattr__(self, "distance_m", frozen_array(self.distance_m, (None,), "distance"))


@dataclass(frozen=True, kw_only=True, eq=False)
class Trace:
    """A flight at times time_s (n,), each in the arc of that number.

    Positions are in the ring frame of their time: z along the ring's normal, x along its node,
    which turns slowly with the node. axes (3, 3) are that frame's at the end, as rows in inertial
    axes; pole (3,) the body's pole in it. The errors (n,) are those of the osculating orbit against
    the osculating orbit of a relay flown on the slot: mean longitude, period, length of the
    difference of the eccentricity vectors, angle between the planes; NaN where the orbit is open.
    before_m and after_m (k, 3) are the osculating orbits at the start and at the end, closed;
    empty where they are open. slots_m (slots, 3) are the places of the slots at the end, of which
    the craft's is number `slot`. tolerances are by the name of their error, where there are any.
    """

    craft: str
    body: str
    body_radius_m: float
    ring_radius_m: float
    slot: int
    axes: Array
    pole: Array
    time_s: Array
    arc: NDArray[np.intp]
    position_m: Array
    phase_deg: Array
    period_s: Array
    eccentricity: Array
    plane_deg: Array
    burns: tuple[TracedBurn, ...]
    members: tuple[TracedMember, ...]
    before_m: Array
    after_m: Array
    slots_m: Array
    tolerances: dict[str, float]
    separation_m: float

    def __post_init__(self) -> None:
        shapes: dict[str, tuple[int | None, ...]] = {
            "axes": (3, 3),
            "pole": (3,),
            "time_s": (None,),
            "position_m": (None, 3),
            "before_m": (None, 3),
            "after_m": (None, 3),
            "slots_m": (None, 3),
        }
        for name, shape in shapes.items():
            object.__setattr__(self, name, frozen_array(getattr(self, name), shape, name))
        for name in ("arc", "phase_deg", "period_s", "eccentricity", "plane_deg"):
            value = getattr(self, name).copy()
            value.flags.writeable = False
            object.__setattr__(self, name, value)
