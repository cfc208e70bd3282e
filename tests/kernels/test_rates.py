"""Rates and verdicts: held against direct sums and simulated histories.

Long because each statement is held against its own direct sum, and the rules against histories.
"""

import math
import subprocess
import sys

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from simcheck.kernels.rates import (
    binomial_bound,
    binomial_interval,
    decided,
    needed_samples,
    rate_sequence,
    samples_to_decide,
    settled,
    settling_evidence,
)
from tests.kernels.chances import ROUNDING, chances, confidences, rates

OPENTURNS = "OpenTURNS expected test output: Wilks sample sizes"
WILKS = "Wilks's sample sizes as tabled in common use, from memory; recomputed"
NEWCOMBE = "Newcombe (1998), Stat. Med. 17, 857-872, table I, from memory"
CLOSED_FORM = "the closed form 1 - (1 - confidence)^(1/n) of no failures; derived, printed nowhere"

sizes = st.integers(1, 70)
LAST = 5000


# The rates.


@pytest.mark.reference(NEWCOMBE)
@pytest.mark.parametrize(
    ("count", "samples", "low", "high"),
    [(81, 263, 0.2527, 0.3676), (15, 148, 0.0578, 0.1617)],
)
def test_newcombe(count, samples, low, high):
    """The exact intervals of the table, to the four places printed."""
    assert binomial_interval(count, samples, 0.95) == pytest.approx((low, high), abs=0.5e-4)


@pytest.mark.reference(CLOSED_FORM)
def test_upper_bound_of_no_failures():
    """0 of 300 at 95 %, by the rule of three 0.01; 0 of 1000 at 90 %."""
    assert binomial_bound(0, 300, 0.95, "high") == pytest.approx(0.009936, abs=0.5e-6)
    assert binomial_bound(0, 300, 0.95, "high") == pytest.approx(3 / 300, rel=0.01)
    assert binomial_bound(0, 1000, 0.90, "high") == pytest.approx(0.0022999, abs=0.5e-7)


def test_edges_of_the_count():
    """No hit reaches down to 0, a full count up to 1; no samples say nothing."""
    low, high = binomial_interval([0, 7, 0], [7, 7, 0], 0.9)
    assert low == pytest.approx([0.0, 0.05 ** (1 / 7), 0.0], abs=ROUNDING)
    assert high == pytest.approx([1 - 0.05 ** (1 / 7), 1.0, 1.0], abs=ROUNDING)
    assert low[0] == low[2] == 0.0
    assert high[1] == high[2] == 1.0


@given(sizes, confidences)
def test_tails_at_the_bounds(n, confidence):
    """At its low bound a count or more has the chance 1 - confidence; at the high, it or fewer."""
    k = np.arange(n + 1)
    low = binomial_bound(k, n, confidence, "low")
    high = binomial_bound(k, n, confidence, "high")
    for i in k[1:]:
        assert chances(n, low[i])[i:].sum() == pytest.approx(1 - confidence, abs=1e-10)
    for i in k[:-1]:
        assert chances(n, high[i])[: i + 1].sum() == pytest.approx(1 - confidence, abs=1e-10)


@given(sizes, rates, confidences)
def test_interval_covers(n, p, confidence):
    """Over all counts, the interval holds the rate with at least the confidence."""
    low, high = binomial_interval(np.arange(n + 1), n, confidence)
    held = (low <= p) & (p <= high)
    assert chances(n, p)[held].sum() >= confidence - ROUNDING


@given(sizes, confidences, st.floats(0.0, 1.0))
def test_interval_is_monotone(n, confidence, share):
    """It climbs with the count, widens with the confidence, is mirrored by counting failures."""
    k = np.arange(n + 1)
    low, high = binomial_interval(k, n, confidence)
    assert np.all(np.diff(low) > 0)
    assert np.all(np.diff(high) > 0)
    wider = binomial_interval(k, n, confidence + share * (0.9999 - confidence))
    assert np.all(wider[0] <= low + ROUNDING)
    assert np.all(wider[1] >= high - ROUNDING)
    assert low[::-1] == pytest.approx(1 - high, abs=ROUNDING)


# Sample sizes and the verdict.


@pytest.mark.reference(OPENTURNS)
def test_wilks():
    """95/95 with none to four of the worst discarded."""
    assert [needed_samples(0.95, 0.95, k) for k in range(5)] == [59, 93, 124, 153, 181]


@pytest.mark.reference(WILKS)
@pytest.mark.parametrize(
    ("success", "confidence", "expected"),
    [
        (0.99, 0.95, (299, 473, 628)),
        (0.99, 0.99, (459, 662, 838)),
        (0.90, 0.95, (29, 46)),
        (0.95, 0.99, (90,)),
        (0.90, 0.90, (22, 38)),
        (0.99, 0.90, (230, 388, 531)),
        (0.9973, 0.90, (852, 1440, 1970)),
    ],
)
def test_other_sizes(success, confidence, expected):
    """The sizes for no, one and two failures."""
    assert [needed_samples(success, confidence, k) for k in range(len(expected))] == [*expected]


@given(st.floats(0.01, 0.999), st.floats(0.01, 0.999), st.integers(0, 6))
def test_needed_is_least(success, confidence, failures):
    """It shows the rate, one fewer does not; a failure more or a harder demand needs more."""
    n = needed_samples(success, confidence, failures)
    assert decided(n - failures, n, success, confidence) in ("met", "inconclusive")
    assert binomial_bound(n - failures, n, confidence, "low") >= success - ROUNDING
    if n - 1 > failures:
        assert binomial_bound(n - 1 - failures, n - 1, confidence, "low") <= success + ROUNDING
    assert needed_samples(success, confidence, failures + 1) > n
    assert needed_samples((1 + success) / 2, confidence, failures) >= n
    assert needed_samples(success, (1 + confidence) / 2, failures) >= n


@given(sizes, rates, confidences)
def test_verdict_follows_the_bounds(n, success, confidence):
    """Met where the low bound reaches the asked rate, not met where the high falls short of it."""
    for k in range(n + 1):
        low = binomial_bound(k, n, confidence, "low") - success
        high = binomial_bound(k, n, confidence, "high") - success
        expected = "met" if low >= 0 else "not met" if high < 0 else "inconclusive"
        near = min(abs(low), abs(high)) < ROUNDING
        assert near or decided(k, n, success, confidence) == expected


@given(st.integers(1, 60), rates, st.floats(0.01, 0.999))
def test_verdict_is_wrong_with_the_doubt_at_most(n, success, confidence):
    """At the asked rate neither side is declared more often than 1 - confidence."""
    said = np.array([decided(k, n, success, confidence) for k in range(n + 1)])
    weights = chances(n, success)
    for side in ("met", "not met"):
        assert weights[said == side].sum() <= 1 - confidence + ROUNDING


def test_three_verdicts():
    """230 of 230 meet 99 % at 90 %, 229 of 229 and 297 of 300 leave it open, 280 do not meet it."""
    assert decided(230, 230, 0.99, 0.90) == "met"
    assert decided(229, 229, 0.99, 0.90) == "inconclusive"
    assert decided(297, 300, 0.99, 0.90) == "inconclusive"
    assert decided(280, 300, 0.99, 0.90) == "not met"
    assert decided(0, 0, 0.99, 0.90) == "inconclusive"
    assert decided(1, 2, 0.5, 0.1) == "inconclusive"  # each side holds at 10 %


def test_samples_to_decide():
    """What is left to 230; nothing once decided; without end at the asked rate; unknown at none."""
    assert samples_to_decide(200, 200, 0.99, 0.90) == 30
    assert samples_to_decide(230, 230, 0.99, 0.90) == 0
    assert samples_to_decide(280, 300, 0.99, 0.90) == 0
    assert samples_to_decide(297, 300, 0.99, 0.90) == math.inf
    assert math.isnan(samples_to_decide(0, 0, 0.99, 0.90))
    # One failure in 300 becomes between one (388) and two (531).
    assert 388 < 300 + samples_to_decide(299, 300, 0.99, 0.90) < 531


@pytest.mark.parametrize(("count", "verdict"), [(196, "not met"), (199, "met")])
def test_the_held_rate_decides_there(count, verdict):
    """With the rate held over whole counts, the verdict falls within one step of what was said."""
    left = samples_to_decide(count, 200, 0.9875, 0.999)
    assert 0 < left < math.inf
    for times, expected in [
        (1 + math.floor(left / 200), "inconclusive"),
        (1 + math.ceil(left / 200), verdict),
    ]:
        assert decided(count * times, 200 * times, 0.9875, 0.999) == expected


@given(st.integers(2, 60), rates, confidences, st.floats(0.0, 1.0))
def test_samples_to_decide_is_monotone(n, success, confidence, share):
    """More as the rate nears the asked one from either side, and with the confidence."""
    left = np.array([samples_to_decide(k, n, success, confidence) for k in range(n + 1)])
    below = np.arange(n + 1) / n < success
    assert np.all(left >= 0)
    if below.any():
        assert np.all(left[below][1:] >= left[below][:-1])
    if not below.all():
        assert np.all(left[~below][1:] <= left[~below][:-1])
    k = int(share * n)
    assert samples_to_decide(k, n, success, (1 + confidence) / 2) >= left[k]


# Looking after every sample.


def ever(low, high, p):
    """Chance that the count of hits at rate p, after 1..n samples, ever leaves [low, high] (n,).

    Exact: the distribution of the count is carried on from sample to sample, and what leaves is
    taken out.
    """
    inside, out = np.array([1.0]), 0.0
    first = 0  # inside[i] is the chance of the count first + i, so far never out
    for least, most in zip(low, high, strict=True):
        grown = np.zeros(len(inside) + 1)
        grown[:-1] += (1 - p) * inside
        grown[1:] += p * inside
        begin, end = max(least - first, 0), max(min(most - first + 1, len(grown)), 0)
        out += grown[:begin].sum() + grown[end:].sum()
        inside, first = grown[begin:end], first + begin
        if not len(inside):
            break
    return out


def first_counts(holds):
    """Least count after each of 1..LAST samples for which `holds`, rising in it; n + 1 for none."""
    n = np.arange(1, LAST + 1)
    low, high = np.full(LAST, -1), n + 1
    while np.any(high - low > 1):
        middle = np.clip((low + high) // 2, 0, n)
        true = holds(middle, n)
        open_ = high - low > 1
        low, high = np.where(open_ & ~true, middle, low), np.where(open_ & true, middle, high)
    return high


def settling_counts(success, confidence):
    """After 1..LAST samples, the least count that is met and the first that is not `not met`."""
    enough = math.log(1 / (1 - confidence))
    met = first_counts(lambda k, n: settling_evidence(k, n, success)[0] >= enough)
    still = first_counts(lambda k, n: settling_evidence(k, n, success)[1] < enough)
    return met, still


ALWAYS = np.zeros(LAST, dtype=int), np.arange(1, LAST + 1)


@pytest.mark.parametrize(("success", "confidence"), [(0.99, 0.9), (0.95, 0.95), (0.5, 0.9)])
def test_settling_keeps_its_error(success, confidence):
    """Over 5,000 looks at the asked rate, either verdict ever falls with 1 - confidence at most."""
    met, still = settling_counts(success, confidence)
    for error in (ever(ALWAYS[0], met - 1, success), ever(still, ALWAYS[1], success)):
        assert 0.1 * (1 - confidence) < error <= 1 - confidence
    # Further on the wrong side it errs less.
    worse = 1 - 1.3 * (1 - success)
    assert ever(ALWAYS[0], met - 1, worse) < ever(ALWAYS[0], met - 1, success)


def test_repeated_exact_looks_do_not():
    """Negative control: the bounds of a fixed sample size, looked at each time, err far more."""
    success, confidence = 0.95, 0.95
    met = first_counts(lambda k, n: binomial_bound(k, n, confidence, "low") >= success)
    still = first_counts(lambda k, n: binomial_bound(k, n, confidence, "high") >= success)
    assert ever(ALWAYS[0], met - 1, success) > 3 * (1 - confidence)
    assert ever(still, ALWAYS[1], success) > 3 * (1 - confidence)


def test_settling_simulated():
    """2,000 seeded histories at the asked rate err as the exact chance says, to 4 sigma."""
    success, confidence, runs = 0.95, 0.9, 2000
    met, still = settling_counts(success, confidence)
    draws = np.random.default_rng(20260).random((runs, LAST), dtype=np.float32) < success
    count = np.cumsum(draws, axis=1, dtype=np.int16)
    for wrong, chance in [
        ((count >= met).any(axis=1), ever(ALWAYS[0], met - 1, success)),
        ((count < still).any(axis=1), ever(still, ALWAYS[1], success)),
    ]:
        assert abs(wrong.mean() - chance) < 4 * math.sqrt(chance * (1 - chance) / runs)
        assert wrong.mean() < 1 - confidence + 4 * math.sqrt(confidence * (1 - confidence) / runs)


@pytest.mark.parametrize("success", [0.99, 0.6])
def test_settling_verdicts(success):
    """The verdict turns where the counts above say; no failure settles late, a bad craft soon."""
    met, still = settling_counts(success, 0.9)
    for n in (1, 40, 700, LAST):
        for k in {0, n, *(c for c in (met[n - 1], met[n - 1] - 1) if c <= n), still[n - 1]}:
            expected = "met" if k >= met[n - 1] else "inconclusive"
            expected = "not met" if k < still[n - 1] else expected
            assert settled(k, n, success, 0.9) == expected
    assert settled(296, 296, 0.99, 0.9) == "inconclusive"
    assert settled(297, 297, 0.99, 0.9) == "met"
    assert settled(18, 20, 0.99, 0.9) == "inconclusive"
    assert settled(17, 20, 0.99, 0.9) == "not met"
    assert settled(0, 0, 0.99, 0.9) == "inconclusive"


@given(st.integers(0, 90), st.integers(0, 90), rates)
def test_settling_evidence_is_fair(hits, misses, success):
    """At the asked rate, the odds after one more sample are on average those before it.

    Up to 90 of each, so that no likelihood falls below 1e-308, where a double loses digits.
    """
    now = settling_evidence(hits, hits + misses, success)
    hit = settling_evidence(hits + 1, hits + misses + 1, success)
    miss = settling_evidence(hits, hits + misses + 1, success)
    for before, with_hit, with_miss in zip(now, hit, miss, strict=True):
        gain = success * np.exp(with_hit - before) + (1 - success) * np.exp(with_miss - before)
        assert gain == pytest.approx(1.0, abs=1e-9)
    none = settling_evidence(0, 0, success)
    assert none == pytest.approx((0.0, 0.0), abs=ROUNDING)


@pytest.mark.parametrize(
    ("p", "prior"), [(0.5, (0.5, 0.5)), (0.99, (0.5, 0.5)), (0.93, (1.0, 1.0)), (0.99, (9.0, 0.5))]
)
def test_sequence_keeps_its_confidence(p, prior):
    """Over 5,000 looks the interval ever loses the rate with 1 - confidence at most."""
    high = first_counts(lambda k, n: rate_sequence(k, n, 0.9, prior)[0] > p)
    low = first_counts(lambda k, n: rate_sequence(k, n, 0.9, prior)[1] >= p)
    assert 0.01 < ever(low, high - 1, p) <= 0.1


def test_repeated_intervals_do_not():
    """Negative control: the exact interval of a fixed size loses it several times as often."""
    high = first_counts(lambda k, n: binomial_interval(k, n, 0.9)[0] > 0.93)
    low = first_counts(lambda k, n: binomial_interval(k, n, 0.9)[1] >= 0.93)
    assert ever(low, high - 1, 0.93) > 0.4


def test_sequence_by_its_closed_form():
    """One hit, uniform prior: the ends solve 1/(2 p) = 10; no samples say nothing."""
    low, high = rate_sequence([1, 0, 0], [1, 1, 0], 0.9, (1.0, 1.0))
    assert low == pytest.approx([0.05, 0.0, 0.0], abs=ROUNDING)
    assert high == pytest.approx([1.0, 0.95, 1.0], abs=ROUNDING)


@given(sizes, confidences, st.floats(0.0, 1.0))
def test_sequence_is_monotone(n, confidence, share):
    """It climbs with the count and widens with the confidence."""
    k = np.arange(n + 1)
    low, high = rate_sequence(k, n, confidence)
    assert np.all(np.diff(low) > 0)
    assert np.all(np.diff(high) > 0)
    wider = rate_sequence(k, n, confidence + share * (0.9999 - confidence))
    assert np.all(wider[0] <= low + ROUNDING)
    assert np.all(wider[1] >= high - ROUNDING)


@pytest.mark.parametrize("n", [1, 10, 300, 5000])
def test_sequence_is_wider_than_one_look(n):
    """At 90 % it holds the exact interval of a fixed sample size, within 2.5 times its width."""
    k = np.arange(n + 1)
    low, high = rate_sequence(k, n, 0.9)
    exact = binomial_interval(k, n, 0.9)
    assert np.all(low <= exact[0])
    assert np.all(high >= exact[1])
    assert np.all(high - low <= 2.5 * (exact[1] - exact[0]))


# What is refused.


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: binomial_interval(5, 4, 0.9), "0 <= count <= samples"),
        (lambda: binomial_bound(-1, 4, 0.9, "low"), "0 <= count <= samples"),
        (lambda: binomial_bound(math.nan, 4, 0.9, "low"), "0 <= count <= samples"),
        (lambda: binomial_interval(1, 4, 1.0), "confidence: expected a share between 0 and 1"),
        (lambda: needed_samples(1.0, 0.9), "success: expected a share"),
        (lambda: needed_samples(0.9, 0.9, -1), "failures: expected 0 or more"),
        (lambda: needed_samples(math.nextafter(1.0, 0.0), 0.9), "more samples than can be counted"),
        (lambda: decided(1, 4, 0.0, 0.9), "success: expected a share"),
        (lambda: settled(1, 4, 0.9, 1.0), "confidence: expected a share"),
        (lambda: rate_sequence(1, 4, 0.9, (0.0, 1.0)), "prior: expected two positive"),
    ],
)
def test_refused(call, words):
    """What makes no sense is said, not computed."""
    with pytest.raises(ValueError, match=words):
        call()


def test_start_up_stays_light():
    """scipy.stats, 1.5 s of import, is not taken in, and scipy at all only when asked for."""
    code = (
        "import sys; from simcheck.kernels import rates as s; "
        "assert 'scipy' not in sys.modules; s.binomial_interval(1, 2, 0.9); "
        "s.settled(1, 2, 0.5, 0.9); assert 'scipy.stats' not in sys.modules"
    )
    subprocess.run([sys.executable, "-c", code], check=True)
