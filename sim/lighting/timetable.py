"""The week as one aisle's lights see it: a program of periods with the settings in force.

Comes in: timetable rows, settings and sensor timers of the scenario.  Goes out: one `Program` for each
distinct aisle.  Before: `scenario`; after: `lighting/replay`, `outcome`.  The two timers in a row
(sensor hold, controller timeout) are added here, once: `delay_s`.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from sim.records import FloatColumn
from sim.scenario.schema import Scenario, Settings, TimetableRow, seconds_of_day
from sim.units import WEEKDAYS

__all__ = ["Program", "aisle_programs", "compile_program", "week_spans"]

MILLION = 1_000_000


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
    week = 7 * 86_400
    spans = []
    for number, row in enumerate(rows):
        start, end = seconds_of_day(row.from_), seconds_of_day(row.to)
        length = end - start if end > start else end - start + 86_400
        for day in row.days:
            first = WEEKDAYS.index(day) * 86_400 + start
            last = first + length
            spans.append((first, min(last, week), number))
            if last > week:
                spans.append((0, last - week, number))
    return sorted(spans)


def compile_program(
    rows: Sequence[TimetableRow],
    settings: Mapping[str, Settings],
    *,
    hold_s: float,
    latency_s: float,
    start: dt.datetime,
    duration_s: float,
) -> Program:
    """Unroll the week over the run for one set of named settings.

    Neighbouring periods whose settings are equal in every value are one period.
    """
    # whole microseconds, so that a border is the double nearest to its instant
    monday = dt.datetime.combine(start.date(), dt.time()) - dt.timedelta(days=start.weekday())
    offset = (start - monday) // dt.timedelta(microseconds=1)
    spans = week_spans(rows)
    week = 7 * 86_400
    border: list[float] = []
    chosen: list[str] = []
    for repeat in range(int((offset * 1e-6 + duration_s) // week) + 1):
        for first, last, row in spans:
            begin = ((first + repeat * week) * MILLION - offset) / MILLION
            end = ((last + repeat * week) * MILLION - offset) / MILLION
            if end <= 0.0 or begin >= duration_s:
                continue
            name = rows[row].settings
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


def aisle_programs(scenario: Scenario) -> tuple[Program, ...]:
    """Return the program of every aisle; aisles without overrides share one object (A,)."""
    made: dict[tuple[object, ...], Program] = {}
    programs = []
    for name in scenario.aisle_names:
        settings, sensors = scenario.settings_of(name), scenario.sensors_of(name)
        key = (*(settings[row.settings] for row in scenario.timetable), sensors.hold_s, sensors.latency_s)
        if key not in made:
            made[key] = compile_program(
                scenario.timetable,
                settings,
                hold_s=sensors.hold_s,
                latency_s=sensors.latency_s,
                start=scenario.start_datetime,
                duration_s=scenario.duration_s,
            )
        programs.append(made[key])
    return tuple(programs)
