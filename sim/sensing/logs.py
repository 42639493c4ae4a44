"""Measured detections: a strict reader of logs of motion.

Comes in: a CSV file `zone,start,end`.  Goes out: `Detections`, united; or only the quality table.  Before:
`logs`, `scenario/log_columns`; after: `lighting`.  A log holds motion, without hold time; a log of reported
occupancy goes with `hold_s = 0`.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from sim.floor.layout import Layout
from sim.log_form import OWN_FORM, LogForm
from sim.log_quality import QualityBook
from sim.logs import Log, find_index
from sim.records import Detections, FloatColumn, IntColumn
from sim.scenario.log_columns import clock_of
from sim.scenario.schema import Scenario
from sim.sensing.coverage import unite

__all__ = ["read_detections", "scan_detections"]

REQUIRED = ("zone", "start", "end")


@dataclass(frozen=True)
class _Rows:
    """Some rows: zone, times [s], line, and which lie in the second pass of an hour (n,)."""

    zone: IntColumn
    start: FloatColumn
    end: FloatColumn
    line: IntColumn
    is_repeat: NDArray[np.bool_]


def read_detections(
    path: Path | str,
    scenario: Scenario,
    layout: Layout,
    *,
    sort: bool = False,
    form: LogForm = OWN_FORM,
    book: QualityBook | None = None,
    told: Callable[[int], None] | None = None,
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
    book : counts the quality of the log
    told : is given the bytes read so far

    Returns
    -------
    Detections, overlapping and touching ones of a zone united, sorted by zone and start

    Raises
    ------
    InputError : the file is no such log; an unknown zone, a start outside the run, an end before its
        start, or rows out of order: all faults together, up to twenty of them

    Notes
    -----
    All rows are held at once, about 100 bytes each; `scan_detections` holds a block at a time.
    """
    log = Log(path, start=clock_of(scenario), required=REQUIRED, form=form, told=told)
    end_s = scenario.duration_s
    pieces = list(_read(log, layout, end_s))
    if not pieces:
        log.finish()
    zone, start, end, line, is_repeat = (
        np.concatenate([getattr(piece, name) for piece in pieces])
        for name in ("zone", "start", "end", "line", "is_repeat")
    )
    if not sort:
        log.check_order(zone, start, line, "start")
    log.finish()
    if book is not None:
        book.watch(zone, zone, start, line, zone < 0, is_repeat)
    if is_repeat.any():
        zone, start, end = zone[~is_repeat], start[~is_repeat], end[~is_repeat]
    if book is not None:
        order = np.argsort(start, kind="stable")
        book.settle(zone[order], zone[order], start[order], end[order])
    return unite(zone, start, np.minimum(end, end_s))


def _read(log: Log, layout: Layout, end_s: float) -> Iterator[_Rows]:
    """Yield checked rows; what is at fault is noted in the log."""
    for batch in log.batches():
        zone = log.to_index(batch, "zone", layout.zones)
        log.refuse_missing(batch, ("start",))
        begun, ended = log.to_times(batch, "start"), log.to_times(batch, "end")
        start, end = begun.seconds + 0.0, ended.seconds + 0.0
        log.check_in_run(batch, "start", start, end_s)
        log.check_pair(batch, "end", "start", end < start, "not before it")
        is_repeat = begun.is_repeat & (ended.is_repeat | np.isnan(end))
        yield _Rows(zone, start, np.where(np.isnan(end), start, end), batch.line, is_repeat)


def scan_detections(
    path: Path | str,
    scenario: Scenario,
    layout: Layout,
    book: QualityBook,
    *,
    form: LogForm = OWN_FORM,
    told: Callable[[int], None] | None = None,
) -> None:
    """Count the quality of a detections log of any size, a block at a time.

    Rows of unknown zones, outside the run or out of order are counted, not refused.

    Parameters
    ----------
    path, scenario, layout, form : as in `read_detections`
    book : does the counting
    told : is given the bytes read so far

    Raises
    ------
    InputError : the file is no such log
    """
    log = Log(path, start=clock_of(scenario), required=REQUIRED, form=form, told=told)
    for batch in log.batches():
        zone = find_index(batch, "zone", layout.zones)
        log.refuse_missing(batch, ("start",))
        begun, ended = log.to_times(batch, "start"), log.to_times(batch, "end")
        start, end = begun.seconds, np.where(np.isnan(ended.seconds), begun.seconds, ended.seconds)
        is_repeat = begun.is_repeat & (ended.is_repeat | np.isnan(ended.seconds))
        book.watch(zone, zone, start, batch.line, zone < 0, is_repeat)
        kept = np.flatnonzero((zone >= 0) & ~np.isnan(start) & ~is_repeat)
        kept = kept[np.argsort(start[kept], kind="stable")]
        book.settle(zone[kept], zone[kept], start[kept], end[kept])
    log.finish()
