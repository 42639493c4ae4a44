"""Fitted figures and their intervals.

Comes in: counts.  Goes out: limits.  Used by `study/from_logs/fit`.  Of Poisson means the exact limits (F.
Garwood, "Fiducial limits for the Poisson distribution", Biometrika 28, 1936), of shares Wilson's ("Probable
inference, the law of succession, and statistical inference", JASA 22, 1927; titles from memory).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from sim.records import FloatColumn

__all__ = ["LEVEL", "Figure", "poisson_limits", "wilson_limits"]

LEVEL = 0.95
"""Of all intervals."""


@dataclass(frozen=True)
class Figure:
    """One fitted figure.

    Attributes
    ----------
    key : of the scenario, with what it belongs to
    value, low, high : estimate and its 95 % interval; nan where none is given
    unit : of all three
    count : observations behind it
    """

    key: str
    value: float
    low: float
    high: float
    unit: str
    count: int


def poisson_limits(count: FloatColumn, level: float = LEVEL) -> tuple[FloatColumn, FloatColumn]:
    """Return the exact limits of Poisson means by their counts (n,).

    Examples
    --------
    >>> low, high = poisson_limits(np.array([0.0, 10.0]))
    >>> [round(float(value), 3) for value in (*low, *high)]
    [0.0, 4.795, 3.689, 18.39]
    """
    from scipy.stats import chi2

    tail = 0.5 * (1.0 - level)
    low = np.where(count > 0, 0.5 * chi2.ppf(tail, 2.0 * np.maximum(count, 0.5)), 0.0)
    high = np.asarray(0.5 * chi2.ppf(1.0 - tail, 2.0 * (count + 1.0)), dtype=np.float64)
    return low, high


def wilson_limits(count: FloatColumn, total: float, level: float = LEVEL) -> tuple[FloatColumn, FloatColumn]:
    """Return limits of shares by their counts (n,).

    Examples
    --------
    >>> low, high = wilson_limits(np.array([5.0]), 10.0)
    >>> round(float(low[0]), 3), round(float(high[0]), 3)
    (0.237, 0.763)
    """
    from scipy.stats import norm

    z = float(norm.ppf(0.5 + 0.5 * level))
    share = count / total
    middle = (share + z * z / (2.0 * total)) / (1.0 + z * z / total)
    half = z / (1.0 + z * z / total) * np.sqrt(share * (1.0 - share) / total + (z / (2.0 * total)) ** 2)
    return np.maximum(middle - half, 0.0), np.minimum(middle + half, 1.0)
