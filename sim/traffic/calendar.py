"""Days without work, and how much work each day brings.

Comes in: scenario, streams.  Goes out: which days of the run are open, and their factors.  After it:
`traffic/fleet` (nobody comes on a holiday), `traffic/work`.  The public holidays of a country come from the
`holidays` library, an optional extra, which is imported only where a scenario names a country.
"""

from __future__ import annotations

import datetime as dt
import math

import numpy as np

from sim.randomness import random_stream
from sim.records import FloatColumn
from sim.scenario.holiday_dates import public_holidays
from sim.scenario.schema import Scenario
from sim.units import SECONDS_PER_DAY

__all__ = ["count_days", "holiday_dates", "past_midnight", "volume_by_day"]


def past_midnight(scenario: Scenario) -> float:
    """Return the time of day of second 0 [s]."""
    start = scenario.start_datetime
    return (start - start.replace(hour=0, minute=0, second=0, microsecond=0)).total_seconds()


def count_days(scenario: Scenario) -> int:
    """Return how many calendar days the run touches."""
    return math.ceil((past_midnight(scenario) + scenario.duration_s) / SECONDS_PER_DAY)


def holiday_dates(scenario: Scenario) -> frozenset[dt.date]:
    """Return the dates without shifts and work, a day before the run and one after it included."""
    dates = set(scenario.holidays)
    if scenario.holidays_country is not None:
        first = scenario.start_datetime.date() - dt.timedelta(days=1)
        last = first + dt.timedelta(days=count_days(scenario) + 1)
        dates |= public_holidays(scenario.holidays_country, range(first.year, last.year + 1))
    return frozenset(dates)


def volume_by_day(scenario: Scenario, replication: int) -> FloatColumn:
    """Draw each day's volume of work over its mean: 0 on holidays; with a day after the run (days + 1,).

    Notes
    -----
    Gamma family of mean 1.  With it, the count of a day with mean n has the variance n + n^2 cv^2 (a mixed
    Poisson distribution).
    """
    days = count_days(scenario) + 1
    factor = np.ones(days)
    if scenario.volume_cv:
        shape = 1.0 / scenario.volume_cv**2
        factor = random_stream(scenario.seed, replication, "volume").standard_gamma(shape, days) / shape
    closed = holiday_dates(scenario)
    if closed:
        first = scenario.start_datetime.date()
        is_open = [first + dt.timedelta(days=day) not in closed for day in range(days)]
        factor = np.where(is_open, factor, 0.0)
    return factor
