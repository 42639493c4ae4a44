"""Caps under skylights: from a table, or from a typical year of weather; and where they cut the run.

Comes in: the skylight table.  Goes out: caps by month and hour, hours of the run.  Before: `scenario`; after:
`lighting/timetable`.  The only file that knows the optional `pvlib` library, imported inside a function.

References
----------
National Solar Radiation Data Base, typical meteorological year 3, station 723170 (Greensboro, North
Carolina), as packaged with pvlib (BSD-3).  Its illuminance columns hold hundreds of lux.
"""

from __future__ import annotations

import datetime as dt
import math

import numpy as np

from sim.records import FloatColumn
from sim.scenario.schema_daylight import Skylight

__all__ = ["hour_caps", "skylight_caps", "why_no_weather"]

_LUX_PER_UNIT = 100.0
"""Unit of illuminance in the packaged file."""
_HOUR_US = 3_600_000_000


def why_no_weather() -> str | None:
    """Return why the packaged weather cannot be read, None where it can."""
    try:
        import pvlib  # noqa: F401
    except ImportError:
        return 'needs the library "pvlib": pip install "aislewake[weather]", or write caps'
    return None


def skylight_caps(skylight: Skylight) -> FloatColumn:
    """Return the share of full light that is still needed, by month and hour (12, 24).

    Notes
    -----
    From weather each hour of the year needs max(0, 1 - indoor share x outdoor lux / needed lux); a month's
    hour is the mean over its days, since the need of a mean day is less than the mean need.
    """
    if skylight.caps is not None:
        return np.array(skylight.caps, dtype=np.float64)
    from pathlib import Path

    import pvlib

    assert skylight.indoor_share is not None
    assert skylight.needed_lux is not None
    path = Path(pvlib.__file__).parent / "data" / "723170TYA.CSV"
    table, _ = pvlib.iotools.read_tmy3(path, coerce_year=2023, map_variables=False)
    outdoor = table["GH illum (lx)"].to_numpy(dtype=np.float64) * _LUX_PER_UNIT
    # an hour of the file is named by its end
    needed = np.maximum(0.0, 1.0 - skylight.indoor_share * outdoor / skylight.needed_lux)
    moments = [dt.datetime(2023, 1, 1) + dt.timedelta(hours=hour) for hour in range(len(needed))]
    place = np.array([(moment.month - 1) * 24 + moment.hour for moment in moments])
    sums = np.bincount(place, weights=needed, minlength=288)
    return np.asarray((sums / np.bincount(place, minlength=288)).reshape(12, 24), dtype=np.float64)


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
