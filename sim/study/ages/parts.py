"""One zone's gaps cut at the timetable's borders, and the delays at which trucks meet a change in them.

Comes in: detections, trucks, `Week`.  Goes out: parts of gaps, thresholds of the delay.  Before:
`study/ages/records`; after: `study/ages/pieces`.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from sim.records import FloatColumn, IntColumn, Stays
from sim.study.ages.records import Week
from sim.study.ages.sums import TruckLine, last_before, spread

__all__ = ["Entries", "Parts", "cut_gaps", "entering", "find_entries", "find_false_offs"]


@dataclass(frozen=True)
class Parts:
    """Gaps after the first, cut at borders; `young` and `old` are the ages at start and end (n,)."""

    start: FloatColumn
    end: FloatColumn
    since: FloatColumn
    young: FloatColumn
    old: FloatColumn
    kind: IntColumn


def entering(stays: Stays | None) -> tuple[FloatColumn, FloatColumn]:
    """Times at which trucks enter, ascending, and how much each counts (n,)."""
    if stays is None:
        return np.zeros(0), np.zeros(0)
    order = np.argsort(stays.enter, kind="stable")
    weight = np.ones(len(order)) if stays.weight is None else stays.weight[order]
    return stays.enter[order], weight


def cut_gaps(start: FloatColumn, end: FloatColumn, week: Week, least_s: float) -> Parts:
    """Cut every gap above the least delay, but the first, at the borders."""
    until = np.append(start[1:], week.end_s)[: len(end)]
    is_there = until - end > least_s
    since, until = end[is_there], until[is_there]
    first = week.period_of(since)
    last = np.maximum(np.searchsorted(week.border[1:-1], until, side="left"), first)
    row, period = spread(first, last + 1)
    begin = np.maximum(since[row], week.border[period])
    stop = np.minimum(until[row], week.border[period + 1])
    return Parts(begin, stop, since[row], begin - since[row], stop - since[row], week.kind[period])


@dataclass(frozen=True)
class Entries:
    """Trucks that enter in a gap or its latency: the kind that decides, and the longest delay that dims."""

    kind: IntColumn
    threshold: FloatColumn
    weight: FloatColumn


def find_entries(
    enter: FloatColumn,
    weight: FloatColumn,
    start: FloatColumn,
    end: FloatColumn,
    rise: FloatColumn,
    gap: FloatColumn,
    week: Week,
    least_s: float,
) -> Entries:
    """Find for each truck the delays with which it enters a low zone; those of the first gap are apart."""
    inner = week.border[1:-1]
    following = np.searchsorted(start, enter, side="left")
    behind = np.maximum(following - 1, 0)
    stop = np.append(start, week.end_s)[following]
    in_gap = np.zeros(len(enter), dtype=bool)
    if len(end):
        in_gap = (following > 0) & (enter > end[behind]) & (stop - end[behind] > least_s)
    time, since, stop = enter[in_gap], end[behind[in_gap]], stop[in_gap]
    period = np.searchsorted(inner, time, side="left")
    young = np.maximum(week.border[period] - since, 0.0)
    old = np.minimum(stop, week.border[period + 1]) - since
    threshold = np.minimum(np.maximum(young, last_before(since, time)), np.nextafter(old, -np.inf))
    # an entry within a latency meets the command of the gap before it
    due = np.searchsorted(rise, enter, side="left")
    first = np.minimum(due, len(start) - 1)
    is_late = in_gap
    if len(end):
        is_late = (due > 0) & (due < len(start)) & (enter > start[first]) & (gap[first] > least_s)
    late = first[is_late]
    late_threshold = np.minimum(np.nextafter(gap[late], -np.inf), last_before(end[late - 1], enter[is_late]))
    return Entries(
        np.concatenate([week.kind[period], week.kind[week.period_of(start[late])]]),
        np.concatenate([threshold, late_threshold]),
        np.concatenate([weight[in_gap], weight[is_late]]),
    )


def find_false_offs(part: Parts, line: TruckLine | None) -> tuple[FloatColumn, FloatColumn]:
    """Delays with which the zone goes low while a truck is there: low < delay <= high."""
    if line is None:
        return np.zeros(0), np.zeros(0)
    # a truck that comes at the very end of a part may still be met by rounding, hence the next double
    row, opens, closes, _ = line.cut(part.start, np.nextafter(part.end, np.inf))
    since, young, old = part.since[row], part.young[row], part.old[row]
    low = np.where(opens <= part.start[row], young, np.maximum(young, last_before(since, opens)))
    oldest = np.nextafter(old, -np.inf)
    high = np.where(closes > part.end[row], oldest, np.minimum(oldest, last_before(since, closes)))
    return low[low < high], high[low < high]
