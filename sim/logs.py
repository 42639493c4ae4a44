"""A strict reader of CSV logs: every column as text first, then numbers, times and names by our own rules.

Comes in: a CSV file.  Goes out: batches of rows and checked columns; nothing is guessed, converted or
left out in silence.  The ground: `sensing/logs` and `traffic/logs` say which columns they want.
The form of CSV is that of RFC 4180 with a header, in UTF-8, with commas, a row on a line.
"""

from __future__ import annotations

import csv
import datetime as dt
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO, NoReturn

import numpy as np
from numpy.typing import NDArray

from sim.errors import Fault, InputError
from sim.log_values import (
    fast_numbers,
    is_stamp,
    number_fault,
    parse_number,
    parse_stamp,
    ragged_fault,
    time_fault,
)
from sim.records import FloatColumn, IntColumn
from sim.wording import find_nearest, nearest_text, printable

__all__ = ["Batch", "Log"]

_BATCH_ROWS = 100_000
_LONGEST_LINE = 65_536
_FAULTS_TOLD = 20


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
    start : local date-time of second 0, for columns of date-times
    required, optional : names of the columns; any order, no others
    """

    def __init__(
        self, path: Path | str, *, start: dt.datetime, required: Sequence[str], optional: Sequence[str] = ()
    ) -> None:
        self.name = str(path)
        self.required = tuple(required)
        self.known = (*required, *optional)
        self._start = start
        self._is_seconds: bool | None = None
        self._faults: list[Fault] = []
        self._untold = 0
        self._unknown: dict[tuple[str, str], list[int]] = {}
        self._choices: dict[str, Sequence[str]] = {}

    def add(self, line: int | None, column: str, message: str) -> None:
        """Note a fault; beyond the first twenty only their number."""
        if len(self._faults) < _FAULTS_TOLD:
            self._faults.append(Fault(self.name, line, column, message))
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
        for (column, name), (line, count) in self._unknown.items():
            is_told = len(self._faults) < _FAULTS_TOLD
            near = nearest_text(name, self._choices[column]) if is_told else ""
            rows = f" ({count:,} rows)" if count > 1 else ""
            self.add(line, column, f'there is no {column} "{printable(name)}"{rows}{near}')
        self._unknown = {}
        if not self._faults:
            return
        faults = sorted(self._faults, key=lambda fault: fault.line or 0)
        if self._untold:
            faults.append(Fault(self.name, None, "", f"{self._untold:,} more faults"))
        raise InputError(faults)

    def stop(self, line: int | None, message: str) -> NoReturn:
        """Raise a fault that makes the rest unreadable, with those found before it."""
        if len(self._faults) == _FAULTS_TOLD:
            self._faults.pop()
            self._untold += 1
        self.add(line, "", message)
        self.finish()
        raise AssertionError("finish raises where there is a fault")

    def batches(self) -> Iterator[Batch]:
        """Yield the rows as text.

        Raises
        ------
        InputError : the file is not there, not UTF-8 text, not CSV with commas, or has another header
        """
        with self._open() as file:
            yield from self._read(self._records(file))

    def _open(self) -> BinaryIO:
        """Open the file, or say why not."""
        try:
            return Path(self.name).open("rb")
        except FileNotFoundError:
            self.stop(None, "no such file")
        except (OSError, ValueError) as error:
            self.stop(None, f"cannot be read: {getattr(error, 'strerror', None) or error}")

    def _lines(self, file: BinaryIO) -> Iterator[str]:
        """Yield decoded lines; say what the file is where it is not lines of UTF-8."""
        number = 0
        while line := file.readline(_LONGEST_LINE + 1):
            number += 1
            if number == 1:
                if line.startswith((b"\xff\xfe", b"\xfe\xff")):
                    self.stop(1, "is UTF-16 text; save as CSV UTF-8")
                line = line.removeprefix(b"\xef\xbb\xbf")
            if b"\0" in line:
                self.stop(number, "holds a NUL byte: not text, or UTF-16; save as CSV UTF-8")
            if b"\r" in line and line.index(b"\r") < len(line.rstrip(b"\n")) - 1:
                self.stop(number, "a CR stands inside the line; save with line ends LF or CR LF")
            if len(line) > _LONGEST_LINE:
                self.stop(number, f"the line is longer than {_LONGEST_LINE:,} bytes")
            try:
                text = line.decode("utf-8")
            except UnicodeDecodeError as error:
                self.stop(number, f"byte 0x{line[error.start]:02X} is not UTF-8; save as CSV UTF-8")
            yield text

    def _records(self, file: BinaryIO) -> Iterator[tuple[int, list[str]]]:
        """Yield line number and fields of each row that is not blank."""
        reader = csv.reader(self._lines(file), strict=True)
        done = 0
        while True:
            try:
                row = next(reader, None)
            except csv.Error as error:
                if "end of data" in str(error) or "field limit" in str(error):
                    self.stop(done + 1, "a quote is left open")
                self.stop(reader.line_num, f"is not CSV: {error}")
            if row is None:
                return
            if reader.line_num > done + 1:
                self.stop(done + 1, "a quote is left open: a field runs over the end of the line")
            done = reader.line_num
            if row:
                yield done, row

    def _read(self, records: Iterator[tuple[int, list[str]]]) -> Iterator[Batch]:
        """Check the header, then gather rows of its width."""
        line, header = next(records, (1, []))
        if not header:
            self.stop(None, f"is empty; expected a header: {','.join(self.required)}")
        self._check_header(header, line)
        rows: list[list[str]] = []
        lines: list[int] = []
        is_empty = True
        for line, row in records:
            is_empty = False
            if len(row) != len(header):
                self.add(line, "", ragged_fault(row, len(header)))
                continue
            rows.append(row)
            lines.append(line)
            if len(rows) == _BATCH_ROWS:
                yield _batch(header, rows, lines)
                rows, lines = [], []
        if is_empty:
            self.stop(None, f"has a header but no rows; expected rows of {','.join(header)}")
        if rows:
            yield _batch(header, rows, lines)

    def _check_header(self, header: Sequence[str], line: int) -> None:
        """Refuse a header with other columns than the log's."""
        expected = f"expected header: {','.join(self.required)}"
        only = header[0] if len(header) == 1 else ""
        for sign, name in ((";", "semicolons"), ("\t", "tabs")):
            if sign in only:
                self.stop(line, f"the columns are separated by {name}; use commas; {expected}")
        meant = {column: find_nearest(column.strip(), self.known) for column in header}
        if not any(meant.values()):
            self.stop(line, f"the first line is not the header; {expected}")
        for number, column in enumerate(header):
            if column in header[:number]:
                self.add(line, printable(column), "the column stands more than once in the header")
            elif column not in self.known:
                near = f' did you mean "{meant[column]}"?' if meant[column] else ""
                message = f"unknown column;{near} Known: {','.join(self.known)}"
                self.add(line, f'"{printable(column)}"', message)
        for column in self.required:
            if column not in header and column not in meant.values():
                self.add(line, column, f"the column is missing; {expected}")
        self.finish()

    def to_numbers(self, batch: Batch, column: str) -> FloatColumn:
        """Return a column of numbers; nan where a cell is empty or the column absent (n,)."""
        return self._convert(batch, column, parse_number, number_fault)

    def to_seconds(self, batch: Batch, column: str) -> FloatColumn:
        """Return a column of times in seconds from the start; nan where empty or absent (n,).

        All times of a file are of one kind, seconds or ISO 8601 local date-times; the first one decides.
        """
        if self._is_seconds is None:
            first = next((text for text in batch.columns.get(column, ()) if text), "")
            self._is_seconds = not is_stamp(first)
        is_seconds = self._is_seconds
        return self._convert(
            batch,
            column,
            parse_number if is_seconds else lambda text: parse_stamp(text, self._start),
            lambda text: time_fault(text, is_seconds),
        )

    def _convert(
        self, batch: Batch, column: str, parse: Callable[[str], float | None], fault: Callable[[str], str]
    ) -> FloatColumn:
        """Turn texts into doubles; what cannot be parsed becomes a fault and nan."""
        texts = batch.columns.get(column)
        if texts is None:
            return np.full(len(batch), np.nan)
        values = fast_numbers(texts) if parse is parse_number else None
        if values is None:
            parsed = [parse(text) if text else np.nan for text in texts]
            is_bad = np.array([value is None for value in parsed], dtype=bool)
            self.add_rows(batch, is_bad, column, lambda row: fault(texts[row]))
            values = np.array([np.nan if value is None else value for value in parsed], dtype=np.float64)
        return values + 0.0  # no negative zero

    def to_index(self, batch: Batch, column: str, names: Sequence[str]) -> IntColumn:
        """Return positions in a list of names, -1 for unknown ones, which become faults at `finish` (n,)."""
        self._choices[column] = names
        places = {name: place for place, name in enumerate(names)}
        texts = batch.columns[column]
        index = np.array([places.get(text, -1) for text in texts], dtype=np.int64)
        for row in np.flatnonzero(index < 0).tolist():
            self._unknown.setdefault((column, texts[row]), [int(batch.line[row]), 0])[1] += 1
        return index

    def refuse_missing(self, batch: Batch, columns: Iterable[str]) -> None:
        """Note empty cells where a value is needed."""
        for column in columns:
            is_empty = np.array([not text for text in batch.columns[column]], dtype=bool)
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
        """Note that rows are earlier than the one before them in their group.

        Parameters
        ----------
        group, time, line : of all rows, in the order of the file; rows at fault have -1 or nan (n,)
        """
        is_known = (group >= 0) & ~np.isnan(time)
        group, time, line = group[is_known], time[is_known], line[is_known]
        order = np.argsort(group, kind="stable")
        is_back = (np.diff(time[order]) < 0.0) & (np.diff(group[order]) == 0)
        late = order[1:][is_back]
        if len(late):
            count = f"{len(late):,} such rows" if len(late) > 1 else "the only such row"
            message = f"is earlier than the row before it ({count}); sort the log, or use --sort"
            self.add(int(line[late].min()), column, message)


def _batch(header: Sequence[str], rows: list[list[str]], lines: list[int]) -> Batch:
    """Turn rows into columns."""
    columns = dict(zip(header, zip(*rows, strict=True), strict=True))
    return Batch(np.array(lines, dtype=np.int64), columns)
