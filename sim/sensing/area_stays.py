"""Trucks and people in open areas: who is in which rectangle or circle of the plan, and when.

Comes in: `OpenRuns`, rectangles and circles.  Goes out: `Spans`.  Before: `traffic/open_runs`; after:
`sensing/areas`.  Times are exact: a run is met by a rectangle or a circle along one stretch of its length.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sim.floor.areas import OpenArea
from sim.records import FloatColumn, IntColumn, OpenRuns
from sim.traffic.kinematics import time_at

__all__ = ["Spans", "spans_in_area", "spans_in_circle"]

BoolColumn = NDArray[np.bool_]


@dataclass(frozen=True)
class Spans:
    """Parts of runs, turns and stands inside a shape, in their order (n,).

    Attributes
    ----------
    row : index into the runs (n,)
    enter, leave : [s] (n,)
    entry : number of the entry into the shape; parts that follow one another are one entry, from 0 (n,)
    """

    row: IntColumn
    enter: FloatColumn
    leave: FloatColumn
    entry: IntColumn

    @property
    def entries(self) -> int:
        """How many entries there are."""
        return int(self.entry[-1]) + 1 if len(self.entry) else 0

    def stays(self) -> tuple[IntColumn, FloatColumn, FloatColumn]:
        """Return a row, enter and leave of each entry (entries,)."""
        first = np.searchsorted(self.entry, np.arange(self.entries))
        last = np.searchsorted(self.entry, np.arange(self.entries), side="right") - 1
        return self.row[first], self.enter[first], self.leave[last]


def _spans(runs: OpenRuns, low_m: FloatColumn, high_m: FloatColumn, is_inside: BoolColumn) -> Spans:
    """Return the parts of runs between two lengths from their start; points count where they are inside."""
    length = np.abs(runs.to_across_m - runs.from_across_m) + np.abs(runs.to_along_m - runs.from_along_m)
    is_run = length > 0.0
    low, high = np.maximum(low_m, 0.0), np.minimum(high_m, length)
    row = np.flatnonzero(np.where(is_run, low < high, is_inside))
    run, low, high, length = is_run[row], low[row], high[row], length[row]
    safe = np.where(run, length, 1.0)
    way = (safe, runs.speed[row], runs.acceleration[row])
    from_start, to_end = ~run | (low <= 0.0), ~run | (high >= length)
    start, end = runs.start[row], runs.end[row]
    enter = np.where(from_start, start, start + time_at(np.where(run, low, 0.0), *way))
    leave = np.where(to_end, end, start + time_at(np.where(run, high, 0.0), *way))
    goes_on = np.zeros(len(row), dtype=bool)
    goes_on[1:] = (
        (np.diff(row) == 1) & (np.diff(runs.trip[row]) == 0) & from_start[1:] & to_end[:-1]
    )
    return Spans(row, enter, leave, np.cumsum(~goes_on) - 1)


def _along_way(
    first: FloatColumn, last: FloatColumn, low: FloatColumn | float, high: FloatColumn | float
) -> tuple[FloatColumn, FloatColumn]:
    """Return how far from its start a run on a line is between two places of the line [m] (n,) each."""
    forward = last >= first
    return np.where(forward, low - first, first - high), np.where(forward, high - first, first - low)


def spans_in_area(runs: OpenRuns, area: OpenArea) -> Spans:
    """Return where runs, turns and stands lie in an open area."""
    is_across = runs.from_along_m == runs.to_along_m
    near, far = area.along_m
    beside = np.full(len(runs), near)
    # the coordinate that does not change decides whether the line meets the area at all
    met = np.where(
        is_across,
        area.holds(np.full(len(runs), area.across_m[0]), runs.from_along_m),
        area.holds(runs.from_across_m, beside),
    )
    across = _along_way(runs.from_across_m, runs.to_across_m, *area.across_m)
    along = _along_way(runs.from_along_m, runs.to_along_m, near, far)
    low = np.where(met, np.where(is_across, across[0], along[0]), np.inf)
    high = np.where(is_across, across[1], along[1])
    return _spans(runs, low, high, area.holds(runs.from_across_m, runs.from_along_m))


def spans_in_circle(runs: OpenRuns, across_m: float, along_m: float, radius_m: float) -> Spans:
    """Return where runs, turns and stands lie in a circle round a sensor."""
    is_across = runs.from_along_m == runs.to_along_m
    beside = np.where(is_across, runs.from_along_m - along_m, runs.from_across_m - across_m)
    half = np.sqrt(np.maximum(radius_m**2 - beside**2, 0.0))
    across = _along_way(runs.from_across_m, runs.to_across_m, across_m - half, across_m + half)
    along = _along_way(runs.from_along_m, runs.to_along_m, along_m - half, along_m + half)
    low, high = np.where(is_across, across[0], along[0]), np.where(is_across, across[1], along[1])
    apart = np.hypot(runs.from_across_m - across_m, runs.from_along_m - along_m)
    return _spans(runs, low, high, apart <= radius_m)
