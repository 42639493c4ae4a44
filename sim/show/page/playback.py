"""What the page plays back: a few hours of one replication, truck by truck.

Comes in: a prepared site and its traffic.  Goes out: packed columns.  Before: `replication`,
`show/numbers/film`; after: `show/page/data`.  The lights are not here: the page computes them for whatever
its sliders say.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from sim.records import FloatColumn, IntColumn, OpenRuns, Visits
from sim.replication import Site, Traffic
from sim.show.numbers.film import lay_boxes
from sim.show.numbers.pick import BUSY_SHARE, clock_hours, hour_of_rank, spread_aisles
from sim.show.page.packing import pack_columns
from sim.units import SECONDS_PER_HOUR

__all__ = ["open_rows_within", "pack_playback", "rows_within"]

RANKS = (("a busy hour", BUSY_SHARE), ("the busiest hour", 1.0), ("a quiet hour", 0.25))
"""Hours on offer, by their place among the hours with any traffic, the first one shown at first."""


def pack_playback(site: Site, traffic: Traffic) -> dict[str, Any]:
    """Return the hours to play back, and the plan.

    Parameters
    ----------
    site : the prepared site
    traffic : of its first replication

    Returns
    -------
    boxes : zones in the plan, as `sim.show.numbers.film.Box`; aisles : names; lengths_m : of the aisles;
    width_m, depth_m : of the floor, and from the doors to the front cross-aisle; doors_m : doors across the
    floor; hours : for each its name, start and end [s], the aisles to show, visits (enter, leave, aisle,
    place before the first move), moves of each visit (start, from, to, speed, acceleration), detections of
    each zone (start, end), and ways outside the aisles (start, end, from and to across and along, speed,
    acceleration) where they are known
    """
    layout = site.layout
    visits = traffic.visits
    when = traffic.detections.start if visits is None else visits.enter
    return {
        "boxes": [
            [box.aisle, box.zone, box.across_m, box.near_m, box.far_m, box.width_m]
            for box in lay_boxes(layout)
        ],
        "aisles": list(layout.aisles),
        "lengths_m": layout.length_m.tolist(),
        "width_m": layout.width_m,
        "depth_m": layout.staging_depth_m,
        "doors_m": layout.door_m.tolist(),
        "hours": [
            _pack_hour(site, traffic, name, start, min(start + SECONDS_PER_HOUR, site.scenario.duration_s))
            for name, start in _hours(site, when)
        ],
    }


def _hours(site: Site, when: FloatColumn) -> list[tuple[str, float]]:
    """Name and start of full hours of the clock, each once."""
    first, counts = clock_hours(site.scenario.start_datetime, site.scenario.duration_s, when)
    if not len(counts):
        return [("the run", 0.0)]
    if not counts.any():
        return [("the first hour", first)]
    chosen: dict[int, str] = {}
    for name, share in RANKS:
        chosen.setdefault(hour_of_rank(counts, share), name)
    return [(name, first + hour * SECONDS_PER_HOUR) for hour, name in chosen.items()]


def _pack_hour(site: Site, traffic: Traffic, name: str, start: float, end: float) -> dict[str, Any]:
    """One hour."""
    layout, seen = site.layout, traffic.detections
    froms, tos, counts = [], [], []
    for zone in range(len(layout.zones)):
        begin, until = seen.of_zone(zone)
        inside = (begin < end) & (until >= start)
        froms.append(begin[inside])
        tos.append(until[inside])
        counts.append(int(inside.sum()))
    hour = {
        "name": name,
        "start_s": start,
        "end_s": end,
        "seen_counts": counts,
        "seen": pack_columns([np.concatenate(froms), np.concatenate(tos)]),
        "visits": None,
        "moves": None,
        "move_counts": [],
        "open": None if traffic.open_runs is None else _pack_open(traffic.open_runs, start, end),
    }
    if traffic.visits is None:
        begun = (seen.start >= start) & (seen.start < end)
        by_place = np.bincount(layout.zone_place[seen.zone[begun]], minlength=len(layout.places))
        return {**hour, "shown": spread_aisles(by_place[layout.aisle_place])}
    rows = rows_within(traffic.visits, start, end, len(layout.aisles))
    entered = rows[(traffic.visits.enter[rows] >= start) & (traffic.visits.enter[rows] < end)]
    by_aisle = np.bincount(traffic.visits.aisle[entered], minlength=len(layout.aisles))
    return {**hour, "shown": spread_aisles(by_aisle), **_pack_trucks(traffic.visits, rows, layout.length_m)}


def rows_within(visits: Visits, start: float, end: float, aisles: int) -> IntColumn:
    """Return the visits in a span whose place is known, in the order in which they are packed.

    Parameters
    ----------
    visits : all visits
    start, end : the span [s]
    aisles : how many aisles there are
    """
    knows = np.isfinite(visits.bay_m) | (visits.moves is not None)
    return np.flatnonzero((visits.leave > start) & (visits.enter < end) & (visits.aisle < aisles) & knows)


def open_rows_within(runs: OpenRuns, start: float, end: float) -> IntColumn:
    """Return the stretches outside the aisles that touch a span, in the order in which they are packed.

    Parameters
    ----------
    runs : all stretches
    start, end : the span [s]
    """
    return np.flatnonzero((runs.end > start) & (runs.start < end))


def _pack_open(runs: OpenRuns, start: float, end: float) -> dict[str, Any]:
    """Ways outside the aisles."""
    rows = open_rows_within(runs, start, end)
    columns = (
        runs.start, runs.end, runs.from_across_m, runs.from_along_m, runs.to_across_m, runs.to_along_m,
        runs.speed, runs.acceleration,
    )
    return pack_columns([column[rows] for column in columns])


def _pack_trucks(visits: Visits, rows: IntColumn, length_m: FloatColumn) -> dict[str, Any]:
    """Visits, and the moves of each."""
    aisle = visits.aisle[rows]
    mouth = np.where(visits.enters_back[rows], length_m[aisle], 0.0)
    moves = visits.moves
    packed = pack_columns(
        [visits.enter[rows], visits.leave[rows], aisle.astype(np.float64),
         visits.bay_m[rows] if moves is None else mouth]
    )
    if moves is None:
        return {"visits": packed, "move_counts": [0] * len(rows)}
    kept = np.isin(moves.visit, rows)
    columns = (moves.start, moves.from_m, moves.to_m, moves.speed, moves.acceleration)
    counts = np.bincount(np.searchsorted(rows, moves.visit[kept]), minlength=len(rows))
    return {
        "visits": packed,
        "moves": pack_columns([column[kept] for column in columns]),
        "move_counts": counts.tolist(),
    }
