"""The traffic's own books: work that came, waited and was done; how busy the trucks were; trailers.

Comes in: tasks, the floor's log, fleet, hours.  Goes out: `TrafficBooks`, so that a floor that cannot do its
work is seen as such.  Before: `traffic`; after: `replication`.  A truck is busy from the moment it takes a
task (or the task it waits for arises) until it is free again at a door, queues at mouths included; it is on
duty while it has a driver.  A driver finishes the task in hand, so a truck may be busy beyond its duty.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from sim.outcome.clock import Bins
from sim.records import FloatColumn, IntColumn
from sim.results import TrafficBooks
from sim.scenario.schema import Scenario
from sim.traffic.dock import DockBook
from sim.traffic.fleet import Fleet
from sim.traffic.work import Tasks, all_streams
from sim.traffic.world import BOTH, FIRST_OF_PAIR, Log
from sim.units import SECONDS_PER_HOUR

__all__ = ["keep_traffic_books", "time_by_hour"]


def time_by_hour(begin: FloatColumn, end: FloatColumn, bins: Bins) -> FloatColumn:
    """Return how much of some intervals falls into each hour, all together [s] (H,).

    Parameters
    ----------
    begin, end : may overlap each other and reach beyond the run [s] (n,)
    """

    def passed(edge: FloatColumn) -> FloatColumn:
        """Sum of max(0, t - edge) at every border of an hour."""
        known = np.sort(edge[np.isfinite(edge)])
        sums = np.concatenate([[0.0], np.cumsum(known)])
        before = np.searchsorted(known, bins.hour_edges, side="left")
        total: FloatColumn = before * bins.hour_edges - sums[before]
        return total

    begin, end = np.maximum(begin, 0.0), np.maximum(end, 0.0)
    by_hour: FloatColumn = np.diff(passed(begin) - passed(end))
    return by_hour


def _count(bins: Bins, times: FloatColumn) -> FloatColumn:
    """Count instants within the run by hour (H,)."""
    inside = times[np.isfinite(times) & (times < bins.end_s)]
    return np.bincount(bins.hour_of(inside), minlength=bins.hours).astype(np.float64)


def _duty(fleet: Fleet, trucks: list[int], end_s: float) -> tuple[FloatColumn, FloatColumn]:
    """Return begin and end of the duties of some trucks within the run [s] (n,) each."""
    begins: list[float] = []
    ends: list[float] = []
    for truck in trucks:
        duty = fleet.duty[truck]
        begins += duty[::2]
        ends += [*duty[1::2], *([np.inf] if len(duty) % 2 else [])]
    begin, end = np.array(begins, dtype=np.float64), np.minimum(np.array(ends, dtype=np.float64), end_s)
    kept = (begin < end_s) & (end > 0.0)
    return np.maximum(begin[kept], 0.0), end[kept]


def _busy(tasks: Tasks, log: Log, end_s: float) -> tuple[IntColumn, FloatColumn, FloatColumn]:
    """Return truck, begin and end of the time trucks spent on tasks and trailers [s] (n,) each."""
    begin = log.begin.copy()
    pairs = (log.part == BOTH) | (log.part == FIRST_OF_PAIR)
    # the retrieval of a pair keeps the truck busy from where the putaway ends
    begin[log.partner[pairs]] = np.minimum(log.finish[log.task[pairs]], end_s)
    done = log.done_by >= 0
    truck, start, end = log.done_by[done], begin[done], np.minimum(log.finish[done], end_s)
    if tasks.dock is not None:
        truck = np.concatenate([truck, tasks.dock.busy_truck])
        start = np.concatenate([start, tasks.dock.busy_from])
        end = np.concatenate([end, np.minimum(tasks.dock.busy_to, end_s)])
    return truck, start, end


def keep_traffic_books(scenario: Scenario, fleet: Fleet, tasks: Tasks, log: Log, bins: Bins) -> TrafficBooks:
    """Account for the traffic of one replication.

    Parameters
    ----------
    scenario, fleet : the site
    tasks, log : what was to do, and what was done
    bins : hours of the run
    """
    truck, start, end = _busy(tasks, log, bins.end_s)
    duty_start, duty_end = _duty(fleet, list(range(len(fleet.names))), bins.end_s)
    arisen, begun = _count(bins, tasks.time), _count(bins, log.begin)
    charges = log.charges
    hours = {
        "moves_arisen": arisen,
        "moves_begun": begun,
        "moves_done": _count(bins, log.finish),
        "backlog": np.cumsum(arisen - begun),
        "duty_h": time_by_hour(duty_start, duty_end, bins) / SECONDS_PER_HOUR,
        "busy_h": time_by_hour(start, end, bins) / SECONDS_PER_HOUR,
        "charging_h": time_by_hour(charges.begin, np.minimum(charges.end, bins.end_s), bins)
        / SECONDS_PER_HOUR,
    }
    return TrafficBooks(
        hours=hours,
        groups={
            trucks.name: _group(fleet, number, truck, start, end, log, bins.end_s)
            for number, trucks in enumerate(scenario.trucks)
        },
        streams={
            stream.name: _stream(tasks, log, number, bins.end_s)
            for number, stream in enumerate(all_streams(scenario))
        },
        trailers={} if tasks.dock is None else _trailers(tasks.dock, bins.end_s),
    )


def _group(
    fleet: Fleet,
    number: int,
    truck: IntColumn,
    start: FloatColumn,
    end: FloatColumn,
    log: Log,
    end_s: float,
) -> Mapping[str, float]:
    """Duty, work and charging of one group of trucks."""
    group = np.array(fleet.group, dtype=np.int64)
    mine = group[truck] == number
    duty_start, duty_end = _duty(fleet, np.flatnonzero(group == number).tolist(), end_s)
    duty, busy = float(np.sum(duty_end - duty_start)), float(np.sum(end[mine] - start[mine]))
    charges = log.charges
    own = group[charges.truck] == number
    return {
        "duty_h": duty / SECONDS_PER_HOUR,
        "busy_h": busy / SECONDS_PER_HOUR,
        "utilisation": busy / duty if duty else 0.0,
        "charges": float(np.count_nonzero(own)),
        "charger_wait_h": float(np.sum(np.minimum(charges.begin[own], end_s) - charges.arrive[own]))
        / SECONDS_PER_HOUR,
    }


def _stream(tasks: Tasks, log: Log, number: int, end_s: float) -> Mapping[str, float]:
    """One stream's work: what came, what was begun and done, how long it waited, how late it was.

    What is not done by the end counts as late if it was due by then, and its lateness up to the end.
    """
    mine = np.flatnonzero(tasks.work == number)
    begun = mine[log.done_by[mine] >= 0]
    due = tasks.due[mine]
    late_by = np.maximum(0.0, np.minimum(log.finish[mine], end_s) - due)[due <= end_s]
    return {
        "arisen": float(len(mine)),
        "begun": float(len(begun)),
        "done": float(np.count_nonzero(np.isfinite(log.finish[mine]))),
        "backlog_end": float(len(mine) - len(begun)),
        "wait_mean_s": float(np.mean(log.begin[begun] - tasks.time[begun])) if len(begun) else 0.0,
        "due": float(len(late_by)),
        "late": float(np.count_nonzero(late_by > 0.0)),
        "late_share": float(np.mean(late_by > 0.0)) if len(late_by) else 0.0,
        "lateness_mean_s": float(np.mean(late_by)) if len(late_by) else 0.0,
    }


def _trailers(dock: DockBook, end_s: float) -> Mapping[str, float]:
    """Trailers at the doors."""
    wait = np.minimum(dock.trailer_docked, end_s) - dock.trailer_arrive
    known = dock.trailer_gone <= end_s
    stay = dock.trailer_gone[known] - dock.trailer_docked[known]
    return {
        "trailers": float(len(wait)),
        "docked": float(np.count_nonzero(np.isfinite(dock.trailer_docked))),
        "gone": float(np.count_nonzero(known)),
        "door_wait_mean_s": float(np.mean(wait)) if len(wait) else 0.0,
        "door_wait_max_s": float(np.max(wait)) if len(wait) else 0.0,
        "door_stay_mean_s": float(np.mean(stay)) if len(stay) else 0.0,
    }
