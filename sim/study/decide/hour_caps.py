"""Limits for every hour of the day: outcomes by hour of the combinations that are worth searching.

Comes in: combinations near the hull.  Goes out: `HourTable`.  Before: `study/clock_hours`; after:
`study/decide/choose`.  The age view has no hours, so each combination is replayed on every replication fitted
to; hence only some combinations, not all.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sim.records import FloatColumn, IntColumn
from sim.replication import prepare_site
from sim.scenario.schema import Scenario, Settings
from sim.study.clock_hours import HOURS, hour_counts, outcomes_by_hour, visits_by_hour
from sim.study.decide.fit import Fit
from sim.study.decide.measures import Base, Limit
from sim.study.decide.wish import Wish
from sim.study.engine import map_in_order
from sim.study.relight import relight, simulate_for_lights, with_settings

__all__ = ["HourTable", "fit_hours", "hour_rows"]

Table = NDArray[np.float64]


@dataclass(frozen=True)
class HourTable:
    """Means over replications by hour of the day.

    Attributes
    ----------
    combinations : indices into the fit (S,)
    outcomes : by name, of every place (P, S, 24)
    base : what measures divide by (24,)
    """

    combinations: IntColumn
    outcomes: Mapping[str, Table]
    base: Base

    def of_plan(self, limit: Limit, chosen: IntColumn, fit: Fit) -> tuple[FloatColumn, FloatColumn]:
        """Return a plan's sums and divisors by hour; `chosen` is each place's combination (P,)."""
        place = np.searchsorted(self.combinations, chosen)
        table = self.outcomes[limit.measure.outcome]
        return table[np.arange(len(chosen)), place].sum(axis=0), limit.measure.divisor(self.base)


def hour_rows(hours: HourTable, limit: Limit, fit: Fit) -> Iterator[tuple[Table, float]]:
    """Yield for each hour of the day the use of every place and combination (P, K), and the most allowed.

    An hour that has nothing to divide by has no measure and no limit.
    """
    divisor = limit.measure.divisor(hours.base)
    table = hours.outcomes[limit.measure.outcome]
    for hour in range(HOURS):
        if divisor[hour] > 0.0 and table[:, :, hour].any():
            use = np.zeros((len(table), len(fit)))
            use[:, hours.combinations] = table[:, :, hour]
            yield use, limit.fitted * float(divisor[hour])


@dataclass(frozen=True)
class _Task:
    """One replication with the combinations to replay."""

    scenario: Scenario
    replication: int
    choices: tuple[Mapping[str, Settings], ...]
    outcomes: tuple[str, ...]


def _replay(task: _Task) -> tuple[dict[str, Table], FloatColumn]:
    """Return outcomes by place, choice and hour (P, S, 24), and visits by hour (24,)."""
    site = prepare_site(task.scenario)
    traffic = simulate_for_lights(site, task.replication)
    assert traffic.visits is not None
    starts = np.flatnonzero(np.diff(site.layout.zone_place, prepend=-1))
    tables: dict[str, list[Table]] = {name: [] for name in task.outcomes}
    for choice in task.choices:
        lit = relight(site, with_settings(task.scenario, choice))
        for name, table in outcomes_by_hour(lit, traffic, task.outcomes).items():
            tables[name].append(np.add.reduceat(table, starts, axis=0))
    return {name: np.stack(rows, axis=1) for name, rows in tables.items()}, visits_by_hour(
        site, traffic.visits
    )


def fit_hours(
    wish: Wish,
    fit: Fit,
    combinations: IntColumn,
    replications: Sequence[int],
    *,
    workers: int = 1,
    tell: Callable[[], None] = lambda: None,
) -> HourTable:
    """Replay combinations in all aisles and add them up by hour of the day.

    Parameters
    ----------
    wish, fit : what is asked and what everything does
    combinations : indices into the fit, ascending (S,)
    replications : numbers of the replications fitted to
    workers : processes
    tell : called after each replication
    """
    outcomes = tuple(dict.fromkeys(limit.measure.outcome for limit in wish.limits if limit.scope == "hour"))
    choices = tuple(fit.settings(wish, one) for one in combinations.tolist())
    tasks = [_Task(wish.flat, number, choices, outcomes) for number in replications]
    total: dict[str, Table] = {}
    visits = np.zeros(HOURS)
    for found, count in map_in_order(_replay, tasks, workers):
        total = found if not total else {name: total[name] + found[name] for name in outcomes}
        visits = visits + count
        tell()
    share = 1.0 / len(tasks)
    counts = hour_counts(wish.flat)
    return HourTable(
        combinations,
        {name: share * table for name, table in total.items()},
        Base(share * visits, counts, counts, np.full(HOURS, float(len(fit.zone_place)))),
    )
