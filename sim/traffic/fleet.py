"""Trucks and their drivers: who is on duty when.

Comes in: truck groups, shifts and breaks of the scenario.  Goes out: `Fleet`.  Before: `traffic/calendar`;
after: `traffic/world`.
In any moment the drivers of all shifts that are on (less those on a break) man the first trucks of
their group; more drivers than trucks man them all.
"""

from __future__ import annotations

import datetime as dt
from bisect import bisect_right
from dataclasses import dataclass

from sim.scenario.schema import Scenario, Shift, seconds_of_day
from sim.traffic.calendar import holiday_dates
from sim.units import WEEKDAYS

__all__ = ["Fleet", "duty_changes", "man_trucks", "muster"]

DAY = 86_400


@dataclass(frozen=True)
class Fleet:
    """Every truck by index, group after group.

    Attributes
    ----------
    names : "reach-01", ... (T,)
    group : index of the scenario's truck group (T,)
    duty : ascending times at which the truck's driver comes, goes, comes, ... [s] (T,)
    """

    names: tuple[str, ...]
    group: tuple[int, ...]
    duty: tuple[tuple[float, ...], ...]

    def is_on_duty(self, truck: int, time: float) -> bool:
        """Tell whether a truck has a driver at a time [s]."""
        return bisect_right(self.duty[truck], time) % 2 == 1

    def next_duty(self, truck: int, time: float) -> float | None:
        """Return when a truck that has no driver next gets one [s], None if never."""
        duty = self.duty[truck]
        place = bisect_right(duty, time)
        return duty[place] if place < len(duty) else None


def _span(from_: str, to: str) -> tuple[int, int]:
    """Start and end in seconds of the day; an end not after the start lies in the next day."""
    start, end = seconds_of_day(from_), seconds_of_day(to)
    return start, end if end > start else end + DAY


def _break_groups(shift: Shift) -> list[int]:
    """Split the crew into its groups, the first ones a driver larger where it does not divide."""
    groups = min(shift.break_groups, shift.crew)
    return [shift.crew // groups + (number < shift.crew % groups) for number in range(groups)]


def duty_changes(shift: Shift) -> list[tuple[int, int]]:
    """Return (second from the midnight before it, change of drivers) of one shift of one day.

    Groups of the crew take a break one after the other, each for its whole length.
    """
    start, end = _span(shift.from_, shift.to)
    changes = [(start, shift.crew), (end, -shift.crew)]
    for pause in shift.breaks:
        begin, finish = _span(*pause)
        begin_s = begin + (DAY if begin < start else 0)
        for number, drivers in enumerate(_break_groups(shift)):
            first = begin_s + number * (finish - begin)
            changes += [(first, -drivers), (first + finish - begin, drivers)]
    return changes


def man_trucks(changes: list[tuple[float, int]], count: int) -> list[list[float]]:
    """Turn changes of the number of drivers into each truck's comings and goings (count,)."""
    by_time: dict[float, int] = {}
    for time, change in changes:
        by_time[time] = by_time.get(time, 0) + change
    duty: list[list[float]] = [[] for _ in range(count)]
    drivers = 0
    for time in sorted(by_time):
        before, drivers = min(drivers, count), drivers + by_time[time]
        after = min(drivers, count)
        for truck in range(min(before, after), max(before, after)):
            duty[truck].append(time)
    return duty


def muster(scenario: Scenario) -> Fleet:
    """Return the trucks with their drivers' hours over the run; no shift begins on a holiday."""
    start = scenario.start_datetime
    offset = start.weekday() * DAY + (start - start.replace(hour=0, minute=0, second=0)).total_seconds()
    weeks = range(-1, int((offset + scenario.duration_s) // (7 * DAY)) + 1)
    monday = start.date() - dt.timedelta(days=start.weekday())
    closed = holiday_dates(scenario)
    names: list[str] = []
    group: list[int] = []
    duty: list[tuple[float, ...]] = []
    for number, trucks in enumerate(scenario.trucks):
        changes = [
            (second + day * DAY - offset, change)
            for shift in scenario.shifts
            if shift.trucks == trucks.name
            for week in weeks
            for day in (7 * week + WEEKDAYS.index(name) for name in shift.days)
            if monday + dt.timedelta(days=day) not in closed
            for second, change in duty_changes(shift)
        ]
        for index, hours in enumerate(man_trucks(changes, trucks.count)):
            names.append(f"{trucks.name}-{index + 1:02d}")
            group.append(number)
            duty.append(tuple(hours))
    return Fleet(tuple(names), tuple(group), tuple(duty))
