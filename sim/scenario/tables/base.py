"""Words that all tables of a scenario share: patterns, ranges, how a key is declared.

Comes in: nothing.  Goes out: annotated types and `Part`, the base of every table.  Before this: nothing;
after it: `scenario/tables/traffic`, `scenario/schema`.
"""

from __future__ import annotations

import datetime as dt
from typing import Annotated, Any, Literal

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, StringConstraints, WithJsonSchema

__all__ = [
    "CLOCK_PATTERN",
    "COUNTRY_PATTERN",
    "EVERY_DAY",
    "FIRST_YEAR",
    "LAST_YEAR",
    "LOCAL_TIME_PATTERN",
    "NAME_PATTERN",
    "TITLE_PATTERN",
    "Amount",
    "AnyNames",
    "Breaks",
    "Clock",
    "Clocks",
    "Count",
    "Curve",
    "Dates",
    "Days",
    "Frozen",
    "Hourly",
    "Level",
    "Levels",
    "LocalTime",
    "Metres",
    "Name",
    "Names",
    "Part",
    "Positive",
    "Rate",
    "Seconds",
    "Share",
    "Speed",
    "Spread",
    "StillRate",
    "Title",
    "Weekday",
    "quantity",
    "seconds_of_day",
]

NAME_PATTERN = r"^[A-Za-z0-9][A-Za-z0-9 _.-]*$"
TITLE_PATTERN = r"^[^=+@\x00-\x1f\x7f-\x9f-][^\x00-\x1f\x7f-\x9f]*$"
CLOCK_PATTERN = r"^(([01][0-9]|2[0-3]):[0-5][0-9](:[0-5][0-9])?|24:00(:00)?)$"
LOCAL_TIME_PATTERN = r"^[0-9]{4}-[0-9]{2}-[0-9]{2}([T ][0-9]{2}:[0-9]{2}(:[0-9]{2}([.][0-9]+)?)?)?$"
COUNTRY_PATTERN = r"^[A-Z]{2}(-[A-Z0-9]{1,3})?$"
FIRST_YEAR, LAST_YEAR = 1970, 2200
"""Years a run may start in; time stamps of nanoseconds end in 2262."""


def _as_tuple(value: Any) -> Any:
    """Freeze a list; leave anything else for pydantic to judge."""
    return tuple(value) if isinstance(value, list) else value


Weekday = Literal["Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun"]
Name = Annotated[str, StringConstraints(pattern=NAME_PATTERN, max_length=60)]
Title = Annotated[str, StringConstraints(pattern=TITLE_PATTERN, max_length=200)]
Clock = Annotated[str, StringConstraints(pattern=CLOCK_PATTERN)]
LocalTime = Annotated[
    dt.datetime | dt.date, WithJsonSchema({"type": "string", "pattern": LOCAL_TIME_PATTERN})
]
Frozen = BeforeValidator(_as_tuple)
Names = Annotated[tuple[Name, ...], Field(min_length=1), Frozen]
AnyNames = Annotated[tuple[Name, ...], Frozen]
Days = Annotated[tuple[Weekday, ...], Field(min_length=1), Frozen]
Level = Annotated[float, Field(ge=0.0, le=1.0)]
Share = Annotated[float, Field(ge=0.0, le=1.0)]
Positive = Annotated[float, Field(gt=0.0, le=1e7)]
Amount = Annotated[float, Field(ge=0.0, le=1e7)]
StillRate = Annotated[float, Field(ge=0.0, le=6000.0)]
Speed = Annotated[float, Field(gt=0.0, le=1000.0)]
Rate = Annotated[float, Field(ge=0.0, le=1e5)]
Curve = Annotated[
    tuple[Annotated[tuple[Level, Amount], Frozen], ...], Field(min_length=2, max_length=1000), Frozen
]
Metres = Annotated[tuple[Amount, ...], Field(min_length=1), Frozen]
Seconds = Annotated[tuple[Positive, ...], Field(min_length=1, max_length=1000), Frozen]
Levels = Annotated[tuple[Level, ...], Field(min_length=1, max_length=254), Frozen]
Clocks = Annotated[tuple[Clock, ...], Field(min_length=1, max_length=1000), Frozen]
Count = Annotated[int, Field(ge=1, le=10_000)]
Hourly = Rate | Annotated[tuple[Rate, ...], Field(min_length=24, max_length=24), Frozen]
Spread = Annotated[float, Field(ge=0.0, le=10.0)]
Dates = Annotated[tuple[dt.date, ...], Field(max_length=10_000), Frozen]
Breaks = Annotated[tuple[Annotated[tuple[Clock, Clock], Frozen], ...], Frozen]
EVERY_DAY: tuple[Weekday, ...] = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")


def quantity(meaning: str, unit: str = "-", default: Any = ..., **limits: Any) -> Any:
    """Declare a key: its meaning and unit go to the JSON Schema, to messages and to the format's page."""
    return Field(default, description=meaning, json_schema_extra={"unit": unit}, **limits)


def seconds_of_day(clock: str) -> int:
    """Return a wall-clock text as seconds after midnight, "24:00" as 86400.

    >>> seconds_of_day("06:30")
    23400
    """
    hours, minutes, *rest = (int(part) for part in clock.split(":"))
    return hours * 3600 + minutes * 60 + (rest[0] if rest else 0)


class Part(BaseModel):
    """A frozen table of the scenario; unknown keys and converted types are faults."""

    model_config = ConfigDict(frozen=True, extra="forbid", strict=True, allow_inf_nan=False)
