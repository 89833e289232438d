"""Prices between low, likely and high: the triangular distribution.

Mean, variance and distribution function as in M. Evans, N. Hastings and B. Peacock, "Statistical Distributions",
3rd ed., Wiley 2000 (from memory; they follow from the density by integration); the quantiles also from scipy.
"""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from packpale.earthworks.price import triangular

RATES = st.tuples(*[st.integers(0, 100_000)] * 3).map(lambda cents: sorted(c / 100 for c in cents))


@settings(deadline=None)
@given(RATES, st.floats(0, 1))
def test_share_below_the_quantile_is_the_share(rate, share):
    low, likely, high = rate
    value = float(triangular(np.array([share]), low, likely, high)[0])
    assert low - 1e-9 <= value <= high + 1e-9
    if high > low:
        if low < likely and value < likely:
            below = (value - low) ** 2 / ((high - low) * (likely - low))
        elif value < high:
            below = 1 - (high - value) ** 2 / ((high - low) * (high - likely))
        else:
            below = 1.0
        assert below == pytest.approx(share, abs=1e-6)


@pytest.mark.parametrize("rate", [(5.0, 8.0, 14.0), (2.0, 2.0, 9.0), (1.0, 4.0, 4.0)], ids=str)
def test_quantiles_agree_with_an_independent_library(rate):
    low, likely, high = rate
    share = np.linspace(0, 1, 41)
    theirs = stats.triang.ppf(share, (likely - low) / (high - low), loc=low, scale=high - low)
    np.testing.assert_allclose(triangular(share, *rate), theirs, rtol=1e-12)


@pytest.mark.parametrize("rate", [(5.0, 8.0, 14.0), (45.0, 80.0, 160.0), (2.0, 2.0, 9.0)], ids=str)
def test_mean_and_variance_of_draws(rate):
    a, c, b = rate
    mean, variance = (a + b + c) / 3, (a * a + b * b + c * c - a * b - a * c - b * c) / 18
    n = 200_000
    drawn = triangular(np.random.default_rng(3).random(n), *rate)
    # Five standard errors; that of the variance from the fourth moment, at most that of a two-point distribution.
    assert drawn.mean() == pytest.approx(mean, abs=5 * math.sqrt(variance / n))
    fourth = ((drawn - mean) ** 4).mean()
    assert drawn.var() == pytest.approx(variance, abs=5 * math.sqrt((fourth - variance**2) / n))


def test_rate_without_spread_is_that_rate():
    np.testing.assert_array_equal(triangular(np.array([0.0, 0.3, 1.0]), 7.0, 7.0, 7.0), 7.0)
