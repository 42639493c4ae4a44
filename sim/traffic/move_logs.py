"""Measured moves: a strict reader of movement logs and pick exports.

Comes in: a CSV file, a row for each pick or putaway.  Goes out: `Stops`, one row for each handling in an
aisle, or only the quality table.  Before: `logs/reader`, `traffic/locations`; after: `traffic/dwell`, which
makes visits of them.  A time is the moment at which the handling at the rack ends, as a scan confirms it; of
a move from rack to rack it is the set-down.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from sim.floor.layout import Layout
from sim.logs.form import OWN_FORM, LogForm
from sim.logs.pseudonyms import Crew
from sim.logs.quality import QualityBook, slices_in_time
from sim.logs.reader import Batch, Log
from sim.logs.table import AnyInt, GrowingTable
from sim.records import FloatColumn, IntColumn
from sim.scenario.log_columns import clock_of
from sim.scenario.schema import Scenario
from sim.traffic.locations import OUTSIDE, LocationRule
from sim.traffic.paths import VISIT_TASKS

__all__ = ["MoveCounter", "MoveKind", "Stops", "read_stops"]

MoveKind = Literal["moves", "picks"]
COLUMNS: dict[MoveKind, tuple[str, ...]] = {"moves": ("time", "from", "to"), "picks": ("time", "location")}
OPTIONAL = ("truck", "operator")
_PUTAWAY, _RETRIEVE, _PICK, _SET, _UNKNOWN = (
    VISIT_TASKS.index(name) for name in ("putaway", "retrieve", "replenish-pick", "replenish-set", "unknown")
)
_KINDS = {"line": "i4", "time": "f8", "aisle": "i4", "bay_m": "f8", "task": "i1", "truck": "i4", "mark": "f8"}


@dataclass(frozen=True)
class Stops:
    """Handlings in aisles, in order of time; those of one row keep their order (n,).

    Attributes
    ----------
    line : of the file (n,)
    time : end of the handling [s]; nan for the pick-up of a move from rack to rack, which no row times (n,)
    aisle : index (n,)
    bay_m : from the front mouth [m], nan where the log does not tell (n,)
    task : index into `paths.VISIT_TASKS` (n,)
    truck : number from 0 of the pseudonym, -1 where the log names nobody (n,)
    mark : a number that stands for the row's locations (n,)
    trucks : pseudonyms by number; empty where only a part was read

    Notes
    -----
    A stop takes 37 bytes.
    """

    line: AnyInt
    time: FloatColumn
    aisle: AnyInt
    bay_m: FloatColumn
    task: AnyInt
    truck: AnyInt
    mark: FloatColumn
    trucks: tuple[str, ...] = ()

    def __len__(self) -> int:
        return len(self.line)


def read_stops(
    path: Path | str,
    kind: MoveKind,
    scenario: Scenario,
    layout: Layout,
    *,
    sort: bool = False,
    form: LogForm = OWN_FORM,
    book: QualityBook | None = None,
    told: Callable[[int], None] | None = None,
    trusted: bool = False,
) -> Stops:
    """Read a movement log or a pick export.

    Rows between two places outside the aisles leave no stop; rows in the second pass of an hour that the
    clock shows twice are left out.

    Parameters
    ----------
    path : CSV with the columns time, from, to ("moves") or time, location ("picks"), and perhaps truck,
        operator
    kind : which of the two
    scenario, layout : the site
    sort : accept rows that are not in order of time; rows of one time keep their order
    form : how the log is written, and how locations are named
    book : counts the quality of the log; not of a trusted one
    told : is given the bytes read so far
    trusted : the log was found good before: neither its order nor its quality is looked at again

    Raises
    ------
    InputError : the file is no such log; a location that cannot be placed, a time outside the run, or rows
        out of order: all faults together, up to twenty of them
    """
    reader = _Reader(kind, layout, form)
    log = Log(
        path, start=clock_of(scenario), required=COLUMNS[kind], optional=OPTIONAL, form=form, told=told
    )
    counted = None if trusted else book
    table = GrowingTable(**_KINDS, at="f8")
    for batch in log.batches():
        rows = reader.read(log, batch)
        log.check_in_run(batch, "time", rows.time, scenario.duration_s)
        for column, numbers in zip(COLUMNS[kind][1:], rows.numbers, strict=True):
            is_bad = reader.rule.is_fault[numbers]
            log.add_rows(batch, is_bad, column, lambda row, own=numbers: reader.rule.fault(int(own[row])))  # type: ignore[misc]
        nothing = np.zeros(len(batch), dtype=np.int64)
        if not sort and not trusted:
            log.check_order(nothing, rows.time, batch.line, "time")
        if counted is not None:
            is_known = np.zeros(len(batch), dtype=bool)
            counted.watch(nothing, rows.truck, rows.time, batch.line, is_known, rows.is_repeat)
        stops, at = reader.stops(rows)
        table.add(len(stops), {name: getattr(stops, name) for name in _KINDS} | {"at": at})
    log.finish()
    stops = _in_order({name: table.take(name) for name in (*_KINDS, "at")})
    if counted is not None:
        _settle(counted, stops)
    return replace(stops, trucks=reader.crew.pseudonyms)


class MoveCounter:
    """Counts the quality of a movement log or pick export, see `study/from_logs/traffic`.

    Parameters
    ----------
    kind : which of the two
    layout : the aisles
    form : how locations are named
    """

    optional: tuple[str, ...] = OPTIONAL

    def __init__(self, kind: MoveKind, layout: Layout, form: LogForm) -> None:
        self.required: tuple[str, ...] = COLUMNS[kind]
        self._reader = _Reader(kind, layout, form)

    def count(self, log: Log, batch: Batch, book: QualityBook) -> None:
        """Count some rows."""
        rows = self._reader.read(log, batch)
        is_unknown = np.zeros(len(batch), dtype=bool)
        for numbers in rows.numbers:
            is_unknown |= self._reader.rule.is_fault[numbers]
        nothing = np.zeros(len(batch), dtype=np.int64)
        book.watch(nothing, rows.truck, rows.time, batch.line, is_unknown, rows.is_repeat)
        stops, at = self._reader.stops(rows)
        _settle(book, _in_order({name: getattr(stops, name) for name in _KINDS} | {"at": at}))


@dataclass(frozen=True)
class _Rows:
    """Some rows of the log as they stand; numbers of their locations by column (n,)."""

    line: IntColumn
    time: FloatColumn
    truck: IntColumn
    is_repeat: NDArray[np.bool_]
    numbers: tuple[IntColumn, ...]


class _Reader:
    """Converts the rows of one log."""

    def __init__(self, kind: MoveKind, layout: Layout, form: LogForm) -> None:
        self.rule, self.crew = LocationRule(form.locations, layout), Crew()
        self._needed = COLUMNS[kind]

    def read(self, log: Log, batch: Batch) -> _Rows:
        """Convert some rows."""
        log.refuse_missing(batch, ("time",))
        times = log.to_times(batch, "time")
        numbers = tuple(self.rule.numbers(batch.columns[column]) for column in self._needed[1:])
        truck, _ = self.crew.numbers(batch.columns, len(batch))
        return _Rows(batch.line, times.seconds + 0.0, truck, times.is_repeat, numbers)

    def stops(self, rows: _Rows) -> tuple[Stops, FloatColumn]:
        """Return the stops of some rows, and the time of the row of each (n,)."""
        kept = np.flatnonzero(~rows.is_repeat & ~np.isnan(rows.time))
        numbers = [column[kept] for column in rows.numbers]
        mark = sum((own << (24 * place) for place, own in enumerate(numbers)), np.zeros_like(kept))
        aisles = [self.rule.aisle[own] for own in numbers]
        bays = [self.rule.bay_m[own] for own in numbers]
        is_in = [aisle != OUTSIDE for aisle in aisles]
        if len(numbers) == 1:
            row = np.flatnonzero(is_in[0])
            task, is_fetch = np.full(len(row), _UNKNOWN), np.zeros(len(row), dtype=bool)
            aisle, bay_m = aisles[0][row], bays[0][row]
        else:
            is_both = is_in[0] & is_in[1]
            row, place = np.nonzero(np.column_stack(is_in))
            alone, together = np.array([_RETRIEVE, _PUTAWAY]), np.array([_PICK, _SET])
            task = np.where(is_both[row], together[place], alone[place])
            is_fetch = is_both[row] & (place == 0)
            aisle, bay_m = np.column_stack(aisles)[row, place], np.column_stack(bays)[row, place]
        time = rows.time[kept][row]
        stops = Stops(
            line=rows.line[kept][row],
            time=np.where(is_fetch, np.nan, time),
            aisle=aisle,
            bay_m=bay_m,
            task=task,
            truck=rows.truck[kept][row],
            mark=mark[row].astype(np.float64),
        )
        return stops, time


def _in_order(columns: dict[str, Any]) -> Stops:
    """Put stops in order of the time of their rows; those of one row keep their order."""
    at = columns.pop("at")
    if not (at[1:] < at[:-1]).any():
        return Stops(**columns)
    order = np.argsort(at, kind="stable")
    return Stops(**{name: column[order] for name, column in columns.items()})


def _settle(book: QualityBook, stops: Stops) -> None:
    """Count what rows in order of time show, each row once."""
    timed = np.flatnonzero(~np.isnan(stops.time))
    for some in slices_in_time(stops.time[timed]):
        rows = timed[some]
        at = stops.time[rows]
        book.settle(stops.aisle[rows], stops.truck[rows], at, at, stops.mark[rows])
    fetched = np.flatnonzero(np.isnan(stops.time))
    book.see(stops.aisle[fetched], stops.time[fetched + 1])
