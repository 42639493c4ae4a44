"""Sorted ages with running sums, and stretches of time cut where trucks come and go.

Comes in: ages with weights, or times of one zone's trucks.  Goes out: `RunningSums`, `TruckLine`.  Pure;
after it: `study/ages/pieces`, `study/ages/period`, `study/ages/borders`.  The running sums are kept in two
doubles each, so that the difference of two of them is as exact as a sum of the terms between.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sim.records import FloatColumn, IntColumn, Stays

__all__ = ["FAR_S", "RunningSums", "TruckLine", "blocks", "last_before", "place", "spread"]

FAR_S = 1e12
"""Stands for a second delay that never comes: beyond any age, and its square is still a number."""

Table = NDArray[np.float64]


def spread(first: IntColumn, last: IntColumn) -> tuple[IntColumn, IntColumn]:
    """Write ranges out: the row of each element and its index.

    Examples
    --------
    >>> [column.tolist() for column in spread(np.array([5, 0, 2]), np.array([7, 0, 3]))]
    [[0, 0, 2], [5, 6, 2]]
    """
    count = np.maximum(last - first, 0)
    row = np.repeat(np.arange(len(count)), count)
    return row, first[row] + np.arange(len(row)) - np.repeat(np.cumsum(count) - count, count)


def blocks(count: IntColumn, most: int = 2**20) -> list[tuple[int, int]]:
    """Cut rows into runs with at most so many elements, or of one row.

    Examples
    --------
    >>> blocks(np.array([2, 2, 5, 1]), 4)
    [(0, 2), (2, 3), (3, 4)]
    """
    reached = np.cumsum(count)
    edges = [0]
    while edges[-1] < len(count):
        base = reached[edges[-1] - 1] if edges[-1] else 0
        edges.append(max(edges[-1] + 1, int(np.searchsorted(reached, base + most, side="right"))))
    return list(itertools.pairwise(edges))


def place(amount: FloatColumn | NDArray[np.bool_], row: IntColumn, rows: int) -> FloatColumn:
    """Sum amounts by row (rows,)."""
    return np.bincount(row, weights=amount, minlength=rows).astype(np.float64)


def last_before(since: FloatColumn, time: FloatColumn) -> FloatColumn:
    """Return the longest delay with since + delay < time in double precision (n,).

    The replay compares instants, `since + delay`, with the times of trucks; the age view compares delays.
    Rounded addition never falls when the delay grows, so that one threshold per instant says the same.

    Parameters
    ----------
    since, time : [s], since <= time (n,)
    """
    before = np.nextafter(time, -np.inf)
    gap = time - since
    part = gap - time
    lost = (time - (gap - part)) - (since + part)
    # nearest to the middle between the instant and the double before it, less since; `lost` is exact, so that
    # this is never too low
    found = gap + (lost - 0.5 * (time - before))
    while (is_late := since + found >= time).any():
        found = np.where(is_late, np.nextafter(found, -np.inf), found)
    return found


def _run_up(values: FloatColumn) -> tuple[FloatColumn, FloatColumn]:
    """Running sums from 0, and what rounding took from each (n + 1,)."""
    total = np.concatenate([[0.0], np.cumsum(values)])
    before, after = total[:-1], total[1:]
    added = after - before
    lost = (before - (after - added)) + (values - added)
    return total, np.concatenate([[0.0], np.cumsum(lost)])


@dataclass(frozen=True)
class RunningSums:
    """Ages in order with running sums of weight, weight x age and weight x age squared.

    Attributes
    ----------
    age : ascending [s] (n,)
    table : the three sums, then what rounding took from each (n + 1, 6)
    """

    age: FloatColumn
    table: Table

    @classmethod
    def of(cls, age: FloatColumn, weight: FloatColumn) -> RunningSums:
        """Sort ages and add up; a weight may be below 0 (the young end of a piece)."""
        order = np.argsort(age, kind="stable")
        return cls.of_sorted(age[order], weight[order])

    @classmethod
    def of_sorted(cls, age: FloatColumn, weight: FloatColumn) -> RunningSums:
        """Add up ages that are in order already."""
        moments = [_run_up(column) for column in (weight, weight * age, weight * age * age)]
        columns = [total for total, _ in moments] + [lost for _, lost in moments]
        return cls(age, np.ascontiguousarray(np.stack(columns, axis=1)))

    def after(self, age: FloatColumn) -> IntColumn:
        """Return how many ages are at most as high as each given one, same shape."""
        return np.searchsorted(self.age, age, side="right")

    def windows(self, edge: IntColumn) -> Table:
        """Return the three sums between neighbouring edges, the last window reaching to the end.

        Parameters
        ----------
        edge : places from `after`, ascending along the first axis (m, T)

        Returns
        -------
        sums of weight, weight x age, weight x age squared (m, T, 3)
        """
        found = np.take(self.table, edge, axis=0)
        difference = np.empty_like(found)
        np.subtract(found[1:], found[:-1], out=difference[:-1])
        np.subtract(self.table[-1], found[-1], out=difference[-1])
        return difference[..., :3] + difference[..., 3:]


@dataclass(frozen=True)
class TruckLine:
    """How many trucks are in a zone, from each change on.

    Attributes
    ----------
    time : instants of change [s] (m,)
    count : trucks from then on, each by its weight; above 0 where there is any (m,)
    """

    time: FloatColumn
    count: FloatColumn

    @classmethod
    def of(cls, stays: Stays, weight: FloatColumn | None = None) -> TruckLine:
        """Count the stays in one zone, enter <= t < leave, all fully or each by a weight above 0 (n,)."""
        time = np.unique(np.concatenate([stays.enter, stays.leave]))
        present, sums = np.zeros(len(time), dtype=np.int64), np.zeros(len(time))
        for sign, edge in ((1, stays.enter), (-1, stays.leave)):
            order = np.argsort(edge, kind="stable")
            reached = np.searchsorted(edge[order], time, side="right")
            present += sign * reached
            if weight is not None:
                sums += sign * np.concatenate([[0.0], np.cumsum(weight[order])])[reached]
        return cls(time, present.astype(np.float64) if weight is None else np.where(present > 0, sums, 0.0))

    def at(self, time: FloatColumn) -> FloatColumn:
        """Return the trucks at times (n,)."""
        return np.append(0.0, self.count)[np.searchsorted(self.time, time, side="right")]

    def cut(
        self, start: FloatColumn, end: FloatColumn
    ) -> tuple[IntColumn, FloatColumn, FloatColumn, FloatColumn]:
        """Return the parts of stretches with a truck: row of the stretch, start, end, trucks.

        A stretch without length has no part.
        """
        first = np.searchsorted(self.time, start, side="right")
        last = np.searchsorted(self.time, end, side="left")
        last = np.where(end > start, np.maximum(last, first) + 1, first)
        row, index = spread(first, last)
        count = np.append(0.0, self.count)[index]
        row, index, count = row[count > 0], index[count > 0], count[count > 0]
        opens = np.concatenate([[-np.inf], self.time])[index]
        closes = np.concatenate([self.time, [np.inf]])[index]
        return row, np.maximum(opens, start[row]), np.minimum(closes, end[row]), count

    def wait(self, time: FloatColumn) -> FloatColumn:
        """Return how long after each time a truck is in the zone; 0 where one is, inf where none comes."""
        busy = self.time[self.count > 0]
        following = np.append(busy, np.inf)[np.searchsorted(busy, time, side="left")]
        return np.where(self.at(time) > 0, 0.0, following - time)
