"""Contradictions about exception dates and special weeks: unknown settings, dates told twice.

Comes in: the valid parts of a scenario.  Goes out: problems.  Part of `scenario/checks/contradictions`.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator

from sim.scenario.checks.site import repeated
from sim.scenario.faults import Problem
from sim.scenario.parts import Parts
from sim.scenario.positions import Key
from sim.scenario.tables.week import DayException, YearWeeks
from sim.wording import nearest_text

__all__ = ["EXCEPTION_CHECKS"]


def check_exceptions(parts: Parts) -> Iterator[Problem]:
    """Each exception says one thing, and each date has one exception."""
    taken: dict[dt.date, int] = {}
    for position, row in parts.lists["exceptions"].items():
        assert isinstance(row, DayException)
        path: Key = ("exceptions", position)
        if (row.settings is None) == (row.as_day is None):
            yield Problem(path, "write either settings (a name) or as_day (a weekday)")
        yield from _unknown_settings(parts, (*path, "settings"), row.settings)
        for number, date in enumerate(row.dates):
            if date in taken:
                where = "this row" if taken[date] == position else f"row {taken[date] + 1}"
                yield Problem((*path, "dates", number), f"{date} stands in {where} already")
            taken.setdefault(date, position)


def _unknown_settings(parts: Parts, path: Key, name: str | None) -> Iterator[Problem]:
    """Settings must be there."""
    if name is not None and parts.settings_names and name not in parts.settings_names:
        yield Problem(path, f'there are no settings "{name}"{nearest_text(name, parts.settings_names)}')


def check_year_weeks(parts: Parts) -> Iterator[Problem]:
    """Special weeks have names and dates of their own."""
    weeks = parts.lists["year_weeks"]
    names = [row.name for row in weeks.values() if isinstance(row, YearWeeks)]
    positions = list(weeks)
    for name, found in repeated(names).items():
        yield Problem(("year_weeks", positions[found[1]], "name"), f'the name "{name}" stands more than once')
    told: list[tuple[dt.date, dt.date, int]] = []
    for position, row in weeks.items():
        assert isinstance(row, YearWeeks)
        yield from _unknown_settings(parts, ("year_weeks", position, "settings"), row.settings)
        for number, (first, last) in enumerate(row.spans):
            path: Key = ("year_weeks", position, "spans", number)
            if last < first:
                yield Problem(path, f"ends on {last}, before it begins on {first}")
                continue
            for other_first, other_last, other in told:
                if first <= other_last and other_first <= last:
                    where = "a span of this row" if other == position else f"row {other + 1}"
                    yield Problem(path, f"{max(first, other_first)} lies in {where} too; a date has one kind")
            told.append((first, last, position))


EXCEPTION_CHECKS = (check_exceptions, check_year_weeks)
