"""A strict reader of CSV logs: every column as text first, then numbers, times and names by our own rules.

Comes in: a CSV file.  Goes out: batches of rows and checked columns; nothing is guessed, converted or
left out in silence.  The ground: `sensing/logs` and `traffic/logs` say which columns they want.
The form of CSV is that of RFC 4180 with a header, in UTF-8, a row on a line; commas, points and our own names
of columns, unless a `LogForm` says otherwise.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO, NoReturn

import numpy as np
from numpy.typing import NDArray

from sim.errors import Fault, InputError
from sim.logs.cells import empty_cells
from sim.logs.clock import RunClock
from sim.logs.form import OWN_FORM, LogForm
from sim.logs.quality import LatestTimes
from sim.logs.text import LogText
from sim.logs.times import TimeReader, Times
from sim.logs.values import number_fault, ragged_fault, read_numbers
from sim.logs.words import Names
from sim.records import FloatColumn, IntColumn
from sim.wording import find_nearest, nearest_text, printable

__all__ = ["Batch", "Log"]

_FAULTS_TOLD = 20
_SIGNS = {",": "commas", ";": "semicolons", "\t": "tabs"}


@dataclass(frozen=True)
class Batch:
    """Some rows of a log, in the order of the file.

    Attributes
    ----------
    line : line number of each row (n,)
    columns : the text of every column that the file has, by name (n each)
    """

    line: IntColumn
    columns: Mapping[str, Sequence[str]]

    def __len__(self) -> int:
        return len(self.line)


class Log:
    """One log file being read; gathers its faults until `finish`.

    Parameters
    ----------
    path : the file
    start : local date-time of second 0, for columns of date-times; or the clock of the run
    required, optional : our names of the columns; any order, no others unless the form says so
    form : how the log is written
    told : is given the bytes read so far
    """

    def __init__(
        self,
        path: Path | str,
        *,
        start: dt.datetime | RunClock,
        required: Sequence[str],
        optional: Sequence[str] = (),
        form: LogForm = OWN_FORM,
        told: Callable[[int], None] | None = None,
    ) -> None:
        self.name = str(path)
        self.required = tuple(required)
        self.known = (*required, *optional)
        self.form = form
        clock = start if isinstance(start, RunClock) else RunClock.of(start, 0.0)
        self._times = TimeReader(clock, form)
        self._told = told
        self._faults: list[Fault] = []
        self._untold = 0
        self._unknown: dict[tuple[str, str], list[int]] = {}
        self._choices: dict[str, Names] = {}
        self._latest = LatestTimes()
        self._late: tuple[int, str] | None = None
        self._late_rows = 0

    def add(self, line: int | None, column: str, message: str) -> None:
        """Note a fault; beyond the first twenty only their number."""
        if len(self._faults) < _FAULTS_TOLD:
            self._faults.append(Fault(self.name, line, self._theirs(column), message))
        else:
            self._untold += 1

    def add_rows(
        self, batch: Batch, is_bad: NDArray[np.bool_], column: str, message: Callable[[int], str]
    ) -> None:
        """Note a fault for every bad row of a batch.

        Parameters
        ----------
        is_bad : by row (n,)
        message : row of the batch to its sentence
        """
        bad = np.flatnonzero(is_bad)
        told = bad[: max(0, _FAULTS_TOLD - len(self._faults))].tolist()
        for row in told:
            self.add(int(batch.line[row]), column, message(row))
        self._untold += len(bad) - len(told)

    def finish(self) -> None:
        """Raise all faults found, in the order of lines.

        Raises
        ------
        InputError : there is any
        """
        if self._late is not None:
            count = f"{self._late_rows:,} such rows" if self._late_rows > 1 else "the only such row"
            message = f"is earlier than the row before it ({count}); sort the log, or use --sort"
            self.add(*self._late, message)
            self._late = None
        for (column, name), (line, rows_of) in self._unknown.items():
            is_told = len(self._faults) < _FAULTS_TOLD
            near = nearest_text(name, self._choices[column].known) if is_told else ""
            rows = f" ({rows_of:,} rows)" if rows_of > 1 else ""
            self.add(line, column, f'there is no {column} "{printable(name)}"{rows}{near}')
        self._unknown = {}
        if not self._faults:
            return
        faults = sorted(self._faults, key=lambda fault: fault.line or 0)
        if self._untold:
            more = f"{self._untold:,} more fault{'s' * (self._untold != 1)}"
            faults.append(Fault(self.name, None, "", more))
        raise InputError(faults)

    def stop(self, line: int | None, message: str) -> NoReturn:
        """Raise a fault that makes the rest unreadable, with those found before it."""
        if len(self._faults) == _FAULTS_TOLD:
            self._faults.pop()
            self._untold += 1
        self.add(line, "", message)
        self.finish()
        raise AssertionError("finish raises where there is a fault")

    def header(self) -> list[str]:
        """Return the names of the file's columns, not checked.

        Raises
        ------
        InputError : the file is not there, or not UTF-8 text
        """
        with self._open() as file:
            return LogText(file, self.form.separator, self.stop).header()[1]

    def batches(self) -> Iterator[Batch]:
        """Yield the rows as text.

        Raises
        ------
        InputError : the file is not there, not UTF-8 text, not CSV with commas, or has another header
        """
        with self._open() as file:
            yield from self._read(LogText(file, self.form.separator, self.stop, self._told))

    def _open(self) -> BinaryIO:
        """Open the file, or say why not."""
        try:
            return Path(self.name).open("rb")
        except FileNotFoundError:
            self.stop(None, "no such file")
        except (OSError, ValueError) as error:
            self.stop(None, f"cannot be read: {getattr(error, 'strerror', None) or error}")

    def _read(self, text: LogText) -> Iterator[Batch]:
        """Check the header, then yield the rows of its width."""
        line, header = text.header()
        if not header:
            self.stop(None, f"is empty; expected a header: {self._expected()}")
        kept = self._check_header(header, line)
        is_empty = True
        for rows in text.blocks(len(header)):
            for number, row in rows.ragged:
                self.add(number, "", ragged_fault(row, len(header)))
            is_empty &= not len(rows.line) and not rows.ragged
            if len(rows.line):
                columns = {column: rows.columns[place] for column, place in kept.items()}
                yield Batch(rows.line, columns)
        if is_empty:
            names = self.form.separator.join(map(printable, header))
            self.stop(None, f"has a header but no rows; expected rows of {names}")

    def _theirs(self, column: str) -> str:
        """Return what the file calls one of our columns."""
        return self.form.columns.get(column, column)

    def _expected(self) -> str:
        """Return the header that is needed, as the file would write it."""
        return self.form.separator.join(map(self._theirs, self.required))

    def _check_header(self, header: Sequence[str], line: int) -> dict[str, int]:
        """Refuse a header with other columns than the log's; return where each of ours stands."""
        expected = f"expected header: {self._expected()}"
        only = header[0] if len(header) == 1 else ""
        for sign, name in ((";", "semicolons"), ("\t", "tabs"), (",", "commas")):
            if sign in only and sign != self.form.separator:
                own = _SIGNS[self.form.separator]
                self.stop(line, f"the columns are separated by {name}; use {own}; {expected}")
        known = {self._theirs(column): column for column in self.known}
        meant = {column: find_nearest(column.strip(), known) for column in header}
        if not any(meant.values()):
            self.stop(line, f"the first line is not the header; {expected}")
        for number, column in enumerate(header):
            if column in header[:number] and (column in known or not self.form.ignores_others):
                self.add(line, printable(column), "the column stands more than once in the header")
            elif column not in known and not self.form.ignores_others:
                near = f' did you mean "{meant[column]}"?' if meant[column] else ""
                message = f"unknown column;{near} Known: {','.join(known)}"
                self.add(line, f'"{printable(column)}"', message)
        for column in self.required:
            theirs = self._theirs(column)
            unknown = [meant[name] for name in header if name not in known]
            is_misspelt = not self.form.ignores_others and theirs in unknown
            if theirs not in header and not is_misspelt:
                near = nearest_text(theirs, header) if self.form.ignores_others else ""
                self.add(line, theirs, f"the column is missing; {expected}{near}")
        for column, theirs in self.form.columns.items():
            if column in self.known and column not in self.required and theirs not in header:
                self.add(line, theirs, f"the columns file names it for {column}; the log has no such column")
        self.finish()
        return {known[column]: place for place, column in enumerate(header) if column in known}

    def to_numbers(self, batch: Batch, column: str) -> FloatColumn:
        """Return a column of numbers; nan where a cell is empty or the column absent (n,)."""
        texts = batch.columns.get(column)
        if texts is None:
            return np.full(len(batch), np.nan)
        values, faults = read_numbers(texts, self.form.decimal)
        if faults:
            is_bad = np.zeros(len(batch), dtype=bool)
            is_bad[faults] = True
            self.add_rows(batch, is_bad, column, lambda row: number_fault(texts[row]))
        factor = self.form.factors.get(column, 1.0)
        return (values if factor == 1.0 else values * factor) + 0.0  # no negative zero

    def to_times(self, batch: Batch, column: str) -> Times:
        """Return a column of times that the log has; what cannot be read becomes a fault and nan."""
        texts = batch.columns[column]
        times = self._times.read(texts, self.form.factors.get(column, 1.0))
        if times.faults:
            is_bad = np.zeros(len(batch), dtype=bool)
            is_bad[list(times.faults)] = True
            self.add_rows(batch, is_bad, column, times.faults.__getitem__)
        return times

    def to_seconds(self, batch: Batch, column: str) -> FloatColumn:
        """Return a column of times in seconds from the start; nan where empty [s] (n,).

        All times of a file are of one kind, see `logs/times`; the first one decides.
        """
        return self.to_times(batch, column).seconds + 0.0

    def find_index(self, batch: Batch, column: str, names: Sequence[str]) -> IntColumn:
        """Return positions in a list of names, the same for all batches; -1 for unknown ones (n,)."""
        known = self._choices.get(column)
        if known is None:
            known = self._choices[column] = Names(names)
        return known.of(batch.columns[column])

    def to_index(self, batch: Batch, column: str, names: Sequence[str]) -> IntColumn:
        """Return positions in a list of names, -1 for unknown ones, which become faults at `finish` (n,)."""
        texts, index = batch.columns[column], self.find_index(batch, column, names)
        for row in np.flatnonzero(index < 0).tolist():
            self._unknown.setdefault((column, texts[row]), [int(batch.line[row]), 0])[1] += 1
        return index

    def refuse_missing(self, batch: Batch, columns: Iterable[str]) -> None:
        """Note empty cells where a value is needed."""
        for column in columns:
            is_empty = empty_cells(batch.columns[column])
            self.add_rows(batch, is_empty, column, lambda _: "is empty; a value is needed in every row")

    def check_in_run(self, batch: Batch, column: str, time: FloatColumn, end_s: float) -> None:
        """Note times outside [0, end)."""
        texts = batch.columns[column]
        self.add_rows(
            batch,
            (time < 0.0) | (time >= end_s),
            column,
            lambda row: (
                f"{printable(texts[row])} ({time[row]:.10g} s) lies outside the run; "
                f"allowed: from 0 to below {end_s:.10g} [s from the start]"
            ),
        )

    def check_pair(
        self, batch: Batch, column: str, other: str, is_bad: NDArray[np.bool_], allowed: str
    ) -> None:
        """Note times that do not fit to those of another column."""
        texts, others = batch.columns.get(column, ()), batch.columns[other]
        self.add_rows(
            batch,
            is_bad,
            column,
            lambda row: f"{texts[row]} where {other} is {others[row]}; allowed: {allowed}",
        )

    def check_order(self, group: IntColumn, time: FloatColumn, line: IntColumn, column: str) -> None:
        """Note, for `finish`, that rows are earlier than the one before them in their group.

        Parameters
        ----------
        group, time, line : of the next rows, in the order of the file; rows at fault have -1 or nan (n,)
        """
        is_known = (group >= 0) & ~np.isnan(time)
        late = line[is_known][self._latest.steps_back(group[is_known], time[is_known])]
        if len(late):
            self._late = self._late or (int(late.min()), column)
            self._late_rows += len(late)
