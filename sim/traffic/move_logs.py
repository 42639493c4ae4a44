"""Measured moves: a strict reader of movement logs and pick exports.

Comes in: a CSV file, a row for each pick or putaway.  Goes out: `Stops`, one row for each handling in an
aisle, or only the quality table.  Before: `logs`, `traffic/locations`; after: `traffic/dwell`, which makes
visits of them.  A time is the moment at which the handling at the rack ends, as a scan confirms it; of a
move from rack to rack it is the set-down.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, fields
from pathlib import Path
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from sim.floor.layout import Layout
from sim.log_form import OWN_FORM, LogForm
from sim.log_pseudonyms import Pseudonyms
from sim.log_quality import QualityBook
from sim.logs import Batch, Log
from sim.records import FloatColumn, IntColumn
from sim.scenario.log_columns import clock_of
from sim.scenario.schema import Scenario
from sim.traffic.locations import OUTSIDE, LocationRule, Spot
from sim.traffic.paths import VISIT_TASKS

__all__ = ["MoveKind", "Stops", "read_stops", "scan_moves"]

MoveKind = Literal["moves", "picks"]
COLUMNS: dict[MoveKind, tuple[str, ...]] = {"moves": ("time", "from", "to"), "picks": ("time", "location")}
OPTIONAL = ("truck", "operator")
_PUTAWAY, _RETRIEVE, _PICK, _SET, _UNKNOWN = (
    VISIT_TASKS.index(name) for name in ("putaway", "retrieve", "replenish-pick", "replenish-set", "unknown")
)


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
    """

    line: IntColumn
    time: FloatColumn
    aisle: IntColumn
    bay_m: FloatColumn
    task: IntColumn
    truck: IntColumn
    mark: FloatColumn
    trucks: tuple[str, ...] = ()

    def __len__(self) -> int:
        return len(self.line)


@dataclass(frozen=True)
class _Rows:
    """Some rows of the log as they stand (n,)."""

    line: IntColumn
    time: FloatColumn
    truck: IntColumn
    is_repeat: NDArray[np.bool_]
    spots: tuple[list[Spot], ...]


class _Crew:
    """Numbers and pseudonyms of the trucks of a log; operators where no truck is named."""

    def __init__(self) -> None:
        self._names = {"truck": Pseudonyms("T"), "operator": Pseudonyms("P")}
        self._numbers: dict[str, int] = {"": -1}

    def numbers(self, batch: Batch) -> IntColumn:
        """Return who did each row, -1 for nobody known (n,)."""
        blank = ("",) * len(batch)
        trucks, operators = (
            self._names[column].of(batch.columns.get(column, blank)) for column in ("truck", "operator")
        )
        known = self._numbers
        who = [truck or operator for truck, operator in zip(trucks, operators, strict=True)]
        return np.array([known.setdefault(name, len(known) - 1) for name in who], dtype=np.int64)

    @property
    def pseudonyms(self) -> tuple[str, ...]:
        """Pseudonyms by number."""
        return tuple(self._numbers)[1:]


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
    book : counts the quality of the log
    told : is given the bytes read so far

    Raises
    ------
    InputError : the file is no such log; a location that cannot be placed, a time outside the run, or rows
        out of order: all faults together, up to twenty of them
    """
    needed = COLUMNS[kind]
    log = Log(path, start=clock_of(scenario), required=needed, optional=OPTIONAL, form=form, told=told)
    rule, crew = LocationRule(form.locations, layout), _Crew()
    pieces = []
    for batch in log.batches():
        rows = _read_batch(log, batch, needed, rule, crew)
        log.check_in_run(batch, "time", rows.time, scenario.duration_s)
        for column, spots in zip(needed[1:], rows.spots, strict=True):
            is_bad = np.array([bool(spot.fault) for spot in spots], dtype=bool)
            log.add_rows(batch, is_bad, column, lambda row, spots=spots: spots[row].fault)  # type: ignore[misc]
        pieces.append((rows, _stops(rows)))
    if not pieces:
        log.finish()
    time, line, truck, is_repeat = (
        np.concatenate([getattr(rows, name) for rows, _ in pieces])
        for name in ("time", "line", "truck", "is_repeat")
    )
    nothing = np.zeros(len(time), dtype=np.int64)
    if not sort:
        log.check_order(nothing, time, line, "time")
    log.finish()
    stops = _in_order([piece for _, piece in pieces], crew.pseudonyms)
    if book is not None:
        book.watch(nothing, truck, time, line, np.zeros(len(time), dtype=bool), is_repeat)
        _settle(book, stops)
    return stops


def _read_batch(
    log: Log, batch: Batch, needed: Sequence[str], rule: LocationRule, crew: _Crew
) -> _Rows:
    """Convert some rows."""
    log.refuse_missing(batch, ("time",))
    times = log.to_times(batch, "time")
    spots = tuple(rule.spots(batch.columns[column]) for column in needed[1:])
    return _Rows(batch.line, times.seconds + 0.0, crew.numbers(batch), times.is_repeat, spots)


def _stops(rows: _Rows) -> tuple[Stops, FloatColumn]:
    """Stops of some rows, and the time of the row of each (n,)."""
    kept = np.flatnonzero(~rows.is_repeat & ~np.isnan(rows.time))
    table: list[tuple[int, float, int, float, int, int]] = []
    for row in kept.tolist():
        spots = [column[row] for column in rows.spots]
        mark = sum(spot.number << (24 * place) for place, spot in enumerate(spots))
        table += [(row, *stop, mark) for stop in _handlings(spots, float(rows.time[row]))]
    row_of = np.array([entry[0] for entry in table], dtype=np.int64)
    stops = Stops(
        line=rows.line[row_of],
        time=np.array([entry[1] for entry in table], dtype=np.float64),
        aisle=np.array([entry[2] for entry in table], dtype=np.int64),
        bay_m=np.array([entry[3] for entry in table], dtype=np.float64),
        task=np.array([entry[4] for entry in table], dtype=np.int64),
        truck=rows.truck[row_of],
        mark=np.array([entry[5] for entry in table], dtype=np.float64),
    )
    return stops, rows.time[row_of]


def _in_order(pieces: Sequence[tuple[Stops, FloatColumn]], trucks: tuple[str, ...]) -> Stops:
    """Put batches together, in order of time."""
    order = np.argsort(np.concatenate([moment for _, moment in pieces]), kind="stable")
    joined: dict[str, Any] = {
        field.name: np.concatenate([getattr(stops, field.name) for stops, _ in pieces])[order]
        for field in fields(Stops)
        if field.name != "trucks"
    }
    return Stops(**joined, trucks=trucks)


def _settle(book: QualityBook, stops: Stops) -> None:
    """Count what rows in order of time show, each row once."""
    rows = np.flatnonzero(~np.isnan(stops.time))
    at = stops.time[rows]
    book.settle(stops.aisle[rows], stops.truck[rows], at, at, stops.mark[rows])
    fetched = np.flatnonzero(np.isnan(stops.time))
    book.see(stops.aisle[fetched], stops.time[fetched + 1])


def _handlings(spots: Sequence[Spot], time: float) -> Iterator[tuple[float, int, float, int]]:
    """Yield time, aisle, bay and task of what a row does in aisles."""
    places = [np.nan if spot.bay_m is None else spot.bay_m for spot in spots]
    if len(spots) == 1:
        if spots[0].aisle != OUTSIDE:
            yield time, spots[0].aisle, places[0], _UNKNOWN
        return
    source, target = spots
    if source.aisle != OUTSIDE and target.aisle != OUTSIDE:
        yield np.nan, source.aisle, places[0], _PICK
        yield time, target.aisle, places[1], _SET
    elif source.aisle != OUTSIDE:
        yield time, source.aisle, places[0], _RETRIEVE
    elif target.aisle != OUTSIDE:
        yield time, target.aisle, places[1], _PUTAWAY


def scan_moves(
    path: Path | str,
    kind: MoveKind,
    scenario: Scenario,
    layout: Layout,
    book: QualityBook,
    *,
    form: LogForm = OWN_FORM,
    told: Callable[[int], None] | None = None,
) -> None:
    """Count the quality of a movement log or pick export of any size, a block at a time.

    Rows of unknown locations, outside the run or out of order are counted, not refused.

    Parameters
    ----------
    path, kind, scenario, layout, form : as in `read_stops`
    book : does the counting
    told : is given the bytes read so far

    Raises
    ------
    InputError : the file is no such log
    """
    needed = COLUMNS[kind]
    log = Log(path, start=clock_of(scenario), required=needed, optional=OPTIONAL, form=form, told=told)
    rule, crew = LocationRule(form.locations, layout), _Crew()
    for batch in log.batches():
        rows = _read_batch(log, batch, needed, rule, crew)
        is_unknown = np.array([any(spot.fault for spot in pair) for pair in zip(*rows.spots, strict=True)])
        nothing = np.zeros(len(rows.line), dtype=np.int64)
        book.watch(nothing, rows.truck, rows.time, rows.line, is_unknown, rows.is_repeat)
        _settle(book, _in_order([_stops(rows)], ()))
    log.finish()
