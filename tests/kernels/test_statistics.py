"""Rates, quantiles, verdicts and drivers: held against direct sums and simulated histories.

Long because each statement is held against its own direct sum, and the rules against histories.
"""

import math
import subprocess
import sys

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from simcheck.kernels.statistics import (
    binomial_bound,
    binomial_interval,
    decided,
    needed_samples,
    order_statistic,
    quantile,
    quantile_interval,
    rate_sequence,
    samples_to_decide,
    settled,
    settling_evidence,
    shares_of_variance,
)

OPENTURNS = "OpenTURNS expected test output: Wilks sample sizes"
WILKS = "Wilks's sample sizes as tabled in common use, from memory; recomputed"
NEWCOMBE = "Newcombe (1998), Stat. Med. 17, 857-872, table I, from memory"
CLOSED_FORM = "the closed form 1 - (1 - confidence)^(1/n) of no failures; derived, printed nowhere"
ROUNDING = 1e-12  # of sums of up to 300 terms and of the inverse beta function

rates = st.floats(0.001, 0.999)
confidences = st.floats(0.5, 0.999)
sizes = st.integers(1, 70)
LAST = 5000


def chances(n, p):
    """Chance of each count 0..n, summed up from whole-number coefficients."""
    k = np.arange(n + 1)
    return np.array([float(math.comb(n, int(i))) for i in k]) * p**k * (1 - p) ** (n - k)


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


# Quantiles.


@given(st.integers(0, 120), rates, confidences)
def test_quantile_interval_covers(n, share, confidence):
    """The quantile lies between the two values with the confidence, by the direct sum.

    It does where the count of values below the quantile is at least low + 1 and at most high.
    """
    low, high = quantile_interval(n, share, confidence)
    first = 0 if np.isnan(low) else int(low) + 1
    last = n if np.isnan(high) else int(high)
    weights = chances(n, share)
    assert weights[first : last + 1].sum() >= confidence - ROUNDING
    # Neither end can move in alone; an open end is open because its tail asks for it.
    if first and last < n and last - first >= 1:
        assert weights[first + 1 : last + 1].sum() < confidence + ROUNDING
        assert weights[first:last].sum() < confidence + ROUNDING
    if np.isnan(low):
        assert weights[0] > (1 - confidence) / 2 - ROUNDING
    if np.isnan(high):
        assert weights[n] > (1 - confidence) / 2 - ROUNDING


def test_quantile_interval_of_the_median():
    """Ten values hold the median between the 2nd and the 9th with 1 - 22/1024, 97.9 %.

    The next, 3rd to 8th, would hold it with 1 - 112/1024, 89.1 %.
    """
    assert quantile_interval(10, 0.5, 1 - 22.001 / 1024) == (1, 8)
    assert quantile_interval(10, 0.5, 1 - 111.999 / 1024) != (2, 7)
    assert quantile_interval(10, 0.5, 1 - 112.001 / 1024) == (2, 7)
    low, high = quantile_interval([0, 1, 3], 0.5, 0.9)
    assert np.isnan([low, high]).all()


def test_quantile_interval_moves_the_better_end():
    """Where either end may move in, the one that costs less does: 84.4 % left, not 81.0 %."""
    assert quantile_interval(8, 0.4, 0.8) == (1, 5)
    assert chances(8, 0.4)[2:6].sum() > chances(8, 0.4)[1:5].sum() > 0.8
    assert quantile_interval(8, 0.6, 0.8) == (2, 6)  # the mirror image


def test_quantile_interval_where_samples_are_few():
    """A high share needs n with share^n small enough; below that only its upper end is open."""
    low, high = quantile_interval([200, 400], 0.99, 0.9)
    assert low[0] < 198
    assert np.isnan(high[0])
    assert high[1] == 399
    both = quantile_interval(1000, [[0.001, 0.5], [0.9, 0.999]], 0.9)
    for i in np.ndindex(2, 2):
        alone = quantile_interval(1000, [[0.001, 0.5], [0.9, 0.999]][i[0]][i[1]], 0.9)
        np.testing.assert_equal((both[0][i], both[1][i]), tuple(float(x) for x in alone))


@given(st.integers(1, 400), rates, confidences)
def test_quantile_lies_in_its_interval(n, share, confidence):
    """The estimate is between the ends that exist."""
    values = np.arange(float(n))
    low, high = quantile_interval(n, share, confidence)
    assert not order_statistic(values, low) > quantile(values, share)
    assert not order_statistic(values, high) < quantile(values, share)


def test_quantile_interval_simulated():
    """Of 4,000 seeded skewed samples, those that hold the quantile are as many as the sum says."""
    n, share, runs = 80, 0.9, 4000
    values = np.sort(np.random.default_rng(8).exponential(size=(n, runs)), axis=0)
    low, high = quantile_interval(n, share, 0.9)
    true = -math.log(1 - share)
    held = np.mean((order_statistic(values, low) <= true) & (true <= order_statistic(values, high)))
    chance = chances(n, share)[int(low) + 1 : int(high) + 1].sum()
    assert abs(held - chance) < 4 * math.sqrt(chance * (1 - chance) / runs)


def test_quantile_is_a_value():
    """The least value with the share at or below it, roundings of n x share forgiven."""
    values = np.arange(1.0, 101.0)
    assert quantile(values, [0, 0.01, 0.011, 0.07, 0.28, 0.29, 0.55, 1]).tolist() == [
        *(1, 1, 2, 7, 28, 29, 55, 100)
    ]
    columns = np.stack([values, np.append(values[:98], [np.inf, np.inf])], axis=1)
    assert quantile(columns, [0.5, 0.99]).tolist() == [[50, 50], [99, np.inf]]
    assert quantile(columns, 0.98).tolist() == [98, 98]
    assert order_statistic(columns, [4.0, np.nan])[0].tolist() == [5, 5]
    assert np.isnan(order_statistic(columns, [4.0, np.nan])[1]).all()


# Drivers.


def test_shares_of_a_linear_outcome():
    """3 x + 4 y has 9/25 and 16/25; with noise of variance 25 half of each, and a rest of 1/2."""
    rng = np.random.default_rng(5)
    x, noise = rng.normal(size=(20000, 3)), 5 * rng.normal(size=20000)
    sums = 3 * x[:, 0] + 4 * x[:, 1]
    shares = shares_of_variance(x * [1.0, 1e6, 1e-6] + 7, np.stack([sums, sums + noise], axis=1))
    # The spread of an estimated share of 20,000 samples is some 2 sqrt(share / n) at most: 0.01.
    expected = [[9 / 25, 9 / 50], [16 / 25, 16 / 50], [0, 0], [0, 1 / 2]]
    np.testing.assert_allclose(shares, expected, atol=4 * 0.01)
    assert shares[2:, 0] == pytest.approx([0, 0], abs=1e-20)
    assert shares[0, 0] / shares[1, 0] == pytest.approx(9 / 16 * np.var(x[:, 0]) / np.var(x[:, 1]))


def test_rest_of_a_curved_outcome():
    """x + a x^2 leaves 2 a^2 / (1 + 2 a^2), a product of inputs all; 4 sigma of 20 batches."""
    a = 0.5
    rng = np.random.default_rng(6)
    found = []
    for _ in range(20):
        x = rng.normal(size=(2000, 2))
        y = np.stack([x[:, 0] + a * x[:, 0] ** 2, x[:, 0] * x[:, 1]], axis=1)
        found.append(shares_of_variance(x, y))
    mean, sigma = np.mean(found, axis=0), np.std(found, axis=0) / math.sqrt(20)
    expected = np.array([[1 / (1 + 2 * a**2), 0], [0, 0], [2 * a**2 / (1 + 2 * a**2), 1]])
    # 0.005: each share without effect is above 0 by a few in 2,000 by chance alone.
    assert np.all(np.abs(mean - expected) < 4 * sigma + 0.005)


def test_shares_of_what_does_not_vary():
    """An input that is constant has none, an outcome that is constant has no shares to give."""
    rng = np.random.default_rng(7)
    x = np.stack([rng.normal(size=50), np.full(50, 0.1)], axis=1)
    shares = shares_of_variance(x, np.stack([2 * x[:, 0], np.full(50, 0.3)], axis=1))
    assert shares[:, 0] == pytest.approx([1, 0, 0], abs=ROUNDING)
    assert np.isnan(shares[:, 1]).all()


@given(st.integers(0, 2**32 - 1), st.integers(1, 6))
def test_rest_is_never_negative(seed, k):
    """The rest is between 0 and 1, even with hardly more samples than inputs."""
    rng = np.random.default_rng(seed)
    shares = shares_of_variance(rng.normal(size=(k + 2, k)), rng.normal(size=(k + 2, 3)))
    assert shares.shape == (k + 1, 3)
    assert np.all((shares[-1] >= 0) & (shares[-1] <= 1 + ROUNDING))
    assert np.all(shares >= 0)


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
        (lambda: quantile_interval(4, 1.0, 0.9), "share: expected a share"),
        (lambda: quantile(np.array([]), 0.5), "expected values and shares"),
        (lambda: quantile(np.array([1.0]), 1.5), "expected values and shares"),
        (lambda: shares_of_variance(np.zeros((3, 2)), np.zeros((3, 1))), "more than 3 samples"),
        (lambda: shares_of_variance(np.zeros((9, 2)), np.full((9, 1), np.inf)), "finite"),
    ],
)
def test_refused(call, words):
    """What makes no sense is said, not computed."""
    with pytest.raises(ValueError, match=words):
        call()


def test_start_up_stays_light():
    """scipy.stats, 1.5 s of import, is not taken in, and scipy at all only when asked for."""
    code = (
        "import sys; from simcheck.kernels import statistics as s; "
        "assert 'scipy' not in sys.modules; s.binomial_interval(1, 2, 0.9); "
        "s.settled(1, 2, 0.5, 0.9); assert 'scipy.stats' not in sys.modules"
    )
    subprocess.run([sys.executable, "-c", code], check=True)
