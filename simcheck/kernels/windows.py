"""Spans of time in which a function is at or above zero, from samples and polishing.

Many functions ("signals", a row each) are searched at once. A window that begins and ends between
two samples shows in none of them; it is found at the extremum inside: wherever samples have a
local maximum below zero (or a local minimum above), the extremum is located on the function itself.
Missed is what lies between a maximum and a minimum within one step (a grid of some ten samples to
the quickest swing leaves little of that), and what lasts less than about `RESOLUTION_S`. Windows
touch the ends of the samples where the function is positive there.

Spans are arrays (K, 2) of start and end, in order, apart from one another.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import NamedTuple, TypeAlias

import numpy as np
from numpy.typing import NDArray

from simcheck.arrays import Array

Rows: TypeAlias = NDArray[np.intp]
Signal: TypeAlias = Callable[[Rows, Array], Array]

RESOLUTION_S = 1e-3
"""To which crossings are bracketed and extrema located; a crossing is then interpolated."""

_GOLDEN = (np.sqrt(5.0) - 1.0) / 2.0


class Extrema(NamedTuple):
    """Local maxima, n of them: which signal, when, how high, and the bracket that holds it."""

    rows: Rows
    at: Array
    height: Array
    low: Array
    high: Array


def maxima(
    times: Array, values: Array, signal: Signal, *, reaching: Array | None = None
) -> Extrema:
    """Local maxima of each signal, located to RESOLUTION_S; the ends of the samples count.

    times (T,) s; values (S, T); signal(rows (n,), times (n,)) gives values (n,). reaching (S,)
    leaves out those that lie at or above it in the samples, and those that cannot reach it: the
    rise above the highest of three samples is at most a part of the fall to its neighbours.
    """
    padded = np.pad(values, ((0, 0), (1, 1)), constant_values=-np.inf)
    before, after = values - padded[:, :-2], values - padded[:, 2:]
    top = (before > 0.0) & (after >= 0.0)
    if reaching is not None:
        level = reaching[:, None]
        top &= (values < level) & (values + before + after >= level)
    rows, k = np.nonzero(top)
    low, high = times[np.maximum(k - 1, 0)], times[np.minimum(k + 1, len(times) - 1)]
    at, height = _climb(signal, rows, low, high)
    return Extrema(rows, at, height, low, high)


def extremes(times: Array, values: Array, signal: Signal) -> tuple[Array, Array]:
    """Least and most (S,) of each signal, extrema between samples included."""
    return -_most(times, -values, lambda rows, at: -signal(rows, at)), _most(times, values, signal)


def _most(times: Array, values: Array, signal: Signal) -> Array:
    most: Array = np.asarray(values.max(axis=1), dtype=np.float64)
    # The highest sample itself must be polished too: the level lies a hair above it.
    tops = maxima(times, values, signal, reaching=np.nextafter(most, np.inf))
    np.maximum.at(most, tops.rows, tops.height)
    return most


def windows(times: Array, values: Array, signal: Signal) -> list[Array]:
    """For each signal the spans in which it is at or above zero; arguments as of `maxima`."""
    inside = values >= 0.0
    rows, k = np.nonzero(inside[:, 1:] != inside[:, :-1])
    brackets = [(rows, times[k], times[k + 1])]
    zero = np.zeros(len(values))
    hidden = maxima(times, values, signal, reaching=zero)
    brackets += _around(hidden, hidden.height >= 0.0)
    below = maxima(times, -values, lambda r, t: -signal(r, t), reaching=zero)
    brackets += _around(below, below.height > 0.0)
    which = np.concatenate([b[0] for b in brackets])
    crossings = _roots(
        signal,
        which,
        np.concatenate([b[1] for b in brackets]),
        np.concatenate([b[2] for b in brackets]),
    )
    order = np.lexsort((crossings, which))
    which, crossings = which[order], crossings[order]
    bounds = np.searchsorted(which, np.arange(len(values) + 1))
    return [
        _paired(crossings[bounds[s] : bounds[s + 1]], inside[s], times) for s in range(len(values))
    ]


def _around(found: Extrema, keep: NDArray[np.bool_]) -> list[tuple[Rows, Array, Array]]:
    """The two brackets beside each extremum that is kept."""
    rows, at = found.rows[keep], found.at[keep]
    return [(rows, found.low[keep], at), (rows, at, found.high[keep])]


def _paired(crossings: Array, inside: NDArray[np.bool_], times: Array) -> Array:
    """Starts and ends from the crossings of one signal, the ends of the samples where it needs."""
    head = times[:1] if inside[0] else times[:0]
    tail = times[-1:] if inside[-1] else times[:0]
    return np.concatenate([head, crossings, tail]).reshape(-1, 2)


def _climb(signal: Signal, rows: Rows, low: Array, high: Array) -> tuple[Array, Array]:
    """Where each signal is highest within its bracket, by golden section, and how high."""
    if not len(rows):
        return low, low
    inner, outer = high - _GOLDEN * (high - low), low + _GOLDEN * (high - low)
    f_inner, f_outer = signal(rows, inner), signal(rows, outer)
    while np.max(high - low) > RESOLUTION_S:
        left = f_inner >= f_outer
        low, high = np.where(left, low, inner), np.where(left, outer, high)
        new = np.where(left, high - _GOLDEN * (high - low), low + _GOLDEN * (high - low))
        f_new = signal(rows, new)
        inner, outer = np.where(left, new, outer), np.where(left, inner, new)
        f_inner, f_outer = np.where(left, f_new, f_outer), np.where(left, f_inner, f_new)
    better = f_inner >= f_outer
    return np.where(better, inner, outer), np.where(better, f_inner, f_outer)


def _roots(signal: Signal, rows: Rows, low: Array, high: Array) -> Array:
    """The crossing within each bracket: bisection, then one step along the chord."""
    if not len(rows):
        return low
    f_low, f_high = signal(rows, low), signal(rows, high)
    while np.max(high - low) > RESOLUTION_S:
        middle = (low + high) / 2.0
        f = signal(rows, middle)
        first = (f >= 0.0) == (f_low >= 0.0)
        low, f_low = np.where(first, middle, low), np.where(first, f, f_low)
        high, f_high = np.where(first, high, middle), np.where(first, f_high, f)
    rise = f_high - f_low
    share = np.where(rise != 0.0, -f_low / np.where(rise != 0.0, rise, 1.0), 0.5)
    return np.asarray(low + np.clip(share, 0.0, 1.0) * (high - low))


# ------------------------------------------------------------------------------- sets of spans


def total(spans: Array) -> float:
    """Time within the spans."""
    return float(np.sum(spans[:, 1] - spans[:, 0]))


def at_least(sets: Sequence[Array], number: int) -> Array:
    """Spans in which at least `number` of the sets hold; ends touch where spans do."""
    starts = np.concatenate([spans[:, 0] for spans in sets])
    ends = np.concatenate([spans[:, 1] for spans in sets])
    at = np.concatenate([starts, ends])
    change = np.concatenate([np.ones(len(starts)), -np.ones(len(ends))])
    order = np.lexsort((-change, at))
    at, depth = at[order], np.cumsum(change[order])
    before = np.concatenate([[0.0], depth[:-1]])
    opens = at[(depth >= number) & (before < number)]
    closes = at[(depth < number) & (before >= number)]
    found = np.stack([opens, closes], axis=-1)
    return np.asarray(found[found[:, 1] > found[:, 0]])


def everywhere(sets: Sequence[Array]) -> Array:
    """Spans in which all of the sets hold."""
    return at_least(sets, len(sets))


def anywhere(sets: Sequence[Array]) -> Array:
    """Spans in which any of the sets holds."""
    return at_least(sets, 1)


def outside(spans: Array, start: float, end: float) -> Array:
    """What the spans leave of the time from start to end."""
    edges = np.concatenate([[start], spans.reshape(-1), [end]]).reshape(-1, 2)
    return np.asarray(edges[edges[:, 1] > edges[:, 0]])


def longest(spans: Array) -> float:
    """Length of the longest span, 0 where there is none."""
    return float(np.max(spans[:, 1] - spans[:, 0], initial=0.0))
