"""What samples allow to be said: rates, quantiles, verdicts, and what drives an outcome.

Every statement assumes independent samples; low-discrepancy points are not. Intervals hold at least
the confidence asked for, whatever the distribution: nothing here supposes a Gaussian outcome.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Literal, TypeAlias

import numpy as np
from numpy.typing import ArrayLike, NDArray

from simcheck.arrays import Array

Decision: TypeAlias = Literal["met", "not met", "inconclusive"]
Counts: TypeAlias = NDArray[np.int64]

JEFFREYS = (0.5, 0.5)
_HALVINGS = 64  # of [0, 1]: past the last bit of a rate
_MOST_SAMPLES = 2**50  # beyond it whole numbers and their neighbours blur


def binomial_interval(
    count: ArrayLike, samples: ArrayLike, confidence: ArrayLike
) -> tuple[Array, Array]:
    """Exact two-sided interval (low, high) of the rate behind `count` hits in `samples`.

    Shapes broadcast; each tail holds at most half of 1 - confidence. A count of 0 gives low = 0, a
    full count high = 1. Raises ValueError unless 0 <= count <= samples and 0 < confidence < 1.
    Reference: Clopper and Pearson (1934), Biometrika 26, 404-413.
    """
    sided = (1.0 + np.asarray(confidence, dtype=np.float64)) / 2
    return (
        binomial_bound(count, samples, sided, "low"),
        binomial_bound(count, samples, sided, "high"),
    )


def binomial_bound(
    count: ArrayLike, samples: ArrayLike, confidence: ArrayLike, side: Literal["low", "high"]
) -> Array:
    """Exact one-sided bound of a rate: it lies on the far side with at most 1 - confidence.

    "low" is what a requirement such as "99 % shown with 90 % confidence" is judged by. Shapes
    broadcast. Raises and reference as `binomial_interval`.
    """
    from scipy.special import betainccinv, betaincinv

    k, n = _checked(count, samples)
    doubt = 1.0 - _inside(confidence, "confidence")
    if side == "low":
        low = betaincinv(np.maximum(k, 1.0), n - k + 1.0, doubt)
        return np.where(k > 0, low, 0.0)
    high = betainccinv(k + 1.0, np.maximum(n - k, 1.0), doubt)
    return np.where(k < n, high, 1.0)


def needed_samples(success: float, confidence: float, failures: int = 0) -> int:
    """Least number of samples of which `failures` may fail and still show the rate `success`.

    That is the n at which `decided(n - failures, n, success, confidence)` turns to "met". Raises
    ValueError for a negative `failures`, or rates outside (0, 1).
    Reference: Wilks (1941), Ann. Math. Stat. 12, 91-96.
    """
    doubt = 1.0 - float(_inside(confidence, "confidence"))
    _inside(success, "success")
    if failures < 0:
        raise ValueError(f"failures: expected 0 or more, got {failures}")

    def shown(n: Counts) -> NDArray[np.bool_]:
        return np.asarray(_at_least(n - failures, n, success) <= doubt)

    found = _least_above(failures, shown)
    if found is None:
        raise ValueError(f"success: {success} needs more samples than can be counted")
    return found


def decided(count: int, samples: int, success: float, confidence: float) -> Decision:
    """Judge the requirement "rate >= success, shown with the confidence" from a fixed sample size.

    "met" where `binomial_bound` low >= success, "not met" where its high < success; each is wrong
    with probability at most 1 - confidence. Looking again as samples come in breaks that promise:
    use `settled` there. Below a confidence of a half both can hold at once: "inconclusive".
    """
    k, n = _checked(count, samples)
    doubt = 1.0 - float(_inside(confidence, "confidence"))
    p = float(_inside(success, "success"))
    return _verdict(bool(_at_least(k, n, p) <= doubt), bool(_at_most(k, n, p) < doubt))


def samples_to_decide(count: int, samples: int, success: float, confidence: float) -> float:
    """Further samples after which `decided` speaks, if the observed rate holds exactly.

    The count is carried on as a real number, so the answer is monotone in it: the closer the rate
    to the asked one, the more samples. 0 where already decided, inf where the observed rate is the
    asked one (or too close to count), NaN without samples. Chance moves the real number either way.
    """
    if decided(count, samples, success, confidence) != "inconclusive":
        return 0.0
    if samples == 0:
        return math.nan
    rate, doubt = count / samples, 1.0 - confidence
    if rate == success:
        return math.inf

    def speaks(n: Counts) -> NDArray[np.bool_]:
        held = np.minimum(count * (n / samples), n)
        if rate > success:
            return np.asarray(_at_least(held, n, success) <= doubt)
        return np.asarray(_at_most(held, n, success) < doubt)

    found = _least_above(samples, speaks)
    return math.inf if found is None else float(found - samples)


def settling_evidence(count: ArrayLike, samples: ArrayLike, success: float) -> tuple[Array, Array]:
    """Log of the odds for "met" and for "not met" against a rate of exactly `success`.

    count and samples broadcast. Each is the likelihood of the samples averaged over the rates
    beyond `success` on that side (weighed by Jeffreys' prior cut off there), over the likelihood at
    `success`: under any rate on the wrong side a non-negative supermartingale that starts at 1, so
    the chance that it ever reaches 1/x is at most x.
    """
    from scipy.special import betainc, betaincc, betaln, xlog1py, xlogy

    k, n = _checked(count, samples)
    p = float(_inside(success, "success"))
    a, b = JEFFREYS
    odds = betaln(k + a, n - k + b) - betaln(a, b) - xlogy(k, p) - xlog1py(n - k, -p)
    with np.errstate(divide="ignore"):  # a side that the samples rule out has the odds 0
        above = np.log(betaincc(k + a, n - k + b, p)) - np.log(betaincc(a, b, p))
        below = np.log(betainc(k + a, n - k + b, p)) - np.log(betainc(a, b, p))
    return np.asarray(odds + above), np.asarray(odds + below)


def settled(count: int, samples: int, success: float, confidence: float) -> Decision:
    """Judge as `decided` does, but after any sample, as often as one likes.

    The rule: stop once the samples are 1/(1 - confidence) times likelier under the rates beyond the
    asked one, averaged, than under the asked one. The chance of ever stopping wrongly is at most
    1 - confidence on either side. The price: 297 samples without failure for 99 % at 90 %, not 230.
    References: Ville (1939), Etude critique de la notion de collectif; Robbins (1970), Ann. Math.
    Stat. 41, 1397-1409.
    """
    enough = -math.log1p(-float(_inside(confidence, "confidence")))
    met, missed = settling_evidence(count, samples, success)
    return _verdict(bool(met >= enough), bool(missed >= enough))


def rate_sequence(
    count: ArrayLike,
    samples: ArrayLike,
    confidence: ArrayLike,
    prior: tuple[float, float] = JEFFREYS,
) -> tuple[Array, Array]:
    """Interval (low, high) of a rate that may be looked at after every sample.

    Shapes broadcast. The chance that it ever, at any number of samples, leaves out the true rate is
    at most 1 - confidence, whatever the beta `prior` (a, b), which only moves where it is short. It
    is two-sided and so wider than `settled` needs. Raises ValueError as `binomial_interval`, and
    for a prior that is not positive.
    References: Robbins (1970), Ann. Math. Stat. 41, 1397-1409; Howard, Ramdas, McAuliffe and Sekhon
    (2021), Ann. Statist. 49, 1055-1080 (the beta-binomial mixture).
    """
    from scipy.special import betaln, xlog1py, xlogy

    k, n = _checked(count, samples)
    a, b = prior
    if not (a > 0 and b > 0):
        raise ValueError(f"prior: expected two positive numbers, got {prior}")
    enough = -np.log1p(-_inside(confidence, "confidence"))
    k, n, enough = np.broadcast_arrays(k, n, enough)
    likely = betaln(k + a, n - k + b) - betaln(a, b) - enough

    def end(outside: Array) -> Array:
        inside = np.where(n > 0, k / np.maximum(n, 1.0), 0.5)
        for _ in range(_HALVINGS):
            p = (outside + inside) / 2
            left_out = likely - xlogy(k, p) - xlog1py(n - k, -p) >= 0.0
            outside, inside = np.where(left_out, p, outside), np.where(left_out, inside, p)
        return outside

    return end(np.zeros_like(enough)), end(np.ones_like(enough))


def quantile(values_sorted: Array, share: ArrayLike) -> Array:
    """Least of the sorted values (n, ...) with at least the share of them at or below it.

    Shapes: share (...) in [0, 1], result share.shape + values.shape[1:]. It is always one of the
    values, so infinite ones (failures) may stand among them. Raises ValueError without values.
    Reference: Hyndman and Fan (1996), Am. Stat. 50, 361-365, definition 1.
    """
    n = len(values_sorted)
    wanted = np.asarray(share, dtype=np.float64)
    if n == 0 or not np.all((wanted >= 0.0) & (wanted <= 1.0)):
        raise ValueError(f"quantile: expected values and shares in [0, 1], got {n} and {share!r}")
    rank = np.ceil(n * wanted * (1.0 - 4 * np.finfo(np.float64).eps))  # 0.55 of 100 is the 55th
    return np.asarray(values_sorted[np.maximum(rank, 1.0).astype(np.intp) - 1])


def quantile_interval(
    samples: ArrayLike, share: ArrayLike, confidence: ArrayLike
) -> tuple[Array, Array]:
    """Places (low, high), from 0, of the sorted values that hold a quantile between them.

    Shapes broadcast. Whatever the distribution, the `share` quantile lies within the closed
    interval with at least the confidence. Each tail holds at most half of 1 - confidence, and one
    end then moves in by one where the whole still allows it. NaN where there are too few samples
    for that end (take it as infinite); `order_statistic` reads the values.
    Reference: David and Nagaraja (2003), Order Statistics, 3rd ed., section 7.1.
    """
    _, n = _checked(0, samples)
    p, doubt = _inside(share, "share"), 1.0 - _inside(confidence, "confidence")
    n, p, doubt = np.broadcast_arrays(n, p, doubt)
    whole = n.astype(np.int64)
    # Ranks from 1: the quantile is below the value of rank r when fewer than r lie at or below it.
    low = _least(np.full_like(whole, -1), whole, lambda k: _at_most(k, n, p) > doubt / 2)
    high = _least(np.zeros_like(whole), whole + 1, lambda k: _at_least(k, n, p) <= doubt / 2)
    raised = _at_most(low, n, p) + _at_least(high, n, p)
    lowered = _at_most(low - 1, n, p) + _at_least(high - 1, n, p)
    up = (raised <= doubt) & (high <= n) & (low + 1 < high)
    down = (lowered <= doubt) & (low >= 1) & (low + 1 < high)
    down &= ~up | (lowered < raised)
    low, high = low + (up & ~down), high - down
    return np.where(low >= 1, low - 1.0, np.nan), np.where(high <= n, high - 1.0, np.nan)


def order_statistic(values_sorted: Array, place: ArrayLike) -> Array:
    """Values (n, ...) at the places that `quantile_interval` gives; NaN where a place is NaN."""
    at = np.asarray(place, dtype=np.float64)
    known = np.isfinite(at)
    found = np.asarray(values_sorted[np.where(known, at, 0.0).astype(np.intp)], dtype=np.float64)
    return np.where(known.reshape(known.shape + (1,) * (found.ndim - at.ndim)), found, np.nan)


def shares_of_variance(inputs: Array, outputs: Array) -> Array:
    """Share of each outcome's variance that follows each input in a straight line.

    inputs (n, k), independent of each other; outputs (n, m). Returns (k + 1, m): the squared
    coefficients of the least-squares fit of standardised outputs on standardised inputs, then the
    rest, the residual's share, never negative: curvature, products of inputs, what no input holds.
    The sum is 1 up to the chance correlation of the inputs; an input without effect shows about
    rest / n. NaN in the column of an outcome that does not vary. Raises ValueError unless all
    numbers are finite and n > k + 1.
    Reference: Saltelli et al. (2008), Global Sensitivity Analysis: The Primer, section 1.2.5.
    """
    n, k = inputs.shape
    if n <= k + 1:
        raise ValueError(f"inputs: expected more than {k + 1} samples of {k} inputs, got {n}")
    if not (np.isfinite(inputs).all() and np.isfinite(outputs).all()):
        raise ValueError("shares of variance: expected finite inputs and outputs")
    x, y = _standardised(inputs), _standardised(outputs)
    slopes = np.linalg.lstsq(x, y, rcond=None)[0]
    rest = np.mean((y - x @ slopes) ** 2, axis=0)
    shares = np.concatenate([slopes**2, rest[None]])
    return np.where(np.ptp(outputs, axis=0) > 0.0, shares, np.nan)


def _standardised(columns: Array) -> Array:
    varies = np.ptp(columns, axis=0) > 0.0
    centred = np.where(varies, columns - columns.mean(axis=0), 0.0)
    return np.asarray(centred / np.where(varies, centred.std(axis=0), 1.0))


def _verdict(met: bool, missed: bool) -> Decision:
    if met == missed:
        return "inconclusive"
    return "met" if met else "not met"


def _at_most(count: ArrayLike, samples: ArrayLike, rate: ArrayLike) -> Array:
    """Chance of `count` hits or fewer; a real count runs smoothly between whole ones."""
    from scipy.special import betaincc

    k, n = np.asarray(count, dtype=np.float64), np.asarray(samples, dtype=np.float64)
    inner = betaincc(np.maximum(k, 0.0) + 1.0, np.maximum(n - k, 1e-300), rate)
    return np.where(k < 0, 0.0, np.where(k >= n, 1.0, inner))


def _at_least(count: ArrayLike, samples: ArrayLike, rate: ArrayLike) -> Array:
    """Chance of `count` hits or more."""
    from scipy.special import betainc

    k, n = np.asarray(count, dtype=np.float64), np.asarray(samples, dtype=np.float64)
    inner = betainc(np.maximum(k, 1e-300), np.maximum(n - k, 0.0) + 1.0, rate)
    return np.where(k <= 0, 1.0, np.where(k > n, 0.0, inner))


def _least(low: Counts, high: Counts, holds: Callable[[Counts], NDArray[np.bool_]]) -> Counts:
    """Least whole numbers for which `holds`, which is false at `low` and true at `high`."""
    while np.any(high - low > 1):
        middle = (low + high) // 2
        true = holds(middle)
        low, high = np.where(true, low, middle), np.where(true, middle, high)
    return high


def _least_above(low: int, holds: Callable[[Counts], NDArray[np.bool_]]) -> int | None:
    """Least whole number above `low` for which `holds`; None where there is none to count to."""
    high = np.asarray(low + 1)
    while not holds(high):
        if high > _MOST_SAMPLES:
            return None
        high = 2 * high
    return int(_least(np.asarray(low), high, holds))


def _checked(count: ArrayLike, samples: ArrayLike) -> tuple[Array, Array]:
    k, n = np.asarray(count, dtype=np.float64), np.asarray(samples, dtype=np.float64)
    if not np.all((k >= 0) & (k <= n)):
        raise ValueError(f"count: expected 0 <= count <= samples, got {count!r} of {samples!r}")
    return k, n


def _inside(value: ArrayLike, name: str) -> Array:
    inside = np.asarray(value, dtype=np.float64)
    if not np.all((inside > 0.0) & (inside < 1.0)):
        raise ValueError(f"{name}: expected a share between 0 and 1, both left out, got {value!r}")
    return inside
