"""Detections united as they come: what is over is kept as two numbers, what may still grow stays open.

Comes in: rows of motion, block by block.  Goes out: `Detections`.  Before: `logs/reader`; after:
`sensing/logs`. The union of unions is the union of all, so blocks in any order give the same; rows in order
of time within their zone give it without a sort of all of them.
"""

from __future__ import annotations

from itertools import pairwise

import numpy as np

from sim.logs.table import AnyInt, GrowingColumn
from sim.records import Detections, FloatColumn, IntColumn
from sim.sensing.coverage import unite

__all__ = ["GrowingUnion"]


class GrowingUnion:
    """The union of each zone's motion so far.

    Parameters
    ----------
    zones : how many there are
    """

    def __init__(self, zones: int) -> None:
        self._zones = zones
        self._open = (np.zeros(0, dtype=np.int64), np.zeros(0), np.zeros(0))
        self._counts: list[IntColumn] = []
        self._start, self._end = GrowingColumn("f8"), GrowingColumn("f8")

    def add(self, zone: IntColumn, start: FloatColumn, end: FloatColumn) -> None:
        """Take up some motion.

        Parameters
        ----------
        zone, start, end : in any order; a pulse has start = end [s] (n,)
        """
        if not len(zone):
            return
        both = [np.concatenate(pair) for pair in zip(self._open, (zone, start, end), strict=True)]
        found = _unite(both[0], both[1], both[2])
        is_last = np.append(found.zone[1:] != found.zone[:-1], True)
        self._open = (found.zone[is_last], found.start[is_last], found.end[is_last])
        self._keep(found.zone[~is_last], found.start[~is_last], found.end[~is_last])

    def _keep(self, zone: IntColumn, start: FloatColumn, end: FloatColumn) -> None:
        """Put away what is over."""
        self._counts.append(np.bincount(zone, minlength=self._zones))
        self._start.add(start)
        self._end.add(end)

    def unite(self) -> Detections:
        """Return the union of all motion; to be called once.

        Notes
        -----
        What was put away, 16 bytes each, is put in order of zone a column at a time: at most 24 bytes each
        at once.
        """
        self._keep(*self._open)
        start, end = self._in_order(self._start), self._in_order(self._end)
        totals = np.sum(self._counts, axis=0)
        zone = np.repeat(np.arange(self._zones), totals)
        is_apart = (start[1:] > end[:-1]) | (zone[1:] != zone[:-1])
        return Detections(zone, start, end) if is_apart.all() else unite(zone, start, end)

    def _in_order(self, column: GrowingColumn) -> FloatColumn:
        """Put a column in order of zone; in a zone in the order in which it came (n,)."""
        whole = column.take()
        ordered = np.empty_like(whole)
        totals = np.sum(self._counts, axis=0)
        at, done = np.cumsum(totals) - totals, 0
        for counts in self._counts:
            first = np.cumsum(counts) - counts
            count = int(counts.sum())
            ordered[np.arange(count) + np.repeat(at - first, counts)] = whole[done : done + count]
            at, done = at + counts, done + count
        return ordered


def _unite(zone: IntColumn, start: FloatColumn, end: FloatColumn) -> Detections:
    """Unite motion whose rows are likely in order of time within each zone."""
    small: AnyInt = zone.astype(np.uint16) if int(zone.max()) < 65_536 else zone
    order = np.argsort(small, kind="stable")
    zone, start, end = zone[order], start[order], end[order]
    is_first = np.append(True, zone[1:] != zone[:-1])
    if ((start[1:] < start[:-1]) & ~is_first[1:]).any():
        return unite(zone, start, end)
    edges = [*np.flatnonzero(is_first).tolist(), len(zone)]
    reach = end.copy()
    for first, last in pairwise(edges):
        np.maximum.accumulate(reach[first:last], out=reach[first:last])
    begins = is_first
    begins[1:] |= start[1:] > reach[:-1]
    at = np.flatnonzero(begins)
    return Detections(zone[at], start[at], reach[np.append(at[1:], len(zone)) - 1])
