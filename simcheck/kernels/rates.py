"""What samples allow to be said of a rate: intervals, sample sizes, and whether it is shown.

Every statement assumes independent samples; low-discrepancy points are not. Intervals hold at least
the confidence asked for.
"""

from __future__ import annotations

import math
from typing import Literal, TypeAlias

import numpy as np
from numpy.typing import ArrayLike, NDArray

from simcheck.arrays import Array
from simcheck.kernels.binomial import Counts, at_least, at_most, checked, inside, least_above

Decision: TypeAlias = Literal["met", "not met", "inconclusive"]

JEFFREYS = (0.5, 0.5)
_HALVINGS = 64  # of [0, 1]: past the last bit of a rate


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

    k, n = checked(count, samples)
    doubt = 1.0 - inside(confidence, "confidence")
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
    doubt = 1.0 - float(inside(confidence, "confidence"))
    inside(success, "success")
    if failures < 0:
        raise ValueError(f"failures: expected 0 or more, got {failures}")

    def shown(n: Counts) -> NDArray[np.bool_]:
        return np.asarray(at_least(n - failures, n, success) <= doubt)

    found = least_above(failures, shown)
    if found is None:
        raise ValueError(f"success: {success} needs more samples than can be counted")
    return found


def decided(count: int, samples: int, success: float, confidence: float) -> Decision:
    """Judge the requirement "rate >= success, shown with the confidence" from a fixed sample size.

    "met" where `binomial_bound` low >= success, "not met" where its high < success; each is wrong
    with probability at most 1 - confidence. Looking again as samples come in breaks that promise:
    use `settled` there. Below a confidence of a half both can hold at once: "inconclusive".
    """
    k, n = checked(count, samples)
    doubt = 1.0 - float(inside(confidence, "confidence"))
    p = float(inside(success, "success"))
    return _verdict(bool(at_least(k, n, p) <= doubt), bool(at_most(k, n, p) < doubt))


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
            return np.asarray(at_least(held, n, success) <= doubt)
        return np.asarray(at_most(held, n, success) < doubt)

    found = least_above(samples, speaks)
    return math.inf if found is None else float(found - samples)


def settling_evidence(count: ArrayLike, samples: ArrayLike, success: float) -> tuple[Array, Array]:
    """Log of the odds for "met" and for "not met" against a rate of exactly `success`.

    count and samples broadcast. Each is the likelihood of the samples averaged over the rates
    beyond `success` on that side (weighed by Jeffreys' prior cut off there), over the likelihood at
    `success`: under any rate on the wrong side a non-negative supermartingale that starts at 1, so
    the chance that it ever reaches 1/x is at most x.
    """
    from scipy.special import betainc, betaincc, betaln, xlog1py, xlogy

    k, n = checked(count, samples)
    p = float(inside(success, "success"))
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
    enough = -math.log1p(-float(inside(confidence, "confidence")))
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

    k, n = checked(count, samples)
    a, b = prior
    if not (a > 0 and b > 0):
        raise ValueError(f"prior: expected two positive numbers, got {prior}")
    enough = -np.log1p(-inside(confidence, "confidence"))
    k, n, enough = np.broadcast_arrays(k, n, enough)
    likely = betaln(k + a, n - k + b) - betaln(a, b) - enough

    def end(outside: Array) -> Array:
        within = np.where(n > 0, k / np.maximum(n, 1.0), 0.5)
        for _ in range(_HALVINGS):
            p = (outside + within) / 2
            left_out = likely - xlogy(k, p) - xlog1py(n - k, -p) >= 0.0
            outside, within = np.where(left_out, p, outside), np.where(left_out, within, p)
        return outside

    return end(np.zeros_like(enough)), end(np.ones_like(enough))


def _verdict(met: bool, missed: bool) -> Decision:
    if met == missed:
        return "inconclusive"
    return "met" if met else "not met"
