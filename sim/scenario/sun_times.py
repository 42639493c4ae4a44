"""When it is dark: the one place that knows the optional `astral` library and time zones.

Comes in: latitude, longitude, time zone, year.  Goes out: spans of darkness in local wall time.  Used by
`scenario/checks/outside` (is the library there, is the zone known?) and `outcome/outside`.  Library: astral
(Apache-2.0, the NOAA equations); imported inside the functions, so that nobody needs it without [place].
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from functools import cache
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

__all__ = ["dark_spans", "why_no_sun"]

HORIZON_DEG = -0.833
"""Elevation of the sun's centre at sunrise and sunset: refraction and the disc's radius, the usual figure."""
_STEP = dt.timedelta(minutes=15)
_MARGIN = dt.timedelta(days=2)
_BISECTIONS = 16
"""15 minutes halved so often are a hundredth of a second."""


def why_no_sun(time_zone: str) -> str | None:
    """Return why sunsets cannot be told in a time zone, None where they can."""
    try:
        import astral.sun  # noqa: F401
    except ImportError:
        return 'needs the library "astral": pip install "aislewake[site]"'
    try:
        ZoneInfo(time_zone)
    except (ZoneInfoNotFoundError, ValueError, OSError):
        return f'"{time_zone}" is no time zone of the IANA database here; write one such as "Europe/Berlin"'
    return None


@cache
def dark_spans(
    latitude: float, longitude: float, time_zone: str, year: int
) -> tuple[tuple[float, float], ...]:
    """Return when the sun is down in a year, from sunset to sunrise [s of local wall time from 1 January].

    Parameters
    ----------
    latitude, longitude : [deg], north and east positive
    time_zone : name in the IANA database
    year : calendar year; spans that reach over its ends are whole within two days of them

    Notes
    -----
    The sun's elevation is followed through the year and each crossing of the horizon is bisected.  In a polar
    night a span lasts for weeks, in a polar day there is none.
    """
    from astral import Observer
    from astral.sun import elevation

    observer, zone = Observer(latitude, longitude, 0.0), ZoneInfo(time_zone)
    new_year = dt.datetime(year, 1, 1)

    def is_down(moment: dt.datetime) -> bool:
        return bool(elevation(observer, moment, with_refraction=False) < HORIZON_DEG)

    def wall_s(moment: dt.datetime) -> float:
        return (moment.astimezone(zone).replace(tzinfo=None) - new_year).total_seconds()

    first = new_year.replace(tzinfo=zone).astimezone(dt.UTC) - _MARGIN
    last = dt.datetime(year + 1, 1, 1, tzinfo=zone).astimezone(dt.UTC) + _MARGIN
    spans: list[tuple[float, float]] = []
    before, was_down = first, is_down(first)
    since = first
    while before < last:
        after = before + _STEP
        down = is_down(after)
        if down != was_down:
            crossing = _crossing(is_down, before, after)
            if down:
                since = crossing
            else:
                spans.append((wall_s(since), wall_s(crossing)))
        before, was_down = after, down
    if was_down:
        spans.append((wall_s(since), wall_s(last)))
    return tuple(spans)


def _crossing(
    is_down: Callable[[dt.datetime], bool], before: dt.datetime, after: dt.datetime
) -> dt.datetime:
    """Instant at which the sun crosses the horizon between two others."""
    start_down = is_down(before)
    for _ in range(_BISECTIONS):
        middle = before + (after - before) / 2
        if is_down(middle) == start_down:
            before = middle
        else:
            after = middle
    return before + (after - before) / 2
