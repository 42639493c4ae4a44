"""What a user may say about days that are not like the week: exception dates, and weeks unlike the run's.

Comes in: plain values.  Goes out: frozen tables, all optional.  Before: `scenario/tables/base`; after:
`scenario/schema`, `lighting/timetable`, `study/year/special_weeks`.
"""

from __future__ import annotations

import datetime as dt
from typing import Annotated

from pydantic import Field

from sim.scenario.tables.base import Dates, Frozen, Name, Part, Weekday, quantity

__all__ = ["DayException", "YearWeeks"]

Spans = Annotated[
    tuple[Annotated[tuple[dt.date, dt.date], Frozen], ...], Field(min_length=1, max_length=400), Frozen
]


class DayException(Part):
    """Dates on which the timetable does not hold; from midnight to midnight."""

    dates: Annotated[Dates, Field(min_length=1)] = quantity("the dates", "d")
    settings: Name | None = quantity("settings that hold all day", "-", None)
    as_day: Weekday | None = quantity(
        "or: the weekday whose hours, 00:00 to 24:00, the timetable gives them", "-", None
    )


class YearWeeks(Part):
    """Parts of the year that are simulated by themselves; all other dates are like the run."""

    name: Name = quantity("what to call them")
    spans: Spans = quantity("pairs of first and last date", "d")
    volume: Annotated[float, Field(ge=0.0, le=100.0)] = quantity(
        "work of these weeks over that of the run; 0: no shifts and no work", "-", 1.0
    )
    settings: Name | None = quantity("settings that hold all the time; absent: the timetable", "-", None)
