"""The week as one aisle's lights see it: a program of periods with the settings in force.

Comes in: timetable rows, settings and sensor timers of the scenario.  Goes out: one `Program` for each
distinct aisle.  Before: `scenario`; after: `lighting/replay`, `outcome`.  The two timers in a row
(sensor hold, controller timeout) are added here, once: `delay_s`.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from sim.lighting.daylight import hour_caps, skylight_caps
from sim.records import FloatColumn
from sim.scenario.schema import Scenario, Settings, TimetableRow, seconds_of_day
from sim.scenario.tables.week import DayException
from sim.units import WEEKDAYS

__all__ = ["Program", "compile_program", "place_programs", "under_skylight", "week_spans"]

MILLION = 1_000_000
_DAY = 86_400
_WEEK = 7 * _DAY


@dataclass(frozen=True)
class Program:
    """Settings in force over the run, cut at the borders where a value changes.

    Attributes
    ----------
    border : start of each period and the run's end [s] (P + 1,)
    names : the timetable's name for the settings of each period (P,)
    delay_s : hold + timeout: the light stays high so long after the last motion (P,)
    second_s : age beyond `delay_s` at which the second level comes; inf without one (P,)
    occupied, unoccupied, second : levels, share of full light (P,)
    fade_up_s, fade_down_s : duration of one whole transition (P,)
    latency_s : motion to command
    """

    border: FloatColumn
    names: tuple[str, ...]
    delay_s: FloatColumn
    second_s: FloatColumn
    occupied: FloatColumn
    unoccupied: FloatColumn
    second: FloatColumn
    fade_up_s: FloatColumn
    fade_down_s: FloatColumn
    latency_s: float

    @property
    def end_s(self) -> float:
        """End of the run [s]."""
        return float(self.border[-1])


def week_spans(rows: Sequence[TimetableRow]) -> list[tuple[int, int, int]]:
    """Return (start, end, row) in seconds of the week from Monday 00:00, split at the week's end."""
    spans = []
    for number, row in enumerate(rows):
        start, end = seconds_of_day(row.from_), seconds_of_day(row.to)
        length = end - start if end > start else end - start + _DAY
        for day in row.days:
            first = WEEKDAYS.index(day) * _DAY + start
            last = first + length
            spans.append((first, min(last, _WEEK), number))
            if last > _WEEK:
                spans.append((0, last - _WEEK, number))
    return sorted(spans)


def _unroll(
    rows: Sequence[TimetableRow], exceptions: Sequence[DayException], monday: dt.date, weeks: int
) -> Iterator[tuple[int, int, str]]:
    """Yield (start, end, settings' name) of whole weeks in order, in seconds from the Monday."""
    spans = week_spans(rows)
    if not exceptions:
        for repeat in range(weeks):
            for first, last, row in spans:
                yield first + repeat * _WEEK, last + repeat * _WEEK, rows[row].settings
        return
    unlike = {date: exception for exception in exceptions for date in exception.dates}
    for day in range(7 * weeks):
        exception, shift = unlike.get(monday + dt.timedelta(days=day)), day * _DAY
        if exception is not None and exception.settings is not None:
            yield shift, shift + _DAY, exception.settings
            continue
        other = None if exception is None else exception.as_day
        like = (day % 7 if other is None else WEEKDAYS.index(other)) * _DAY
        for first, last, row in spans:
            begin, end = max(first, like), min(last, like + _DAY)
            if begin < end:
                yield begin - like + shift, end - like + shift, rows[row].settings


def compile_program(
    rows: Sequence[TimetableRow],
    settings: Mapping[str, Settings],
    *,
    hold_s: float,
    latency_s: float,
    start: dt.datetime,
    duration_s: float,
    exceptions: Sequence[DayException] = (),
) -> Program:
    """Unroll the week over the run for one set of named settings.

    Neighbouring periods whose settings are equal in every value are one period.

    Parameters
    ----------
    rows, settings : the timetable and what its names stand for
    hold_s, latency_s : of the sensors [s]
    start, duration_s : of the run
    exceptions : dates on which other settings hold, from midnight to midnight
    """
    # whole microseconds, so that a border is the double nearest to its instant
    monday = dt.datetime.combine(start.date(), dt.time()) - dt.timedelta(days=start.weekday())
    offset = (start - monday) // dt.timedelta(microseconds=1)
    border: list[float] = []
    chosen: list[str] = []
    weeks = int((offset * 1e-6 + duration_s) // _WEEK) + 1
    for first, last, name in _unroll(rows, exceptions, monday.date(), weeks):
        begin, end = (first * MILLION - offset) / MILLION, (last * MILLION - offset) / MILLION
        if end <= 0.0 or begin >= duration_s:
            continue
        if chosen and settings[chosen[-1]] == settings[name]:
            continue
        border.append(max(0.0, begin))
        chosen.append(name)
    values = [settings[name] for name in chosen]

    def column(key: str) -> FloatColumn:
        return np.array([getattr(value, key) for value in values], dtype=np.float64)

    second_s = np.array(
        [np.inf if value.second_delay_s is None else value.second_delay_s for value in values]
    )
    second = np.array(
        [value.unoccupied_level if value.second_level is None else value.second_level for value in values]
    )
    return Program(
        border=np.array([*border, duration_s]),
        names=tuple(chosen),
        delay_s=hold_s + column("timeout_s"),
        second_s=second_s,
        occupied=column("occupied_level"),
        unoccupied=column("unoccupied_level"),
        second=second,
        fade_up_s=column("fade_up_s"),
        fade_down_s=column("fade_down_s"),
        latency_s=latency_s,
    )


def under_skylight(program: Program, starts: FloatColumn, caps: FloatColumn) -> Program:
    """Return a program whose levels are capped hour by hour; neighbours that are equal become one period.

    Parameters
    ----------
    program : of an aisle under skylights
    starts, caps : hours of the run and the share of full light still needed in each (h,)
    """
    border = np.union1d(program.border[:-1], starts)
    period = np.searchsorted(program.border, border, side="right") - 1
    cap = caps[np.searchsorted(starts, border, side="right") - 1]
    columns = {
        "delay_s": program.delay_s[period],
        "second_s": program.second_s[period],
        "occupied": np.minimum(program.occupied[period], cap),
        "unoccupied": np.minimum(program.unoccupied[period], cap),
        "second": np.minimum(program.second[period], cap),
        "fade_up_s": program.fade_up_s[period],
        "fade_down_s": program.fade_down_s[period],
    }
    changes = np.ones(len(border), dtype=np.bool_)
    changes[1:] = np.any([column[1:] != column[:-1] for column in columns.values()], axis=0)
    return Program(
        border=np.append(border[changes], program.border[-1]),
        names=tuple(program.names[number] for number in period[changes]),
        latency_s=program.latency_s,
        **{name: column[changes] for name, column in columns.items()},
    )


def place_programs(scenario: Scenario) -> tuple[Program, ...]:
    """Return the program of every place; those alike share one object (P,)."""
    made: dict[tuple[object, ...], Program] = {}
    exceptions = scenario.exceptions or ()
    names = [row.settings for row in scenario.timetable]
    names += [row.settings for row in exceptions if row.settings is not None]
    skylight = scenario.skylight
    daylight = None if skylight is None else hour_caps(
        skylight_caps(skylight), scenario.start_datetime, scenario.duration_s
    )
    programs = []
    roofed = () if skylight is None else scenario.aisle_names if skylight.aisles is None else skylight.aisles
    for _, (aisle, *_) in scenario.places:
        settings, sensors = scenario.settings_of(aisle), scenario.sensors_of(aisle)
        is_under = aisle in roofed
        key = (*(settings[name] for name in names), sensors.hold_s, sensors.latency_s, is_under)
        if key not in made:
            program = compile_program(
                scenario.timetable,
                settings,
                hold_s=sensors.hold_s,
                latency_s=sensors.latency_s,
                start=scenario.start_datetime,
                duration_s=scenario.duration_s,
                exceptions=exceptions,
            )
            made[key] = under_skylight(program, *daylight) if is_under and daylight else program
        programs.append(made[key])
    return tuple(programs)
