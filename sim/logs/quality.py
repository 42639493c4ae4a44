"""How good a log is, counted: doubles, disorder, silences, clocks that jump, sensors that are dead or stuck.

Comes in: the rows of a log in batches.  Goes out: `QualityRow`s for a table.  The ground: used by the readers
of logs.  Memory does not grow with the log: of each zone or truck only its latest rows are kept.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sim.logs.table import AnyInt
from sim.records import FloatColumn, IntColumn

__all__ = ["HEADER", "USUAL", "LatestTimes", "QualityBook", "QualityRow", "Thresholds", "slices_in_time"]

HEADER = ("check", "count", "detail")
_NAMES_TOLD = 10
_DAY_S = 86_400.0
_SLICE = 1 << 18
_ODD = np.uint64(0x9E37_79B9_7F4A_7C15)


@dataclass(frozen=True)
class QualityRow:
    """One line of the table.

    Attributes
    ----------
    check : what was looked for
    count : how often it was found; 0 is good
    detail : which, where, how long
    """

    check: str
    count: int
    detail: str


@dataclass(frozen=True)
class Thresholds:
    """From where on something is told; common practice, no source.

    Attributes
    ----------
    gap_s : silence of the whole log
    jump_s : a clock is put back by more than this
    stuck_s : one row lasts longer than this
    silent_s : a zone is silent for so long up to the log's end
    """

    gap_s: float = _DAY_S
    jump_s: float = 300.0
    stuck_s: float = 14_400.0
    silent_s: float = 7 * _DAY_S


USUAL = Thresholds()


def slices_in_time(start: FloatColumn) -> Iterator[IntColumn]:
    """Yield the numbers of rows in order of time, some at a time; rows of one time keep their order.

    Parameters
    ----------
    start : of all rows, in any order [s] (n,)
    """
    order = None if _is_rising(start) else np.argsort(start, kind="stable")
    for first in range(0, len(start), _SLICE):
        last = min(first + _SLICE, len(start))
        yield np.arange(first, last) if order is None else order[first:last]


def _is_rising(time: FloatColumn) -> bool:
    """Whether times never go back."""
    return not bool((time[1:] < time[:-1]).any())


class LatestTimes:
    """The time of the latest row of each group, in the order of the file."""

    def __init__(self) -> None:
        self._latest = np.zeros(0)
        self._newest = -np.inf

    def steps_back(self, group: AnyInt, time: FloatColumn, margin: float = 0.0) -> IntColumn:
        """Return rows that are earlier, by more than a margin, than the row before them in their group (k,).

        Parameters
        ----------
        group : from 0 (n,)
        time : of the rows that follow on those of the last call [s] (n,)
        margin : [s]
        """
        nothing = np.zeros(0, dtype=np.int64)
        if not len(group):
            return nothing
        if (missing := int(group.max()) + 1 - len(self._latest)) > 0:
            self._latest = np.append(self._latest, np.full(missing, -np.inf))
        is_in_order = time[0] >= self._newest and _is_rising(time)
        self._newest = max(self._newest, float(time.max()))
        if is_in_order:
            self._latest[group] = time
            return nothing
        small: AnyInt = group.astype(np.uint16) if len(self._latest) <= 65_536 else group
        order = np.argsort(small, kind="stable")
        ordered, names = time[order], group[order]
        begins = np.append(0, np.flatnonzero(names[1:] != names[:-1]) + 1)
        before = np.append(0.0, ordered[:-1])
        before[begins] = self._latest[names[begins]]
        self._latest[group] = time
        return np.sort(order[ordered < before - margin])


class QualityBook:
    """Counts over one log: `watch` in the order of the file, `settle` in the order of time.

    Parameters
    ----------
    start, end_s : local time of second 0, and the run's length [s]
    places, place : names of the zones or aisles, and what one is called in the table
    thresholds : from where on something is told
    """

    def __init__(
        self,
        start: dt.datetime,
        end_s: float,
        places: Sequence[str],
        place: str,
        thresholds: Thresholds = USUAL,
    ) -> None:
        self._start, self._end_s = start, end_s
        self._places, self._place = tuple(places), place
        self._at = thresholds
        self._counts = dict.fromkeys(("rows", "unknown", "outside", "repeated", "order", "jumps"), 0)
        self._counts |= dict.fromkeys(("doubles", "gaps", "stuck"), 0)
        self._first_unordered = 0
        self._order, self._clocks = LatestTimes(), LatestTimes()
        self._first_s, self._reach_s, self._newest_s = np.inf, -np.inf, -np.inf
        self._longest = (0.0, 0.0)
        self._is_by_place = self._is_unordered = False
        count = len(places)
        self._seen = np.zeros(count, dtype=np.int64)
        self._last_s = np.full(count, -np.inf)
        self._stuck_in = np.zeros(count, dtype=np.int64)
        self._held = np.zeros((0, 5))

    def watch(
        self,
        group: AnyInt,
        clock: AnyInt,
        start: FloatColumn,
        line: IntColumn,
        is_unknown: NDArray[np.bool_],
        is_repeat: NDArray[np.bool_],
    ) -> None:
        """Count what the order of the file shows.

        Parameters
        ----------
        group : within which rows should be in order of time (n,)
        clock : which truck or sensor wrote the row, -1 for unknown (n,)
        start : nan where it could not be read [s] (n,)
        line : of the file (n,)
        is_unknown : rows of a zone or aisle that the scenario lacks (n,)
        is_repeat : rows in the second pass of an hour that the clock shows twice (n,)
        """
        self._counts["rows"] += len(start)
        self._counts["unknown"] += int(is_unknown.sum())
        self._counts["repeated"] += int(is_repeat.sum())
        is_read = ~np.isnan(start)
        self._counts["outside"] += int(((start < 0.0) | (start >= self._end_s))[is_read].sum())
        is_read &= ~is_unknown
        group, clock, start, line = group[is_read], clock[is_read], start[is_read], line[is_read]
        back = self._order.steps_back(group, start)
        self._counts["order"] += len(back)
        if len(back) and not self._first_unordered:
            self._first_unordered = int(line[back].min())
        is_named = clock >= 0
        jumps = self._clocks.steps_back(clock[is_named], start[is_named], self._at.jump_s)
        self._counts["jumps"] += len(jumps)

    def settle(
        self,
        place: AnyInt,
        clock: AnyInt,
        start: FloatColumn,
        end: FloatColumn,
        mark: FloatColumn | None = None,
    ) -> None:
        """Count what rows in order of time show; rows of known places only.

        Parameters
        ----------
        place : index of the zone or aisle; of one row at least (n,)
        clock : which truck or sensor wrote the row (n,)
        start, end : equal for what has no length [s] (n,)
        mark : stands for what else the row says (n,)
        """
        self._count_doubles((place, start, clock, end, start if mark is None else mark))
        before = np.maximum.accumulate(np.concatenate([[self._reach_s], end]))
        newest = np.maximum.accumulate(np.concatenate([[self._newest_s], start]))
        self._is_unordered |= bool(start[0] < self._newest_s)
        self._is_by_place |= bool((start < newest[:-1] - self._at.gap_s).any())
        gap = np.where(np.isfinite(before[:-1]), start - before[:-1], 0.0)
        self._counts["gaps"] += int((gap > self._at.gap_s).sum())
        at = int(gap.argmax())
        self._longest = max(self._longest, (float(gap[at]), float(before[at])))
        self._reach_s, self._newest_s = float(before[-1]), float(newest[-1])
        self._first_s = min(self._first_s, float(start.min()))
        is_long = end - start > self._at.stuck_s
        self._counts["stuck"] += int(is_long.sum())
        self._stuck_in += np.bincount(place[is_long], minlength=len(self._places))
        self.see(place, end)

    def retell_silences(self, start: FloatColumn, end: FloatColumn) -> None:
        """Count the silences anew, of a log whose blocks did not follow each other in time.

        Parameters
        ----------
        start, end : all that the log saw, two detections at least, in any order [s] (n,)
        """
        self._is_by_place = self._is_unordered = False
        order = np.argsort(start, kind="stable")
        reach = np.maximum.accumulate(end[order])
        gap = start[order[1:]] - reach[:-1]
        self._counts["gaps"] = int((gap > self._at.gap_s).sum())
        at = int(gap.argmax())
        self._longest = max((0.0, 0.0), (float(gap[at]), float(reach[at])))

    @property
    def is_unordered(self) -> bool:
        """Whether `settle` was given rows earlier than those of a call before."""
        return self._is_unordered

    def see(self, place: AnyInt, time: FloatColumn) -> None:
        """Note that places were seen, without counting rows.

        Parameters
        ----------
        place, time : index and last second of each (n,)
        """
        self._seen += np.bincount(place, minlength=len(self._places))
        np.maximum.at(self._last_s, place, time)

    def _count_doubles(self, columns: Sequence[NDArray[Any]]) -> None:
        """Rows that are in every value as one before them; only a place's latest time is remembered."""
        place, start = columns[:2]
        latest = np.full(len(self._places), -np.inf)
        held_at = self._held[:, 0].astype(np.int64)
        latest[held_at] = self._held[:, 1]
        latest[place] = np.maximum(latest[place], start)  # in order of time: the last one stands
        is_tied = start <= self._held[:, 1].max(initial=-np.inf)
        is_same = start[1:] == start[:-1]
        is_tied[1:] |= is_same
        is_tied[:-1] |= is_same
        tied = [
            np.concatenate([old, new[is_tied]]) for old, new in zip(self._held.T, columns, strict=True)
        ]
        may_be = _look_alike(tied)
        self._counts["doubles"] += _unlike([column[may_be] for column in tied])[1]
        is_still = self._held[:, 1] == latest[held_at]
        is_last = start == latest[place]
        self._held = _unlike([
            np.concatenate([old[is_still], new[is_last]])
            for old, new in zip(self._held.T, columns, strict=True)
        ])[0]

    def table(self) -> tuple[QualityRow, ...]:
        """Return the table, a line for each check."""
        at, counts = self._at, self._counts
        never = [name for name, seen in zip(self._places, self._seen, strict=True) if not seen]
        quiet = self._last_s < self._reach_s - at.silent_s
        gone = [self._places[row] for row in np.flatnonzero(quiet & (self._seen > 0))]
        stuck = [self._places[row] for row in np.flatnonzero(self._stuck_in)]
        first = f"the first in line {self._first_unordered}" if counts["order"] else ""
        longest = (
            f"the longest {self._longest[0] / 3600.0:.1f} h, from {self._clock(self._longest[1])}"
            if counts["gaps"]
            else ""
        )
        if self._is_by_place:
            longest = f"not told where the {self._place}s stand one after the other"
        span = ""
        if counts["rows"] and np.isfinite(self._first_s):
            span = f"from {self._clock(self._first_s)} to {self._clock(self._reach_s)}"
        hours = f"{at.silent_s / _DAY_S:g} days"
        return (
            QualityRow("rows read", counts["rows"], span),
            QualityRow(f"rows of an unknown {self._place}", counts["unknown"], ""),
            QualityRow("rows that begin outside the run", counts["outside"], ""),
            QualityRow("rows earlier than the row before them", counts["order"], first),
            QualityRow("rows that stand twice", counts["doubles"], ""),
            QualityRow(f"clocks put back by more than {at.jump_s / 60.0:g} min", counts["jumps"], ""),
            QualityRow(
                "rows in an hour that the clock showed twice",
                counts["repeated"],
                "the second pass; left out" * bool(counts["repeated"]),
            ),
            QualityRow(
                f"silences of the log longer than {at.gap_s / 3600.0:g} h",
                0 if self._is_by_place else counts["gaps"],
                longest,
            ),
            QualityRow(f"rows longer than {at.stuck_s / 3600.0:g} h", counts["stuck"], _listed(stuck)),
            QualityRow(f"{self._place}s never seen", len(never), _listed(never)),
            QualityRow(f"{self._place}s silent for the last {hours} and more", len(gone), _listed(gone)),
        )

    def _clock(self, seconds: float) -> str:
        """Local time of a second of the run."""
        return (self._start + dt.timedelta(seconds=round(seconds))).isoformat(sep=" ", timespec="minutes")


def _look_alike(columns: Sequence[NDArray[Any]]) -> NDArray[np.bool_]:
    """Rows that may be alike in all columns: their values mixed into one number come more than once (n,)."""
    mixed = np.zeros(len(columns[0]), dtype=np.uint64)
    for column in columns:
        mixed = (mixed ^ (column + 0.0).view(np.uint64)) * _ODD
        mixed ^= mixed >> np.uint64(32)
    ordered = np.sort(mixed)
    several = ordered[1:][ordered[1:] == ordered[:-1]]
    # by sorting: NumPy 2.0 overflows where it chooses a table of such large numbers
    return np.isin(mixed, several, kind="sort") if len(several) else np.zeros(len(mixed), dtype=bool)


def _unlike(columns: Sequence[NDArray[Any]]) -> tuple[FloatColumn, int]:
    """Rows of which no two are alike (k, columns), and how many were left out."""
    table = np.column_stack(columns).astype(np.float64, copy=False)
    table = table[np.lexsort(table.T[::-1])]
    is_double = np.append(False, (table[1:] == table[:-1]).all(axis=1))[: len(table)]
    return table[~is_double], int(is_double.sum())


def _listed(names: Sequence[str]) -> str:
    """Some names and how many more."""
    more = f" and {len(names) - _NAMES_TOLD} more" if len(names) > _NAMES_TOLD else ""
    return ", ".join(names[:_NAMES_TOLD]) + more
