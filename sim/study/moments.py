"""Instants as people say them: "Tue 02:10", "02:10", 2027-03-02T02:10, seconds from the start.

Comes in: text and a scenario.  Goes out: seconds from the start of the run.  Pure; after it:
`study/explain`.
"""

from __future__ import annotations

import datetime as dt
import re

from sim.errors import InputError
from sim.scenario.schema import Scenario
from sim.units import SECONDS_PER_DAY, WEEKDAYS
from sim.wording import nearest_text, printable

__all__ = ["parse_moment"]

_CLOCK = r"([01]?\d|2[0-3]):([0-5]\d)(?::([0-5]\d(?:\.\d+)?))?"
_DAY_AND_CLOCK = re.compile(rf"(?:([A-Za-z]+)\s+)?{_CLOCK}")
_SECONDS = re.compile(r"\d+(?:\.\d+)?")


def parse_moment(text: str, scenario: Scenario) -> float:
    """Return an instant of the run [s].

    Parameters
    ----------
    text : weekday and wall clock (the first such instant of the run), a clock alone, a local date-time, or
        seconds from the start
    scenario : when the run starts and ends

    Raises
    ------
    InputError : it cannot be read, or lies outside the run
    """
    start, end_s = scenario.start_datetime, scenario.duration_s
    cleaned = text.strip()
    found = _DAY_AND_CLOCK.fullmatch(cleaned)
    if found is not None:
        second = _first_of_week(found, start, cleaned)
    elif _SECONDS.fullmatch(cleaned):
        second = float(cleaned)
    else:
        second = (_date_time(cleaned) - start).total_seconds()
    if not 0.0 <= second < end_s:
        last = start + dt.timedelta(seconds=end_s)
        raise InputError(
            f"--at {printable(text)}: is not within the run, {start:%Y-%m-%d %H:%M} to {last:%Y-%m-%d %H:%M}"
        )
    return second


def _first_of_week(found: re.Match[str], start: dt.datetime, text: str) -> float:
    """First instant at or after the start with this clock, on this weekday if one is named."""
    day, hours, minutes, seconds = found[1], int(found[2]), int(found[3]), float(found[4] or 0.0)
    midnight = start.replace(hour=0, minute=0, second=0, microsecond=0)
    clock = hours * 3600.0 + minutes * 60.0 + seconds - (start - midnight).total_seconds()
    if day is None:
        return clock % SECONDS_PER_DAY
    short = day[:3].title()
    if short not in WEEKDAYS:
        raise InputError(
            f"--at {printable(text)}: there is no weekday {printable(day)}{nearest_text(short, WEEKDAYS)}"
        )
    ahead = (WEEKDAYS.index(short) - start.weekday()) * SECONDS_PER_DAY + clock
    return ahead % (7.0 * SECONDS_PER_DAY)


def _date_time(text: str) -> dt.datetime:
    """Read a local date-time."""
    try:
        moment = dt.datetime.fromisoformat(text)
    except ValueError:
        raise InputError(
            f'--at {printable(text)}: write a weekday and a time ("Tue 02:10"), a local date-time '
            "(2027-03-02T02:10) or seconds from the start"
        ) from None
    if moment.tzinfo is not None:
        raise InputError(f"--at {printable(text)}: has a time zone; write the local time without offset or Z")
    return moment
