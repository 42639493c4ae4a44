"""Weeks of the year unlike the run's: the scenario that is simulated for them, and which dates they hold.

Comes in: a scenario with `year_weeks`.  Goes out: changed scenarios, masks over a year.  Before:
`study/stress`, `outcome/year_load`; after: `study/replications/replicate`, `study/year/money`.
"""

from __future__ import annotations

import datetime as dt
import math

import numpy as np

from sim.outcome.year_load import BoolColumn, YearClock
from sim.scenario.schema import Scenario
from sim.scenario.tables.week import DayException, YearWeeks
from sim.study.stress import scale

__all__ = ["in_weeks", "special_scenario"]


def special_scenario(scenario: Scenario, weeks: YearWeeks) -> Scenario:
    """Return the scenario that stands for some special weeks; the dates stay, only what happens changes.

    Work is scaled; with volume 0 every date is a holiday.  Exception dates of the run do not count.
    """
    changed = scenario.model_copy(update={"year_weeks": None, "exceptions": None})
    first = scenario.start_datetime.date()
    dates = tuple(first + dt.timedelta(days=day) for day in range(-1, math.ceil(scenario.days) + 2))
    if weeks.settings is not None:
        changed = changed.model_copy(
            update={"exceptions": (DayException(dates=dates, settings=weeks.settings),)}
        )
    if weeks.volume == 0.0:
        return changed.model_copy(update={"holidays": dates})
    return changed if weeks.volume == 1.0 else scale(changed, "volume", weeks.volume)


def in_weeks(weeks: YearWeeks, clock: YearClock) -> BoolColumn:
    """Tell which quarter-hours of a year lie in some special weeks (n,)."""
    new_year = dt.date(clock.year, 1, 1)
    day = np.arange(len(clock)) // 96
    inside = np.zeros(len(clock), dtype=np.bool_)
    for first, last in weeks.spans:
        inside |= (day >= (first - new_year).days) & (day <= (last - new_year).days)
    return inside
