"""The primer vector of an impulsive plan in two-body motion, and how well it meets its conditions.

The primer p obeys the same linear equation as a small displacement along the trajectory, so the
state transition matrices carry it. At a local optimum p is the burn's direction at every burn, its
length is stationary where the time of a burn is free, and p and its rate are continuous; a radius
limit that an orbit lies on makes them jump by an unknown multiple of the limit's slopes. All of
these are linear in the primer at the first burn and in the multiples, and are solved together by
least squares; what they leave open (a coast of whole revolutions leaves two directions) is chosen
so that the primer stays as short as it can. Reference: Lawden (1963), Optimal Trajectories for
Space Navigation, chapters 3 and 5; Lion and Handelsman (1968), AIAA J. 6, 127-132.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from simcheck.arrays import Array
from simcheck.kernels.transfers import period_of
from simcheck.kernels.transition import transition
from simcheck.kernels.vectors import norm, unit

_A_TURN = 60  # samples a revolution: a parabola through three of them is good to 1e-5
_LEAST, _MOST = 24, 6000  # samples of a coast
_OPEN = 1e-7  # singular values below this share of the largest leave the primer open
_REWEIGHTED = 40


class Trajectory(NamedTuple):
    """States at n burns: times (n,) s, position, velocity before and after (n, 3).

    start is the time from which the first orbit is flown.
    """

    start: float
    times: Array
    positions: Array
    before: Array
    after: Array

    @property
    def directions(self) -> Array:
        """Unit vectors (n, 3) along the burns."""
        return unit(self.after - self.before)


class Conditions(NamedTuple):
    """What an optimum has to meet beside the directions.

    free (n,): whether the time of a burn is free. slopes (n, 6): of an active limit on the orbit
    after each burn, by position and velocity there; zero where none is. capped (n,): whether a
    burn is held at its longest, so that the primer there may be longer than one. open_phase:
    whether the place of arrival along the ring is free. early: half the length in s of a first burn
    that is as early as its length allows, capped too: what it gains by being later is what it loses
    by being longer.
    """

    free: NDArray[np.bool_]
    slopes: Array
    capped: NDArray[np.bool_]
    open_phase: bool
    early: float = 0.0


class Primer(NamedTuple):
    """The primer's lengths: sampled (m,) at times (m,), and at the burns (n,).

    miss is the largest departure from the linear conditions. peak is the largest length between
    burns and before the first, reached at peak_time with the vector peak_vector (3,).
    """

    times: Array
    lengths: Array
    at_burns: Array
    miss: float
    peak: float
    peak_time: float
    peak_vector: Array


class _Forms(NamedTuple):
    """Linear forms (6, u) in the unknowns that give p and its scaled rate at each burn."""

    before: list[Array]
    after: list[Array]


def primer_of(path: Trajectory, conditions: Conditions, gm: float) -> Primer:
    """Find the primer of a trajectory with at least one burn.

    gm in m3/s2. The result has no unit: the primer is the Δv saved at the end by a metre a second
    given along it.
    """
    rate = float(np.sqrt(gm / norm(path.positions[-1]) ** 3))
    forms = _forms(path, conditions, rate, gm)
    answer, left_open, miss = _solve(path, conditions, forms, rate, gm)
    times, samples, inside = _sampled(path, forms, rate, gm)
    if left_open.shape[1]:
        answer = answer + left_open @ _shortest(samples @ answer, samples @ left_open)
    vectors = samples @ answer
    lengths = norm(vectors)
    at_burns = norm(np.array([form[:3] @ answer for form in forms.before]))
    if not inside.any():
        return Primer(times, lengths, at_burns, miss, 0.0, path.start, np.zeros(3))
    top = int(np.argmax(np.where(inside, lengths, -1.0)))
    peak, when = _summit(times, lengths, top)
    return Primer(times, lengths, at_burns, miss, peak, when, vectors[top])


def _scaled(matrix: Array, rate: float) -> Array:
    """A transition matrix (..., 6, 6) for (p, dp/dt over the rate) instead of (r, v)."""
    result = matrix.copy()
    result[..., :3, 3:] *= rate
    result[..., 3:, :3] /= rate
    return result


def _forms(path: Trajectory, conditions: Conditions, rate: float, gm: float) -> _Forms:
    """Forms at each burn. The unknowns (u,) are p and its rate at the first burn, then a multiple

    for each active limit, then the surplus length at each burn held at its longest.
    """
    active = np.flatnonzero(np.any(conditions.slopes != 0, axis=1))
    count = 6 + len(active) + int(np.sum(conditions.capped))
    form = np.zeros((6, count))
    form[:, :6] = np.eye(6)
    before, after = [form], []
    for k in range(len(path.times)):
        form = before[k].copy()
        if k in active:
            slope = conditions.slopes[k]
            size = max(float(norm(slope[3:])), float(norm(slope[:3])) / rate)
            column = 6 + int(np.flatnonzero(active == k)[0])
            form[:3, column] += slope[3:] / size
            form[3:, column] -= slope[:3] / (size * rate)
        after.append(form)
        if k + 1 < len(path.times):
            gap = path.times[k + 1] - path.times[k]
            _, _, matrix = transition(path.positions[k, None], path.after[k, None], gap, gm)
            before.append(_scaled(matrix[0], rate) @ form)
    return _Forms(before, after)


def _solve(
    path: Trajectory, conditions: Conditions, forms: _Forms, rate: float, gm: float
) -> tuple[Array, Array, float]:
    """Least-squares answer (u,), the directions left open (u, d), and the largest miss."""
    directions = path.directions
    held = np.flatnonzero(conditions.capped)
    first_held = forms.before[0].shape[1] - len(held)
    rows, right = [], []
    for k, form in enumerate(forms.before):
        row = form[:3].copy()
        if k in held:
            row[:, first_held + int(np.flatnonzero(held == k)[0])] -= directions[k]
        rows.append(row)
        right.append(directions[k])
        if conditions.free[k]:
            rows.append((directions[k] @ form[3:])[None])
            right.append(np.zeros(1))
    if conditions.early:
        row = conditions.early * rate * (directions[0] @ forms.before[0][3:])
        row[first_held] += 1.0
        rows.append(row[None])
        right.append(np.zeros(1))
    if conditions.open_phase:
        rows.append(_arrival(path, forms.before[-1], rate, gm)[None])
        right.append(np.zeros(1))
    matrix, target = np.concatenate(rows), np.concatenate(right)
    u, sizes, vt = np.linalg.svd(matrix, full_matrices=True)
    rank = int(np.sum(sizes > _OPEN * sizes[0]))
    answer = vt[:rank].T @ ((u[:, :rank].T @ target) / sizes[:rank])
    return answer, vt[rank:].T, float(np.max(np.abs(matrix @ answer - target)))


def _arrival(path: Trajectory, form: Array, rate: float, gm: float) -> Array:
    """Row (u,): arriving elsewhere along the ring changes nothing."""
    r, v = path.positions[-1], path.after[-1]
    pull = -gm * r / norm(r) ** 3
    return np.asarray((v @ form[3:] - pull @ form[:3] / rate) / norm(v))


def _sampled(
    path: Trajectory, forms: _Forms, rate: float, gm: float
) -> tuple[Array, Array, NDArray[np.bool_]]:
    """Times (m,), forms (m, 3, u) of p there, and which are not at a burn (m,).

    The first orbit is sampled from the start, every coast from burn to burn.
    """
    ends = [(path.start, path.times[0], path.positions[0], path.before[0], forms.before[0])]
    ends += [
        (path.times[k], path.times[k + 1], path.positions[k], path.after[k], forms.after[k])
        for k in range(len(path.times) - 1)
    ]
    times, samples, inside = [], [], []
    for index, (begin, end, position, velocity, form) in enumerate(ends):
        turns = float((end - begin) / period_of(position, velocity, gm))
        count = int(np.clip(_A_TURN * turns, _LEAST, _MOST))
        at = np.linspace(begin, end, count + 1)
        here, going = (np.broadcast_to(x, (len(at), 3)) for x in (position, velocity))
        _, _, matrices = transition(here, going, at - (begin if index else end), gm)
        times.append(at)
        samples.append(_scaled(matrices, rate)[:, :3] @ form)
        between = np.ones(len(at), dtype=bool)
        between[-1] = False
        between[0] = index == 0
        between &= end > begin  # no orbit is flown before a burn at the start
        inside.append(between)
    return np.concatenate(times), np.concatenate(samples), np.concatenate(inside)


def _shortest(base: Array, along: Array) -> Array:
    """The z (d,) that makes the longest of base + along z (m, 3) as short as it can be.

    Least squares with weights that grow where the result is long (Lawson's algorithm).
    """
    weights: Array = np.ones(len(base))
    best = np.inf
    found: Array = np.zeros(along.shape[2])
    for _ in range(_REWEIGHTED):
        root = np.sqrt(weights)[:, None]
        matrix = (along * root[..., None]).reshape(-1, along.shape[2])
        z, *_ = np.linalg.lstsq(matrix, -(base * root).ravel(), rcond=None)
        lengths = norm(base + along @ z)
        if lengths.max() < best:
            best, found = float(lengths.max()), np.asarray(z, dtype=np.float64)
        weights = np.asarray(weights * lengths)
        weights = weights / weights.sum()
    return found


def _summit(times: Array, lengths: Array, top: int) -> tuple[float, float]:
    """Height and time of the parabola through a sample and its neighbours."""
    if top in (0, len(times) - 1):
        return float(lengths[top]), float(times[top])
    a, b, c = lengths[top - 1 : top + 2]
    step = times[top + 1] - times[top]
    bend = a - 2 * b + c
    even = np.isclose(step, times[top] - times[top - 1])
    if not (bend < 0 and even and b >= max(a, c)):  # beside a burn the top is no summit
        return float(b), float(times[top])
    shift = 0.5 * (a - c) / bend
    return float(b - 0.25 * (a - c) * shift), float(times[top] + shift * step)
