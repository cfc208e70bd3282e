"""Which of the sorted samples is a percentile, and which two hold it between them.

Free of any distribution: nothing here supposes a Gaussian outcome. Every statement assumes
independent samples.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable

import numpy as np
from numpy.typing import ArrayLike, NDArray

from simcheck.arrays import Array
from simcheck.kernels.binomial import at_least, at_most, checked, inside, least

_DIGITS = ((53, 11), (42, 11), (31, 11), (20, 11), (9, 11), (0, 9))  # shift and width in bits
_SIGN = np.uint64(1 << 63)


def quantile_place(samples: ArrayLike, share: ArrayLike) -> Array:
    """Place, from 0, of the least sorted value with at least the share of all at or below it.

    Shapes broadcast; share in [0, 1]. NaN without samples.
    Reference: Hyndman and Fan (1996), Am. Stat. 50, 361-365, definition 1.
    """
    _, n = checked(0, samples)
    wanted = np.asarray(share, dtype=np.float64)
    if not np.all((wanted >= 0.0) & (wanted <= 1.0)):
        raise ValueError(f"share: expected shares in [0, 1], got {share!r}")
    rank = np.ceil(n * wanted * (1.0 - 4 * np.finfo(np.float64).eps))  # 0.55 of 100 is the 55th
    return np.where(n > 0, np.maximum(rank, 1.0) - 1.0, np.nan)


def quantile_interval(
    samples: ArrayLike, share: ArrayLike, confidence: ArrayLike
) -> tuple[Array, Array]:
    """Places (low, high), from 0, of the sorted values that hold a quantile between them.

    Shapes broadcast. Whatever the distribution, the `share` quantile lies within the closed
    interval with at least the confidence. Each tail holds at most half of 1 - confidence, and one
    end then moves in by one where the whole still allows it. NaN where there are too few samples
    for that end (take it as infinite).
    Reference: David and Nagaraja (2003), Order Statistics, 3rd ed., section 7.1.
    """
    _, n = checked(0, samples)
    p, doubt = inside(share, "share"), 1.0 - inside(confidence, "confidence")
    n, p, doubt = np.broadcast_arrays(n, p, doubt)
    whole = n.astype(np.int64)
    # Ranks from 1: the quantile is below the value of rank r when fewer than r lie at or below it.
    low = least(np.full_like(whole, -1), whole, lambda k: at_most(k, n, p) > doubt / 2)
    high = least(np.zeros_like(whole), whole + 1, lambda k: at_least(k, n, p) <= doubt / 2)
    raised = at_most(low, n, p) + at_least(high, n, p)
    lowered = at_most(low - 1, n, p) + at_least(high - 1, n, p)
    up = (raised <= doubt) & (high <= n) & (low + 1 < high)
    down = (lowered <= doubt) & (low >= 1) & (low + 1 < high)
    down &= ~up | (lowered < raised)
    low, high = low + (up & ~down), high - down
    return np.where(low >= 1, low - 1.0, np.nan), np.where(high <= n, high - 1.0, np.nan)


def order_statistics(read: Callable[[], Iterable[Array]], places: Array) -> Array:
    """Values at given places of each column's sorted values, without sorting or holding them.

    read gives the columns in blocks (n, c), the same ones whenever it is called; places (c, p) are
    whole numbers from 0, NaN where no value is asked for. Values that are not finite do not count.
    Returns (c, p), exact and NaN where places are. Memory depends on c and p only: leading digits
    are counted, eleven bits a pass, and what has the digits found so far is looked at again. Raises
    ValueError for a place beyond the values.
    """
    asked = np.isfinite(places)
    rank = np.where(asked, places, 0.0).astype(np.int64)
    found = np.zeros(places.shape, dtype=np.uint64)
    for shift, width in _DIGITS:
        heads = [np.unique(row[on]) for row, on in zip(found, asked, strict=True)]
        counts = [np.zeros((len(row), 1 << width), dtype=np.int64) for row in heads]
        for block in read():
            for column, values in enumerate(block.T):
                _count(
                    _keys(values[np.isfinite(values)]), shift, width, heads[column], counts[column]
                )
        for at in zip(*np.nonzero(asked), strict=True):
            upto = np.cumsum(counts[at[0]][np.searchsorted(heads[at[0]], found[at])])
            digit = int(np.searchsorted(upto, rank[at], side="right"))
            if digit == len(upto):
                raise ValueError(f"places: expected at most {upto[-1] - 1}, got {places[at]:g}")
            rank[at] -= upto[digit - 1] if digit else 0
            found[at] = (found[at] << np.uint64(width)) | np.uint64(digit)
    return np.where(asked, _values(found), np.nan)


def _count(
    keys: NDArray[np.uint64],
    shift: int,
    width: int,
    heads: NDArray[np.uint64],
    counts: NDArray[np.int64],
) -> None:
    """Add to counts (heads, 2^width) how often each digit follows each head."""
    cut = keys >> np.uint64(shift)
    digits = (cut & np.uint64((1 << width) - 1)).astype(np.intp)
    before = cut >> np.uint64(width)
    for row, head in enumerate(heads):
        counts[row] += np.bincount(digits[before == head], minlength=1 << width)


def _keys(values: Array) -> NDArray[np.uint64]:
    """Whole numbers in the same order as the values."""
    bits = np.ascontiguousarray(values, dtype=np.float64).view(np.uint64)
    return bits ^ ((bits.view(np.int64) >> 63).view(np.uint64) | _SIGN)


def _values(keys: NDArray[np.uint64]) -> Array:
    """Back from `_keys`."""
    return np.where(keys & _SIGN, keys ^ _SIGN, ~keys).view(np.float64)
