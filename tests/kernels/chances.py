"""What the tests of rates and quantiles share: chances by direct sums."""

import math

import numpy as np
from hypothesis import strategies as st

ROUNDING = 1e-12  # of sums of up to 300 terms and of the inverse beta function

rates = st.floats(0.001, 0.999)
confidences = st.floats(0.5, 0.999)


def chances(n, p):
    """Chance of each count 0..n, summed up from whole-number coefficients."""
    k = np.arange(n + 1)
    return np.array([float(math.comb(n, int(i))) for i in k]) * p**k * (1 - p) ** (n - k)
