"""The interval of a mean over replications: T27.

Student's t (Law, "Simulation Modeling and Analysis", 5th ed., 9.4, from memory): its tabled quantiles, and
the share of intervals that hold the true mean.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence

import numpy as np
import pytest

from sim.results import Estimate
from sim.study.replications.precision import estimate_mean
from tests.truth.truth_scenes import agrees, equals, holds, spoilt


def normal_interval(values: Sequence[float]) -> Estimate:
    """Return the interval with the normal quantile instead of Student's."""
    return Estimate(float(np.mean(values)), 1.959964 * float(np.std(values, ddof=1)) / math.sqrt(len(values)))


def biased_interval(values: Sequence[float]) -> Estimate:
    """Return the interval with the sum of squares over n instead of n - 1."""
    good = estimate_mean(values)
    return Estimate(good.mean, good.half_width * math.sqrt((len(values) - 1) / len(values)))


@pytest.mark.parametrize("count, quantile", [(5, 2.776445), (10, 2.262157), (20, 2.093024), (30, 2.045230)])
def test_half_width_by_tabled_quantiles(count, quantile):
    """Half-width = t s / sqrt(n); the draws 1..n have s^2 = n (n + 1)/12."""

    def check(interval: Callable[[Sequence[float]], Estimate]) -> None:
        found = interval([float(value) for value in range(1, count + 1)])
        equals(found.mean, (count + 1) / 2, 1e-12, "mean")
        equals(found.half_width, quantile * math.sqrt((count + 1) / 12.0), 1e-5, "half-width")

    check(estimate_mean)
    with spoilt("normal quantile"):
        check(normal_interval)
    with spoilt("n instead of n - 1"):
        check(biased_interval)


def check_coverage(interval: Callable[[Sequence[float]], Estimate], repeats: int) -> None:
    """Share of intervals from 10 normal draws that hold the mean: 0.95, binomial."""
    draws = np.random.default_rng(27).normal(3.0, 2.0, (repeats, 10))
    found = [interval(row) for row in draws.tolist()]
    holding = np.mean([abs(one.mean - 3.0) <= one.half_width for one in found])
    agrees(float(holding), 0.95, math.sqrt(0.95 * 0.05 / repeats), "intervals that hold the mean")
    first = np.mean([abs(one.mean - 3.0) <= one.half_width for one in found[:1000]])
    holds(0.926 <= first <= 0.971, f"T27: {first} of the first 1000, 99.9 % band 0.926..0.971")


def test_T27_coverage_of_the_interval():
    check_coverage(estimate_mean, 8000)
    with spoilt("normal quantile: covers 0.918"):
        check_coverage(normal_interval, 8000)
    with spoilt("n instead of n - 1: covers 0.939"):
        check_coverage(biased_interval, 8000)


def test_one_replication_and_unknown_figures_have_no_interval():
    assert estimate_mean([4.0]) == Estimate(4.0, None)
    assert estimate_mean([1.0, math.nan]) == Estimate(None, None)
