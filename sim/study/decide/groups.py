"""Groups of like aisles: what a technician will really enter.

Comes in: one figure per aisle.  Goes out: a group number per aisle.  Pure; after it:
`study/decide/recommend`.
"""

from __future__ import annotations

import numpy as np

from sim.records import FloatColumn, IntColumn

__all__ = ["group_aisles"]


def group_aisles(figure: FloatColumn, groups: int) -> IntColumn:
    """Put aisles into groups so that the squares within groups sum to the least.

    Parameters
    ----------
    figure : by which aisles are alike (A,)
    groups : how many at most; aisles with equal figures are never parted

    Returns
    -------
    group of each aisle, 0 for the smallest figures (A,)

    Notes
    -----
    Exact in one dimension by dynamic programming over sorted figures: each group is a stretch of them.

    References
    ----------
    Fisher, "On grouping for maximum homogeneity", Journal of the American Statistical Association 53(284),
    1958.

    Examples
    --------
    >>> group_aisles(np.array([0.1, 0.9, 0.12, 0.5, 0.88]), 3).tolist()
    [0, 2, 0, 1, 2]
    """
    value, back, weight = np.unique(figure, return_inverse=True, return_counts=True)
    count = len(value)
    groups = min(groups, count)
    mass = np.concatenate([[0.0], np.cumsum(weight)])
    first = np.concatenate([[0.0], np.cumsum(weight * value)])
    square = np.concatenate([[0.0], np.cumsum(weight * value**2)])

    def within(start: IntColumn, end: int) -> FloatColumn:
        total = first[end] - first[start]
        spread: FloatColumn = square[end] - square[start] - total**2 / (mass[end] - mass[start])
        return spread

    least = np.full((groups + 1, count + 1), np.inf)
    cut = np.zeros((groups + 1, count + 1), dtype=np.int64)
    least[0, 0] = 0.0
    for group in range(1, groups + 1):
        for end in range(group, count + 1):
            starts = np.arange(group - 1, end)
            scores = least[group - 1, starts] + within(starts, end)
            best = int(np.argmin(scores))
            least[group, end], cut[group, end] = scores[best], starts[best]
    number = np.zeros(count, dtype=np.int64)
    end = count
    for group in range(groups, 0, -1):
        start = int(cut[group, end])
        number[start:end] = group - 1
        end = start
    return number[back.reshape(-1)]
