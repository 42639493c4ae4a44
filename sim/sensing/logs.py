"""Measured detections: a strict reader of logs of motion.

Comes in: a CSV file `zone,start,end`.  Goes out: `Detections`, united.  Before: `logs`; after: `lighting`.
A log holds motion, without hold time; a log of reported occupancy goes with `hold_s = 0`.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np

from sim.floor.layout import Layout
from sim.logs import Log
from sim.records import Detections
from sim.scenario.schema import Scenario
from sim.sensing.coverage import unite

__all__ = ["read_detections"]


def read_detections(
    path: Path | str, scenario: Scenario, layout: Layout, *, sort: bool = False
) -> Detections:
    """Read a detections log.

    An empty end is a pulse.  A detection that runs past the end of the run is cut there.

    Parameters
    ----------
    path : CSV with the columns zone, start, end; times in seconds from the scenario's start, or ISO 8601
        local date-times
    scenario, layout : the site
    sort : accept rows that are not in order of start within their zone

    Returns
    -------
    Detections, overlapping and touching ones of a zone united, sorted by zone and start

    Raises
    ------
    InputError : the file is no such log; an unknown zone, a start outside the run, an end before its
        start, or rows out of order: all faults together, up to twenty of them
    """
    log = Log(path, start=scenario.start_datetime, required=("zone", "start", "end"))
    end_s = scenario.duration_s
    columns = []
    for batch in log.batches():
        zone = log.to_index(batch, "zone", layout.zones)
        log.refuse_missing(batch, ("start",))
        start, end = log.to_seconds(batch, "start"), log.to_seconds(batch, "end")
        log.check_in_run(batch, "start", start, end_s)
        log.check_pair(batch, "end", "start", end < start, "not before it")
        columns.append((zone, start, np.where(np.isnan(end), start, end), batch.line))
    if not columns:
        log.finish()
    zone, start, end, line = (np.concatenate(column) for column in zip(*columns, strict=True))
    if not sort:
        log.check_order(zone, start, line, "start")
    log.finish()
    return unite(zone, start, np.minimum(end, end_s))
