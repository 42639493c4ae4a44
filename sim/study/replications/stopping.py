"""When there are enough replications: for a figure, and for a decision.

Comes in: one figure per replication.  Goes out: yes or no, or how many more are needed.  Before:
`study/replications/precision`; after: `study/decide/recommend`, `study/compare`.

Relative error: stop as soon as the half-width over the mean is at most g / (1 + g), at 10 replications or
later; the true mean then lies within a share g of the estimate with about the stated confidence (Law and
Kelton's sequential rule, from memory).  How many more: the half-width shrinks as t / sqrt(n).
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from sim.study.replications.precision import CONFIDENCE, estimate_mean, relative_half_width

__all__ = [
    "FEWEST",
    "MOST_FORECAST",
    "is_precise",
    "needed_for_half_width",
    "needed_to_decide",
    "relative_target",
    "sample_size",
    "stop_at",
]

FEWEST = 10
"""Replications before which the rule does not stop."""
MOST_FORECAST = 1_000_000
"""Forecasts beyond this are told as "more than"."""


def relative_target(error: float) -> float:
    """Return the half-width over mean that a relative error g asks for: g / (1 + g).

    >>> round(relative_target(0.10), 6)
    0.090909
    """
    return error / (1.0 + error)


def is_precise(values: Sequence[float], error: float, *, fewest: int = FEWEST) -> bool:
    """Say whether the mean of figures (n,) is known to a relative error, by the sequential rule."""
    enough = len(values) >= fewest
    return enough and relative_half_width(estimate_mean(values)) <= relative_target(error)


def stop_at(values: Sequence[float], error: float, *, fewest: int = FEWEST) -> int | None:
    """Return after how many of the figures, taken in order, the rule stops; None if it does not."""
    counts = range(fewest, len(values) + 1)
    return next((count for count in counts if is_precise(values[:count], error, fewest=fewest)), None)


def needed_for_half_width(values: Sequence[float], half_width: float) -> int:
    """Return how many replications in all would bring the half-width down to a value.

    Parameters
    ----------
    values : figures so far, at least two (n,)
    half_width : wanted, above 0

    Returns
    -------
    at least 2; `MOST_FORECAST` where it would be more
    """
    from scipy.special import stdtrit

    spread = float(np.std(values, ddof=1))
    if spread == 0.0:
        return 2
    low, high = 2, MOST_FORECAST
    while low < high:
        middle = (low + high) // 2
        reached = float(stdtrit(middle - 1, 0.5 + CONFIDENCE / 2.0)) * spread / math.sqrt(middle)
        low, high = (low, middle) if reached <= half_width else (middle + 1, high)
    return low


def needed_to_decide(differences: Sequence[float]) -> int:
    """Return how many replications in all would show a difference of the size seen so far.

    Parameters
    ----------
    differences : paired differences so far, at least two (n,)

    Returns
    -------
    the number at which the interval would just leave out 0; `MOST_FORECAST` where the mean is 0
    """
    mean = math.fsum(differences) / len(differences)
    if mean == 0.0:
        return 2 if float(np.ptp(differences)) == 0.0 else MOST_FORECAST
    return needed_for_half_width(differences, abs(mean))


def sample_size(values: Sequence[float], error: float, population: int) -> int:
    """Return how many of a population must be measured to know its mean to a relative error.

    Parameters
    ----------
    values : the figure of every member, as simulated (N,)
    error : half-width over mean that is wanted
    population : number of members, N

    Returns
    -------
    from 2 to N (or 1 where there is only one)

    Notes
    -----
    n0 = (t s / (g mean))^2 with Student's t at n0 - 1 degrees of freedom, then the correction for a finite
    population, n = n0 / (1 + n0 / N) (Cochran, "Sampling Techniques", 3rd ed., chapter 4, from memory).
    """
    if population < 2:
        return population
    mean = math.fsum(values) / len(values)
    if mean == 0.0:
        return population
    endless = needed_for_half_width(values, error * abs(mean))
    return min(population, max(2, math.ceil(endless / (1.0 + endless / population))))
