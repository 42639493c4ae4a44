"""How sure a mean over replications is, and when there are enough of them.

Comes in: one figure per replication.  Goes out: `Estimate`.  Student's t with n - 1 degrees of freedom:
Law, "Simulation Modeling and Analysis", 5th ed., section 9.4 (from memory; the quantile is exact).
"""

from __future__ import annotations

import math
from collections.abc import Sequence

from sim.results import Estimate

__all__ = ["CONFIDENCE", "estimate_mean", "relative_half_width"]

CONFIDENCE = 0.95


def estimate_mean(values: Sequence[float]) -> Estimate:
    """Return mean and 95 % half-width of independent figures (n,).

    With one figure the half-width is None; where a figure is not known (nan) so is the mean.

    Examples
    --------
    >>> estimate_mean([1.0, 3.0]).mean
    2.0
    """
    from scipy.special import stdtrit

    count = len(values)
    mean = math.fsum(values) / count
    if math.isnan(mean):
        return Estimate(None, None)
    if count == 1:
        return Estimate(mean, None)
    variance = math.fsum((value - mean) ** 2 for value in values) / (count - 1)
    quantile = float(stdtrit(count - 1, 0.5 + CONFIDENCE / 2.0))
    return Estimate(mean, quantile * math.sqrt(variance / count))


def relative_half_width(estimate: Estimate) -> float:
    """Return half-width over mean; inf where there is no interval yet, 0 where mean and width are 0."""
    if estimate.mean is None or estimate.half_width is None:
        return math.inf
    if estimate.half_width == 0.0:
        return 0.0
    return estimate.half_width / abs(estimate.mean) if estimate.mean else math.inf
