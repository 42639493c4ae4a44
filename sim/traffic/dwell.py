"""Visits from moves: how long a truck was in the aisle for what the log says it handled there.

Comes in: `Stops`.  Goes out: `Visits` with their runs.  Before: `traffic/move_logs`; after: `sensing`,
`outcome`.  The dwell model: in by the front mouth at the empty speed of the scenario's first truck group
(laden for a putaway), handling of its mean time that ends at the row's time, out by the front.  A truck's
next handling in the same aisle belongs to the same visit where it had no time to go to the nearest door, set
down there and come back.
Time at the mast is not known from a log and is not added.
"""

from __future__ import annotations

from array import array
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from sim.errors import InputError
from sim.floor.layout import Layout
from sim.records import FloatColumn, IntColumn, Moves, Visits
from sim.scenario.schema import Scenario
from sim.traffic.gait import Gait, gait_of
from sim.traffic.kinematics import travel_time
from sim.traffic.measured import FAR_M
from sim.traffic.move_logs import Stops
from sim.traffic.paths import VISIT_TASKS

__all__ = ["DwellNote", "dwell_visits"]

LEAST_STAY_S = 1e-3
"""A stay has a length, also where two rows leave none."""
_BLOCK = 1 << 16
"""Stops taken up together; bounds the memory, changes no result."""
_LADEN_IN = tuple(VISIT_TASKS.index(name) for name in ("putaway", "replenish-set"))


@dataclass(frozen=True)
class DwellNote:
    """What the model had to assume.

    Attributes
    ----------
    stops, visits : handlings in the log, and visits made of them
    without_bay : stops whose place is not known: taken in the middle of the aisle
    without_truck : stops by nobody known: a visit each
    hurried : ways with less time than the model needs: these were shortened
    """

    stops: int
    visits: int
    without_bay: int
    without_truck: int
    hurried: int

    def sentences(self) -> list[str]:
        """Return what a reader must know."""
        found = [
            f"Visits come from {self.stops:,} rows of a log by a dwell model: in by the front, speeds and "
            "mean handling time of the first truck group, out by the front; no time at the mast. They make "
            f"{self.visits:,} visits. Times inside the aisles are the model's, gaps between them the log's."
        ]
        if self.without_bay:
            found.append(
                f"{self.without_bay:,} of the rows do not tell where in the aisle; they were taken in its "
                "middle. Say bay_m under [locations] in a columns file to place them."
            )
        if self.without_truck:
            found.append(
                f"{self.without_truck:,} of the rows name no truck; each was taken as a visit of its own, so "
                "the number of visits is an upper limit. The lights see the union of the stays."
            )
        if self.hurried:
            found.append(
                f"{self.hurried:,} times a truck had less time than the model's ways and handling need; its "
                "stay was shortened. Are speeds and handling time right?"
            )
        return found


class _Ways:
    """Times of ways of one gait, from rest to rest."""

    def __init__(self, gait: Gait) -> None:
        self.gait = gait

    def way_s(self, metres: ArrayLike, speed: ArrayLike) -> FloatColumn:
        """Time of runs [s] (n,)."""
        return travel_time(np.abs(metres), speed, self.gait.ramp)


class _Runs:
    """Runs inside the aisles as they come, five numbers each; the last one may still be put right."""

    def __init__(self, ramp: float) -> None:
        self._ramp = ramp
        self.hurried = 0
        self.visit = array("q")
        self.start, self.from_m, self.to_m, self.speed, self.ramp = (array("d") for _ in range(5))

    def add(self, visit: int, start: float, from_m: float, to_m: float, speed: float, ramp: float) -> None:
        """Put down one run."""
        self.visit.append(visit)
        self.start.append(start)
        self.from_m.append(from_m)
        self.to_m.append(to_m)
        self.speed.append(speed)
        self.ramp.append(ramp)

    def drop(self) -> tuple[float, float]:
        """Take the last run away; return where it began and its speed."""
        self.visit.pop()
        for column in (self.start, self.to_m, self.ramp):
            column.pop()
        return self.from_m.pop(), self.speed.pop()

    def fit(
        self,
        visit: int,
        from_m: float,
        to_m: float,
        speed: float,
        needed: float,
        earliest: float,
        arrive: float,
    ) -> None:
        """Put down a run that takes so long and ends at a time, begun no earlier than another."""
        if arrive - needed >= earliest or from_m == to_m:
            self.add(visit, arrive - needed, from_m, to_m, speed, self._ramp)
            return
        self.hurried += 1
        left = max(arrive - earliest, LEAST_STAY_S)
        self.add(visit, arrive - left, from_m, to_m, abs(to_m - from_m) / left, 0.0)


class _Stays:
    """Visits as they come; the last one may still change."""

    def __init__(self) -> None:
        self.row = array("q")
        self.enter, self.leave = array("d"), array("d")


def dwell_visits(scenario: Scenario, layout: Layout, stops: Stops) -> tuple[Visits, DwellNote]:
    """Make visits of stops.

    Parameters
    ----------
    scenario, layout : the site; its first truck group gives speeds and handling time
    stops : as read

    Returns
    -------
    visits in order of entry, and what was assumed

    Raises
    ------
    InputError : the scenario has no trucks
    """
    if not scenario.trucks:
        raise InputError("moves and picks need a [[trucks]] group in the scenario: speeds, handling time")
    ways = _Ways(gait_of(scenario.trucks[0]))
    handling_s = scenario.trucks[0].handling_mean_s
    is_placed = ~np.isnan(stops.bay_m)
    bay = np.where(is_placed, stops.bay_m, 0.5 * layout.length_m[stops.aisle])
    time = _time_all(layout, ways, stops, bay, handling_s)
    order = np.lexsort((time, stops.truck))
    stays, runs = _Stays(), _Runs(ways.gait.ramp)
    _walk(layout, ways, stops, bay, time, order, handling_s, stays, runs)
    note = DwellNote(
        stops=len(stops),
        visits=len(stays.row),
        without_bay=int((~is_placed).sum()),
        without_truck=int((stops.truck < 0).sum()),
        hurried=runs.hurried,
    )
    return _visits(scenario, stops, bay, stays, runs, ways.gait), note


def _walk(
    layout: Layout,
    ways: _Ways,
    stops: Stops,
    bay: FloatColumn,
    time: FloatColumn,
    order: IntColumn,
    handling_s: float,
    stays: _Stays,
    runs: _Runs,
) -> None:
    """Go through the stops, truck by truck, and make or prolong a stay for each."""
    gait = ways.gait
    errand_s = _errands(layout, ways, handling_s)
    last_truck, last_aisle, last_end, here = -1, -1, 0.0, 0.0
    for begin in range(0, len(order), _BLOCK):
        rows = order[begin : begin + _BLOCK]
        before_rows = np.concatenate([order[max(begin - 1, 0) : begin + (begin == 0)], rows[:-1]])
        depth, end = bay[rows], time[rows]
        is_laden = np.isin(stops.task[rows], _LADEN_IN)
        speed_in = np.where(is_laden, gait.aisle_laden, gait.aisle_empty)
        speed_out = np.where(is_laden, gait.aisle_empty, gait.aisle_laden)
        in_s, out_s = ways.way_s(depth, speed_in), ways.way_s(depth, speed_out)
        over_s = ways.way_s(depth - bay[before_rows], gait.aisle_empty)
        columns = (
            rows, stops.truck[rows], stops.aisle[rows], depth, end, speed_in, speed_out, in_s, out_s, over_s,
        )  # fmt: skip
        for row, truck, aisle, deep, ended, come, go, way_in, way_out, over in zip(
            *(column.tolist() for column in columns), strict=True
        ):
            begun = ended - handling_s
            enter, leave = begun - way_in, ended + way_out
            is_same = truck == last_truck and truck >= 0
            if is_same and aisle == last_aisle and enter <= stays.leave[-1] + errand_s[aisle]:
                here, _ = runs.drop()
                runs.fit(len(stays.row) - 1, here, deep, gait.aisle_empty, over, last_end, begun)
                stays.leave[-1] = max(leave, stays.leave[-1])
            else:
                first = max(enter, 0.0)
                if is_same and enter <= stays.leave[-1]:
                    first = max(first, 0.5 * (last_end + max(begun, last_end)))
                    stays.leave[-1] = min(stays.leave[-1], max(first, stays.enter[-1] + LEAST_STAY_S))
                    here, speed = runs.drop()
                    home_s = float(ways.way_s(here, speed))
                    runs.fit(len(stays.row) - 1, here, 0.0, speed, home_s, last_end, stays.leave[-1])
                stays.row.append(row)
                stays.enter.append(first)
                stays.leave.append(max(leave, first + LEAST_STAY_S))
                runs.fit(len(stays.row) - 1, 0.0, deep, come, way_in, first, max(begun, first))
            runs.add(len(stays.row) - 1, ended, deep, 0.0, go, gait.ramp)
            last_truck, last_aisle, last_end = truck, aisle, ended


def _errands(layout: Layout, ways: _Ways, handling_s: float) -> list[float]:
    """Time from each aisle's mouth to the nearest door, for a set-down there, and back (A,)."""
    gait, staging = ways.gait, layout.staging_depth_m
    found = []
    for place in layout.aisle_m.tolist():
        across = float(np.abs(layout.door_m - place).min())
        out_and_back = sum(
            float(ways.way_s(metres, speed))
            for metres in (across, staging)
            for speed in (gait.laden, gait.empty)
        )
        found.append(out_and_back + handling_s + 2.0 * gait.turn_s)
    return found


def _time_all(
    layout: Layout, ways: _Ways, stops: Stops, bay: FloatColumn, handling_s: float
) -> FloatColumn:
    """Time the pick-ups that no row times: back from the set-down that follows them (n,)."""
    time = stops.time.copy()
    gait = ways.gait
    row = np.flatnonzero(np.isnan(time))
    after = row + 1
    arrived = time[after] - handling_s
    within = ways.way_s(bay[after] - bay[row], gait.aisle_laden)
    across = layout.aisle_m[stops.aisle[after]] - layout.aisle_m[stops.aisle[row]]
    inside = ways.way_s(bay[row], gait.aisle_laden) + ways.way_s(bay[after], gait.aisle_laden)
    between = inside + ways.way_s(across, gait.laden) + 2.0 * gait.turn_s
    way = np.where(stops.aisle[row] == stops.aisle[after], within, between)
    time[row] = np.maximum(arrived - way, 0.0)
    return time


def _visits(
    scenario: Scenario, stops: Stops, bay: FloatColumn, stays: _Stays, runs: _Runs, gait: Gait
) -> Visits:
    """Put stays into columns, in order of entry; what lies beyond the end of the run is cut."""
    end_s, count = scenario.duration_s, len(stays.row)
    enter = np.frombuffer(stays.enter) if count else np.zeros(0)
    leave = np.frombuffer(stays.leave) if count else np.zeros(0)
    order = np.argsort(enter, kind="stable")
    row = np.array(stays.row, dtype=np.int64)[order]
    task, truck = stops.task[row].astype(np.int64), stops.truck[row].astype(np.int64)
    return Visits(
        aisle=stops.aisle[row].astype(np.int64),
        enter=enter[order],
        leave=np.minimum(leave[order], end_s),
        truck=np.where(truck >= 0, truck, len(stops.trucks)),
        bay_m=bay[row],
        task=task,
        enters_back=np.zeros(count, dtype=bool),
        leaves_back=np.zeros(count, dtype=bool),
        arrive=np.full(count, np.nan),
        run_in_m=np.full(count, FAR_M),
        run_before_m=np.zeros(count),
        run_speed=np.where(np.isin(task, _LADEN_IN), gait.laden, gait.empty),
        run_acceleration=np.full(count, gait.ramp),
        truck_names=(*stops.trucks, ""),
        task_names=VISIT_TASKS,
        moves=_moves(runs, order, end_s),
        drives=None,
    )


def _moves(runs: _Runs, order: IntColumn, end_s: float) -> Moves:
    """Put the runs that begin in the run into columns, visit by visit in their new order."""
    rank = np.empty(len(order), dtype=np.int64)
    rank[order] = np.arange(len(order))
    start = np.array(runs.start)
    kept = np.flatnonzero(start < end_s)
    visit = rank[np.array(runs.visit, dtype=np.int64)[kept]]
    in_order = np.argsort(visit, kind="stable")
    kept = kept[in_order]
    return Moves(
        visit=visit[in_order],
        start=start[kept],
        from_m=np.array(runs.from_m)[kept],
        to_m=np.array(runs.to_m)[kept],
        speed=np.maximum(np.array(runs.speed)[kept], 1e-3),
        acceleration=np.array(runs.ramp)[kept],
    )
