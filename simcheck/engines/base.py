"""The seam between motion and everything that needs it: gravity, thrust, stop conditions.

A propagator is final and keeps this contract (one fast, one for reference, no inheritance):

1. A state is a float64 array (7,): position m, velocity m/s, inertial axes, and mass kg.
2. `advance` moves one state from `time` to `until` (later or equal), thrusting at full thrust if a
   `Thrust` is given. With a `Stop` it ends early, to machine precision, where the stop function
   changes sign; a start exactly on the sign change does not stop it.
3. `sample` returns the coasting states at increasing times (n,), none before `time`.
4. `passages` returns every node and apsis passage of a coast, however short the interval between
   two of them.
5. A start that is equal gives an end that is equal, bit for bit, whatever was flown before.
6. It raises FlightError only where the motion itself cannot be computed; it knows no limits.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, NamedTuple, Protocol, TypeAlias

import numpy as np

from simcheck.arrays import Array, frozen_array
from simcheck.kernels.vectors import cross, dot, norm
from simcheck.records.case import Case

G0 = 9.80665
"""Standard gravity, m/s2 (ISO 80000-3), which turns Isp into exhaust speed."""

Steering: TypeAlias = Literal["inertial", "rsw"]
Passage: TypeAlias = Literal["node", "periapsis", "apoapsis"]


class Gravity(NamedTuple):
    """Point mass and zonal terms: m3/s2, m, and the coefficients that act (zero where off)."""

    gm: float
    radius: float
    j2: float = 0.0
    j3: float = 0.0
    j4: float = 0.0

    def scaled(self, share: float) -> Gravity:
        """The same body with its zonal terms multiplied by `share`."""
        return Gravity(
            self.gm, self.radius, share * self.j2, share * self.j3, share * self.j4
        )


def gravity_of(case: Case) -> Gravity:
    """The gravity that the case's `forces` switch on."""
    body, on = case.body, case.forces
    return Gravity(
        body.gm_m3_s2,
        body.radius_m,
        body.j2 if "j2" in on else 0.0,
        body.j3 if "j3" in on else 0.0,
        body.j4 if "j4" in on else 0.0,
    )


@dataclass(frozen=True, kw_only=True, eq=False)
class Thrust:
    """A burn's force: direction is a unit vector in inertial axes, or in RSW turning with it."""

    thrust_n: float
    isp_s: float
    steering: Steering
    direction: Array

    def __post_init__(self) -> None:
        object.__setattr__(self, "direction", frozen_array(self.direction, (3,), "direction"))

    @property
    def exhaust_m_s(self) -> float:
        return G0 * self.isp_s

    @property
    def flow_kg_s(self) -> float:
        """Mass flow, kg/s, positive."""
        return self.thrust_n / self.exhaust_m_s


class Stop(NamedTuple):
    """Stop function: energy*E + plane.H + length*|H| + square*H^2 + constant, zero at the stop.

    E is the specific two-body energy in J/kg and H the specific angular momentum in m2/s.
    One form serves each quantity that an operator watches: period, apsis radius, relative plane.
    """

    energy: float = 0.0
    plane: tuple[float, float, float] = (0.0, 0.0, 0.0)
    length: float = 0.0
    square: float = 0.0
    constant: float = 0.0

    def value(self, state: Array, gm: float) -> Array:
        """The stop function of states (..., 7)."""
        r, v = state[..., :3], state[..., 3:6]
        energy = dot(v, v) / 2 - gm / norm(r)
        h = cross(r, v)
        hn = norm(h)
        plane = dot(h, np.asarray(self.plane))
        return np.asarray(
            self.energy * energy
            + plane
            + self.length * hn
            + self.square * hn**2
            + self.constant
        )


def stop_at_period(period_s: float, gm: float) -> Stop:
    """Stop where the osculating two-body period is reached."""
    a = np.cbrt(gm * (period_s / (2 * np.pi)) ** 2)
    return Stop(energy=2 * a / gm, constant=1.0)


def stop_at_apsis(radius_m: float, gm: float) -> Stop:
    """Stop where one of the osculating apsides has this radius."""
    return Stop(energy=radius_m / gm, square=-0.5 / (gm * radius_m), constant=1.0)


def stop_at_tilt(direction: Array, sine: float) -> Stop:
    """Stop where the orbit normal's component along the unit vector `direction` is `sine`."""
    x, y, z = (float(c) for c in direction)
    return Stop(plane=(x, y, z), length=-sine)


class Advance(NamedTuple):
    """Where an arc ended; stopped tells whether its Stop ended it."""

    time: float
    state: Array
    stopped: bool


class Event(NamedTuple):
    """A passage with its time in s and state (7,)."""

    kind: Passage
    time: float
    state: Array


class Propagator(Protocol):
    """See the numbered contract in this module's docstring."""

    name: str
    gravity: Gravity

    def advance(
        self,
        time: float,
        state: Array,
        until: float,
        thrust: Thrust | None = None,
        stop: Stop | None = None,
    ) -> Advance:
        """Move a state to `until` (s), or to the stop."""

    def sample(self, time: float, state: Array, times: Array) -> Array:
        """Coasting states (n, 7) at `times` (n,)."""

    def passages(self, time: float, state: Array, until: float, normal: Array) -> list[Event]:
        """Passages through the plane with this normal, and of the apsides, in order of time."""
