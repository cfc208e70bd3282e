"""The primer: transfers known to be optimal, one that is not, and what a small burn saves."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from simcheck.kernels.kepler import propagate
from simcheck.kernels.lambert import lambert
from simcheck.kernels.primer import Conditions, Trajectory, primer_of

Z = np.array([0.0, 0.0, 1.0])


def conditions(burns: int, **changes: object) -> Conditions:
    """Free times, no limits, arrival anywhere on the ring."""
    plain = Conditions(
        np.ones(burns, dtype=bool), np.zeros((burns, 6)), np.zeros(burns, bool), True
    )
    return plain._replace(**changes)  # type: ignore[arg-type]


def hohmann(ratio: float, start: float = 0.0) -> Trajectory:
    """Two tangential burns from radius 1 to `ratio`, gm = 1."""
    axis = (1 + ratio) / 2
    leave, arrive = np.sqrt(2 - 1 / axis), np.sqrt(2 / ratio - 1 / axis)
    return Trajectory(
        start,
        np.array([0.0, np.pi * axis**1.5]),
        np.array([[1.0, 0, 0], [-ratio, 0, 0]]),
        np.array([[0, 1.0, 0], [0, -arrive, 0]]),
        np.array([[0, leave, 0], [0, -np.sqrt(1 / ratio), 0]]),
    )


@pytest.mark.reference("Lawden (1963), chapter 5: the Hohmann transfer satisfies the conditions")
@pytest.mark.parametrize("ratio", [1.5, 5.0, 11.0])
def test_a_hohmann_transfer_meets_every_condition(ratio: float) -> None:
    """Directions, stationary times and free arrival at once; nowhere longer than one."""
    primer = primer_of(hohmann(ratio, start=-6.0), conditions(2), 1.0)
    assert primer.miss < 1e-12
    assert primer.at_burns == pytest.approx([1.0, 1.0], abs=1e-12)
    assert primer.peak < 1 + 1e-6


def test_a_hohmann_transfer_is_judged_alike_in_any_units() -> None:
    """Lengths, times and gm in other units leave the primer as it is."""
    path, scale, pace = hohmann(3.0, start=-2.0), 7e6, 800.0
    other = Trajectory(
        path.start * pace,
        path.times * pace,
        *(part * scale / (1 if k == 0 else pace) for k, part in enumerate(path[2:])),
    )
    plain = primer_of(path, conditions(2), 1.0)
    scaled = primer_of(other, conditions(2), scale**3 / pace**2)
    assert scaled.lengths == pytest.approx(plain.lengths, abs=1e-9)


def test_burns_off_their_best_place_are_told() -> None:
    """The same two burns 20 degrees apart from the apsides leave conditions unmet."""
    path = hohmann(2.0)
    tilted = path.after.copy()
    tilted[0] += [0.05, 0, 0]
    r, v = propagate(path.positions[0], tilted[0], path.times[1], 1.0)
    primer = primer_of(
        path._replace(
            positions=np.array([path.positions[0], r]),
            before=np.array([path.before[0], v]),
            after=np.array([tilted[0], np.cross(Z, r) / np.linalg.norm(r) ** 1.5]),
        ),
        conditions(2),
        1.0,
    )
    assert primer.miss > 0.01


@dataclass
class Rendezvous:
    """A timed transfer between circular orbits, flown by scipy for the test alone."""

    start: np.ndarray
    speed: np.ndarray
    end: np.ndarray
    arrival: np.ndarray
    span: float

    def pair(self) -> Trajectory:
        """Two burns, at the beginning and at the end of the time."""
        go, come = lambert(self.start, self.end, np.array(self.span), Z, 1.0)
        return Trajectory(
            0.0,
            np.array([0.0, self.span]),
            np.array([self.start, self.end]),
            np.array([self.speed, come]),
            np.array([go, self.arrival]),
        )

    def dv(self, at: float, burn: np.ndarray) -> float:
        """Total with a burn in between fixed: the first aims so that the last is at the end."""

        def flown(first: np.ndarray) -> np.ndarray:
            state = np.concatenate([self.start, first])
            for span, push in ((at, burn), (self.span - at, np.zeros(3))):
                state = self.coast(state, span)
                state[3:] += push
            return state

        first = self.pair().after[0]
        for _ in range(8):
            miss = flown(first)[:3] - self.end
            slopes = np.array(
                [(flown(first + 1e-6 * e)[:3] - self.end - miss) / 1e-6 for e in np.eye(3)]
            ).T
            first = first - np.linalg.solve(slopes, miss)
        last = self.arrival - flown(first)[3:]
        return float(sum(map(np.linalg.norm, (first - self.speed, burn, last))))

    def coast(self, state: np.ndarray, span: float) -> np.ndarray:
        found = solve_ivp(
            lambda _, y: [*y[3:], *(-y[:3] / np.linalg.norm(y[:3]) ** 3)],
            (0, span),
            state,
            rtol=1e-12,
            atol=1e-12,
            method="DOP853",
        )
        return np.asarray(found.y[:, -1])


def hurry() -> Rendezvous:
    """From radius 1 to radius 1.4, 200 degrees ahead in 5.2: a third burn helps."""
    place = np.array([np.cos(3.49), np.sin(3.49), 0.05])
    end = 1.4 * place / np.linalg.norm(place)
    arrival = np.cross(Z, end)
    return Rendezvous(
        np.array([1.0, 0, 0]),
        np.array([0, 1.0, 0]),
        end,
        arrival / np.linalg.norm(arrival) / np.sqrt(1.4),
        5.2,
    )


def test_a_small_burn_saves_what_the_primer_says() -> None:
    """d(total)/d(size of a burn along p) = 1 - |p|, by differences of re-aimed flights."""
    scene = hurry()
    fixed = conditions(2, free=np.zeros(2, dtype=bool), open_phase=False)
    primer = primer_of(scene.pair(), fixed, 1.0)
    assert primer.peak > 1.01  # otherwise the test shows nothing
    along = primer.peak_vector / np.linalg.norm(primer.peak_vector)
    size = 1e-4
    change = scene.dv(primer.peak_time, size * along) - scene.dv(primer.peak_time, 0 * along)
    # Second order in the size: 1e-4 of a change of 1e-4 times the curvature of order one.
    assert change / size == pytest.approx(1 - primer.peak, abs=3e-3)


def test_where_nothing_is_left_open_the_shortest_is_taken() -> None:
    """A whole revolution between two burns at one place leaves the primer open: see it closed."""
    radius, speed = np.array([1.0, 0, 0]), np.array([0, 1.0, 0])
    middle, fast = np.array([0, 1.05, 0]), np.array([0, 1.1, 0])
    period = 2 * np.pi / (2 - 1.05**2) ** 1.5
    path = Trajectory(
        0.0,
        np.array([0.0, period]),
        np.array([radius, radius]),
        np.array([speed, middle]),
        np.array([middle, fast]),
    )
    primer = primer_of(path, conditions(2, open_phase=False), 1.0)
    assert primer.miss < 1e-9
    assert primer.peak < 1 + 1e-3
