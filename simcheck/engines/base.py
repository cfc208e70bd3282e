"""The seam between motion and everything that needs it: gravity, thrust, stop conditions.

A propagator is final and keeps this contract (one fast, one for reference, no inheritance):

1. A state is a float64 array (7,): position m, velocity m/s, inertial axes, and mass kg.
2. `advance` moves one state from `time` to `until`, thrusting at full thrust if a `Thrust` is
   given. A coast may go back in time; a burn that would ends where it began. With a `Stop` it ends
   early, to machine precision, where the stop function changes sign; a start exactly on the sign
   change does not stop it. A coast heeds no `Stop`.
3. `sample` returns the coasting states at increasing times (n,), none before `time`.
4. `passages` returns every node and apsis passage of a coast in order of time, however short the
   interval between two of them, two at one time included; none where they mean nothing
   (`watched`). A start exactly on a passage does not count.
5. A start that is equal gives an end that is equal, bit for bit, whatever was flown before.
6. It raises FlightError only where the motion itself cannot be computed; it knows no limits.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, NamedTuple, Protocol, TypeAlias

import numpy as np

from simcheck.arrays import Array, frozen_array
from simcheck.engines.gravity import Gravity
from simcheck.engines.pulls import pull
from simcheck.kernels.elements import eccentricity_vector
from simcheck.kernels.vectors import cross, dot, norm

G0 = 9.80665
"""Standard gravity, m/s2 (ISO 80000-3), which turns Isp into exhaust speed."""

_FLAT = 1e-11  # below this eccentricity or sine of the tilt, a passage is rounding noise
_START = 1e-9  # rad on a circle: a passage nearer to the start is the start itself
_ON_THE_STOP = 1e-13  # a stop function this small, against its terms, is zero

Steering: TypeAlias = Literal["inertial", "rsw"]
Passage: TypeAlias = Literal["node", "periapsis", "apoapsis"]


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
        """Exhaust speed, m/s."""
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
        return np.asarray(np.sum(self._terms(state, gm), axis=0))

    def reached(self, state: Array, gm: float) -> bool:
        """Whether a state (7,) is on the stop, to rounding."""
        terms = self._terms(state, gm)
        size = np.sum(np.abs(terms))
        size += norm(np.asarray(self.plane)) * norm(cross(state[:3], state[3:6]))
        return bool(np.abs(np.sum(terms)) <= _ON_THE_STOP * size)

    def _terms(self, state: Array, gm: float) -> Array:
        r, v = state[..., :3], state[..., 3:6]
        h = cross(r, v)
        hn = norm(h)
        return np.stack(
            [
                self.energy * (dot(v, v) / 2 - gm / norm(r)),
                dot(h, np.asarray(self.plane)),
                self.length * hn,
                self.square * hn**2,
                np.broadcast_to(self.constant, hn.shape),
            ]
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


def watched(state: Array, normal: Array, gravity: Gravity) -> tuple[bool, bool]:
    """Whether nodes and apsides of a coast mean anything.

    An orbit that stays in the plane has no nodes, a circular one in two-body motion no apsides:
    there the event functions vanish throughout and any crossing found would be rounding.
    """
    r, v = state[:3], state[3:6]
    h, pole = cross(r, v), np.asarray(normal, dtype=np.float64)
    simple = gravity.point_mass
    flat = norm(cross(h, pole)) <= _FLAT * norm(h) * norm(pole)
    equatorial = gravity.sky is None and np.hypot(pole[0], pole[1]) <= _FLAT * norm(pole)
    round_ = norm(eccentricity_vector(r, v, gravity.gm)) <= _FLAT
    return not (flat and (simple or equatorial)), not (simple and round_)


def counted(
    hits: list[tuple[bool, float, Array]], time: float, state: Array, gravity: Gravity
) -> list[Event]:
    """Point 4 of the contract: the hits of a coast from `state` that count, named, in order.

    A hit says whether it is a node, its time and its state (7,).
    """
    first = time + _START * float(np.sqrt(norm(state[:3]) ** 3 / gravity.gm))
    events = []
    for node, when, there in hits:
        bend = 1.0 if node else _bend(when, there, gravity)
        if when > first and abs(bend) > _FLAT:
            kind: Passage = "node" if node else "periapsis" if bend > 0 else "apoapsis"
            events.append(Event(kind, when, there))
    return sorted(events, key=lambda event: event.time)


def _bend(time: float, state: Array, gravity: Gravity) -> float:
    """Second derivative of the radius at an apsis over v^2/r: positive at a periapsis."""
    r, v = state[:3], state[3:6]
    inward = -gravity.gm / norm(r) + dot(r, pull(gravity, time, r))
    return float(1.0 + inward / dot(v, v))


class Propagator(Protocol):
    """See the numbered contract in this module's docstring."""

    name: str
    gravity: Gravity

    def __hash__(self) -> int:
        """What is worked out for a propagator is kept by it."""

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
