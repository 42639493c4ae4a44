"""Measured visits: a strict reader of visit logs.

Comes in: a CSV file.  Goes out: `VisitRows`, or only the quality table.  Before: `logs`; after it:
`traffic/measured`, which adds the runs.  The first five columns are what a site's own log gives; the others
are what a run writes besides, so that its own log can be replayed.  A row is its numbers:
names stand in tables beside them.  Names of trucks and operators come no further than `logs/pseudonyms`.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass, fields
from pathlib import Path
from typing import Any

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
from sim.scenario.schema import NAME_PATTERN, Scenario
from sim.traffic.paths import VISIT_TASKS
from sim.traffic.ways import BACK, FRONT, is_back_mouth, line_names
from sim.wording import nearest_text, printable

__all__ = ["VisitCounter", "VisitRows", "read_visit_rows"]

REQUIRED = ("aisle", "enter", "leave")
OPTIONAL = (
    "truck", "operator", "bay_m", "arrive", "type", "task", "enters_at", "leaves_at", "second_bay_m",
    "second_stand_s",
)
UNKNOWN = VISIT_TASKS.index("unknown")
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
    truck : number of the truck, of the operator where the log names no truck, -1 for nobody (n,)
    bay_m : [m from the front mouth], nan where the log has none (n,)
    arrive : at the mouth [s], nan where the log has none: then waits are not known (n,)
    group : index of the truck group that the column type names, -1 where the log has none (n,)
    task : index into `paths.VISIT_TASKS`, that of "unknown" where the log has none (n,)
    enter_line, leave_line : cross-aisle that the column enters_at / leaves_at names, see `traffic/ways`; the
        front one where the log has none (n,)
    enters_back, leaves_back : whether that is by the back mouth (n,)
    second_bay_m, second_stand_s : of a visit with two stops, nan otherwise (n,)
    truck_names : pseudonyms by number

    Notes
    -----
    A row takes 25 bytes, and 8 more for each of bay_m, arrive, second_bay_m and second_stand_s, 4 for truck
    or operator, 2 for type, 1 for task, 3 for each mouth, where the log has the column.
    """

    line: AnyInt
    aisle: AnyInt
    enter: FloatColumn
    leave: FloatColumn
    truck: AnyInt
    bay_m: FloatColumn
    arrive: FloatColumn
    group: AnyInt
    task: AnyInt
    enter_line: AnyInt
    leave_line: AnyInt
    enters_back: NDArray[np.bool_]
    leaves_back: NDArray[np.bool_]
    second_bay_m: FloatColumn
    second_stand_s: FloatColumn
    truck_names: tuple[str, ...] = ()


_KINDS = {
    "line": "i4", "aisle": "i4", "enter": "f8", "leave": "f8", "truck": "i4", "bay_m": "f8", "arrive": "f8",
    "group": "i2", "task": "i1", "enter_line": "i2", "leave_line": "i2", "enters_back": "?",
    "leaves_back": "?", "second_bay_m": "f8", "second_stand_s": "f8", "is_repeat": "?",
}  # fmt: skip


def read_visit_rows(
    path: Path | str,
    scenario: Scenario,
    layout: Layout,
    *,
    sort: bool = False,
    form: LogForm = OWN_FORM,
    book: QualityBook | None = None,
    told: Callable[[int], None] | None = None,
    trusted: bool = False,
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
    book : counts the quality of the log; not of a trusted one
    told : is given the bytes read so far
    trusted : the log was found good before: neither its order nor its quality is looked at again

    Raises
    ------
    InputError : the file is no such log; an unknown aisle, truck group or task, an entry outside the run, a
        leave that is not after it, a bay outside its aisle, or rows out of order: all faults together, up
        to twenty of them
    """
    log = Log(path, start=clock_of(scenario), required=REQUIRED, optional=OPTIONAL, form=form, told=told)
    counted = None if trusted else book
    reader, table = _Reader(log, scenario, layout), GrowingTable(**_KINDS)
    for batch in log.batches():
        columns = reader.read(batch)
        nothing = np.zeros(len(batch), dtype=np.int64)
        if not sort and not trusted:
            log.check_order(nothing, columns["enter"], batch.line, "enter")
        if counted is not None:
            truck = np.broadcast_to(columns["truck"], len(batch))
            is_unknown = columns["aisle"] < 0
            counted.watch(nothing, truck, columns["enter"], batch.line, is_unknown, columns["is_repeat"])
        table.add(len(batch), columns)
    log.finish()
    rows = _in_order(table, reader.crew.pseudonyms)
    if counted is not None:
        for row in slices_in_time(rows.enter):
            mark = np.nan_to_num(rows.bay_m[row], nan=-1.0)
            counted.settle(rows.aisle[row], rows.truck[row], rows.enter[row], rows.leave[row], mark)
    return rows


def _in_order(table: GrowingTable, truck_names: tuple[str, ...]) -> VisitRows:
    """Join the rows, in order of entry, without those of an hour's second pass."""
    enter, is_repeat = table.take("enter"), table.take("is_repeat")
    is_rising = not bool((enter[1:] < enter[:-1]).any())
    order = None if is_rising else np.argsort(enter, kind="stable")
    if is_repeat.any():
        order = np.flatnonzero(~is_repeat) if order is None else order[~is_repeat[order]]
    taken: dict[str, Any] = {}
    for name in (field.name for field in fields(VisitRows) if field.name in _KINDS):
        column = enter if name == "enter" else table.take(name)
        if order is not None:
            is_one = column.strides == (0,)
            column = np.broadcast_to(column[:1], (len(order),)) if is_one else column[order]
        taken[name] = column
    return VisitRows(**taken, truck_names=truck_names)


class VisitCounter:
    """Counts the quality of a visits log, see `study/from_logs/traffic`.

    Parameters
    ----------
    layout : the aisles
    """

    required: tuple[str, ...] = REQUIRED
    optional: tuple[str, ...] = OPTIONAL

    def __init__(self, layout: Layout) -> None:
        self._aisles = layout.aisles
        self._crew = Crew()

    def count(self, log: Log, batch: Batch, book: QualityBook) -> None:
        """Count some rows."""
        aisle = log.find_index(batch, "aisle", self._aisles)
        log.refuse_missing(batch, ("enter", "leave"))
        enter, leave = log.to_times(batch, "enter"), log.to_times(batch, "leave")
        is_repeat = enter.is_repeat & leave.is_repeat
        truck, _ = self._crew.numbers(batch.columns, len(batch))
        nothing = np.zeros(len(batch), dtype=np.int64)
        book.watch(nothing, truck, enter.seconds, batch.line, aisle < 0, is_repeat)
        kept = np.flatnonzero((aisle >= 0) & ~np.isnan(enter.seconds + leave.seconds) & ~is_repeat)
        mark = np.nan_to_num(log.to_numbers(batch, "bay_m"), nan=-1.0)
        for some in slices_in_time(enter.seconds[kept]):
            row = kept[some]
            book.settle(aisle[row], truck[row], enter.seconds[row], leave.seconds[row], mark[row])


class _Reader:
    """Checks and converts the rows of one log; what is at fault is noted in the log."""

    def __init__(self, log: Log, scenario: Scenario, layout: Layout) -> None:
        self.crew = Crew()
        self._log = log
        self._layout = layout
        self._groups = tuple(trucks.name for trucks in scenario.trucks)
        self._lines = line_names(layout)
        self._end_s = scenario.duration_s

    def read(self, batch: Batch) -> dict[str, Any]:
        """Return columns by name, those that the log lacks as one value."""
        log, layout = self._log, self._layout
        aisle = log.to_index(batch, "aisle", layout.aisles)
        log.refuse_missing(batch, ("enter", "leave"))
        entered, left = log.to_times(batch, "enter"), log.to_times(batch, "leave")
        is_repeat = entered.is_repeat & left.is_repeat
        enter, leave = entered.seconds + 0.0, left.seconds + 0.0
        log.check_in_run(batch, "enter", enter, self._end_s)
        log.check_pair(batch, "leave", "enter", (leave <= enter) & ~is_repeat, "after it")
        columns: dict[str, Any] = {
            "line": batch.line,
            "aisle": aisle,
            "enter": enter,
            "leave": np.minimum(leave, self._end_s),
            "is_repeat": is_repeat,
        }
        for place in ("enters", "leaves"):
            line: AnyInt | int = self._line(batch, f"{place}_at")
            both = np.broadcast_to(line, len(batch))
            is_back: Any = is_back_mouth(layout, np.maximum(aisle, 0), both)
            columns |= {f"{place[:-1]}_line": line, f"{place}_back": is_back if np.ndim(line) else False}
        return columns | self._numbers(batch, enter, aisle) | self._names(batch)

    def _numbers(self, batch: Batch, enter: FloatColumn, aisle: IntColumn) -> dict[str, Any]:
        """Places and times that a log may have."""
        log, length = self._log, self._layout.length_m[aisle]
        found: dict[str, Any] = dict.fromkeys(("bay_m", "arrive", "second_bay_m", "second_stand_s"), np.nan)
        if "arrive" in batch.columns:
            found["arrive"] = log.to_seconds(batch, "arrive")
            log.check_pair(batch, "arrive", "enter", found["arrive"] > enter, "not after it")
        for column in ("bay_m", "second_bay_m"):
            if column in batch.columns:
                metres = found[column] = log.to_numbers(batch, column)
                is_outside = (aisle >= 0) & ((metres < 0.0) | (metres > length))
                _refuse_outside(log, batch, column, is_outside, length)
        if "second_stand_s" in batch.columns:
            stand = found["second_stand_s"] = log.to_numbers(batch, "second_stand_s")
            allowed = "is below 0; allowed: at least 0 [s]"
            log.add_rows(batch, stand < 0.0, "second_stand_s", lambda _: allowed)
        is_half = np.isnan(found["second_bay_m"]) != np.isnan(found["second_stand_s"])
        log.add_rows(
            batch,
            np.broadcast_to(is_half, len(batch)),
            "second_bay_m",
            lambda _: "second_bay_m and second_stand_s come together: give both or neither",
        )
        return found

    def _names(self, batch: Batch) -> dict[str, Any]:
        """Who drove, in which group, on which task."""
        log = self._log
        truck, own = self.crew.numbers(batch.columns, len(batch))
        for column, numbers in own.items():
            _refuse_odd(log, batch, column, self.crew.columns[column].odd(_is_harmless)[numbers])
        group: AnyInt | int = -1
        if self._groups:
            group = self._words(batch, "type", self._groups, -1)
        elif "type" in batch.columns:
            texts = batch.columns["type"]
            bad = {text for text in set(texts) if text and not _is_harmless(text)}
            _refuse_odd(log, batch, "type", np.array([text in bad for text in texts], dtype=bool))
        return {
            "truck": truck if own else -1,
            "group": group,
            "task": self._words(batch, "task", VISIT_TASKS, UNKNOWN),
        }

    def _words(self, batch: Batch, column: str, known: Sequence[str], absent: int) -> AnyInt | int:
        """Positions in a list of words; `absent` where a row, or the log, says nothing."""
        texts = batch.columns.get(column)
        if texts is None:
            return absent
        index = self._log.find_index(batch, column, (*known, ""))
        self._log.add_rows(
            batch,
            index < 0,
            column,
            lambda row: f'there is no {column} "{printable(texts[row])}"{nearest_text(texts[row], known)}',
        )
        return np.where(index == len(known), absent, index)

    def _line(self, batch: Batch, column: str) -> AnyInt | int:
        """Cross-aisles by number; the front one where a row says nothing."""
        index = self._words(batch, column, self._lines, FRONT)
        return np.where(index == len(self._lines) - 1, BACK, index) if np.ndim(index) else FRONT


def _is_harmless(name: str) -> bool:
    """Whether a name could stand in tables and pages."""
    return _NAME.fullmatch(name) is not None and len(name) <= _LONGEST_NAME


def _refuse_odd(log: Log, batch: Batch, column: str, is_odd: NDArray[np.bool_]) -> None:
    """Note names that are not harmless."""
    log.add_rows(
        batch,
        is_odd,
        column,
        lambda row: (
            f'"{printable(batch.columns[column][row])}" is not allowed; allowed: letters, digits, space, '
            f"_ . -, the first a letter or digit, at most {_LONGEST_NAME}"
        ),
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
