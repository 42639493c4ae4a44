"""What the page must know of one replication's traffic: no more than some setting could ask for.

Comes in: traffic, the least timeout that the page offers.  Goes out: packed columns.  Before:
`replication`; after: `show/page/data`.

Two cuts keep the file small and every outcome exact.  Detections of a zone whose gap never exceeds hold +
least timeout are one block: no setting goes low between them.  Of the trucks only that is kept which may
meet less than the occupied level: from a block's end + least delay to the next one's start + latency + the
longest fade, from a border to the longest fade after it, and from the run's start.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sim.records import FloatColumn, Stays
from sim.replication import Traffic
from sim.show.page.packing import pack_bytes, pack_columns

__all__ = ["Watch", "pack_traffic"]


@dataclass(frozen=True)
class Watch:
    """What the page may ask of one zone.

    Attributes
    ----------
    least_s : hold + least timeout
    latency_s : motion to command
    longest_s : longest fade of any settings
    border : where the timetable's settings change [s]
    end_s : end of the run
    """

    least_s: float
    latency_s: float
    longest_s: float
    border: FloatColumn
    end_s: float


def pack_traffic(traffic: Traffic, watches: list[Watch], weights: list[float]) -> dict[str, Any]:
    """Return the packed traffic of one replication.

    Parameters
    ----------
    traffic : what happened
    watches : by zone (Z,)
    weights : the service weights that occur; a piece names its own by its place in this list

    Returns
    -------
    blocks : start and end of the united detections, zone after zone; pieces : from and to of the trucks'
    stays where it matters; kinds : 2 * weight + 1 where a piece begins with the truck's entry; and how many
    of either each zone has
    """
    starts, ends, froms, tos, kinds = [], [], [], [], []
    for zone, watch in enumerate(watches):
        start, end = _blocks(*traffic.detections.of_zone(zone), watch.least_s)
        starts.append(start)
        ends.append(end)
        if traffic.visits is None or traffic.stays is None:
            continue
        begin, until, kind = _pieces(traffic.stays.of_zone(zone), _windows(start, end, watch), weights)
        froms.append(begin)
        tos.append(until)
        kinds.append(kind)
    packed = {
        "block_counts": [len(start) for start in starts],
        "blocks": pack_columns([np.concatenate(starts), np.concatenate(ends)]),
        "piece_counts": None,
    }
    if froms:
        packed["piece_counts"] = [len(begin) for begin in froms]
        packed["pieces"] = pack_columns([np.concatenate(froms), np.concatenate(tos)])
        packed["kinds"] = pack_bytes(np.concatenate(kinds))
    return packed


def _blocks(start: FloatColumn, end: FloatColumn, least_s: float) -> tuple[FloatColumn, FloatColumn]:
    """Unite detections between which no setting goes low."""
    if not len(start):
        return start, end
    begins = np.append(True, start[1:] - end[:-1] > least_s)
    return start[begins], end[np.append(np.flatnonzero(begins)[1:] - 1, len(end) - 1)]


def _windows(start: FloatColumn, end: FloatColumn, watch: Watch) -> tuple[FloatColumn, FloatColumn]:
    """Return when the light may be below the occupied level, in whole seconds, apart from each other."""
    begin = np.concatenate([[0.0], end + watch.least_s, watch.border])
    until = np.concatenate(
        [start + watch.latency_s + watch.longest_s, [watch.end_s], watch.border + watch.longest_s]
    )
    # whole seconds are short numbers; the light is up in what is added
    begin, until = np.maximum(np.floor(begin), 0.0), np.ceil(until) + 1.0
    order = np.argsort(begin, kind="stable")
    begin, until = begin[order], np.maximum.accumulate(until[order])
    opens = np.append(True, begin[1:] > until[:-1])
    return begin[opens], until[np.append(np.flatnonzero(opens)[1:] - 1, len(until) - 1)]


def _pieces(
    stays: Stays, windows: tuple[FloatColumn, FloatColumn], weights: list[float]
) -> tuple[FloatColumn, FloatColumn, NDArray[np.uint8]]:
    """Cut stays to the windows, in order of time."""
    begin, until = windows
    first = np.searchsorted(until, stays.enter, side="left")
    last = np.searchsorted(begin, stays.leave, side="left")
    # a truck that is there for no time at all may still enter
    count = np.maximum(last - first, (begin[np.minimum(first, len(begin) - 1)] <= stays.enter).astype(int))
    count = np.where(first < len(begin), count, 0)
    row = np.repeat(np.arange(len(count)), count)
    which = first[row] + np.arange(len(row)) - np.repeat(np.cumsum(count) - count, count)
    start, end = np.maximum(stays.enter[row], begin[which]), np.minimum(stays.leave[row], until[which])
    weight = np.ones(len(row)) if stays.weight is None else stays.weight[row]
    kind = 2 * np.searchsorted(np.array(weights), weight) + (start == stays.enter[row])
    order = np.argsort(start, kind="stable")
    return start[order], end[order], kind[order].astype(np.uint8)
