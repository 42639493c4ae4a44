"""How busy the trucks were and what waited, hour by hour, as numbers.

Comes in: the traffic's books in a `Result`.  Goes out: `WorkNumbers`, or None where the traffic was not
simulated.  Before: `sim.results`; after: `show/figures/work`.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from sim.outcome.clock import cut_run
from sim.records import FloatColumn
from sim.results import Result
from sim.show.numbers.run import LONG_RUN_DAYS, second_of_week
from sim.units import SECONDS_PER_DAY, SECONDS_PER_HOUR

__all__ = ["WorkNumbers", "work_numbers"]


@dataclass(frozen=True)
class WorkNumbers:
    """Trucks and waiting moves in steps of an hour, or of a day where the run is long.

    Attributes
    ----------
    edge_s : borders of the steps, from the run's start [s] (n + 1,)
    on_duty, busy : trucks with a driver, and trucks at work, mean over the step and replications (n,)
    backlog : moves that have come and are not begun at the end of the step, mean over replications (n,)
    backlog_most : the greatest of the replications (n,)
    utilisation : of each truck group, busy over duty, mean over replications
    left : moves not begun at the run's end, mean over replications
    is_daily : whether a step is a day
    replications : how many
    """

    edge_s: FloatColumn
    on_duty: FloatColumn
    busy: FloatColumn
    backlog: FloatColumn
    backlog_most: FloatColumn
    utilisation: dict[str, float]
    left: float
    is_daily: bool
    replications: int


def work_numbers(result: Result) -> WorkNumbers | None:
    """Return the trucks' work over the run; None where the traffic was not simulated, or there is none."""
    books = [outcome.traffic for outcome in result.outcomes if outcome.traffic is not None]
    if not books or not result.scenario.trucks:
        return None
    edges = cut_run(result.scenario.start_datetime, result.scenario.duration_s).hour_edges
    duty, busy = (np.mean([book.hours[name] for book in books], axis=0) for name in ("duty_h", "busy_h"))
    backlog = np.array([book.hours["backlog"] for book in books])
    is_daily = result.scenario.days > LONG_RUN_DAYS
    if is_daily:
        offset = second_of_week(result) % SECONDS_PER_DAY
        day = ((edges[:-1] + offset) // SECONDS_PER_DAY).astype(np.int64)
        first = np.searchsorted(day, np.arange(day[-1] + 1))
        duty, busy = np.add.reduceat(duty, first), np.add.reduceat(busy, first)
        backlog = backlog[:, np.append(first[1:], len(day)) - 1]
        edges = np.append(edges[first], edges[-1])
    hours = np.diff(edges) / SECONDS_PER_HOUR
    return WorkNumbers(
        edge_s=edges,
        on_duty=duty / hours,
        busy=busy / hours,
        backlog=backlog.mean(axis=0),
        backlog_most=backlog.max(axis=0),
        utilisation={
            name: float(np.mean([book.groups[name]["utilisation"] for book in books]))
            for name in books[0].groups
        },
        left=float(backlog[:, -1].mean()),
        is_daily=is_daily,
        replications=len(books),
    )
