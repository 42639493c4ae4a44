"""How much of a run's beginning to leave out when it does not start as it goes on.

Comes in: a series of figures in time.  Goes out: how many to drop.  Pure.  A run of this program starts
with an empty floor and dark zones, which is real on a Monday morning; a series that starts in the middle
of the work needs this.

References
----------
White, "An effective truncation heuristic for bias reduction in simulation output", Simulation 69(6), 1997;
White, Cobb and Spratt, "A comparison of five steady-state truncation heuristics for simulation", Winter
Simulation Conference 2000.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

__all__ = ["BATCH", "find_warm_up"]

BATCH = 5
"""Figures in one batch: MSER-5."""


def find_warm_up(values: Sequence[float], batch: int = BATCH) -> int | None:
    """Return how many figures to drop so that the mean of the rest is surest (MSER-m).

    Parameters
    ----------
    values : figures in order of time (n,); an incomplete last batch is not used
    batch : figures averaged into one

    Returns
    -------
    a multiple of `batch`; None where the rule finds no stretch that has settled: fewer than two batches, or
    the least lies beyond the middle of the run

    Notes
    -----
    With batch means Z (k,) the number d of dropped batches minimises sum_{j > d} (Z_j - mean)^2 / (k - d)^2.

    Examples
    --------
    >>> find_warm_up([10.0] * 50 + [1.0, -1.0] * 225)
    50
    """
    count = len(values) // batch
    if count < 2:
        return None
    means = np.asarray(values[: count * batch], dtype=np.float64).reshape(count, batch).mean(axis=1)
    scores = []
    for dropped in range(count - 1):
        rest = means[dropped:]
        scores.append(float(np.sum((rest - rest.mean()) ** 2)) / len(rest) ** 2)
    best = int(np.argmin(scores))
    return None if 2 * best > count else best * batch
