"""Whole-revolution averages in the ring frame: where a slot is, and how far a craft is from it.

A state is flown for whole revolutions and its osculating equinoctial elements, taken in the ring
frame, are averaged; the mean longitude is fitted as a straight line plus two harmonics. A ring is
resolved once a gravity: the relay whose averages are the ring's is found by iteration, and its mean
motion and node rate become the slots' motion, so that a member flown alone reads zero error. Under
even zonals it does so to 1e-6 of a revolution over fifty revolutions about Mars or the Earth (to
1e-4 about Vesta), since a window of two revolutions leaves terms of second order; under J3 its
eccentricity vector wanders about the frozen value, J3/(2 J2) R/a sin i in size, which then is the
floor of what can be held, not an error of the measurement.

Other bodies pull with the seasons of their motion. A ring is resolved in their mean tide; the part
of a relay's rate that comes and goes with them moves the slots too (`Wander`), since it moves all
relays of a ring alike, while the plane and the shape of the ring stay what was asked for.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import lru_cache
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from simcheck.arrays import Array
from simcheck.engines.base import Propagator
from simcheck.engines.choosing import fast_propagator
from simcheck.engines.wander import Wander, wander_of
from simcheck.errors import FlightError
from simcheck.kernels.elements import (
    Equinoctial,
    equinoctial_from_state,
    ring_frame,
    state_from_equinoctial,
)
from simcheck.kernels.fitting import fit_line
from simcheck.kernels.kepler import axis_of_period, orbital_period
from simcheck.kernels.vectors import TAU, cross, dot, norm, unit, wrap
from simcheck.records.case import Ring, RingSize

REVOLUTIONS = 2
"""Whole revolutions over which elements are averaged."""

SAMPLES = 96
"""Samples a revolution."""

_EQUATORIAL = 1e-9  # rad of inclination from 0 or 180 deg
_RUNAWAY = 0.2  # a window that changes more than this in one pass is no window
_WINDOW = 1e-12  # relative change of the averaging window at which it is settled
_RELAY = 1e-12  # what a relay on its slot may read, relative and in rad
_RELAY_LOOSE = 1e-9  # the same where rounding allows no better
_ITERATIONS = 150


class RingMotion(NamedTuple):
    """A ring resolved in a gravity: how its slots move. Angles rad, times s from the epoch.

    period_s and node_rate are the mean ones; wander is what other bodies do to the slots beside.
    """

    ring: Ring
    radius_m: float
    period_s: float
    node_rate: float
    wander: Wander | None = None

    @property
    def equatorial(self) -> bool:
        """Whether the ring's node is undefined, so that the inertial x axis stands in for it."""
        return bool(np.sin(self.ring.inclination_rad) < _EQUATORIAL)

    @property
    def rate(self) -> float:
        """Mean rate of the slots in the ring frame, rad/s."""
        return TAU / self.period_s

    def frame(self, time: float | Array) -> Array:
        """Axes of the ring frame at `time` as rows, (..., 3, 3)."""
        raan = self.ring.raan_rad + self.node_rate * np.asarray(time, dtype=np.float64)
        inclination = np.broadcast_to(self.ring.inclination_rad, raan.shape)
        return ring_frame(inclination, raan, equatorial=self.equatorial)

    def longitude(self, slot: int | NDArray[np.intp], time: float | Array) -> Array:
        """Mean longitude of a slot, or of slots (...), in the ring frame, rad, not wrapped."""
        ring = self.ring
        start = ring.argument_of_latitude_rad + TAU * slot / ring.slots
        if self.equatorial:
            start += ring.raan_rad * np.sign(np.cos(ring.inclination_rad))
        return np.asarray(start + self.passed(time))

    def passed(self, time: float | Array) -> Array:
        """Angle by which the slots have moved in the ring frame since the epoch, rad."""
        mean = self.rate * np.asarray(time, dtype=np.float64)
        return np.asarray(mean if self.wander is None else mean + self.wander.at(time))

    def period_before(self, time: float | Array, span: float | Array) -> Array:
        """Period of the slots over the `span` s that end at `time`."""
        if self.wander is None:
            return np.asarray(self.period_s)
        there = np.asarray(time, dtype=np.float64)
        moved = self.wander.at(there) - self.wander.at(there - span)
        return np.asarray(TAU * span / (self.rate * span + moved))

    def direction(self, slot: int, time: float | Array) -> Array:
        """Unit vector to the mean place of a slot, inertial axes, (..., 3)."""
        longitude = self.longitude(slot, time)
        inside = np.stack([np.cos(longitude), np.sin(longitude), np.zeros_like(longitude)], axis=-1)
        return np.asarray((np.swapaxes(self.frame(time), -1, -2) @ inside[..., None])[..., 0])


class Averages(NamedTuple):
    """Averaged elements in the ring frame; `longitude` is the fitted line at `time` (s, rad)."""

    time: float
    longitude: float
    period: float
    e_vector: Array
    normal: Array
    radius: float


def slot_period(motion: RingMotion, time: float | Array, period: float | Array) -> Array:
    """Period of the slots while averages that end at `time` were taken over `period`."""
    return motion.period_before(time, REVOLUTIONS * np.asarray(period))


def slot_rate(motion: RingMotion, averages: Averages) -> float:
    """Mean rate of the slots while the averages were taken, rad/s."""
    return TAU / float(slot_period(motion, averages.time, averages.period))


class Offsets(NamedTuple):
    """A craft against a slot: the four errors of the verdict, SI and radians, phase wrapped."""

    phase: float
    period: float
    eccentricity: float
    plane: float


def average(
    propagator: Propagator,
    time: float,
    state: Array,
    motion: RingMotion,
    near: Averages | None = None,
) -> Averages:
    """Fly `state` (7,) for whole revolutions from `time` and average its elements.

    The averaging window is made a whole number of revolutions by iteration. With `near`, the
    averages of a state hardly different, its window is taken over: enough for derivatives.

    e_vector (2,) is the averaged (k, h), normal (3,) the averaged orbit normal, both in the ring
    frame. Raises FlightError where the orbit is not closed.
    """
    gm = propagator.gravity.gm
    inverse_axis = 2 / norm(state[:3]) - dot(state[3:6], state[3:6]) / gm
    period = float(orbital_period(inverse_axis, gm))
    if not np.isfinite(period):
        raise FlightError(f"the orbit at {time:.0f} s is not closed; it has no period")
    period = near.period if near is not None else period
    shares = np.arange(REVOLUTIONS * SAMPLES + 1) / SAMPLES
    for _ in range(_ITERATIONS):
        times = time + shares * period
        rows = propagator.sample(time, state, times)
        elements, normal = _in_ring_frame(rows, motion.frame(times), gm)
        longitude = np.unwrap(elements.longitude)
        last, rate = fit_line(times, longitude, TAU / period)
        settled = abs(rate * period / TAU - 1) < _WINDOW or near is not None or gm_only(propagator)
        if not _RUNAWAY < rate * period / TAU < 1 / _RUNAWAY:
            raise FlightError(f"the orbit at {time:.0f} s has no steady period to average over")
        period = TAU / float(rate)
        if settled:
            break
    return Averages(
        float(times[-1]),
        float(last),
        period,
        np.array([np.mean(elements.k[:-1]), np.mean(elements.h[:-1])]),
        np.mean(normal[:-1], axis=0),
        float(np.mean(norm(rows[:-1, :3]))),
    )


def gm_only(propagator: Propagator) -> bool:
    """Whether the motion is pure two-body, where the osculating period is the averaged one."""
    return propagator.gravity.point_mass


def _in_ring_frame(rows: Array, frames: Array, gm: float) -> tuple[Equinoctial, Array]:
    position = np.einsum("nij,nj->ni", frames, rows[:, :3])
    velocity = np.einsum("nij,nj->ni", frames, rows[:, 3:6])
    normal = unit(cross(position, velocity))
    return equinoctial_from_state(position, velocity, gm), normal


def offsets(averages: Averages, motion: RingMotion, slot: int) -> Offsets:
    """The four errors of a craft against a slot."""
    phase = float(wrap(averages.longitude - motion.longitude(slot, averages.time)))
    return Offsets(
        phase,
        averages.period - float(slot_period(motion, averages.time, averages.period)),
        float(np.hypot(*averages.e_vector)),
        float(np.arctan2(np.hypot(*averages.normal[:2]), averages.normal[2])),
    )


def resolve_ring(ring: Ring, propagator: Propagator) -> RingMotion:
    """Find the mean radius, the period and the node rate of the ring in a gravity.

    Raises FlightError where the iteration does not settle (a ring inside the body, say).
    """
    canonical = (ring.size, ring.size_value, ring.inclination_rad)
    gravity = propagator.gravity
    if gravity.sky is None:
        return RingMotion(ring, *_size_and_drift(canonical, propagator))
    mean = fast_propagator(gravity.averaged())
    motion = RingMotion(ring, *_size_and_drift(canonical, mean))
    return motion._replace(
        wander=wander_of(gravity, lambda times: motion.frame(times)[:, 2], motion.rate)
    )


@lru_cache(maxsize=256)
def _size_and_drift(
    canonical: tuple[RingSize, float, float], propagator: Propagator
) -> tuple[float, float, float]:
    """Mean radius in m, period in s and node rate in rad/s of a ring.

    Of a relay at the node: the node and the slots' place in the ring matter to second order only
    (its node rate to 1e-8 deg in fifty revolutions about Mars), and taken like this the ring is the
    same to the last bit when it is seen from a later time.
    """
    size, given, inclination = canonical
    ring = Ring(
        size=size,
        size_value=given,
        inclination_rad=inclination,
        raan_rad=0.0,
        slots=1,
        argument_of_latitude_rad=0.0,
    )
    gm = propagator.gravity.gm
    by_period = size == "period"
    radius = float(axis_of_period(given, gm)) if by_period else given
    period = given if by_period else float(orbital_period(1 / radius, gm))
    motion = RingMotion(ring, radius, period, 0.0)
    if gm_only(propagator):
        return motion[1:4]

    def miss(x: Array) -> tuple[Array, RingMotion]:
        """What a relay's averages miss, its node's rate last, and the ring that they speak of."""
        trial = motion._replace(node_rate=float(x[6]) * motion.rate)
        found, node_rate = _relay_averages(propagator, _elements(x), trial, 0.0)
        fresh = RingMotion(
            ring,
            found.radius if by_period else given,
            given if by_period else found.period,
            node_rate,
        )
        size = np.log(found.period / given) / 1.5 if by_period else np.log(found.radius / given)
        rest = _relay_miss(found, fresh, 0)
        return np.array([size, *rest, x[6] - node_rate / motion.rate]), fresh

    return _settled(miss, np.append(_circular(motion, 0, 0.0), 0.0))[1][1:4]


def relay_state(
    motion: RingMotion,
    propagator: Propagator,
    slot: int,
    time: float = 0.0,
    errors: Array | None = None,
) -> Array:
    """Osculating state (6,) of a relay whose averaged elements at `time` are its slot's.

    errors (6,) are what it reads instead of zero: mean longitude in rad, relative period,
    eccentricity vector (k, h), the normal's x and y; small ones.
    Raises FlightError where the iteration does not settle.
    """
    gm = propagator.gravity.gm
    off = np.zeros(6) if errors is None else errors
    start = _circular(motion, slot, time)
    start += [np.log1p(off[1]) / 1.5, off[3], off[2], off[4] / 2, -off[5] / 2, off[0]]
    if gm_only(propagator):
        return _inertial(_elements(start), motion, time, gm)

    def miss(x: Array) -> tuple[Array, RingMotion]:
        there = np.append(_inertial(_elements(x), motion, time, gm), 1.0)
        found = average(propagator, time, there, motion)
        late = found.period / float(slot_period(motion, found.time, found.period))
        swept = TAU / found.period * (found.time - time)
        due = [off[3], off[2], off[4] / 2, -off[5] / 2, off[0] - off[1] * swept]
        miss = np.array(_relay_miss(found, motion, slot)) - due
        return np.array([(np.log(late) - np.log1p(off[1])) / 1.5, *miss]), motion

    return _inertial(_elements(_settled(miss, start)[0]), motion, time, gm)


def _settled(
    miss: Callable[[Array], tuple[Array, RingMotion]], start: Array
) -> tuple[Array, RingMotion]:
    """Zero of a miss that nearly equals the shift of its argument (Broyden's method)."""
    x, inverse = start, np.eye(len(start))
    rest, motion = miss(x)
    for _ in range(_ITERATIONS):
        if np.max(np.abs(rest)) < _RELAY:
            return x, motion
        step = -inverse @ rest
        x = x + step
        fresh, motion = miss(x)
        change = inverse @ (fresh - rest)
        inverse = inverse + np.outer(step - change, step @ inverse) / (step @ change)
        rest = fresh
    if np.max(np.abs(rest)) < _RELAY_LOOSE:
        return x, motion
    raise FlightError("the ring's motion does not settle in these forces; check its radius")


def _circular(motion: RingMotion, slot: int, time: float) -> Array:
    """Logarithm of the axis, h, k, p, q and mean longitude (6,) of a circle on the slot."""
    longitude = float(motion.longitude(slot, time))
    return np.array([np.log(motion.radius_m), 0.0, 0.0, 0.0, 0.0, longitude])


def _elements(x: Array) -> Equinoctial:
    return Equinoctial(np.exp(x[0]), *(np.asarray(part) for part in x[1:6]))


def _inertial(elements: Equinoctial, motion: RingMotion, time: float, gm: float) -> Array:
    position, velocity = state_from_equinoctial(elements, gm)
    frame = motion.frame(time)
    return np.concatenate([position @ frame, velocity @ frame])


def _relay_averages(
    propagator: Propagator, elements: Equinoctial, motion: RingMotion, time: float
) -> tuple[Averages, float]:
    """Averages of a relay, and the inertial rate of its node (zero for an equatorial ring)."""
    state = np.append(_inertial(elements, motion, time, propagator.gravity.gm), 1.0)
    found = average(propagator, time, state, motion)
    if motion.equatorial:
        return found, 0.0
    times = time + np.arange(REVOLUTIONS * SAMPLES + 1) / SAMPLES * found.period
    rows = propagator.sample(time, state, times)
    normal = cross(rows[:, :3], rows[:, 3:6])
    node = np.unwrap(np.arctan2(normal[:, 0], -normal[:, 1]))
    _, rate = fit_line(times, node, TAU / found.period, harmonics=6)
    return found, float(rate)


def _relay_miss(found: Averages, motion: RingMotion, slot: int) -> list[float]:
    """By how much averages are off a slot, as shifts of h, k, p, q and the mean longitude."""
    k, h = found.e_vector
    phase = wrap(found.longitude - motion.longitude(slot, found.time))
    return [h, k, found.normal[0] / 2, -found.normal[1] / 2, float(phase)]
