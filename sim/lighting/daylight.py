"""Caps under skylights: from a table, or from a typical year of weather; and where they cut the run.

Comes in: the skylight table, or light outdoors by hour.  Goes out: caps by month and hour, hours of the run.
Before: `scenario`, `lighting/weather`; after: `lighting/timetable`, `commands/site`.
"""

from __future__ import annotations

import datetime as dt
import math
from functools import lru_cache

import numpy as np

from sim.lighting.weather import outdoor_lux
from sim.records import FloatColumn
from sim.scenario.tables.daylight import Skylight

__all__ = ["caps_of_year", "hour_caps", "skylight_caps"]

_HOUR_US = 3_600_000_000


def caps_of_year(outdoor: FloatColumn, indoor_share: float, needed_lux: float) -> FloatColumn:
    """Return the share of full light that is still needed, by month and hour (12, 24).

    Parameters
    ----------
    outdoor : light outdoors on the horizontal in each hour of a common year [lx] (8760,)
    indoor_share : light on the floor over that (daylight factor)
    needed_lux : light on the floor that full level gives [lx]

    Notes
    -----
    Each hour needs max(0, 1 - indoor share x outdoor lux / needed lux); a month's hour is the mean over its
    days, since the need of a mean day is less than the mean need.
    """
    needed = np.maximum(0.0, 1.0 - indoor_share * outdoor / needed_lux)
    moments = [dt.datetime(2023, 1, 1) + dt.timedelta(hours=hour) for hour in range(len(needed))]
    place = np.array([(moment.month - 1) * 24 + moment.hour for moment in moments])
    sums = np.bincount(place, weights=needed, minlength=288)
    return np.asarray((sums / np.bincount(place, minlength=288)).reshape(12, 24), dtype=np.float64)


@lru_cache(maxsize=8)
def skylight_caps(skylight: Skylight) -> FloatColumn:
    """Return the caps of a skylight, by month and hour (12, 24); not to be written to."""
    if skylight.caps is not None:
        return np.array(skylight.caps, dtype=np.float64)
    assert skylight.weather is not None
    assert skylight.indoor_share is not None
    assert skylight.needed_lux is not None
    return caps_of_year(outdoor_lux(skylight.weather), skylight.indoor_share, skylight.needed_lux)


def hour_caps(caps: FloatColumn, start: dt.datetime, duration_s: float) -> tuple[FloatColumn, FloatColumn]:
    """Return the starts of the run's clock hours [s] and the cap in each (h,) each.

    Parameters
    ----------
    caps : by month and hour (12, 24)
    start, duration_s : of the run
    """
    first = start.replace(minute=0, second=0, microsecond=0)
    offset = (start - first) // dt.timedelta(microseconds=1)
    count = math.ceil((duration_s * 1e6 + offset) / _HOUR_US)
    # whole microseconds, so that a border is the double nearest to its instant
    starts = np.maximum(0.0, (np.arange(count, dtype=np.int64) * _HOUR_US - offset) / 1e6)
    moments = [first + dt.timedelta(hours=hour) for hour in range(count)]
    return starts, np.array([caps[moment.month - 1, moment.hour] for moment in moments])
