"""Differences, ratios and forecasts of replications, against SciPy and against simulation."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import stats

from sim.study.differences import estimate_ratio, subtract, subtract_paired
from sim.study.replications.stopping import (
    MOST_FORECAST,
    needed_for_half_width,
    needed_to_decide,
    sample_size,
)


def test_welch_is_that_of_scipy():
    rng = np.random.default_rng(5)
    for count_a, count_b, spread in ((5, 9, 1.0), (12, 4, 7.0), (30, 31, 0.2)):
        a, b = rng.normal(1.0, 1.0, count_a), rng.normal(2.0, spread, count_b)
        found = subtract(b.tolist(), a.tolist()).estimate
        low, high = stats.ttest_ind(b, a, equal_var=False).confidence_interval(0.95)
        assert found.mean == pytest.approx((low + high) / 2, rel=1e-12)
        assert found.half_width == pytest.approx((high - low) / 2, rel=1e-9)


def test_paired_is_that_of_scipy():
    rng = np.random.default_rng(6)
    base = rng.normal(10.0, 3.0, 12)
    other = base + rng.normal(0.5, 0.2, 12)
    found = subtract_paired(other.tolist(), base.tolist())
    low, high = stats.ttest_rel(other, base).confidence_interval(0.95)
    assert found.estimate.mean == pytest.approx((low + high) / 2, rel=1e-12)
    assert found.estimate.half_width == pytest.approx((high - low) / 2, rel=1e-9)
    assert found.is_paired
    assert found.is_shown


def test_what_is_not_shown_or_not_known():
    assert not subtract_paired([1.0, 3.0], [2.0, 2.0]).is_shown
    assert not subtract_paired([2.0, 2.0], [2.0, 2.0]).is_shown
    assert subtract_paired([3.0, 3.0], [2.0, 2.0]).is_shown
    assert subtract_paired([3.0], [2.0]).estimate.half_width is None
    assert not subtract_paired([3.0], [2.0]).is_shown
    assert subtract([math.nan, 1.0], [2.0, 2.0]).estimate.mean is None
    assert subtract([1.0], [2.0, 2.0]).estimate.half_width is None
    assert subtract([1.0, 1.0], [2.0, 2.0]).estimate.half_width == 0.0


def test_the_ratio_covers_the_truth():
    """Ratio of means with its residual interval: covers 2 in 95 % of 2000 draws (binomial, k = 4)."""
    rng = np.random.default_rng(7)
    holding = 0
    for _ in range(2000):
        below = rng.gamma(25.0, 4.0, 20)
        above = 2.0 * below + rng.normal(0.0, 10.0, 20)
        found = estimate_ratio(above, below)
        assert found.mean == pytest.approx(above.sum() / below.sum())
        holding += abs(found.mean - 2.0) <= found.half_width
    assert abs(holding / 2000 - 0.95) <= 4.0 * math.sqrt(0.95 * 0.05 / 2000)
    # the interval of a mean of ratios around the wrong point would not: the check can fail
    assert abs(np.mean([1.0] * 1900 + [0.0] * 100) - 0.90) > 4.0 * math.sqrt(0.95 * 0.05 / 2000)


def test_ratios_over_nothing():
    assert estimate_ratio(np.zeros(3), np.zeros(3)).mean == 0.0
    assert estimate_ratio(np.ones(3), np.zeros(3)).mean is None
    assert estimate_ratio(np.array([math.nan, 1.0]), np.ones(2)).mean is None


def test_forecasts_are_the_first_number_that_does():
    """t(n - 1) s / sqrt(n) falls with n: the answer does, and one less does not."""
    values = [1.0, 2.0, 4.0, 3.0]
    spread = float(np.std(values, ddof=1))

    def half(count: int) -> float:
        return float(stats.t.ppf(0.975, count - 1)) * spread / math.sqrt(count)

    for wanted in (3.0, 1.0, 0.3, 0.05):
        needed = needed_for_half_width(values, wanted)
        assert half(needed) <= wanted
        assert needed == 2 or half(needed - 1) > wanted
    assert needed_for_half_width([2.0, 2.0], 0.1) == 2
    assert needed_for_half_width(values, 1e-9) == MOST_FORECAST
    assert needed_to_decide([1.0, 1.2, 0.8]) == needed_for_half_width([1.0, 1.2, 0.8], 1.0)
    assert needed_to_decide([1.0, -1.0]) == MOST_FORECAST
    assert needed_to_decide([0.0, 0.0]) == 2


def test_so_many_aisles_hold_the_mean():
    """A sample of the size given, drawn by lot without return, is within the error in about 95 % of cases."""
    rng = np.random.default_rng(8)
    population = rng.gamma(4.0, 1.0, 400)
    size = sample_size(population.tolist(), 0.1, 400)
    assert 40 < size < 120
    means = [rng.choice(population, size, replace=False).mean() for _ in range(3000)]
    inside = np.mean([abs(mean / population.mean() - 1.0) <= 0.1 for mean in means])
    assert 0.93 <= inside <= 0.99
    # half as many do not do: the check can fail
    fewer = [rng.choice(population, size // 2, replace=False).mean() for _ in range(3000)]
    assert np.mean([abs(mean / population.mean() - 1.0) <= 0.1 for mean in fewer]) < 0.9
    assert sample_size([3.0] * 10, 0.1, 10) == 2
    assert sample_size([1.0], 0.1, 1) == 1
    assert sample_size([0.0, 0.0, 0.0], 0.1, 3) == 3
