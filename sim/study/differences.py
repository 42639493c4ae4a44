"""Differences and ratios of outcomes with their intervals: paired where the trucks are the same.

Comes in: one figure per replication for each of two alternatives.  Goes out: `Difference`, `Estimate`.
Before: `study/replications/precision`; after: `study/compare`, `study/decide/recommend`, `study/sensitivity`.

Paired t: common random numbers take most of the chance out of a difference (Law, "Simulation Modeling and
Analysis", 5th ed., chapter 11, from memory).  Unlike traffic: Welch's interval.  A ratio of two means has
the interval of its residuals (ratio estimator; Cochran, "Sampling Techniques", 3rd ed., chapter 6, from
memory).  All intervals are 95 % each by itself.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from sim.records import FloatColumn
from sim.results import Estimate
from sim.study.replications.precision import CONFIDENCE, estimate_mean

__all__ = ["Difference", "estimate_ratio", "subtract", "subtract_paired"]


@dataclass(frozen=True)
class Difference:
    """What one alternative has more than another.

    Attributes
    ----------
    estimate : mean and half-width; None where not known
    is_paired : whether both saw the same trucks
    """

    estimate: Estimate
    is_paired: bool

    @property
    def is_shown(self) -> bool:
        """Whether the interval leaves no difference out, or both agree exactly in every replication."""
        mean, half = self.estimate.mean, self.estimate.half_width
        return mean is not None and half is not None and abs(mean) > half


def subtract_paired(second: Sequence[float], first: Sequence[float]) -> Difference:
    """Return second - first, replication by replication (n,).

    Examples
    --------
    >>> subtract_paired([3.0, 5.0], [1.0, 3.0]).estimate
    Estimate(mean=2.0, half_width=0.0)
    """
    differences = [after - before for after, before in zip(second, first, strict=True)]
    return Difference(estimate_mean(differences), True)


def subtract(second: Sequence[float], first: Sequence[float]) -> Difference:
    """Return second - first for independent figures (n,), (m,): Welch's interval."""
    from scipy.special import stdtrit

    means = [math.fsum(values) / len(values) for values in (second, first)]
    if any(math.isnan(mean) for mean in means):
        return Difference(Estimate(None, None), False)
    if min(len(second), len(first)) < 2:
        return Difference(Estimate(means[0] - means[1], None), False)
    parts = [float(np.var(values, ddof=1)) / len(values) for values in (second, first)]
    total = parts[0] + parts[1]
    if total == 0.0:
        return Difference(Estimate(means[0] - means[1], 0.0), False)
    freedom = total**2 / (parts[0] ** 2 / (len(second) - 1) + parts[1] ** 2 / (len(first) - 1))
    quantile = float(stdtrit(freedom, 0.5 + CONFIDENCE / 2.0))
    return Difference(Estimate(means[0] - means[1], quantile * math.sqrt(total)), False)


def estimate_ratio(above: FloatColumn, below: FloatColumn) -> Estimate:
    """Return the ratio of two means over replications with its interval.

    Parameters
    ----------
    above, below : figures of the same replications (n,)

    Returns
    -------
    the mean is 0 where both are 0, and None where only the lower is

    Examples
    --------
    >>> estimate_ratio(np.array([2.0, 4.0]), np.array([1.0, 2.0]))
    Estimate(mean=2.0, half_width=0.0)
    """
    top, bottom = math.fsum(above) / len(above), math.fsum(below) / len(below)
    if math.isnan(top) or math.isnan(bottom):
        return Estimate(None, None)
    if bottom == 0.0:
        return Estimate(0.0, 0.0) if top == 0.0 else Estimate(None, None)
    ratio = top / bottom
    residuals = estimate_mean((above - ratio * below).tolist())
    half = None if residuals.half_width is None else residuals.half_width / abs(bottom)
    return Estimate(ratio, half)
