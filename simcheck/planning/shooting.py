"""Flying burns that are tied to places, and what each change of them does to the end.

A burn's middle is tied to a direction from the body, not to a date: where earlier burns come out
otherwise, the later ones wait for the craft, so that the shape of the orbit at the end hardly
depends on when things happen, and sequences of dozens of burns stay nearly linear in their Δv.
The slopes are chained arc by arc from differences, at a cost linear in the number of burns.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from simcheck.arrays import Array
from simcheck.engines.base import Propagator, Thrust
from simcheck.errors import FlightError
from simcheck.kernels.transfers import coast_time, period_of
from simcheck.kernels.vectors import TAU, cross, dot, norm, turn_about, unit, wrap
from simcheck.measuring import Averages, RingMotion, average, slot_period
from simcheck.planning.burns import Burns, burn_seconds
from simcheck.records.case import Tolerance

_STEP = 1e-6  # of position, speed and mass, and in rad, for differences
_ROUNDS = 8
_AT_ONCE = 0.5  # rad: a first burn whose place is this little past is made at once
_ON_PLACE = 1e-12  # of sqrt(r^3/gm): a coast that ends this near to its place is there
_LONG = 1.25 * TAU  # a longer coast is taken by the revolution, so that drift cannot add up


@dataclass(frozen=True, kw_only=True, eq=False)
class Aim:
    """What the re-aiming has to meet, and with what. start is the state (7,) at start_s.

    end_s is the latest last cutoff; infinity where time is free. goal is the share of each
    tolerance below which an error is met; lower asks for less Δv than meets the targets first.
    """

    start_s: float
    end_s: float
    min_radius_m: float
    max_radius_m: float
    start: Array
    motion: RingMotion
    slot: int
    tolerance: Tolerance
    goal: float = 0.01
    lower: bool = True


class Flown(NamedTuple):
    """Ignitions (n,), durations (n,), states (n, 7) at each ignition and cutoff; the end's miss.

    miss: the listed errors over their tolerances, signed.
    """

    ignitions: Array
    durations: Array
    lit: Array
    states: Array
    averages: Averages
    miss: Array

    @property
    def cutoff(self) -> float:
        """The last cutoff in s; minus infinity without burns."""
        if not len(self.ignitions):
            return -np.inf
        return float(self.ignitions[-1] + self.durations[-1])

    @property
    def worst(self) -> float:
        """The largest miss in tolerances."""
        return float(np.max(np.abs(self.miss), initial=0.0))


class Shooter:
    """Flies burns and measures the miss.

    share, 0 to 1, shortens the burns at a greater thrust: near zero they are impulses.
    """

    def __init__(self, setup: Aim, propagator: Propagator, share: float) -> None:
        self.setup, self.propagator, self.share = setup, propagator, share

    def fly(self, burns: Burns) -> Flown:
        """Fly from the start. Raises FlightError where a burn cannot begin in time."""
        count = len(burns.sweeps)
        ignitions, durations = np.zeros(count), np.zeros(count)
        lit, states = np.zeros((count, 7)), np.zeros((count, 7))
        time, state = self.setup.start_s, self.setup.start
        for i in range(count):
            behind = _ahead(state, burns.places[i - 1]) if i else 0.0
            wait = self._first_wait(burns, i, time, state, burns.sweeps[i] + behind)
            ignitions[i], lit[i], durations[i], states[i] = self._arc(burns, i, time, state, wait)
            time, state = float(ignitions[i] + durations[i]), states[i]
        found = average(self.propagator, time, state, self.setup.motion)
        return Flown(ignitions, durations, lit, states, found, self.miss(found))

    def miss(self, found: Averages) -> Array:
        """Listed errors over their tolerances, signed."""
        setup = self.setup
        t = setup.tolerance
        parts: list[float] = []
        if t.phase_rad is not None:
            ahead = found.longitude - setup.motion.longitude(setup.slot, found.time)
            parts.append(float(wrap(ahead)) / t.phase_rad)
        if t.period_s is not None:
            due = slot_period(setup.motion, found.time, found.period)
            parts.append((found.period - float(due)) / t.period_s)
        if t.eccentricity is not None:
            parts += [float(x) / t.eccentricity for x in found.e_vector]
        if t.plane_rad is not None:
            parts += [float(x) / t.plane_rad for x in found.normal[:2]]
        return np.array(parts)

    def slopes(self, burns: Burns, flown: Flown) -> Array:
        """Derivatives of the miss and of the last cutoff, (targets + 1, 4n).

        Per burn: the angle by which its place is turned along the orbit, then its Δv (3). A
        later arc is taken to see the same sky: how the sky changes with it is left out.
        """
        count = len(burns.sweeps)
        columns = np.zeros((len(flown.miss) + 1, count, 4))
        if not count:
            return columns.reshape(len(columns), 0)
        onward = self._end_slopes(flown)
        for i in reversed(range(count)):
            by_state, by_burn = self._arc_slopes(burns, flown, i)
            columns[:, i] = onward @ by_burn
            onward = onward @ by_state
        return columns.reshape(len(columns), 4 * count)

    def _end_slopes(self, flown: Flown) -> Array:
        """Derivatives of the miss and the cutoff by time and state at it, (t + 1, 8)."""
        time, state = flown.cutoff, flown.states[-1]
        rows = np.zeros((len(flown.miss) + 1, 8))
        rows[-1, 0] = 1.0
        for j, step in enumerate(_steps(state)[:7]):
            when, moved = (time + step, state) if j == 0 else (time, _moved(state, j - 1, step))
            found = average(self.propagator, when, moved, self.setup.motion, flown.averages)
            rows[:-1, j] = (self.miss(found) - flown.miss) / step
        return rows

    def _arc_slopes(self, burns: Burns, flown: Flown, i: int) -> tuple[Array, Array]:
        """Derivatives of time and state after burn i by those before (8, 8), and by the burn."""
        time, state = self.setup.start_s, self.setup.start
        if i:
            time, state = (
                float(flown.ignitions[i - 1] + flown.durations[i - 1]),
                flown.states[i - 1],
            )
        wait = float(flown.ignitions[i]) - time
        if self.propagator.gravity.sky is not None and self.propagator.name == "taylor":
            return self._arc_slopes_abreast(burns, flown, i, time, state, wait)

        def end(burns: Burns, state: Array) -> Array:
            ignition, _, length, cut = self._arc(burns, i, 0.0, state, wait)
            return np.append(ignition + length, cut)

        here = end(burns, state)
        by_state, by_burn = np.zeros((8, 8)), np.zeros((8, 4))
        by_state[0, 0] = 1.0
        steps = _steps(state)
        for j in range(7):
            by_state[:, j + 1] = (end(burns, _moved(state, j, steps[j + 1])) - here) / steps[j + 1]
        for j in range(4):
            step = _STEP if j == 0 else steps[4]
            change = np.zeros((len(burns.sweeps), 4))
            change[i, j] = step
            by_burn[:, j] = (end(moved(burns, flown, change), state) - here) / step
        return by_state, by_burn

    def _arc_slopes_abreast(
        self, burns: Burns, flown: Flown, i: int, time: float, state: Array, wait: float
    ) -> tuple[Array, Array]:
        """The same of all variations side by side, each from the arc's own time."""
        from simcheck.planning.shooting_lanes import BurnLanes, ends

        steps = _steps(state)
        by = np.append(steps[1:], [_STEP, *[steps[4]] * 3])
        variations = [burns] * 8
        for j in range(4):
            change = np.zeros((len(burns.sweeps), 4))
            change[i, j] = by[7 + j]
            variations.append(moved(burns, flown, change))
        states = np.tile(state, (12, 1))
        states[1:8] += np.diag(by[:7])
        lanes = BurnLanes(
            burns.engines[i],
            burns.steering[i],
            self.share,
            np.array([b.places[i] for b in variations]),
            np.array([b.dvs[i] for b in variations]),
        )
        times, cuts = ends(self.propagator.gravity, lanes, states, time, wait)
        after = np.concatenate([times[:, None], cuts], axis=1)
        slopes = ((after[1:] - after[0]) / by[:, None]).T
        by_state = np.zeros((8, 8))
        by_state[0, 0] = 1.0
        by_state[:, 1:] = slopes[:, :7]
        return by_state, slopes[:, 7:]

    def _arc(
        self, burns: Burns, i: int, time: float, state: Array, wait: float
    ) -> tuple[float, Array, float, Array]:
        """Ignition, the state there, the length and the state at cutoff of burn i."""
        size, engine = float(norm(burns.dvs[i])), burns.engines[i]
        length = self.share * burn_seconds(size, float(state[6]), engine)
        ignition, lit = self._coast(time, state, burns.places[i], wait, length / 2)
        if size == 0:
            return ignition, lit, 0.0, lit
        thrust = Thrust(
            thrust_n=engine.thrust_n / self.share,
            isp_s=engine.isp_s,
            steering=burns.steering[i],
            direction=burns.dvs[i] / size,
        )
        cut = self.propagator.advance(ignition, lit, ignition + length, thrust).state
        return ignition, lit, length, cut

    def _coast(
        self, time: float, state: Array, place: Array, wait: float, half: float
    ) -> tuple[float, Array]:
        """Coast about `wait`, until the place is `half` seconds of unpowered flight ahead."""
        now, there = time + wait, self.propagator.advance(time, state, time + wait).state
        fine = _ON_PLACE * float(np.sqrt(norm(there[:3]) ** 3 / self.propagator.gravity.gm))
        for _ in range(_ROUNDS):
            step = self._time_of(there, _ahead(there, place)) - half
            if abs(step) <= fine:
                break
            if now + step <= time:
                return time, state
            there = self.propagator.advance(now, there, now + step).state
            now += step
        return now, there

    def _first_wait(self, burns: Burns, i: int, time: float, state: Array, sweep: float) -> float:
        """How long to coast to burn i's ignition, from the angle (rad) still to be swept."""
        place, began = burns.places[i], time
        angle = _nearest(_ahead(state, place), sweep)
        while angle > _LONG:
            period = float(period_of(state[:3], state[3:6], self.propagator.gravity.gm))
            state = self.propagator.advance(time, state, time + period).state
            time += period
            angle = _nearest(_ahead(state, place), angle - TAU)
        length = self.share * burn_seconds(
            float(norm(burns.dvs[i])), float(state[6]), burns.engines[i]
        )
        wait = time + self._time_of(state, angle) - length / 2 - began
        early = wait < -max(length, 1e-6)
        if early and (i or angle < -_AT_ONCE):
            raise FlightError(f"burn {i + 1} would begin {-wait:.0f} s too early")
        return max(wait, 0.0)

    def _time_of(self, state: Array, angle: float) -> float:
        seconds = coast_time(state[:3], state[3:6], angle, self.propagator.gravity.gm)
        if not np.isfinite(seconds):
            raise FlightError("an orbit that is not closed does not come to the next burn's place")
        return seconds


def moved(burns: Burns, flown: Flown, change: Array) -> Burns:
    """Burns with their places turned along the orbit, and their Δv changed, by `change` (n, 4)."""
    axes = unit(cross(flown.lit[:, :3], flown.lit[:, 3:6]))
    turns = change[:, 0]
    return burns._replace(
        places=turn_about(burns.places, axes, turns),
        sweeps=burns.sweeps + np.diff(turns, prepend=0.0),
        dvs=burns.dvs + change[:, 1:],
    )


def swept(before: Array, state: Array) -> float:
    """Angle in (-pi, pi] from an earlier position (3,) to a state's, in the state's plane."""
    return -_ahead(state, before)


def _steps(state: Array) -> Array:
    """Difference steps (8,) for the time and each component of a state (7,)."""
    sizes = np.repeat([norm(state[:3]), norm(state[3:6]), state[6]], [3, 3, 1])
    return np.concatenate([[1.0], _STEP * sizes])


def _moved(state: Array, index: int, step: float) -> Array:
    fresh = np.array(state)
    fresh[index] += step
    return fresh


def _ahead(state: Array, place: Array) -> float:
    """Angle in (-pi, pi] from the craft to a direction, positive ahead, in the orbit's plane."""
    r, v = state[:3], state[3:6]
    h = cross(r, v)
    return float(np.arctan2(dot(cross(h, r), place) / norm(h), dot(r, place)))


def _nearest(angle: float, like: float) -> float:
    """The angle plus the whole revolutions that bring it nearest to another."""
    return angle + TAU * round((like - angle) / TAU)
