"""Which hours and which aisles a picture shows: by rank among those with anything in them.

Comes in: instants and counts.  Goes out: starts of hours, places of aisles.  Before: `sim.records`; after:
`show/numbers/hour` (the report's picture), `show/page/playback`.  Both show the same busy hour of the same
traffic.
"""

from __future__ import annotations

import datetime as dt
import math

import numpy as np

from sim.records import FloatColumn, IntColumn
from sim.units import SECONDS_PER_HOUR

__all__ = ["BUSY_SHARE", "MOST_STRIPS", "clock_hours", "hour_of_rank", "spread_aisles"]

MOST_STRIPS = 5
"""Aisles in a picture of time and distance."""
BUSY_SHARE = 0.75
"""A busy hour, not the busiest: so many of the hours with anything in them are not busier."""


def clock_hours(start: dt.datetime, duration_s: float, when: FloatColumn) -> tuple[float, IntColumn]:
    """Return where the run's full hours of the clock begin, and what happens in each.

    Parameters
    ----------
    start, duration_s : of the run
    when : instants [s] (n,)

    Returns
    -------
    first : start of the first full hour [s]; counts : instants in each (H,), empty where none is full
    """
    past = start.minute * 60.0 + start.second + start.microsecond * 1e-6
    first = -past % SECONDS_PER_HOUR
    hours = max(0, int((duration_s - first) // SECONDS_PER_HOUR))
    if hours == 0:
        return first, np.zeros(0, dtype=np.int64)
    return first, np.histogram(when, first + np.arange(hours + 1) * SECONDS_PER_HOUR)[0]


def hour_of_rank(counts: IntColumn, share: float) -> int:
    """Return the first hour as busy as the one at a rank among those with anything in them.

    Parameters
    ----------
    counts : by hour (H,), at least one above 0
    share : 0 for the quietest, 1 for the busiest

    Examples
    --------
    >>> hour_of_rank(np.array([0, 4, 9, 1, 9]), 1.0), hour_of_rank(np.array([0, 4, 9, 1, 9]), 0.0)
    (2, 3)
    """
    busy = np.sort(counts[counts > 0])
    return int(np.argmax(counts == busy[math.ceil(share * (len(busy) - 1))]))


def spread_aisles(counts: FloatColumn | IntColumn) -> list[int]:
    """Return aisles evenly by rank, from the busiest to the quietest with anything in it, in floor order.

    Parameters
    ----------
    counts : by aisle (A,); where all are 0 the first aisles are returned

    Examples
    --------
    >>> spread_aisles(np.array([0, 4, 9]))
    [1, 2]
    """
    ranked = [int(aisle) for aisle in np.argsort(-counts, kind="stable") if counts[aisle] > 0]
    ranked = ranked or list(range(min(MOST_STRIPS, len(counts))))
    places = np.round(np.linspace(0, len(ranked) - 1, min(MOST_STRIPS, len(ranked)))).astype(int)
    return sorted(ranked[place] for place in places.tolist())
