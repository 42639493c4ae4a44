"""From the clocks of a log to seconds of the run, summer time included.

Comes in: local wall times or instants, as whole seconds since 1970.  Goes out: whole seconds from the
scenario's start.  The ground: used by `logs/reader`.  In a run every day has 86,400 s and the wall clock
never jumps, so the second of an instant is *the latest time that the local clock has shown so far*, less the
start: an hour that the clock skips is an hour in which nothing happens, an hour that it shows twice counts
the first time only (what happens in the second pass is left out, and counted).  So the week's timetable holds
at the right hour on both sides, and a year from New Year to New Year has 8,760 hours.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

import numpy as np
from numpy.typing import NDArray

from sim.records import IntColumn

__all__ = ["AMBIGUOUS", "SKIPPED", "RunClock", "wall_seconds", "why_no_zone"]

AMBIGUOUS, SKIPPED = 1, 2
"""Flags of local times that the clock shows twice, or never."""
_EPOCH = dt.datetime(1970, 1, 1)
_STEP_S = 6 * 3600
_MARGIN_S = 3 * 86_400
_MOST_DAYS = 3_800


def wall_seconds(moment: dt.datetime) -> int:
    """Return a naive date-time as whole seconds since 1970 of the same clock.

    >>> wall_seconds(dt.datetime(1970, 1, 2, 0, 0, 5))
    86405
    """
    since = moment.replace(tzinfo=None) - _EPOCH
    return since.days * 86_400 + since.seconds


def why_no_zone(name: str) -> str | None:
    """Return why a time zone cannot be used, None where it can."""
    try:
        ZoneInfo(name)
    except (ZoneInfoNotFoundError, ValueError, OSError):
        return (
            f'"{name}" is no time zone of the IANA database here; write one such as "Europe/Berlin"; where '
            'the machine has no database: pip install "aislewake[site]"'
        )
    return None


@dataclass(frozen=True)
class RunClock:
    """The local clock around a run.

    Attributes
    ----------
    start : local wall time of second 0
    zone : name of the time zone; "" where none is known: then the clock never jumps
    at : instants at which the offset changes [s since 1970 UTC] (k,)
    before, after : offsets from UTC on either side [s] (k,)
    first_offset : offset before the first change [s]
    """

    start: dt.datetime
    zone: str
    at: IntColumn
    before: IntColumn
    after: IntColumn
    first_offset: int

    @classmethod
    def of(cls, start: dt.datetime, days: float, zone: str = "") -> RunClock:
        """Make the clock of a run.

        Parameters
        ----------
        start : local wall time of second 0
        days : length of the run [d]
        zone : name in the IANA database, known to be there; "" for none
        """
        nothing = np.zeros(0, dtype=np.int64)
        if not zone:
            return cls(start, "", nothing, nothing, nothing, 0)
        clock = ZoneInfo(zone)
        first = wall_seconds(start) - _MARGIN_S
        steps = int((min(days, _MOST_DAYS) * 86_400 + 2 * _MARGIN_S) // _STEP_S) + 1
        moments = [first + step * _STEP_S for step in range(steps + 1)]
        offsets = [_offset(clock, moment) for moment in moments]
        rows = [
            (_change(clock, moments[k], moments[k + 1]), offsets[k], offsets[k + 1])
            for k in range(steps)
            if offsets[k] != offsets[k + 1]
        ]
        table = np.array(rows, dtype=np.int64).reshape(-1, 3)
        return cls(start, zone, table[:, 0], table[:, 1], table[:, 2], offsets[0])

    @property
    def skipped(self) -> list[tuple[int, int]]:
        """Stretches of the run that the clock skips [s from the start]."""
        first = wall_seconds(self.start)
        return [
            (int(at + low - first), int(at + high - first))
            for at, low, high in zip(self.at, self.before, self.after, strict=True)
            if high > low
        ]

    def instants(self, local: IntColumn, dst: str) -> tuple[IntColumn, NDArray[np.int8]]:
        """Return local wall times as instants, and flags where they are ambiguous or never shown.

        Parameters
        ----------
        local : wall clock as seconds since 1970 (n,)
        dst : "first": read by the offset before the change, "second": by the one after it; "": flagged

        Returns
        -------
        seconds since 1970 UTC (n,), and 0, `AMBIGUOUS` or `SKIPPED` (n,)
        """
        utc = local - self.first_offset
        flag = np.zeros(len(local), dtype=np.int8)
        for at, low, high in zip(self.at, self.before, self.after, strict=True):
            is_after = local >= at + max(low, high)
            is_odd = ~is_after & (local >= at + min(low, high))
            utc = np.where(is_after | (is_odd & (dst == "second")), local - high, utc)
            if not dst:
                flag[is_odd] = AMBIGUOUS if high < low else SKIPPED
        return utc, flag

    def run_seconds(self, utc: IntColumn) -> tuple[IntColumn, NDArray[np.bool_]]:
        """Return instants as whole seconds of the run, and which lie in the second pass of an hour.

        Parameters
        ----------
        utc : seconds since 1970 UTC (n,)
        """
        first = wall_seconds(self.start)
        if not len(self.at):
            return utc + self.first_offset - first, np.zeros(len(utc), dtype=bool)
        place = np.searchsorted(self.at, utc, side="right") - 1
        offset = np.where(place < 0, self.first_offset, self.after[np.maximum(place, 0)])
        wall = utc + offset
        peak = np.maximum.accumulate(self.at + self.before)
        shown = np.where(place < 0, wall, np.maximum(wall, peak[np.maximum(place, 0)]))
        return shown - first, wall < shown


def _offset(clock: ZoneInfo, utc: int) -> int:
    """Offset from UTC at an instant [s]."""
    moment = (_EPOCH + dt.timedelta(seconds=utc)).replace(tzinfo=dt.UTC).astimezone(clock)
    offset = moment.utcoffset()
    assert offset is not None
    return offset.days * 86_400 + offset.seconds


def _change(clock: ZoneInfo, early: int, late: int) -> int:
    """First second at which the offset is the later one."""
    before = _offset(clock, early)
    while late - early > 1:
        middle = (early + late) // 2
        if _offset(clock, middle) == before:
            early = middle
        else:
            late = middle
    return late
