"""What a fit needs of a log: when trucks entered which aisle, how long they stood there, what was observed.

Comes in: a log of visits, moves, picks or detections.  Goes out: `SiteLog`.  Before:
`study/from_logs/traffic` and the readers; after: `study/from_logs/fit`, `study/from_logs/goodness`.  Hours
are those of the clock.  An hour counts as observed between midnight before the log's first row and midnight
after its last one, cut at the run's ends; not on the scenario's holidays, and not while the clock skips.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np

from sim.errors import InputError
from sim.floor.layout import Layout
from sim.logs.form import OWN_FORM, LogForm
from sim.records import Detections, FloatColumn, IntColumn, Visits
from sim.replication import Site
from sim.results import ExtraTable
from sim.scenario.log_columns import clock_of
from sim.scenario.schema import Scenario
from sim.sensing.coverage import unite
from sim.sensing.logs import read_detections
from sim.study.from_logs.traffic import TRUSTED, LogKind, new_book, quality_table
from sim.traffic.calendar import holiday_dates
from sim.traffic.dwell import dwell_visits
from sim.traffic.gait import gait_of
from sim.traffic.kinematics import travel_time
from sim.traffic.logs import VisitRows, read_visit_rows
from sim.traffic.move_logs import read_stops
from sim.traffic.paths import VISIT_TASKS

__all__ = [
    "KINDS_OF_WORK",
    "HourGrid",
    "SiteLog",
    "from_visits",
    "hour_grid",
    "motion_log",
    "read_site_log",
    "visit_silence_s",
]

KINDS_OF_WORK = ("putaway", "retrieve", "replenish")
"""Streams that a fit makes; visits of unknown, touring, walking or paired trucks count as retrievals."""
_STREAM_OF_TASK = np.array(
    [
        0 if name == "putaway" else 2 if name.startswith("replenish") else 1
        for name in VISIT_TASKS
    ],
    dtype=np.int64,
)
_HOUR_S, _DAY_S, _WEEK_H = 3600.0, 86_400.0, 168
_STRETCHES = 4096
_TOURING = 1.05
"""Handlings per visit from where on a visit is more than one handling."""
_BASE_HANDLING = "Handling times stay the base's: a log of moves does not tell them."
_SEVERAL = (
    "Many visits have several handlings; the time between a visit's way in and its way out was fitted as one "
    "handling. It rests on the dwell model's own handling time for the last of them."
)


@dataclass(frozen=True)
class HourGrid:
    """The clock hours that a run touches (H,).

    Attributes
    ----------
    edge : their borders [s from the start], the first one not after 0 (H + 1,)
    of_week : hour of the week from Monday 00:00 (H,)
    observed_h : how much of each was observed [h] (H,)
    from_s, to_s : first and last second observed
    """

    edge: FloatColumn
    of_week: IntColumn
    observed_h: FloatColumn
    from_s: float
    to_s: float

    def find(self, time: FloatColumn) -> IntColumn:
        """Return the hour of each time (n,)."""
        last = len(self.of_week) - 1
        found: IntColumn = np.clip(np.searchsorted(self.edge, time, side="right") - 1, 0, last)
        return found


@dataclass(frozen=True)
class SiteLog:
    """A log as a fit sees it.

    Attributes
    ----------
    kind : of the log
    grid : hours and what of them was observed
    events : entries by stream, aisle and hour (3, A, H); of a detections log arrivals at an empty aisle
    exposure_h : hours in which such an event could have been seen, by aisle and hour [h] (A, H)
    aisle, enter, leave : visits, empty for a detections log (n,)
    stand_s : time at the bay of each visit that tells it [s]
    depth : place over the aisle's length of each visit that tells it, 0..1
    occupied : united presence of trucks, or motion, by aisle
    tables, notices : quality of the log; what a reader must know
    """

    kind: LogKind
    grid: HourGrid
    events: FloatColumn
    exposure_h: FloatColumn
    aisle: IntColumn
    enter: FloatColumn
    leave: FloatColumn
    stand_s: FloatColumn
    depth: FloatColumn
    occupied: Detections
    tables: tuple[ExtraTable, ...] = ()
    notices: tuple[str, ...] = ()


def hour_grid(scenario: Scenario, first_s: float, last_s: float) -> HourGrid:
    """Lay out the hours of a run of which a log covers a part.

    Parameters
    ----------
    scenario : its start, length, holidays and time zone
    first_s, last_s : first and last time in the log [s]
    """
    start, end_s = scenario.start_datetime, scenario.duration_s
    past_hour = start.minute * 60.0 + start.second + start.microsecond / 1e6
    count = int(np.ceil((end_s + past_hour) / _HOUR_S))
    edge: FloatColumn = np.arange(count + 1, dtype=np.float64) * _HOUR_S - past_hour
    first_hour = start.weekday() * 24 + start.hour
    past_midnight = past_hour + start.hour * _HOUR_S
    from_s = max(0.0, np.floor((first_s + past_midnight) / _DAY_S) * _DAY_S - past_midnight)
    to_s = min(end_s, (np.floor((last_s + past_midnight) / _DAY_S) + 1.0) * _DAY_S - past_midnight)
    observed = _overlap(edge, from_s, to_s)
    for low, high in clock_of(scenario).skipped:
        observed -= _overlap(edge, max(low, from_s), min(high, to_s))
    closed = holiday_dates(scenario)
    if closed:
        midnight = dt.datetime.combine(start.date(), dt.time())
        days = np.floor((edge[:-1] + past_midnight) / _DAY_S).astype(int)
        is_closed = [(midnight + dt.timedelta(days=int(day))).date() in closed for day in days]
        observed[np.array(is_closed, dtype=bool)] = 0.0
    return HourGrid(
        edge, (first_hour + np.arange(count)) % _WEEK_H, np.maximum(observed, 0.0) / _HOUR_S, from_s, to_s
    )


def _overlap(edge: FloatColumn, low: float, high: float) -> FloatColumn:
    """Seconds of each hour inside a stretch (H,)."""
    inside: FloatColumn = np.maximum(np.minimum(edge[1:], high) - np.maximum(edge[:-1], low), 0.0)
    return inside


def visit_silence_s(scenario: Scenario) -> float:
    """Return how long a truck at work in an aisle may go unseen [s], for telling visits in a log of motion.

    Notes
    -----
    The mean handling time of the slowest group and three of its standard deviations, plus the ways in and
    out of the longest aisle; 60 s at least.  A rule of thumb, no source.
    """
    longest = max(scenario.aisle_lengths_m)
    silences = [60.0]
    for trucks in scenario.trucks:
        gait = gait_of(trucks)
        way = float(travel_time(longest, gait.aisle_laden, gait.ramp))
        silences.append(trucks.handling_mean_s * (1.0 + 3.0 * trucks.handling_cv) + way)
    return max(silences)


def from_visits(
    layout: Layout,
    kind: LogKind,
    grid: HourGrid,
    visits: Visits,
) -> SiteLog:
    """Return simulated or modelled visits as a log of theirs, observed in the hours of a grid.

    Parameters
    ----------
    layout, kind : the floor and the kind of the log
    grid : hours observed
    visits : in order of entry; those that enter outside the observed hours are left out
    """
    kept = np.flatnonzero((visits.enter >= grid.from_s) & (visits.enter < grid.to_s))
    return _site_log(
        layout,
        kind,
        grid,
        visits.aisle[kept],
        visits.enter[kept],
        visits.leave[kept],
        visits.task[kept],
        np.zeros(0),
        (visits.bay_m / layout.length_m[visits.aisle])[kept],
    )


def _site_log(
    layout: Layout,
    kind: LogKind,
    grid: HourGrid,
    aisle: IntColumn,
    enter: FloatColumn,
    leave: FloatColumn,
    task: IntColumn,
    stand_s: FloatColumn,
    depth: FloatColumn,
) -> SiteLog:
    """Count visits into hours."""
    aisles, hours = len(layout.aisles), len(grid.of_week)
    events = np.zeros((len(KINDS_OF_WORK), aisles, hours))
    hour = grid.find(enter)
    is_open = grid.observed_h[hour] > 0.0
    np.add.at(events, (_STREAM_OF_TASK[task[is_open]], aisle[is_open], hour[is_open]), 1.0)
    return SiteLog(
        kind=kind,
        grid=grid,
        events=events,
        exposure_h=np.broadcast_to(grid.observed_h, (aisles, hours)),
        aisle=aisle,
        enter=enter,
        leave=leave,
        stand_s=stand_s,
        depth=depth[~np.isnan(depth)],
        occupied=unite(aisle, enter, leave),
    )


def read_site_log(
    site: Site,
    kind: LogKind,
    path: Path | str,
    *,
    sort: bool = False,
    form: LogForm = OWN_FORM,
    told: Callable[[int], None] | None = None,
    trusted: bool = False,
) -> SiteLog:
    """Read a log for a fit.

    Parameters
    ----------
    site : the base scenario, prepared
    kind, path, form : what log it is and how it is written
    sort : accept rows that are not in order of time
    told : is given the bytes read so far
    trusted : the log was found good before: neither its order nor its quality is looked at again

    Raises
    ------
    InputError : the log has faults, or holds no visit in an observed hour
    """
    scenario, layout, book = site.scenario, site.layout, new_book(site, kind)
    notices: tuple[str, ...] = ()
    how: dict[str, Any] = {"sort": sort, "form": form, "book": book, "told": told, "trusted": trusted}
    if kind == "detections":
        motion = read_detections(path, scenario, layout, **how)
        _refuse_nothing(path, len(motion.zone))
        found = motion_log(scenario, layout, motion)
        notices = (
            "From motion alone: an arrival is motion in an aisle that was still for longer than "
            f"{visit_silence_s(scenario):.0f} s. Handling times stay the base's.",
        )
    elif kind == "visits":
        rows = read_visit_rows(path, scenario, layout, **how)
        _refuse_nothing(path, len(rows.enter))
        found = _of_rows(scenario, layout, rows)
    else:
        stops = read_stops(path, kind, scenario, layout, **how)
        visits, note = dwell_visits(scenario, layout, stops)
        if not len(visits):
            raise InputError(f"{path}: no row lies in an aisle")
        grid = hour_grid(scenario, float(visits.enter.min()), float(visits.enter.max()))
        found = from_visits(layout, kind, grid, visits)
        is_touring = note.stops > _TOURING * note.visits
        if is_touring:
            found = replace(found, stand_s=_between_ways(visits))
        notices = (*note.sentences(), _SEVERAL if is_touring else _BASE_HANDLING)
    if not found.events.sum():
        raise InputError(f"{path}: no visit in an observed hour; are all its days holidays?")
    if trusted:
        return replace(found, notices=(*notices, TRUSTED))
    return replace(found, tables=(quality_table(kind, book),), notices=notices)


def _refuse_nothing(path: Path | str, count: int) -> None:
    """Say why nothing of a log without faults is left."""
    if not count:
        raise InputError(
            f"{path}: every row lies in the second pass of an hour that the clock shows twice; such rows do "
            "not count"
        )


def _between_ways(visits: Visits) -> FloatColumn:
    """Time from the end of the way in to the start of the way out of each visit [s] (n,)."""
    moves = visits.moves
    assert moves is not None, "the dwell model makes runs"
    first = np.searchsorted(moves.visit, np.arange(len(visits)), side="left")
    last = np.searchsorted(moves.visit, np.arange(len(visits)), side="right") - 1
    is_whole = last > first
    first, last = first[is_whole], last[is_whole]
    way = travel_time(
        np.abs(moves.to_m[first] - moves.from_m[first]), moves.speed[first], moves.acceleration[first]
    )
    return np.maximum(moves.start[last] - moves.start[first] - way, 0.0)


def _of_rows(scenario: Scenario, layout: Layout, rows: VisitRows) -> SiteLog:
    """A visits log: stays tell the time at the bay once the ways in and out are taken off."""
    grid = hour_grid(scenario, float(rows.enter.min()), float(rows.enter.max()))
    task = rows.task.astype(np.int64)
    stand = np.zeros(0)
    if scenario.trucks:
        group = np.maximum(rows.group, 0)
        gaits = [gait_of(trucks) for trucks in scenario.trucks]
        laden = np.array([gait.aisle_laden for gait in gaits])[group]
        empty = np.array([gait.aisle_empty for gait in gaits])[group]
        ramp = np.array([gait.ramp for gait in gaits])[group]
        length = layout.length_m[rows.aisle]
        way_in = np.where(rows.enters_back, length - rows.bay_m, rows.bay_m)
        way_out = np.where(rows.leaves_back, length - rows.bay_m, rows.bay_m)
        is_put = np.isin(task, [VISIT_TASKS.index("putaway"), VISIT_TASKS.index("replenish-set")])
        stand = rows.leave - rows.enter
        stand -= travel_time(np.nan_to_num(way_in), np.where(is_put, laden, empty), ramp)
        stand -= travel_time(np.nan_to_num(way_out), np.where(is_put, empty, laden), ramp)
        is_whole = np.isnan(rows.second_bay_m) & (rows.leave < scenario.duration_s)
        stand = stand[is_whole & ~np.isnan(rows.bay_m)]
    return _site_log(
        layout, "visits", grid, rows.aisle.astype(np.int64), rows.enter, rows.leave, task, stand,
        rows.bay_m / layout.length_m[rows.aisle],
    )


def _add_hours(hours: FloatColumn, grid: HourGrid, low: FloatColumn, high: FloatColumn) -> None:
    """Add to each hour how much of it lies in some stretches, one after the other [h] (H,)."""
    for begin in range(0, len(low), _STRETCHES):
        some = slice(begin, begin + _STRETCHES)
        first, last = grid.find(low[some]), grid.find(high[some])
        counts = last - first + 1
        row = np.repeat(np.arange(len(counts)), counts)
        place = first[row] + np.arange(len(row)) - np.repeat(np.cumsum(counts) - counts, counts)
        until, since = high[some][row], low[some][row]
        spans = np.minimum(grid.edge[place + 1], until) - np.maximum(grid.edge[place], since)
        np.add.at(hours, place, np.maximum(spans, 0.0) / _HOUR_S)


def motion_log(scenario: Scenario, layout: Layout, motion: Detections) -> SiteLog:
    """Return motion as a log: arrivals at an aisle that was still, and the time in which one could come.

    Parameters
    ----------
    scenario, layout : the site
    motion : united, by zone
    """
    if scenario.group:
        raise InputError(
            "group: motion in a zone of several aisles does not say in which of them; leave [[group]] out of "
            "the base, or give a log of visits or moves"
        )
    in_aisle = np.flatnonzero(motion.zone < layout.zones_in_aisles)
    home = layout.zone_place[motion.zone[in_aisle]]  # without groups a place of the racks is an aisle
    by_aisle = unite(home, motion.start[in_aisle], motion.end[in_aisle])
    grid = hour_grid(scenario, float(motion.start.min()), float(motion.end.max()))
    silence = visit_silence_s(scenario)
    aisles, hours = len(layout.aisles), len(grid.of_week)
    events = np.zeros((len(KINDS_OF_WORK), aisles, hours))
    exposure = np.zeros((aisles, hours))
    is_open = grid.observed_h > 0.0
    for aisle in range(aisles):
        start, end = by_aisle.of_zone(aisle)
        begins = np.concatenate([[grid.from_s], end + silence])
        stops = np.concatenate([start, [grid.to_s]])
        is_long = stops > begins
        _add_hours(exposure[aisle], grid, begins[is_long], stops[is_long])
        arrivals = start[is_long[:-1]]
        np.add.at(events[1, aisle], grid.find(arrivals), 1.0)
    return SiteLog(
        kind="detections",
        grid=grid,
        events=events * is_open,
        exposure_h=np.minimum(exposure, grid.observed_h),
        aisle=np.zeros(0, dtype=np.int64),
        enter=np.zeros(0),
        leave=np.zeros(0),
        stand_s=np.zeros(0),
        depth=np.zeros(0),
        occupied=by_aisle,
    )

