"""Measured visits: a strict reader of visit logs.

Comes in: a CSV file.  Goes out: `VisitRows`.  Before: `logs`; after it: `traffic/measured`, which adds the
runs.  The first five columns are what a site's own log gives; the others are what a run writes besides, so
that its own log can be replayed.
"""

from __future__ import annotations

import re
import sys
from collections.abc import Sequence
from dataclasses import dataclass, fields
from itertools import chain
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sim.floor.layout import Layout
from sim.logs import Batch, Log
from sim.records import FloatColumn, IntColumn
from sim.scenario.schema import NAME_PATTERN, Scenario
from sim.traffic.paths import VISIT_TASKS
from sim.traffic.ways import BACK, FRONT, is_back_mouth, line_names
from sim.wording import nearest_text, printable

__all__ = ["VisitRows", "read_visit_rows"]

REQUIRED = ("aisle", "enter", "leave")
OPTIONAL = (
    "truck", "bay_m", "arrive", "type", "task", "enters_at", "leaves_at", "second_bay_m", "second_stand_s",
)
_NAME = re.compile(NAME_PATTERN)
_LONGEST_NAME = 60


@dataclass(frozen=True)
class VisitRows:
    """Rows of a visits log, in order of entry (n,).

    Attributes
    ----------
    line : line of the file (n,)
    aisle : index of the aisle (n,)
    enter, leave : [s]; leave is cut at the end of the run (n,)
    truck : name, "" where the log has none (n,)
    bay_m : [m from the front mouth], nan where the log has none (n,)
    arrive : at the mouth [s], nan where the log has none: then waits are not known (n,)
    type : truck group, "" where the log has none (n,)
    task : a word of `paths.VISIT_TASKS`, "unknown" where the log has none (n,)
    enter_line, leave_line : cross-aisle that the column enters_at / leaves_at names, see `traffic/ways`; the
        front one where the log has none (n,)
    enters_back, leaves_back : whether that is by the back mouth (n,)
    second_bay_m, second_stand_s : of a visit with two stops, nan otherwise (n,)
    """

    line: IntColumn
    aisle: IntColumn
    enter: FloatColumn
    leave: FloatColumn
    truck: tuple[str, ...]
    bay_m: FloatColumn
    arrive: FloatColumn
    type: tuple[str, ...]
    task: tuple[str, ...]
    enter_line: IntColumn
    leave_line: IntColumn
    enters_back: np.ndarray[Any, np.dtype[np.bool_]]
    leaves_back: np.ndarray[Any, np.dtype[np.bool_]]
    second_bay_m: FloatColumn
    second_stand_s: FloatColumn


def read_visit_rows(
    path: Path | str, scenario: Scenario, layout: Layout, *, sort: bool = False
) -> VisitRows:
    """Read a visits log.

    A visit that runs past the end of the run is cut there.

    Parameters
    ----------
    path : CSV with the columns aisle, enter, leave and any of truck, bay_m, arrive, type, task, enters_at,
        leaves_at, second_bay_m, second_stand_s; times in seconds from the scenario's start, or ISO 8601
        local date-times
    scenario, layout : the site
    sort : accept rows that are not in order of entry; rows of one time keep their order

    Raises
    ------
    InputError : the file is no such log; an unknown aisle, truck group or task, an entry outside the run, a
        leave that is not after it, a bay outside its aisle, or rows out of order: all faults together, up
        to twenty of them
    """
    log = Log(path, start=scenario.start_datetime, required=REQUIRED, optional=OPTIONAL)
    groups = tuple(trucks.name for trucks in scenario.trucks)
    pieces = [_read_batch(log, batch, layout, groups, scenario.duration_s) for batch in log.batches()]
    if not pieces:
        log.finish()
    rows = _join(pieces)
    if not sort:
        log.check_order(np.zeros(len(rows.line), dtype=np.int64), rows.enter, rows.line, "enter")
    log.finish()
    return _take(rows, np.argsort(rows.enter, kind="stable")) if sort else rows


def _read_batch(
    log: Log, batch: Batch, layout: Layout, groups: Sequence[str], end_s: float
) -> VisitRows:
    """Check and convert some rows; what is at fault is noted in the log."""
    aisle = log.to_index(batch, "aisle", layout.aisles)
    log.refuse_missing(batch, ("enter", "leave"))
    enter, leave, arrive = (log.to_seconds(batch, column) for column in ("enter", "leave", "arrive"))
    log.check_in_run(batch, "enter", enter, end_s)
    log.check_pair(batch, "leave", "enter", leave <= enter, "after it")
    log.check_pair(batch, "arrive", "enter", arrive > enter, "not after it")
    length = layout.length_m[aisle]
    bay, second_bay, second_stand = (
        log.to_numbers(batch, column) for column in ("bay_m", "second_bay_m", "second_stand_s")
    )
    for column, metres in (("bay_m", bay), ("second_bay_m", second_bay)):
        is_outside = (aisle >= 0) & ((metres < 0.0) | (metres > length))
        _refuse_outside(log, batch, column, is_outside, length)
    log.add_rows(batch, second_stand < 0.0, "second_stand_s", lambda _: "is below 0; allowed: at least 0 [s]")
    log.add_rows(
        batch,
        np.isnan(second_bay) != np.isnan(second_stand),
        "second_bay_m",
        lambda _: "second_bay_m and second_stand_s come together: give both or neither",
    )
    enter_line, leave_line = (_lines(log, batch, column, layout) for column in ("enters_at", "leaves_at"))
    return VisitRows(
        line=batch.line,
        aisle=aisle,
        enter=enter,
        leave=np.minimum(leave, end_s),
        truck=_names(log, batch, "truck"),
        bay_m=bay,
        arrive=arrive,
        type=_words(log, batch, "type", groups, "") if groups else _names(log, batch, "type"),
        task=_words(log, batch, "task", VISIT_TASKS, "unknown"),
        enter_line=enter_line,
        leave_line=leave_line,
        enters_back=is_back_mouth(layout, aisle, enter_line),
        leaves_back=is_back_mouth(layout, aisle, leave_line),
        second_bay_m=second_bay,
        second_stand_s=second_stand,
    )


def _refuse_outside(
    log: Log, batch: Batch, column: str, is_outside: NDArray[np.bool_], length: FloatColumn
) -> None:
    """Note bays that do not lie in their aisle."""
    log.add_rows(
        batch,
        is_outside,
        column,
        lambda row: (
            f"{batch.columns[column][row]} lies outside aisle {batch.columns['aisle'][row]}; "
            f"allowed: 0 to {length[row]:g} [m]"
        ),
    )


def _names(log: Log, batch: Batch, column: str) -> tuple[str, ...]:
    """Read a column of names, which go into tables and pages and must be harmless there."""
    texts = batch.columns.get(column)
    if texts is None:
        return ("",) * len(batch)
    bad = {text for text in set(texts) if text and not (_NAME.fullmatch(text) and len(text) <= _LONGEST_NAME)}
    log.add_rows(
        batch,
        np.array([text in bad for text in texts], dtype=bool),
        column,
        lambda row: (
            f'"{printable(texts[row])}" is not allowed; allowed: letters, digits, space, _ . -, the first a '
            f"letter or digit, at most {_LONGEST_NAME}"
        ),
    )
    return tuple(map(sys.intern, texts))


def _words(log: Log, batch: Batch, column: str, known: Sequence[str], absent: str) -> tuple[str, ...]:
    """Read a column that may only hold known words; `absent` stands where a row says nothing."""
    texts = batch.columns.get(column)
    if texts is None:
        return (absent,) * len(batch)
    bad = set(texts) - {"", *known}
    log.add_rows(
        batch,
        np.array([text in bad for text in texts], dtype=bool),
        column,
        lambda row: f'there is no {column} "{printable(texts[row])}"{nearest_text(texts[row], known)}',
    )
    return tuple(sys.intern(text or absent) for text in texts)


def _lines(log: Log, batch: Batch, column: str, layout: Layout) -> IntColumn:
    """Read a column that names a cross-aisle; the front one where a row says nothing (n,)."""
    names = line_names(layout)
    number = {name: place for place, name in enumerate(names)} | {"back": BACK}
    words = _words(log, batch, column, names, "front")
    return np.array([number.get(word, FRONT) for word in words], dtype=np.int64)


def _join(pieces: Sequence[VisitRows]) -> VisitRows:
    """Put batches together."""
    joined: dict[str, Any] = {}
    for field in fields(VisitRows):
        columns = [getattr(piece, field.name) for piece in pieces]
        is_text = isinstance(columns[0], tuple)
        joined[field.name] = tuple(chain.from_iterable(columns)) if is_text else np.concatenate(columns)
    return VisitRows(**joined)


def _take(rows: VisitRows, order: IntColumn) -> VisitRows:
    """Return the rows in another order."""
    taken: dict[str, Any] = {}
    for field in fields(VisitRows):
        column = getattr(rows, field.name)
        is_text = isinstance(column, tuple)
        taken[field.name] = tuple(column[row] for row in order) if is_text else column[order]
    return VisitRows(**taken)
