"""The columns file: how a site's own export is written.

Comes in: a TOML file.  Goes out: `LogForm`, or every fault with its line; and the clock of a run.  Before:
`scenario/toml`; after: the readers of logs.  Columns that the file does not name are left out of the log, so
that an export need not be edited.
"""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

from sim.logs.clock import RunClock
from sim.logs.form import LocationWords, LogForm
from sim.scenario.faults import Problem
from sim.scenario.schema import Scenario
from sim.scenario.toml import read_toml
from sim.wording import nearest_text, printable

__all__ = ["LOG_COLUMNS", "clock_of", "read_columns_file"]

LOG_COLUMNS: tuple[str, ...] = (
    "zone", "start", "end",
    "aisle", "enter", "leave", "bay_m", "arrive", "type", "task", "enters_at", "leaves_at",
    "second_bay_m", "second_stand_s",
    "time", "location", "from", "to", "truck", "operator",
)
"""Every column that some log may have."""
_TIME_UNITS = {"s": 1.0, "ms": 1e-3, "min": 60.0, "h": 3600.0}
_LENGTH_UNITS = {"m": 1.0, "cm": 0.01, "mm": 1e-3, "ft": 0.3048}
_TIMES = ("start", "end", "enter", "leave", "arrive", "time", "second_stand_s")
_LENGTHS = ("bay_m", "second_bay_m")
_SEPARATORS = (",", ";", "\t")
_KEYS = ("separator", "decimal", "time", "dst", "columns", "units", "locations")
_LOCATION_KEYS = ("pattern", "aisles", "bay_m", "first_bay", "outside", "table")
_TRIAL = dt.datetime(2027, 3, 1, 16, 5, 9)
_LONGEST = 200


def clock_of(scenario: Scenario) -> RunClock:
    """Return the local clock of a run, in the scenario's time zone where it states one."""
    zone = scenario.timezone or (scenario.place.time_zone if scenario.place else "")
    return RunClock.of(scenario.start_datetime, scenario.days, zone)


def read_columns_file(path: Path | str) -> LogForm:
    """Read a columns file.

    Parameters
    ----------
    path : TOML with separator, decimal, time, dst and the tables columns, units, locations; all optional

    Raises
    ------
    InputError : the file cannot be read or has faults, all of them together
    """
    file = read_toml(path, "columns")
    content = file.content
    file.refuse(_problems(content))
    columns, units = content.get("columns", {}), content.get("units", {})
    factors = {key: (_TIME_UNITS | _LENGTH_UNITS)[unit] for key, unit in units.items()}
    place = content.get("locations", {})
    return LogForm(
        separator=content.get("separator", ","),
        decimal=content.get("decimal", "."),
        time=content.get("time", ""),
        dst=content.get("dst", ""),
        columns=dict(columns),
        factors=factors,
        ignores_others=True,
        locations=LocationWords(
            pattern=place.get("pattern", ""),
            aisles=dict(place.get("aisles", {})),
            bay_m=None if "bay_m" not in place else float(place["bay_m"]),
            first_bay=place.get("first_bay", 1),
            outside=place.get("outside", ""),
            table={name: _place_of(entry) for name, entry in place.get("table", {}).items()},
        ),
    )


def _place_of(entry: Any) -> tuple[str, float | None]:
    """Aisle and place of one location: a name, or a pair of name and metres."""
    return (entry, None) if isinstance(entry, str) else (entry[0], float(entry[1]))


def _problems(content: Mapping[str, Any]) -> Iterator[Problem]:
    """Yield everything that is wrong in a columns file."""
    for key in content:
        if key not in _KEYS:
            yield Problem((key,), f"unknown key{nearest_text(key, _KEYS)}")
    yield from _choice(content, "separator", _SEPARATORS, '"," or ";" or "\\t"')
    yield from _choice(content, "decimal", (".", ","), '"." or ","')
    yield from _choice(content, "dst", ("first", "second"), '"first" or "second"')
    if content.get("separator", ",") == "," and content.get("decimal") == ",":
        yield Problem(("decimal",), "a comma cannot be both: separator and decimal sign")
    if "time" in content and not _is_time_format(content["time"]):
        message = (
            'is no form of time; allowed: "unix", "unix_ms", or a format such as "%d.%m.%Y %H:%M:%S" with '
            "year, month, day, hour and minute; leave it out for ISO 8601 or seconds from the start"
        )
        yield Problem(("time",), message)
    yield from _tables(content)


def _tables(content: Mapping[str, Any]) -> Iterator[Problem]:
    """The three tables."""
    for name in ("columns", "units", "locations"):
        if not isinstance(content.get(name, {}), dict):
            yield Problem((name,), f"write [{name}] in single brackets, then a line for each key")
    columns = content.get("columns", {})
    if isinstance(columns, dict):
        seen: dict[str, str] = {}
        for key, theirs in columns.items():
            if key not in LOG_COLUMNS:
                yield Problem(("columns", key), f"unknown column{nearest_text(key, LOG_COLUMNS)}")
            elif not isinstance(theirs, str) or not 0 < len(theirs) <= _LONGEST or not theirs.isprintable():
                yield Problem(("columns", key), "allowed: the name of a column of the log, in quotes")
            elif theirs in seen:
                yield Problem(("columns", key), f'"{printable(theirs)}" stands for {seen[theirs]} already')
            else:
                seen[theirs] = key
    units = content.get("units", {})
    if isinstance(units, dict):
        for key, unit in units.items():
            known = _TIME_UNITS if key in _TIMES else _LENGTH_UNITS if key in _LENGTHS else {}
            if not known:
                yield Problem(("units", key), f"has no unit{nearest_text(key, (*_TIMES, *_LENGTHS))}")
            elif unit not in known:
                yield Problem(("units", key), f"{printable(str(unit))}: allowed: {', '.join(known)}")
    if isinstance(content.get("locations"), dict):
        yield from _location_problems(content["locations"])


def _location_problems(place: Mapping[str, Any]) -> Iterator[Problem]:
    """The rule for locations."""
    for key in place:
        if key not in _LOCATION_KEYS:
            yield Problem(("locations", key), f"unknown key{nearest_text(key, _LOCATION_KEYS)}")
    for key in ("pattern", "outside"):
        if key in place and (why := _why_no_pattern(place[key], needs_aisle=key == "pattern")):
            yield Problem(("locations", key), why)
    width = place.get("bay_m", 1.0)
    if isinstance(width, bool) or not isinstance(width, int | float) or not 0.0 < width <= 1000.0:
        yield Problem(("locations", "bay_m"), f"{width}: allowed: above 0, at most 1,000 [m]")
    first = place.get("first_bay", 1)
    if isinstance(first, bool) or not isinstance(first, int) or not -10_000 <= first <= 10_000:
        yield Problem(("locations", "first_bay"), f"{first}: allowed: a whole number")
    aisles = place.get("aisles", {})
    if not isinstance(aisles, dict) or not all(isinstance(name, str) for name in aisles.values()):
        yield Problem(("locations", "aisles"), 'allowed: a table such as { "01" = "A01" }')
    table = place.get("table", {})
    if not isinstance(table, dict) or not all(map(_is_place, table.values())):
        message = 'allowed: a table such as { "GF-17" = "A01" } or { "GF-17" = ["A01", 12.5] } [m]'
        yield Problem(("locations", "table"), message)


def _is_place(entry: Any) -> bool:
    """Whether an entry of the table is an aisle, or an aisle and metres."""
    if isinstance(entry, str):
        return True
    if not isinstance(entry, list) or len(entry) != 2 or not isinstance(entry[0], str):
        return False
    metres = entry[1]
    return isinstance(metres, int | float) and not isinstance(metres, bool) and 0.0 <= metres <= 1e6


def _why_no_pattern(pattern: Any, *, needs_aisle: bool) -> str | None:
    """Say why a text is no regular expression of ours, None where it is."""
    if not isinstance(pattern, str) or not 0 < len(pattern) <= _LONGEST:
        return f"allowed: a regular expression in single quotes, at most {_LONGEST} characters"
    try:
        groups = re.compile(pattern).groupindex
    except (re.error, RecursionError, OverflowError) as error:
        return f"is no regular expression: {printable(str(error))}"
    if needs_aisle and "aisle" not in groups:
        return "needs a group (?P<aisle>...), and (?P<bay>...) where the bay's number stands in it"
    return None


def _choice(
    content: Mapping[str, Any], key: str, known: tuple[str, ...], allowed: str
) -> Iterator[Problem]:
    """A key that may hold one of a few words."""
    if key in content and content[key] not in known:
        yield Problem((key,), f"{printable(str(content[key]))}: allowed: {allowed}")


def _is_time_format(text: Any) -> bool:
    """Whether a format writes a minute so that it can be read back."""
    if not isinstance(text, str) or len(text) > _LONGEST:
        return False
    if text in ("unix", "unix_ms"):
        return True
    try:
        written = _TRIAL.replace(tzinfo=dt.UTC).strftime(text)
        back = dt.datetime.strptime(written, text)
    except (ValueError, UnicodeError, re.error):
        return False
    return back.replace(tzinfo=None, second=0) == _TRIAL.replace(second=0)
