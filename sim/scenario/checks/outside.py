"""Contradictions about the rest of the site: sun without a place, hours without a length.

Comes in: the valid parts of a scenario.  Goes out: problems.  Part of `scenario/checks/contradictions`.
"""

from __future__ import annotations

from collections.abc import Iterator

from sim.scenario.faults import Problem
from sim.scenario.parts import Parts
from sim.scenario.schema import seconds_of_day
from sim.scenario.sun_times import why_no_sun
from sim.scenario.tables.outside import Office, Place, Yard

__all__ = ["OUTSIDE_CHECKS"]

_DAY_S, _GRID_S = 86_400, 900


def check_place(parts: Parts) -> Iterator[Problem]:
    """Yard lights need a place; a place needs the library and a known zone."""
    place = parts.tables.get("place")
    yards = parts.lists["yard"]
    if yards and place is None and "place" not in parts.faulty:
        yield Problem(("yard", min(yards)), "needs a [place] with latitude, longitude and time_zone")
    if isinstance(place, Place):
        reason = why_no_sun(place.time_zone)
        if reason is not None:
            yield Problem(("place", "time_zone"), reason)


def check_clocks(parts: Parts) -> Iterator[Problem]:
    """Hours lie on the clock's quarter-hours and have a length; weekdays stand once."""
    for name, keys in (("yard", ("late_from", "late_to")), ("offices", ("from", "to"))):
        for position, row in parts.lists[name].items():
            assert isinstance(row, Yard | Office)
            start, end = (row.late_from, row.late_to) if isinstance(row, Yard) else (row.from_, row.to)
            for key, clock in zip(keys, (start, end), strict=True):
                if seconds_of_day(clock) % _GRID_S:
                    yield Problem((name, position, key), f'"{clock}" is not on a quarter-hour')
            if seconds_of_day(start) == _DAY_S:
                yield Problem((name, position, keys[0]), 'begins at "24:00"; write "00:00" of the next day')
            elif seconds_of_day(start) == seconds_of_day(end):
                message = f'begins and ends at "{end}"; the hours need a length'
                yield Problem((name, position, keys[1]), message)
            if isinstance(row, Office):
                for day in sorted({day for day in row.days if row.days.count(day) > 1}):
                    yield Problem((name, position, "days"), f'"{day}" stands more than once')


OUTSIDE_CHECKS = (check_place, check_clocks)
