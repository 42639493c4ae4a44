"""How a log is written: separator, decimals, times, the names and units of its columns.

Comes in: nothing.  Goes out: `LogForm`, `LocationWords`, plain values.  The ground: `logs/reader` reads by
it; `scenario/log_columns` makes it from a file.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

__all__ = ["OWN_FORM", "LocationWords", "LogForm"]


@dataclass(frozen=True)
class LocationWords:
    """How the name of a location tells its aisle and its place.

    Attributes
    ----------
    pattern : regular expression over the whole location with the groups aisle and bay; "": a location
        begins with the aisle's name, and the first number after it is the bay
    aisles : what the location calls an aisle, to the scenario's name
    bay_m : width of one bay [m]; None: places along the aisle are not known
    first_bay : number of the bay nearest to the front mouth
    outside : regular expression of locations that lie in no aisle (docks, staging); "": none
    table : location to aisle and place [m from the front mouth, None for not known]; goes before the pattern
    """

    pattern: str = ""
    aisles: Mapping[str, str] = field(default_factory=dict)
    bay_m: float | None = None
    first_bay: int = 1
    outside: str = ""
    table: Mapping[str, tuple[str, float | None]] = field(default_factory=dict)


@dataclass(frozen=True)
class LogForm:
    """How a log is written.

    Attributes
    ----------
    separator : between columns: comma, semicolon or tab
    decimal : point or comma
    time : "" for seconds from the start or ISO 8601; "unix", "unix_ms" for seconds or milliseconds since
        1970 UTC; else a format as of `datetime.strptime`
    dst : "first" or "second": which pass of an hour that the clock shows twice is meant; "": such times
        are faults
    columns : our name of a column to the log's
    factors : our name of a column to what its numbers are multiplied by [our unit / the log's]
    ignores_others : whether columns with other names are left out, instead of being faults
    locations : rule for names of locations
    """

    separator: str = ","
    decimal: str = "."
    time: str = ""
    dst: str = ""
    columns: Mapping[str, str] = field(default_factory=dict)
    factors: Mapping[str, float] = field(default_factory=dict)
    ignores_others: bool = False
    locations: LocationWords = field(default_factory=LocationWords)


OWN_FORM = LogForm()
"""Our own: commas, points, our names."""
