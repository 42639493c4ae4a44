"""A meter's intervals from a CSV file: strict reading, then kilowatt-hours by clock hour.

Comes in: a file with `time` and a column per circuit.  Goes out: `Meter` with its warnings.  Before:
`logs/reader`, `verification/meter_clock`; after: `verification/verify`.  A column says in its header what it
is: `site [kWh measured]`, `C1 [kW calculated]`.  A load that a control system works out from its own commands
is calculated and proves nothing.  Missing and doubled intervals are used as they are, and named.
"""

from __future__ import annotations

import csv
import datetime as dt
import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Literal
from zoneinfo import ZoneInfo

import numpy as np

from sim.logs.reader import Log
from sim.records import FloatColumn, IntColumn
from sim.scenario.tables.base import NAME_PATTERN
from sim.verification.meter_clock import Dst, read_instants, wall_clock
from sim.wording import nearest_text, printable

__all__ = ["AS_STATED", "HOUR_S", "Column", "Kind", "Meter", "Reading", "Stamps", "Unit", "read_meter"]

Kind = Literal["measured", "calculated"]
Unit = Literal["kWh", "kW"]
Stamps = Literal["start", "end"]

HOUR_S = 3600
_TIME = "time"
_INTERVALS_S = (60, 300, 600, 900, 1200, 1800, 3600)
_MOST_KW = 1e6
_LONGEST_S = 11 * 366 * 86_400
_MOST_ROWS = _LONGEST_S // 60
_HEADER = re.compile(r"([^\[\]]*?) *(?:\[([^\[\]]*)\])?")
_WORDS = {"kwh": "kWh", "kw": "kW", "measured": "measured", "calculated": "calculated"}
_NAMED = 8
_LONGEST_HEADER = 65_536


@dataclass(frozen=True)
class Column:
    """One circuit of a meter.

    Attributes
    ----------
    name : of the circuit
    kind : measured by a meter, or calculated from levels
    kwh : energy of each hour, nan where not every interval of it is known (n,)
    """

    name: str
    kind: Kind
    kwh: FloatColumn


@dataclass(frozen=True)
class Meter:
    """Energy by clock hour.

    Attributes
    ----------
    where : file
    utc_s, wall_s : start of each hour, and what the local clock shows then [s since 1970] (n,)
    columns : circuits
    interval_s : of the file
    zone : of the clock, None where none is known
    warnings : sentences about gaps, doubled intervals, clock changes
    """

    where: str
    utc_s: IntColumn
    wall_s: IntColumn
    columns: tuple[Column, ...]
    interval_s: int
    zone: ZoneInfo | None
    warnings: tuple[str, ...]

    def __len__(self) -> int:
        return len(self.utc_s)

    @property
    def day(self) -> IntColumn:
        """Local date of each hour, as days since 1970 (n,)."""
        return self.wall_s // 86_400

    def dates(self) -> tuple[dt.date, dt.date]:
        """Return the first and the last local date."""
        return _date(int(self.day[0])), _date(int(self.day[-1]))

    def within(self, first: dt.date, last: dt.date) -> Meter:
        """Return the hours of some local dates, both included; warnings stay."""
        epoch = dt.date(1970, 1, 1)
        inside = (self.day >= (first - epoch).days) & (self.day <= (last - epoch).days)
        columns = tuple(replace(column, kwh=column.kwh[inside]) for column in self.columns)
        return replace(self, utc_s=self.utc_s[inside], wall_s=self.wall_s[inside], columns=columns)

    def hours_of_day(self, day: int) -> int:
        """Return how many hours a local date has: 24, or 23 or 25 where clocks are changed."""
        if self.zone is None:
            return 24
        edges = [
            dt.datetime.combine(_date(number), dt.time(), self.zone).timestamp() for number in (day, day + 1)
        ]
        return round((edges[1] - edges[0]) / HOUR_S)


@dataclass(frozen=True)
class Reading:
    """How a file is to be read, where its header does not say.

    Attributes
    ----------
    unit, kind : of columns whose header does not tell
    stamps : whether a time names the start or the end of its interval
    zone : of naive times and of the local clock
    dst : which instant an ambiguous clock time means
    sort : accept rows that are not in order of time
    """

    unit: Unit | None = None
    kind: Kind | None = None
    stamps: Stamps = "start"
    zone: ZoneInfo | None = None
    dst: Dst | None = None
    sort: bool = False


AS_STATED = Reading()
"""Nothing is left open."""


def read_meter(path: Path | str, reading: Reading = AS_STATED) -> Meter:
    """Read a meter's file.

    Parameters
    ----------
    path : CSV with the column `time` and at least one of energy or power
    reading : what the header leaves open; by default nothing

    Raises
    ------
    InputError : with file, line and column of every fault
    """
    headers = _read_headers(path)
    log = Log(path, start=dt.datetime(1970, 1, 1), required=(_TIME,), optional=headers)
    lines: list[IntColumn] = []
    texts: list[str] = []
    parts: dict[str, list[FloatColumn]] = {header: [] for header in headers}
    for batch in log.batches():
        if len(texts) > _MOST_ROWS:
            log.stop(None, f"has more than {_MOST_ROWS:,} rows, which are 11 years of minutes")
        lines.append(batch.line)
        texts += batch.columns[_TIME]
        for header in headers:
            values = log.to_numbers(batch, header)
            cells = batch.columns[header]
            log.add_rows(
                batch,
                (values < 0.0) | (values > _MOST_KW),
                printable(header),
                lambda row, cells=cells: (  # type: ignore[misc]
                    f"{printable(cells[row])} is out of range; allowed: 0 to {_MOST_KW:g} kWh or kW"
                ),
            )
            parts[header].append(values)
    if not headers:
        log.stop(1, f"has no column of energy or power beside {_TIME}; expected such as site [kWh measured]")
    labels = {header: _read_label(log, header, reading) for header in headers}
    names = [name for name, _, _ in labels.values()]
    for name in sorted({name for name in names if names.count(name) > 1}):
        log.add(1, name, "two columns have this name")
    line = np.concatenate(lines) if lines else np.zeros(0, dtype=np.int64)
    found = read_instants(texts, reading.zone, reading.dst)
    for row, message in found.faults:
        log.add(int(line[row]), _TIME, message)
    log.finish()
    interval = _find_interval(log, found.utc_s, line, reading.sort)
    utc, wall = found.utc_s, found.wall_s
    if reading.stamps == "end":
        utc, wall = utc - interval, wall - interval
        wall = wall if reading.zone is None else wall_clock(utc, reading.zone)
    _check_grid(log, wall, interval, line)
    values = np.stack([np.concatenate(parts[header]) for header in headers])
    is_power = np.array([unit == "kW" for _, unit, _ in labels.values()])
    kwh = np.where(is_power[:, None], values * (interval / HOUR_S), values)
    warnings = [*found.notes, *_about_zone(reading.zone, texts)]
    utc, wall, kwh = _unite(utc, wall, kwh, warnings)
    _name_gaps(utc, wall, kwh, names, interval, reading.zone, warnings)
    return _by_hour(str(path), utc, wall, kwh, list(labels.values()), interval, reading.zone, warnings)


def _read_headers(path: Path | str) -> tuple[str, ...]:
    """Return the headers beside `time`; () where the first line cannot be read, which `Log` then explains."""
    try:
        with Path(path).open("rb") as file:
            line = file.readline(_LONGEST_HEADER).decode("utf-8-sig")
        row = next(csv.reader([line], strict=True), [])
    except (OSError, ValueError, csv.Error):
        return ()
    return tuple(dict.fromkeys(header for header in row if header != _TIME and header.isprintable()))


def _read_label(log: Log, header: str, reading: Reading) -> tuple[str, Unit, Kind]:
    """Read name, unit and kind from a header, or note what is wrong with it."""
    shown = printable(header)
    match = _HEADER.fullmatch(header)
    name, tag = (match[1], match[2] or "") if match else (header, "")
    if match is None or not re.match(NAME_PATTERN, name) or len(name) > 60:
        log.add(1, f'"{shown}"', 'is no header; write a name and a tag, such as "C1 [kWh measured]"')
    found: dict[str, str] = {}
    for word in re.split(r"[\s,;]+", tag.strip()) if tag.strip() else []:
        known = _WORDS.get(word.lower())
        if known is None:
            log.add(1, shown, f'"{printable(word)}" is no tag{nearest_text(word, list(_WORDS.values()))}')
        else:
            sort = "unit" if known in ("kWh", "kW") else "kind"
            if sort in found:
                log.add(1, shown, f"has two tags of one sort, {found[sort]} and {known}")
            found[sort] = known
    unit, kind = found.get("unit") or reading.unit, found.get("kind") or reading.kind
    if unit is None:
        log.add(1, shown, f'has no unit; write "{printable(name)} [kWh]" or "[kW]", or say --unit')
    if kind is None:
        log.add(
            1, shown,
            "is not marked; write [measured] where a meter measured it, [calculated] where a control system "
            "worked it out from levels, or say --marked",
        )
    return name, "kW" if unit == "kW" else "kWh", "measured" if kind == "measured" else "calculated"


def _find_interval(log: Log, utc: IntColumn, line: IntColumn, is_sorted: bool) -> int:
    """Return the interval of the file [s]; check the order of the rows."""
    if not is_sorted:
        log.check_order(np.zeros(len(utc), dtype=np.int64), utc.astype(np.float64), line, _TIME)
        log.finish()
    steps = np.diff(np.unique(utc))
    if not len(steps):
        log.stop(None, "has one time only; an interval needs two")
    if utc.max() - utc.min() > _LONGEST_S:
        log.stop(None, f"reaches from {_clock(int(utc.min()))} to {_clock(int(utc.max()))}; at most 11 years")
    sizes, counts = np.unique(steps, return_counts=True)
    interval = int(sizes[np.argmax(counts)])
    if interval not in _INTERVALS_S:
        allowed = ", ".join(f"{size // 60}" for size in _INTERVALS_S)
        log.stop(
            None,
            f"most rows are {interval / 60:g} min apart; allowed intervals: {allowed} min",
        )
    return interval


def _check_grid(log: Log, wall: IntColumn, interval: int, line: IntColumn) -> None:
    """Refuse times that do not lie on the clock's grid."""
    off = np.flatnonzero(wall % interval)
    if len(off):
        count = f"{len(off):,} such rows" if len(off) > 1 else "the only such row"
        shown = _clock(int(wall[off[0]]), "%H:%M:%S")
        log.add(
            int(line[off[0]]), _TIME, f"{shown} is not on the grid of {interval // 60} min ({count})"
        )
    log.finish()


def _about_zone(zone: ZoneInfo | None, texts: Sequence[str]) -> list[str]:
    """Say what was assumed about the clock."""
    if zone is not None:
        return []
    if re.search(r"(Z|[+-][0-9]{2}:?[0-9]{2})$", texts[0]):
        return ["no time zone is known: hours of the day are those that the file's offsets give"]
    return ["no time zone is known: the clock is taken to run through, every day with 24 hours"]


def _unite(
    utc: IntColumn, wall: IntColumn, kwh: FloatColumn, warnings: list[str]
) -> tuple[IntColumn, IntColumn, FloatColumn]:
    """Put rows in order and make one of those that stand for the same interval."""
    instants, first, place, counts = np.unique(
        utc, return_index=True, return_inverse=True, return_counts=True
    )
    doubled = np.flatnonzero(counts > 1)
    if len(doubled):
        known = ~np.isnan(kwh)
        sums = np.zeros((len(kwh), len(instants)))
        numbers = np.zeros((len(kwh), len(instants)))
        for row in range(len(kwh)):
            np.add.at(sums[row], place, np.where(known[row], kwh[row], 0.0))
            np.add.at(numbers[row], place, known[row])
        united = np.where(numbers > 0, sums / np.maximum(numbers, 1.0), np.nan)
        stands = [_clock(int(wall[first[number]])) for number in doubled]
        warnings.append(
            f"{_count(len(doubled), 'interval stands', 'intervals stand')} more than once; the mean is used: "
            f"{_listed(stands)}"
        )
        return instants, wall[first], united
    return instants, wall[first], kwh[:, first]


def _name_gaps(
    utc: IntColumn,
    wall: IntColumn,
    kwh: FloatColumn,
    names: Sequence[str],
    interval: int,
    zone: ZoneInfo | None,
    warnings: list[str],
) -> None:
    """Name the intervals that are missing, and the cells that are empty."""
    behind = np.flatnonzero(np.diff(utc) > interval)
    if len(behind):
        ends = utc[behind] + interval
        begins = wall[behind] + interval if zone is None else wall_clock(ends, zone)
        spans = [
            f"{_clock(int(begin))} to {_clock(int(wall[row + 1]))} ({int(utc[row + 1] - end) / HOUR_S:g} h)"
            for row, begin, end in zip(behind.tolist(), begins, ends, strict=True)
        ]
        warnings.append(
            f"{_count(len(spans), 'stretch is', 'stretches are')} missing and left out: {_listed(spans)}"
        )
    for name, column in zip(names, kwh, strict=True):
        empty = np.flatnonzero(np.isnan(column))
        if len(empty):
            stands = [_clock(int(wall[row])) for row in empty[:_NAMED].tolist()]
            stands += [""] * (len(empty) - len(stands))
            warnings.append(
                f"{name}: {_count(len(empty), 'interval has', 'intervals have')} no value: {_listed(stands)}"
            )


def _by_hour(
    where: str,
    utc: IntColumn,
    wall: IntColumn,
    kwh: FloatColumn,
    labels: Sequence[tuple[str, Unit, Kind]],
    interval: int,
    zone: ZoneInfo | None,
    warnings: Sequence[str],
) -> Meter:
    """Add intervals up to clock hours."""
    shown = wall // HOUR_S * HOUR_S
    starts, first, place = np.unique(shown - (wall - utc), return_index=True, return_inverse=True)
    full = HOUR_S // interval
    columns = []
    for (name, _, kind), column in zip(labels, kwh, strict=True):
        known = np.bincount(place, weights=~np.isnan(column), minlength=len(starts))
        sums = np.bincount(place, weights=np.nan_to_num(column), minlength=len(starts))
        columns.append(Column(name, kind, np.where(known == full, sums, np.nan)))
    return Meter(where, starts, shown[first], tuple(columns), interval, zone, tuple(warnings))


def _clock(wall_s: int, form: str = "%Y-%m-%d %H:%M") -> str:
    """What the clock shows."""
    return (dt.datetime(1970, 1, 1) + dt.timedelta(seconds=wall_s)).strftime(form)


def _date(day: int) -> dt.date:
    """A day since 1970 as a date."""
    return dt.date(1970, 1, 1) + dt.timedelta(days=day)


def _count(number: int, one: str, many: str) -> str:
    """A count with its words."""
    return f"{number:,} {one if number == 1 else many}"


def _listed(words: Sequence[str]) -> str:
    """The first of a list, and how many more."""
    more = f" and {len(words) - _NAMED:,} more" if len(words) > _NAMED else ""
    return ", ".join(words[:_NAMED]) + more
