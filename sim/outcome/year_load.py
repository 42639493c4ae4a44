"""A year of load from the weeks of a run: the quarter-hours of a calendar year, and what each draws.

Comes in: loads by quarter-hour of the run.  Goes out: loads by quarter-hour of the year (n,).  Before:
`outcome/totals`; after: `outcome/tariff`, `study/year/money`.  The whole weeks of the run are repeated in
their order over the calendar, each weekday on its own weekday; every day has 24 hours.  So a month's peak is
the highest of the weeks that were simulated: a real month of more weeks may have a somewhat higher one.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np

from sim.floor.layout import Layout
from sim.lighting.power import power_curve
from sim.lighting.timetable import Program, week_spans
from sim.records import FloatColumn, IntColumn
from sim.scenario.schema import TimetableRow
from sim.scenario.tables.money import Hours
from sim.units import QUARTER_S

__all__ = [
    "MONTHS_A_YEAR", "QUARTERS_A_DAY", "QUARTERS_A_WEEK", "Baseline", "BoolColumn", "YearClock",
    "baseline_kw", "connected_kw", "repeat_weeks", "year_clock",
]

QUARTERS_A_DAY, QUARTERS_A_WEEK, MONTHS_A_YEAR = 96, 672, 12
BoolColumn = np.ndarray[Any, np.dtype[np.bool_]]
Baseline = Literal["always_on", "schedule_only", "code_minimum"]


@dataclass(frozen=True)
class YearClock:
    """The quarter-hours of a calendar year.

    Attributes
    ----------
    year : calendar year
    month : 0 to 11 (n,)
    week_quarter : quarter-hour of the week from Monday 00:00, 0 to 671 (n,)
    """

    year: int
    month: IntColumn
    week_quarter: IntColumn

    def __len__(self) -> int:
        return len(self.month)

    def in_hours(self, hours: Hours) -> BoolColumn:
        """Tell which quarter-hours lie in some hours of some months (n,).

        The weekday is that on which the hours begin; the month is that of the quarter-hour itself.
        """
        row = TimetableRow.model_construct(days=hours.days, from_=hours.from_, to=hours.to, settings="")
        inside = np.zeros(QUARTERS_A_WEEK, dtype=np.bool_)
        for start, end, _ in week_spans([row]):
            inside[int(start // QUARTER_S) : int(end // QUARTER_S)] = True
        months = np.zeros(MONTHS_A_YEAR, dtype=np.bool_)
        months[[month - 1 for month in hours.months]] = True
        return inside[self.week_quarter] & months[self.month]


def year_clock(year: int) -> YearClock:
    """Return the quarter-hours of a calendar year.

    >>> clock = year_clock(2028)
    >>> len(clock), clock.week_quarter[0] // 96
    (35136, np.int64(5))
    """
    first = dt.date(year, 1, 1)
    days = (dt.date(year + 1, 1, 1) - first).days
    months = np.array([(first + dt.timedelta(days=day)).month - 1 for day in range(days)], dtype=np.int64)
    quarters = first.weekday() * QUARTERS_A_DAY + np.arange(days * QUARTERS_A_DAY, dtype=np.int64)
    return YearClock(year, np.repeat(months, QUARTERS_A_DAY), quarters % QUARTERS_A_WEEK)


def repeat_weeks(quarter_kw: FloatColumn, start: dt.datetime, clock: YearClock) -> FloatColumn:
    """Return the load of a year in which a run's whole weeks are repeated [kW] (n,).

    Parameters
    ----------
    quarter_kw : mean load of each quarter-hour of the run (Q,), at least a week
    start : of the run, on a quarter-hour
    clock : the year
    """
    weeks = len(quarter_kw) // QUARTERS_A_WEEK
    assert weeks >= 1, "a year needs a whole week"
    first = start.weekday() * QUARTERS_A_DAY + (start.hour * 60 + start.minute) // 15
    past = (int(clock.week_quarter[0]) - first) % QUARTERS_A_WEEK + np.arange(len(clock))
    return quarter_kw[past % (weeks * QUARTERS_A_WEEK)]


def connected_kw(layout: Layout, *, dimmed_only: bool = False) -> float:
    """Return the power of all luminaires, or of those that dim, at full level [kW]."""
    counts = layout.dimmed if dimmed_only else layout.dimmed + layout.fixed
    watts = [
        float(counts[zone]) * power_curve(layout.place_luminaires[place]).full_w
        for zone, place in enumerate(layout.zone_place)
    ]
    return sum(watts) / 1000.0


def baseline_kw(
    baseline: Baseline, layout: Layout, programs: Sequence[Program], code_kwh: FloatColumn, quarters: int
) -> FloatColumn:
    """Return the load of a baseline in the first quarter-hours of the run [kW] (quarters,).

    Parameters
    ----------
    baseline : always on; the timetable's occupied levels; or the code minimum
    layout, programs : the site; a program per place (P,)
    code_kwh : energy of the code minimum by hour of the run (H,), spread evenly over each hour
    quarters : how many; whole hours
    """
    if baseline == "always_on":
        return np.full(quarters, connected_kw(layout))
    if baseline == "code_minimum":
        return np.repeat(code_kwh[: quarters // 4], 4)
    edges = np.arange(quarters + 1) * QUARTER_S
    load = np.zeros(quarters)
    for zone, place in enumerate(layout.zone_place):
        program, curve = programs[place], power_curve(layout.place_luminaires[place])
        watts = layout.dimmed[zone] * curve.at(program.occupied) + layout.fixed[zone] * curve.full_w
        joules = np.concatenate([[0.0], np.cumsum(watts * np.diff(program.border))])
        load += np.diff(np.interp(edges, program.border, joules)) / QUARTER_S / 1000.0
    return load
