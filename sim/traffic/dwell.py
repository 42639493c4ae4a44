"""Visits from moves: how long a truck was in the aisle for what the log says it handled there.

Comes in: `Stops`.  Goes out: `Visits` with their runs.  Before: `traffic/move_logs`; after: `sensing`,
`outcome`.  The dwell model: in by the front mouth at the empty speed of the scenario's first truck group
(laden for a putaway), handling of its mean time that ends at the row's time, out by the front.  A truck's
next handling in the same aisle belongs to the same visit where it had no time to go to the nearest door, set
down there and come back.
Time at the mast is not known from a log and is not added.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from sim.errors import InputError
from sim.floor.layout import Layout
from sim.records import Moves, Visits
from sim.scenario.schema import Scenario
from sim.traffic.gait import Gait, gait_of
from sim.traffic.kinematics import travel_time
from sim.traffic.measured import FAR_M
from sim.traffic.move_logs import Stops
from sim.traffic.paths import VISIT_TASKS

__all__ = ["DwellNote", "dwell_visits"]

LEAST_STAY_S = 1e-3
"""A stay has a length, also where two rows leave none."""
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


@dataclass
class _Stay:
    """One visit being made: aisle, truck, task, when it enters and leaves, its runs."""

    aisle: int
    truck: int
    task: int
    bay_m: float
    enter: float
    leave: float
    runs: list[tuple[float, float, float, float, float]]


class _Driver:
    """Times and runs of one gait in the aisles."""

    def __init__(self, gait: Gait) -> None:
        self.gait = gait
        self.hurried = 0

    def way_s(self, metres: float, speed: float) -> float:
        """Time of a run from rest to rest."""
        return float(travel_time(abs(metres), speed, self.gait.ramp))

    def run(
        self, from_m: float, to_m: float, speed: float, earliest: float, arrive: float
    ) -> tuple[float, float, float, float, float]:
        """Return a run that ends at a time, begun no earlier than another: start, from, to, speed, ramp."""
        needed = self.way_s(to_m - from_m, speed)
        if arrive - needed >= earliest or from_m == to_m:
            return arrive - needed, from_m, to_m, speed, self.gait.ramp
        self.hurried += 1
        left = max(arrive - earliest, 1e-3)
        return arrive - left, from_m, to_m, abs(to_m - from_m) / left, 0.0


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
    driver = _Driver(gait_of(scenario.trucks[0]))
    handling_s = scenario.trucks[0].handling_mean_s
    middle = 0.5 * layout.length_m[stops.aisle]
    is_placed = ~np.isnan(stops.bay_m)
    bay = np.where(is_placed, stops.bay_m, middle)
    time = _time_all(layout, driver, stops, bay, handling_s)
    order = np.lexsort((np.arange(len(stops)), time, stops.truck))
    errand_s = _errands(layout, driver, handling_s)
    stays: list[_Stay] = []
    last: _Stay | None = None
    last_end = 0.0
    for row in order.tolist():
        truck, depth, end = int(stops.truck[row]), float(bay[row]), float(time[row])
        aisle, task = int(stops.aisle[row]), int(stops.task[row])
        speed_in, speed_out = driver.gait.aisle_empty, driver.gait.aisle_laden
        if task in _LADEN_IN:
            speed_in, speed_out = speed_out, speed_in
        begun = end - handling_s
        enter, leave = begun - driver.way_s(depth, speed_in), end + driver.way_s(depth, speed_out)
        before = last if last is not None and last.truck == truck >= 0 else None
        if before is not None and before.aisle == aisle and enter <= before.leave + errand_s[aisle]:
            here = before.runs.pop()[1]
            before.runs.append(driver.run(here, depth, driver.gait.aisle_empty, last_end, begun))
            before.leave, last = max(leave, before.leave), before
        else:
            first = max(enter, 0.0)
            if before is not None and enter <= before.leave:
                first = max(first, 0.5 * (last_end + max(begun, last_end)))
                before.leave = min(before.leave, max(first, before.enter + LEAST_STAY_S))
                _, here, _, speed, _ = before.runs.pop()
                before.runs.append(driver.run(here, 0.0, speed, last_end, before.leave))
            last = _Stay(aisle, truck, task, depth, first, max(leave, first + LEAST_STAY_S), [])
            last.runs.append(driver.run(0.0, depth, speed_in, first, max(begun, first)))
            stays.append(last)
        last.runs.append((end, depth, 0.0, speed_out, driver.gait.ramp))
        last_end = end
    stays.sort(key=lambda stay: stay.enter)
    note = DwellNote(
        stops=len(stops),
        visits=len(stays),
        without_bay=int((~is_placed).sum()),
        without_truck=int((stops.truck < 0).sum()),
        hurried=driver.hurried,
    )
    return _visits(scenario, stays, stops.trucks, driver.gait), note


def _errands(layout: Layout, driver: _Driver, handling_s: float) -> list[float]:
    """Time from each aisle's mouth to the nearest door, for a set-down there, and back (A,)."""
    gait, staging = driver.gait, layout.staging_depth_m
    found = []
    for place in layout.aisle_m.tolist():
        across = float(np.abs(layout.door_m - place).min())
        ways = sum(
            driver.way_s(metres, speed) for metres in (across, staging) for speed in (gait.laden, gait.empty)
        )
        found.append(ways + handling_s + 2.0 * gait.turn_s)
    return found


def _time_all(
    layout: Layout, driver: _Driver, stops: Stops, bay: np.ndarray, handling_s: float
) -> np.ndarray:
    """Time the pick-ups that no row times: back from the set-down that follows them (n,)."""
    time = stops.time.copy()
    for row in np.flatnonzero(np.isnan(time)).tolist():
        after = row + 1
        arrived = float(time[after]) - handling_s
        if stops.aisle[row] == stops.aisle[after]:
            way = driver.way_s(bay[after] - bay[row], driver.gait.aisle_laden)
        else:
            across = layout.aisle_m[stops.aisle[after]] - layout.aisle_m[stops.aisle[row]]
            inside = (driver.way_s(metres, driver.gait.aisle_laden) for metres in (bay[row], bay[after]))
            way = sum(inside) + driver.way_s(across, driver.gait.laden) + 2.0 * driver.gait.turn_s
        time[row] = max(arrived - way, 0.0)
    return time


def _visits(scenario: Scenario, stays: list[_Stay], names: tuple[str, ...], gait: Gait) -> Visits:
    """Put stays into columns; what lies beyond the end of the run is cut."""
    end_s, count = scenario.duration_s, len(stays)
    laden_in = np.isin([stay.task for stay in stays], _LADEN_IN)
    nobody = len(names)
    runs = np.array(list(_runs(stays, end_s)), dtype=np.float64).reshape(-1, 6)
    return Visits(
        aisle=np.array([stay.aisle for stay in stays], dtype=np.int64),
        enter=np.array([stay.enter for stay in stays], dtype=np.float64),
        leave=np.array([min(stay.leave, end_s) for stay in stays], dtype=np.float64),
        truck=np.array([stay.truck if stay.truck >= 0 else nobody for stay in stays], dtype=np.int64),
        bay_m=np.array([stay.bay_m for stay in stays], dtype=np.float64),
        task=np.array([stay.task for stay in stays], dtype=np.int64),
        enters_back=np.zeros(count, dtype=bool),
        leaves_back=np.zeros(count, dtype=bool),
        arrive=np.full(count, np.nan),
        run_in_m=np.full(count, FAR_M),
        run_before_m=np.zeros(count),
        run_speed=np.where(laden_in, gait.laden, gait.empty),
        run_acceleration=np.full(count, gait.ramp),
        truck_names=(*names, ""),
        task_names=VISIT_TASKS,
        moves=Moves(runs[:, 0].astype(np.int64), *(runs[:, place] for place in range(1, 6))),
        drives=None,
    )


def _runs(stays: list[_Stay], end_s: float) -> Iterator[tuple[float, ...]]:
    """Yield visit, start, from, to, speed, ramp of every run that begins in the run."""
    for number, stay in enumerate(stays):
        for start, from_m, to_m, speed, ramp in stay.runs:
            if start < end_s:
                yield (number, start, from_m, to_m, max(speed, 1e-3), ramp)
