"""The borders between two names of settings in one zone, and what is known of each one's neighbourhood.

Comes in: `ZonePieces`.  Goes out: `Borders`, and for single borders the `Rows` that `study/ages/stretch`
follows.  Before: `study/ages/pieces`; after: `study/ages/borders`.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sim.records import FloatColumn, IntColumn
from sim.study.ages.plan import Setting
from sim.study.ages.records import ZonePieces
from sim.study.ages.stretch import Rows

__all__ = ["Borders", "find_borders", "gather_rows", "has_latency"]

Flags = NDArray[np.bool_]


@dataclass(frozen=True)
class Borders:
    """The borders of one zone between two names of settings; as in `ages.stretch.Rows` (n,).

    Attributes
    ----------
    opens : start of the period before; below 0 for the run's first [s]
    since : end of the last detection [s]
    wait : how long after the border a truck is in the zone [s]
    """

    time: FloatColumn
    opens: FloatColumn
    horizon: FloatColumn
    is_last: Flags
    age_before: FloatColumn
    age: FloatColumn
    since: FloatColumn
    gap: FloatColumn
    has_next: Flags
    next_rise: FloatColumn
    wait: FloatColumn


def find_borders(zone: ZonePieces, before: int, after: int) -> Borders:
    """Return the borders from one name to another, of which there is at least one."""
    week = zone.week
    period = 1 + np.flatnonzero((week.kind[:-1] == before) & (week.kind[1:] == after))
    time = week.border[period]
    start, end = np.append(zone.start, np.inf), np.append(zone.end, -np.inf)
    last = np.searchsorted(zone.start, time, side="right") - 1
    earlier = np.searchsorted(zone.start, time, side="left") - 1
    following = start[last + 1]
    has_next = following < week.border[period + 1]
    return Borders(
        time=time,
        opens=np.where(period > 1, week.border[period - 1], -1.0),
        horizon=week.border[period + 1] - time,
        is_last=period + 1 == len(week.border) - 1,
        age_before=np.maximum(time - end[earlier], 0.0),
        age=time - end[last],
        since=end[last],
        gap=following - end[last],
        has_next=has_next,
        next_rise=np.where(has_next, np.append(zone.rise, np.inf)[last + 1] - time, np.inf),
        wait=np.full(len(time), np.inf) if zone.line is None else zone.line.wait(time),
    )


def _candidates(zone: ZonePieces, time: FloatColumn, fade_up: FloatColumn) -> IntColumn:
    """Return the detection whose latency or fade-up may be under way at each border (n,).

    It is the first one whose switch-up falls due at the border or later, or less than the fade-up before:
    the gaps between later ones and their forerunners are too short to go low.
    """
    return np.minimum(
        np.searchsorted(zone.rise, time, side="left"),
        np.searchsorted(zone.rise, time - fade_up, side="right"),
    )


def _starts(zone: ZonePieces, detection: IntColumn) -> FloatColumn:
    """Return when detections start, inf for the one after the last (n,)."""
    return np.append(zone.start, np.inf)[detection]


def has_latency(zone: ZonePieces, borders: Borders, fade_up_s: float) -> Flags:
    """Say where a detection's latency, or a fade-up of this length, may be under way, or one starts (n,)."""
    detection = _candidates(zone, borders.time, np.full(len(borders.time), fade_up_s))
    return np.asarray(_starts(zone, detection) <= borders.time)


def gather_rows(
    zone: ZonePieces, borders: Borders, border: IntColumn, before: Setting, after: Setting, is_busy: Flags
) -> tuple[Rows, Flags]:
    """Gather what is known at borders, each with settings of its own.

    Parameters
    ----------
    zone, borders : the zone
    border : index of the border (n,)
    before, after : settings on both sides (n,)
    is_busy : where `has_latency` says so for a fade-up at least as long (n,)

    Returns
    -------
    rows, and where a latency is older than the period before the border, so that they cannot be followed
    """
    time = borders.time[border]
    count = len(border)
    went_low, starts, is_unknown = np.zeros((3, count), dtype=bool)
    rise, rise_age, late_age = np.zeros((3, count))
    at = np.flatnonzero(is_busy)
    if len(at):
        own = time[at]
        detection = _candidates(zone, own, before.up[at])
        start = _starts(zone, detection)
        is_there = start <= own
        at, own, detection, start = at[is_there], own[is_there], detection[is_there], start[is_there]
        ended = np.concatenate([[-np.inf], zone.end])[detection]
        starts[at] = start == own
        went_low[at] = zone.gap[detection] > np.where(starts[at], after.delay[at], before.delay[at])
        is_unknown[at] = (start < borders.opens[border[at]]) & (zone.gap[detection] > zone.week.latency_s)
        rise[at] = zone.rise[detection] - own
        rise_age[at], late_age[at] = zone.rise[detection] - ended, own - ended
    rows = Rows(
        time=time,
        horizon=borders.horizon[border],
        is_last=borders.is_last[border],
        age_before=borders.age_before[border],
        age=borders.age[border],
        gap=borders.gap[border],
        has_next=borders.has_next[border],
        next_rise=borders.next_rise[border],
        wait=borders.wait[border],
        went_low=went_low,
        starts=starts,
        rise=rise,
        rise_age=rise_age,
        late_age=late_age,
        before=before,
        after=after,
    )
    return rows, is_unknown
