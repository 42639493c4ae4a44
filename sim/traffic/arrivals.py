"""When work arises: Poisson streams by hour and weekday, timetables, times of the gamma family.

Comes in: rates, days, factors.  Goes out: times [s].  Before: `traffic/calendar`; after: `traffic/work`,
`traffic/dock`.  Thinning: Lewis and Shedler, "Simulation of nonhomogeneous Poisson processes by thinning",
Naval Research Logistics Quarterly 26(3), 1979.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from sim.records import FloatColumn
from sim.scenario.schema import Scenario, seconds_of_day
from sim.traffic.calendar import past_midnight, volume_by_day
from sim.units import SECONDS_PER_DAY, SECONDS_PER_HOUR, SECONDS_PER_WEEK, WEEKDAYS

__all__ = [
    "Week",
    "draw_arrivals",
    "draw_gamma",
    "draw_lognormal",
    "timetable_arrivals",
    "week_of",
    "week_rates",
]


@dataclass(frozen=True)
class Week:
    """Where the run lies in the week, and how much each of its days brings.

    Attributes
    ----------
    weekday : of the first day, 0 for Monday
    past_midnight_s : time of day of second 0
    end_s : end of the run
    volume : factor of each calendar day and the day after, 0 on holidays (days + 1,)
    """

    weekday: int
    past_midnight_s: float
    end_s: float
    volume: FloatColumn


def week_of(scenario: Scenario, replication: int) -> Week:
    """Return the run's place in the week and its days' volumes in one replication."""
    return Week(
        weekday=scenario.start_datetime.weekday(),
        past_midnight_s=past_midnight(scenario),
        end_s=scenario.duration_s,
        volume=volume_by_day(scenario, replication),
    )


def week_rates(per_hour: float | Sequence[float], days: Sequence[str]) -> FloatColumn:
    """Return the rate in each hour of the week from Monday 00:00 [1/h] (168,)."""
    table = (per_hour,) * 24 if isinstance(per_hour, float | int) else per_hour
    works = np.array([day in days for day in WEEKDAYS])
    return (works[:, None] * np.array(table, dtype=np.float64)[None, :]).ravel()


def draw_arrivals(rng: np.random.Generator, rates: FloatColumn, week: Week) -> FloatColumn:
    """Thin a Poisson process of the highest rate (n,)."""
    top = float(rates.max()) * float(week.volume.max(initial=0.0))
    candidates = np.sort(rng.random(rng.poisson(top * week.end_s / SECONDS_PER_HOUR)) * week.end_s)
    offset = week.weekday * SECONDS_PER_DAY + week.past_midnight_s
    hour = ((candidates + offset) % SECONDS_PER_WEEK // SECONDS_PER_HOUR).astype(np.int64)
    day = ((candidates + week.past_midnight_s) // SECONDS_PER_DAY).astype(np.int64)
    rate = rates[np.minimum(hour, 167)] * week.volume[np.minimum(day, len(week.volume) - 1)]
    return candidates[rng.random(len(candidates)) * top < rate]


def timetable_arrivals(
    clocks: Sequence[str], days: Sequence[str], week: Week
) -> tuple[FloatColumn, FloatColumn]:
    """Return the times of a timetable on all days of the run and the day after, and those days' volumes (n,).

    Times before second 0 and after the end are kept: a departure soon after the end has its wave before it.
    """
    times, volumes = [], []
    for day, volume in enumerate(week.volume):
        if WEEKDAYS[(week.weekday + day) % 7] in days and volume > 0.0:
            for clock in sorted(seconds_of_day(clock) for clock in clocks):
                times.append(day * SECONDS_PER_DAY + clock - week.past_midnight_s)
                volumes.append(float(volume))
    return np.array(times, dtype=np.float64), np.array(volumes, dtype=np.float64)


def draw_gamma(rng: np.random.Generator, mean: float, cv: float, count: int) -> FloatColumn:
    """Draw times of the gamma family: cv 0 constant, 1 exponential [s] (n,)."""
    if cv == 0.0:
        return np.full(count, mean)
    shape = 1.0 / cv**2
    return rng.standard_gamma(shape, count) * (mean / shape)


def draw_lognormal(rng: np.random.Generator, median: float, spread: float, count: int) -> FloatColumn:
    """Draw times whose logarithms are normal: spread 1 constant [s] (n,).

    The mean is median * exp(ln(spread)^2 / 2).
    """
    times: FloatColumn = median * np.exp(np.log(spread) * rng.standard_normal(count))
    return times
