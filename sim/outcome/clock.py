"""Bins of the run: hours from its start and quarter-hours of the local clock.

Comes in: start and length of the run.  Goes out: bin edges.  Used by `outcome`.
"""

from __future__ import annotations

import datetime as dt
import math
from dataclasses import dataclass

import numpy as np

from sim.records import FloatColumn, IntColumn
from sim.units import QUARTER_S, SECONDS_PER_HOUR

__all__ = ["Bins", "cut_run"]


@dataclass(frozen=True)
class Bins:
    """Edges of hours and quarter-hours.

    Attributes
    ----------
    hour_edges : 0, 3600, ..., end [s] (H + 1,)
    quarter_edges : 0, the local clock's quarters, end [s] (Q + 1,)
    quarter_hour : the hour of the run in which each quarter starts (Q,)
    """

    hour_edges: FloatColumn
    quarter_edges: FloatColumn
    quarter_hour: IntColumn

    @property
    def end_s(self) -> float:
        """End of the run [s]."""
        return float(self.hour_edges[-1])

    @property
    def hours(self) -> int:
        """Number of hours, the last one perhaps cut."""
        return len(self.hour_edges) - 1

    def hour_of(self, time: FloatColumn) -> IntColumn:
        """Return the hour of each time, an edge belonging to the later hour (n,)."""
        return np.searchsorted(self.hour_edges[1:-1], time, side="right")

    def quarter_of(self, time: FloatColumn) -> IntColumn:
        """Return the quarter-hour of each time (n,)."""
        return np.searchsorted(self.quarter_edges[1:-1], time, side="right")


def cut_run(start: dt.datetime, duration_s: float) -> Bins:
    """Return the bins of a run.

    >>> cut_run(dt.datetime(2027, 3, 1, 0, 10), 3600.0).quarter_edges.tolist()
    [0.0, 300.0, 1200.0, 2100.0, 3000.0, 3600.0]
    """
    million, quarter = 1_000_000, int(QUARTER_S) * 1_000_000
    past = ((start.minute * 60 + start.second) * million + start.microsecond) % quarter
    # whole microseconds, so that an edge is the double nearest to its instant
    inner = np.arange(quarter - past, math.ceil(duration_s * million) + 1, quarter) / million
    hours = np.append(np.arange(0.0, duration_s, SECONDS_PER_HOUR), duration_s)
    quarters = np.concatenate([[0.0], inner[inner < duration_s], [duration_s]])
    hour = np.searchsorted(hours[1:-1], quarters[:-1], side="right")
    return Bins(hours, quarters, hour)
