"""Contradictions in the week: hours not covered or covered twice, levels, delays, shifts and breaks.

Comes in: the valid parts of a scenario.  Goes out: problems.  Part of `scenario/checks/contradictions`.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Iterator, Mapping, Sequence

from sim.lighting.timetable import week_spans
from sim.scenario.faults import Problem
from sim.scenario.parts import Parts, aisles_text
from sim.scenario.positions import Key
from sim.scenario.schema import Shift, TimetableRow, seconds_of_day
from sim.units import WEEKDAYS
from sim.wording import nearest_text

__all__ = ["WEEK_CHECKS", "names_in_force", "spans_text"]

_DAY = 86_400
_WEEK = 7 * _DAY
_SPANS_SHOWN = 7


def check_hours(parts: Parts) -> Iterator[Problem]:
    """A row that begins and ends at one time, or begins at 24:00, can be read in two ways."""
    lists: tuple[tuple[str, Mapping[int, TimetableRow | Shift]], ...] = (
        ("timetable", parts.timetable),
        ("shifts", parts.shifts),
    )
    for section, rows in lists:
        for position, row in rows.items():
            if seconds_of_day(row.from_) == _DAY:
                yield Problem((section, position, "from"), 'begins at "24:00"; write "00:00" of the next day')
            elif seconds_of_day(row.from_) == seconds_of_day(row.to):
                yield Problem(
                    (section, position, "to"),
                    f'begins and ends at "{row.to}"; for a whole day write from = "00:00" and to = "24:00"',
                )


def check_days(parts: Parts) -> Iterator[Problem]:
    """A weekday may stand once in a list of days."""
    for section, rows in (("timetable", parts.timetable), ("shifts", parts.shifts), ("work", parts.work)):
        for position, row in rows.items():
            for day in sorted({day for day in row.days if row.days.count(day) > 1}, key=WEEKDAYS.index):
                yield Problem((section, position, "days"), f'"{day}" stands more than once')


def check_coverage(parts: Parts) -> Iterator[Problem]:
    """Every second of the week must lie in exactly one row of the timetable."""
    rows = list(parts.timetable.values())
    if "timetable" in parts.faulty or any(_is_unclear(row) for row in rows):
        return
    gaps: list[tuple[int, int]] = []
    twice: dict[tuple[int, int], list[tuple[int, int]]] = {}
    reached, holder = 0, -1
    for start, end, row in week_spans([row.model_copy(update={"days": _once(row.days)}) for row in rows]):
        if start > reached:
            gaps.append((reached, start))
        elif start < min(end, reached):
            pair = (min(row, holder), max(row, holder))
            twice.setdefault(pair, []).append((start, min(end, reached)))
        if end > reached:
            reached, holder = end, row
    if reached < _WEEK:
        gaps.append((reached, _WEEK))
    if gaps:
        yield Problem(("timetable",), f"no row covers {spans_text(gaps)}; every hour must be covered once")
    for (first, second), spans in twice.items():
        other = "this row itself" if first == second else f"row {first + 1}"
        yield Problem(
            ("timetable", second),
            f"row {second + 1} covers {spans_text(spans)}, which {other} covers too; "
            "every hour must be covered once",
        )


def _is_unclear(row: TimetableRow | Shift) -> bool:
    """Say whether `check_hours` refuses a row."""
    return seconds_of_day(row.from_) in (_DAY, seconds_of_day(row.to))


def _once(days: Sequence[str]) -> tuple[str, ...]:
    """Return the days without repeats, which `check_days` has told of."""
    return tuple(dict.fromkeys(days))


def spans_text(spans: Iterable[tuple[int, int]]) -> str:
    """Return stretches of the week in words, one over the week's end in one piece.

    Parameters
    ----------
    spans : start and end in seconds from Monday 00:00

    Examples
    --------
    >>> spans_text([(0, 21_600), (79_200, 108_000), (597_600, 604_800)])
    'Sun 22:00 to Mon 06:00, Mon 22:00 to Tue 06:00'
    """
    joined = list(spans)
    if len(joined) > 1 and joined[0][0] == 0 and joined[-1][1] == _WEEK:
        joined = [(joined[-1][0], joined[0][1] + _WEEK), *joined[1:-1]]
    words = []
    for start, end in joined[:_SPANS_SHOWN]:
        first, last = start // _DAY, (end - 1) // _DAY
        day = f"{WEEKDAYS[last % 7]} " if last != first else ""
        words.append(f"{WEEKDAYS[first]} {_clock(start - first * _DAY)} to {day}{_clock(end - last * _DAY)}")
    if len(joined) > _SPANS_SHOWN:
        words.append(f"and {len(joined) - _SPANS_SHOWN} more")
    return ", ".join(words)


def _clock(seconds: int) -> str:
    """Write a time of day, seconds only where there are any."""
    text = f"{seconds // 3600:02d}:{seconds // 60 % 60:02d}"
    return f"{text}:{seconds % 60:02d}" if seconds % 60 else text


def check_settings_names(parts: Parts) -> Iterator[Problem]:
    """The timetable and the overrides may only name settings that are there."""
    if not parts.settings_names:
        return

    def unknown(path: Key, name: str) -> Iterator[Problem]:
        if name not in parts.settings_names:
            yield Problem(path, f'there are no settings "{name}"{nearest_text(name, parts.settings_names)}')

    for position, row in parts.timetable.items():
        yield from unknown(("timetable", position, "settings"), row.settings)
    for position, override in parts.override.items():
        for name, other in (override.settings or {}).items():
            yield from unknown(("override", position, "settings", name), name)
            yield from unknown(("override", position, "settings", name), other)


def check_levels(parts: Parts) -> Iterator[Problem]:
    """Levels fall from occupied to unoccupied to second, and a second level needs its delay."""
    for name, settings in parts.settings.items():
        path: Key = ("lighting", "settings", name)
        if settings.unoccupied_level > settings.occupied_level:
            yield Problem(
                (*path, "unoccupied_level"),
                f"{settings.unoccupied_level:g} is above occupied_level = {settings.occupied_level:g}; "
                "allowed: at most the occupied level",
            )
        if settings.second_level is not None and settings.second_level > settings.unoccupied_level:
            yield Problem(
                (*path, "second_level"),
                f"{settings.second_level:g} is above unoccupied_level = {settings.unoccupied_level:g}; "
                "allowed: at most the unoccupied level",
            )
        if (settings.second_level is None) != (settings.second_delay_s is None):
            given, other = (
                ("second_level", "second_delay_s [s]")
                if settings.second_delay_s is None
                else ("second_delay_s", "second_level")
            )
            yield Problem((*path, given), f"comes only together with {other}; write both or neither")


def check_delays(parts: Parts) -> Iterator[Problem]:
    """A light must not be due to dim before it is up: hold + timeout above latency + fade-up."""
    told = set()
    for kind in parts.kinds:
        for used in names_in_force(parts):
            name = kind.settings_names.get(used, "")
            settings = parts.settings.get(name)
            if settings is None:
                continue
            delay = kind.sensors.hold_s + settings.timeout_s
            least = kind.sensors.latency_s + settings.fade_up_s
            if delay <= least and (name, delay, least) not in told:
                told.add((name, delay, least))
                yield Problem(
                    ("lighting", "settings", name, "timeout_s"),
                    f"hold_s + timeout_s = {delay:g} s is not above latency_s + fade_up_s = {least:g} s "
                    f"({aisles_text(kind.aisles)}); the light would be due to dim before it is up",
                )


def names_in_force(parts: Parts) -> list[str]:
    """Names of settings that hold at some time: in the week, on exception dates, in special weeks."""
    others = [row for name in ("exceptions", "year_weeks") for row in parts.lists[name].values()]
    named = [name for row in others if (name := getattr(row, "settings", None)) is not None]
    return [*(row.settings for row in parts.timetable.values()), *named]


def check_breaks(parts: Parts) -> Iterator[Problem]:
    """Breaks lie inside their shift, also past midnight, and do not overlap."""
    for position, shift in parts.shifts.items():
        if _is_unclear(shift):
            continue
        begin = seconds_of_day(shift.from_)
        length = (seconds_of_day(shift.to) - begin) % _DAY or _DAY
        taken: list[tuple[int, int, int]] = []
        for number, (start, end) in enumerate(shift.breaks):
            path: Key = ("shifts", position, "breaks", number)
            first = (seconds_of_day(start) - begin) % _DAY
            span = (seconds_of_day(end) - seconds_of_day(start)) % _DAY
            if seconds_of_day(start) == _DAY:
                yield Problem(path, 'begins at "24:00"; write "00:00"')
            elif span == 0:
                yield Problem(path, f'begins and ends at "{end}"; a break needs a length')
            elif first + span > length:
                yield Problem(
                    path, f'"{start}" to "{end}" is not inside the shift, "{shift.from_}" to "{shift.to}"'
                )
            else:
                taken.append((first, first + span, number))
        taken.sort()
        for (_, end_before, before), (start_after, _, after) in itertools.pairwise(taken):
            if start_after < end_before:
                yield Problem(
                    ("shifts", position, "breaks", max(before, after)),
                    f"overlaps break {min(before, after) + 1} of the same shift",
                )


WEEK_CHECKS = (
    check_hours,
    check_days,
    check_coverage,
    check_settings_names,
    check_levels,
    check_delays,
    check_breaks,
)
