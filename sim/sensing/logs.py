"""Measured detections: a strict reader of logs of motion.

Comes in: a CSV file `zone,start,end`.  Goes out: `Detections`, united as they come; or only the quality
table.  Before: `logs/reader`, `scenario/log_columns`; after: `lighting`.  A log holds motion, without hold
time; a log of reported occupancy goes with `hold_s = 0`.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from sim.floor.layout import Layout
from sim.logs.form import OWN_FORM, LogForm
from sim.logs.quality import QualityBook, slices_in_time
from sim.logs.reader import Batch, Log
from sim.logs.table import AnyInt, GrowingTable
from sim.records import Detections, FloatColumn, IntColumn
from sim.scenario.log_columns import clock_of
from sim.scenario.schema import Scenario
from sim.sensing.growing_union import GrowingUnion

__all__ = ["DetectionCounter", "read_detections"]

REQUIRED = ("zone", "start", "end")


def read_detections(
    path: Path | str,
    scenario: Scenario,
    layout: Layout,
    *,
    sort: bool = False,
    form: LogForm = OWN_FORM,
    book: QualityBook | None = None,
    told: Callable[[int], None] | None = None,
    trusted: bool = False,
) -> Detections:
    """Read a detections log.

    An empty end is a pulse.  A detection that runs past the end of the run is cut there; one in the second
    pass of an hour that the clock shows twice is left out.

    Parameters
    ----------
    path : CSV with the columns zone, start, end; times in seconds from the scenario's start, or ISO 8601
        date-times, local or with their offset
    scenario, layout : the site
    sort : accept rows that are not in order of start within their zone
    form : how the log is written
    book : counts the quality of the log; not of a trusted one
    told : is given the bytes read so far
    trusted : the log was found good before: neither its order nor its quality is looked at again

    Returns
    -------
    Detections, overlapping and touching ones of a zone united, sorted by zone and start

    Raises
    ------
    InputError : the file is no such log; an unknown zone, a start outside the run, an end before its
        start, or rows out of order: all faults together, up to twenty of them

    Notes
    -----
    Memory: a block of the file, and 24 bytes for each detection that is left once they are united; with
    `sort` and a book also 28 bytes for each row.
    """
    log = Log(path, start=clock_of(scenario), required=REQUIRED, form=form, told=told)
    counted = None if trusted else book
    union, kept = GrowingUnion(len(layout.zones)), GrowingTable(zone="i4", start="f8", end="f8")
    for batch in log.batches():
        rows = _read_batch(log, batch, log.to_index(batch, "zone", layout.zones))
        log.check_in_run(batch, "start", rows.start, scenario.duration_s)
        log.check_pair(batch, "end", "start", rows.end < rows.start, "not before it")
        if not sort and not trusted:
            log.check_order(rows.zone, rows.start, batch.line, "start")
        counts = (rows.zone >= 0) & ~np.isnan(rows.start + rows.end) & ~rows.is_repeat
        zone, start, end = (
            (rows.zone, rows.start, rows.end)
            if counts.all()
            else (rows.zone[counts], rows.start[counts], rows.end[counts])
        )
        if counted is not None:
            counted.watch(rows.zone, rows.zone, rows.start, batch.line, rows.zone < 0, rows.is_repeat)
            if sort:
                kept.add(len(zone), {"zone": zone, "start": start, "end": end})
            else:
                _settle(counted, zone, start, end)
        union.add(zone, start, np.minimum(end, scenario.duration_s))
    log.finish()
    found = union.unite()
    if counted is not None:
        _settle(counted, kept.take("zone"), kept.take("start"), kept.take("end"))
        if counted.is_unordered:
            counted.retell_silences(found.start, found.end)
    return found


@dataclass(frozen=True)
class _Rows:
    """Some rows: zone, times [s], and which lie in the second pass of an hour (n,)."""

    zone: IntColumn
    start: FloatColumn
    end: FloatColumn
    is_repeat: NDArray[np.bool_]


def _read_batch(log: Log, batch: Batch, zone: IntColumn) -> _Rows:
    """Convert some rows."""
    log.refuse_missing(batch, ("start",))
    begun, ended = log.to_times(batch, "start"), log.to_times(batch, "end")
    start, end = begun.seconds + 0.0, ended.seconds + 0.0
    is_pulse = np.isnan(end)
    return _Rows(zone, start, np.where(is_pulse, start, end), begun.is_repeat & (ended.is_repeat | is_pulse))


def _settle(book: QualityBook, zone: AnyInt, start: FloatColumn, end: FloatColumn) -> None:
    """Count what rows in order of time show."""
    for rows in slices_in_time(start):
        book.settle(zone[rows], zone[rows], start[rows], end[rows])


class DetectionCounter:
    """Counts the quality of a detections log, see `study/from_logs/traffic`.

    Parameters
    ----------
    layout : the zones
    """

    required: tuple[str, ...] = REQUIRED
    optional: tuple[str, ...] = ()

    def __init__(self, layout: Layout) -> None:
        self._zones = layout.zones

    def count(self, log: Log, batch: Batch, book: QualityBook) -> None:
        """Count some rows."""
        rows = _read_batch(log, batch, log.find_index(batch, "zone", self._zones))
        book.watch(rows.zone, rows.zone, rows.start, batch.line, rows.zone < 0, rows.is_repeat)
        kept = (rows.zone >= 0) & ~np.isnan(rows.start) & ~rows.is_repeat
        _settle(book, rows.zone[kept], rows.start[kept], rows.end[kept])
