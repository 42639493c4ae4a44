"""Measured visits: a strict reader of visit logs.

Comes in: a CSV file.  Goes out: `VisitRows`, or only the quality table.  Before: `logs`; after it:
`traffic/measured`, which adds the runs.  The first five columns are what a site's own log gives; the others
are what a run writes besides, so that its own log can be replayed.  Names of trucks and operators come no
further than this file: `log_pseudonyms`.
"""

from __future__ import annotations

import re
import sys
from collections.abc import Callable, Sequence
from dataclasses import dataclass, fields
from itertools import chain
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sim.floor.layout import Layout
from sim.log_form import OWN_FORM, LogForm
from sim.log_pseudonyms import Pseudonyms
from sim.log_quality import QualityBook
from sim.logs import Batch, Log, find_index
from sim.records import FloatColumn, IntColumn
from sim.scenario.log_columns import clock_of
from sim.scenario.schema import NAME_PATTERN, Scenario
from sim.traffic.paths import VISIT_TASKS
from sim.traffic.ways import BACK, FRONT, is_back_mouth, line_names
from sim.wording import nearest_text, printable

__all__ = ["VisitRows", "numbers_of", "read_visit_rows", "scan_visits"]

REQUIRED = ("aisle", "enter", "leave")
OPTIONAL = (
    "truck", "operator", "bay_m", "arrive", "type", "task", "enters_at", "leaves_at", "second_bay_m",
    "second_stand_s",
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
    truck : pseudonym of the truck, of the operator where the log names no truck, else "" (n,)
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
    path: Path | str,
    scenario: Scenario,
    layout: Layout,
    *,
    sort: bool = False,
    form: LogForm = OWN_FORM,
    book: QualityBook | None = None,
    told: Callable[[int], None] | None = None,
) -> VisitRows:
    """Read a visits log.

    A visit that runs past the end of the run is cut there; one in the second pass of an hour that the clock
    shows twice is left out.

    Parameters
    ----------
    path : CSV with the columns aisle, enter, leave and any of truck, operator, bay_m, arrive, type, task,
        enters_at, leaves_at, second_bay_m, second_stand_s; times in seconds from the scenario's start, or
        ISO 8601 date-times, local or with their offset
    scenario, layout : the site
    sort : accept rows that are not in order of entry; rows of one time keep their order
    form : how the log is written
    book : counts the quality of the log
    told : is given the bytes read so far

    Raises
    ------
    InputError : the file is no such log; an unknown aisle, truck group or task, an entry outside the run, a
        leave that is not after it, a bay outside its aisle, or rows out of order: all faults together, up
        to twenty of them
    """
    log = Log(path, start=clock_of(scenario), required=REQUIRED, optional=OPTIONAL, form=form, told=told)
    groups = tuple(trucks.name for trucks in scenario.trucks)
    names = Pseudonyms("T"), Pseudonyms("P")
    read = [_read_batch(log, batch, layout, groups, scenario.duration_s, names) for batch in log.batches()]
    if not read:
        log.finish()
    rows, is_repeat = _join([piece for piece, _ in read]), np.concatenate([repeat for _, repeat in read])
    nothing = np.zeros(len(rows.line), dtype=np.int64)
    if not sort:
        log.check_order(nothing, rows.enter, rows.line, "enter")
    log.finish()
    order = np.argsort(rows.enter, kind="stable")
    order = order[~is_repeat[order]]
    if book is not None:
        clock = numbers_of(rows.truck)
        book.watch(nothing, clock, rows.enter, rows.line, rows.aisle < 0, is_repeat)
        mark = np.nan_to_num(rows.bay_m[order], nan=-1.0)
        book.settle(rows.aisle[order], clock[order], rows.enter[order], rows.leave[order], mark)
    return _take(rows, order) if sort or is_repeat.any() else rows


def numbers_of(names: Sequence[str]) -> IntColumn:
    """Return names as numbers from 0 in the order in which they appear, -1 for nothing (n,).

    >>> numbers_of(["T02", "", "T01", "T02"]).tolist()
    [0, -1, 1, 0]
    """
    known = {name: number for number, name in enumerate(dict.fromkeys(name for name in names if name))}
    return np.array([known.get(name, -1) for name in names], dtype=np.int64)


def scan_visits(
    path: Path | str,
    scenario: Scenario,
    layout: Layout,
    book: QualityBook,
    *,
    form: LogForm = OWN_FORM,
    told: Callable[[int], None] | None = None,
) -> None:
    """Count the quality of a visits log of any size, a block at a time.

    Rows of unknown aisles, outside the run or out of order are counted, not refused.

    Parameters
    ----------
    path, scenario, layout, form : as in `read_visit_rows`
    book : does the counting
    told : is given the bytes read so far

    Raises
    ------
    InputError : the file is no such log
    """
    log = Log(path, start=clock_of(scenario), required=REQUIRED, optional=OPTIONAL, form=form, told=told)
    trucks: dict[str, int] = {"": -1}
    for batch in log.batches():
        aisle = find_index(batch, "aisle", layout.aisles)
        log.refuse_missing(batch, ("enter", "leave"))
        enter, leave = log.to_times(batch, "enter"), log.to_times(batch, "leave")
        is_repeat = enter.is_repeat & leave.is_repeat
        texts = batch.columns.get("truck", ("",) * len(batch))
        clock = np.array([trucks.setdefault(text, len(trucks) - 1) for text in texts], dtype=np.int64)
        book.watch(
            np.zeros(len(batch), dtype=np.int64), clock, enter.seconds, batch.line, aisle < 0, is_repeat
        )
        kept = np.flatnonzero((aisle >= 0) & ~np.isnan(enter.seconds + leave.seconds) & ~is_repeat)
        kept = kept[np.argsort(enter.seconds[kept], kind="stable")]
        mark = np.nan_to_num(log.to_numbers(batch, "bay_m")[kept], nan=-1.0)
        book.settle(aisle[kept], clock[kept], enter.seconds[kept], leave.seconds[kept], mark)
    log.finish()


def _read_batch(
    log: Log,
    batch: Batch,
    layout: Layout,
    groups: Sequence[str],
    end_s: float,
    names: tuple[Pseudonyms, Pseudonyms],
) -> tuple[VisitRows, NDArray[np.bool_]]:
    """Check and convert some rows; what is at fault is noted in the log.

    Also says which rows lie in the second pass of an hour that the clock shows twice.
    """
    aisle = log.to_index(batch, "aisle", layout.aisles)
    log.refuse_missing(batch, ("enter", "leave"))
    entered, left = log.to_times(batch, "enter"), log.to_times(batch, "leave")
    is_repeat = entered.is_repeat & left.is_repeat
    enter, leave, arrive = entered.seconds + 0.0, left.seconds + 0.0, log.to_seconds(batch, "arrive")
    log.check_in_run(batch, "enter", enter, end_s)
    log.check_pair(batch, "leave", "enter", (leave <= enter) & ~is_repeat, "after it")
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
    trucks, operators = names[0].of(_names(log, batch, "truck")), names[1].of(_names(log, batch, "operator"))
    enter_line, leave_line = (_lines(log, batch, column, layout) for column in ("enters_at", "leaves_at"))
    rows = VisitRows(
        line=batch.line,
        aisle=aisle,
        enter=enter,
        leave=np.minimum(leave, end_s),
        truck=tuple(truck or operator for truck, operator in zip(trucks, operators, strict=True)),
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
    return rows, is_repeat


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
