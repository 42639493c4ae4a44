"""Shifts written in one line, and what follows from them for a week: timetable and work by the hour.

Comes in: a text such as "Mon-Fri 06:00-14:00 14:00-22:00; Sat 06:00-12:00".  Goes out: shifts, rows of the
timetable, hourly rates.  Used by `scenario/questions` and `scenario/new_site`.
"""

from __future__ import annotations

import itertools
import re
from collections.abc import Sequence
from dataclasses import dataclass

from sim.units import WEEKDAYS
from sim.wording import printable

__all__ = ["ShiftHours", "hourly_work", "read_hours", "timetable_rows"]

_DAY, _WEEK = 1440, 7 * 1440
_EXAMPLE = '"Mon-Fri 06:00-14:00 14:00-22:00; Sat 06:00-12:00"'
_CLOCKS = re.compile(r"([01][0-9]|2[0-3]):([0-5][0-9])-(?:([01][0-9]|2[0-3]):([0-5][0-9])|(24):(00))")
_DAYS = re.compile(r"([A-Za-z]{3})(?:-([A-Za-z]{3}))?")

_MARGIN_MIN = 15
"""The working hours' settings begin so long before a shift and end so long after it."""

_CLEARING_MIN, _LEAST_STRETCH_MIN = 15, 60
"""No new work in the last minutes of a working stretch, unless it is shorter than this."""

_LONG_SHIFT_MIN, _BREAK_MIN = 360, 30


@dataclass(frozen=True)
class ShiftHours:
    """One shift.

    Attributes
    ----------
    days : weekdays on which it begins
    start_min, end_min : minutes after that day's midnight; the end may lie in the next day
    """

    days: tuple[str, ...]
    start_min: int
    end_min: int

    @property
    def clocks(self) -> tuple[str, str]:
        """Start and end as wall-clock times."""
        return clock(self.start_min), clock(self.end_min)

    @property
    def rest(self) -> tuple[str, str] | None:
        """A break in the middle of a shift of more than six hours."""
        length = self.end_min - self.start_min
        if length <= _LONG_SHIFT_MIN:
            return None
        start = self.start_min + (length // 2) // 15 * 15
        return clock(start % _DAY), clock((start + _BREAK_MIN - 1) % _DAY + 1)


def clock(minutes: int) -> str:
    """Return minutes after midnight as a wall-clock time; a whole day is 24:00.

    >>> clock(390), clock(1440), clock(1800)
    ('06:30', '24:00', '06:00')
    """
    minutes = minutes if minutes <= _DAY else minutes - _DAY
    return f"{minutes // 60:02d}:{minutes % 60:02d}"


def read_hours(text: str) -> tuple[ShiftHours, ...]:
    """Read shifts: weekdays, then their hours; groups are set apart by semicolons.

    Raises
    ------
    ValueError : the text says something else; the message shows what is allowed

    Examples
    --------
    >>> [shift.clocks for shift in read_hours("Mon-Fri 22:00-06:00; Sun 00:00-24:00")]
    [('22:00', '06:00'), ('00:00', '24:00')]
    """
    shifts: list[ShiftHours] = []
    for group in text.split(";"):
        words = group.replace(",", " ").split()
        days: list[str] = []
        spans: list[tuple[int, int]] = []
        for word in words:
            if word[0].isdigit():
                spans.append(_read_clocks(word))
            elif spans:
                raise ValueError(f"{printable(word)} stands behind hours; set groups of days apart by ;")
            else:
                days += [day for day in _read_days(word) if day not in days]
        if not days or not spans:
            missing = "no weekdays" if spans else "no hours"
            raise ValueError(f"{printable(group.strip()) or 'nothing'}: {missing}; write it as {_EXAMPLE}")
        shifts += [ShiftHours(tuple(days), start, end) for start, end in spans]
    return tuple(shifts)


def _read_clocks(word: str) -> tuple[int, int]:
    """Start and end of a shift in minutes after midnight."""
    found = _CLOCKS.fullmatch(word)
    if found is None:
        raise ValueError(f"{printable(word)} is no span of hours; write it as 06:00-14:00")
    first_h, first_m, last_h, last_m = (int(part) for part in found.groups() if part is not None)
    start, end = 60 * first_h + first_m, 60 * last_h + last_m
    if start == end:
        raise ValueError(f"{word} begins and ends at once; a whole day is 00:00-24:00")
    return start, end if end > start else end + _DAY


def _read_days(word: str) -> list[str]:
    """Weekdays from one to another."""
    found = _DAYS.fullmatch(word)
    names = [name.capitalize() for name in found.groups() if name] if found else []
    if not names or not set(names) <= set(WEEKDAYS):
        raise ValueError(f"{printable(word)} is no weekday; allowed: {', '.join(WEEKDAYS)}, or Mon-Fri")
    first, last = WEEKDAYS.index(names[0]), WEEKDAYS.index(names[-1])
    return [WEEKDAYS[day % 7] for day in range(first, last + 1 if last >= first else last + 8)]


def _minutes(shifts: Sequence[ShiftHours], margin_min: int = 0) -> list[bool]:
    """Whether each minute of the week lies in a shift or near one."""
    inside = [False] * _WEEK
    for shift in shifts:
        for day in shift.days:
            first = WEEKDAYS.index(day) * _DAY
            for minute in range(first + shift.start_min - margin_min, first + shift.end_min + margin_min):
                inside[minute % _WEEK] = True
    return inside


def timetable_rows(shifts: Sequence[ShiftHours]) -> list[tuple[tuple[str, ...], str, str, bool]]:
    """Return the week as rows: weekdays, from, to, whether they are working hours.

    Working hours begin a quarter-hour before a shift and end a quarter-hour after it.

    Examples
    --------
    >>> rows = timetable_rows(read_hours("Mon-Fri 06:00-22:00"))
    >>> rows[1], rows[3]
    ((('Mon', 'Tue', 'Wed', 'Thu', 'Fri'), '05:45', '22:15', True), (('Sat', 'Sun'), '00:00', '24:00', False))
    """
    inside = _minutes(shifts, _MARGIN_MIN)
    days_of: dict[tuple[str, str, bool], list[str]] = {}
    for number, day in enumerate(WEEKDAYS):
        minutes = inside[number * _DAY:(number + 1) * _DAY]
        cuts = [0, *(at for at in range(1, _DAY) if minutes[at] != minutes[at - 1]), _DAY]
        for start, end in itertools.pairwise(cuts):
            days_of.setdefault((clock(start), clock(end), minutes[start]), []).append(day)
    return [(tuple(days), start, end, works) for (start, end, works), days in days_of.items()]


def hourly_work(
    shifts: Sequence[ShiftHours], per_hour: float
) -> list[tuple[tuple[str, ...], tuple[float, ...]]]:
    """Return the work of the week: weekdays that are alike, and their 24 hourly rates.

    The rate is even over the shifts; the last quarter-hour of a working stretch brings nothing new, so
    that what waits can be cleared.

    Examples
    --------
    >>> hourly_work(read_hours("Sat 06:00-09:30"), 8.0)[0][1][5:10]
    (0.0, 8.0, 8.0, 8.0, 2.0)
    """
    brings = _minutes(shifts)
    if not all(brings):
        _clear_ends(brings)
    rates_of: dict[tuple[float, ...], list[str]] = {}
    for number, day in enumerate(WEEKDAYS):
        hours = (brings[number * _DAY + 60 * hour:number * _DAY + 60 * (hour + 1)] for hour in range(24))
        rates = tuple(round(per_hour * sum(hour) / 60.0, 3) for hour in hours)
        if any(rates):
            rates_of.setdefault(rates, []).append(day)
    return [(tuple(days), rates) for rates, days in rates_of.items()]


def _clear_ends(brings: list[bool]) -> None:
    """Take the last minutes off every working stretch of the week, which goes round."""
    first = brings.index(False)
    run = 0
    for step in range(1, _WEEK + 1):
        minute = (first + step) % _WEEK
        if brings[minute]:
            run += 1
            continue
        if run >= _LEAST_STRETCH_MIN:
            for back in range(1, _CLEARING_MIN + 1):
                brings[(minute - back) % _WEEK] = False
        run = 0
