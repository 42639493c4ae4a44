"""The bytes of a log as rows of text: strict CSV, block by block, in bounded memory.

Comes in: an open file.  Goes out: the header, then blocks of columns of text.  The ground: used by
`logs/reader`. A block without quotes and with nothing odd in it is cut by its separators in one go; any other
block is read line by line by the standard library's CSV reader, which also finds the words for what is wrong.
Both ways give the same rows.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from typing import BinaryIO, NoReturn

import numpy as np

from sim.logs.cells import PAD, Cells
from sim.records import IntColumn

__all__ = ["LONGEST_LINE", "LogText", "Rows"]

LONGEST_LINE = 65_536
_BLOCK_BYTES = 1_000_000

Stop = Callable[[int | None, str], NoReturn]


@dataclass(frozen=True)
class Rows:
    """Some rows of the header's width.

    Attributes
    ----------
    line : line number of each row (n,)
    columns : texts by column (w, n each)
    ragged : line and fields of rows of another width
    """

    line: IntColumn
    columns: Sequence[Sequence[str]]
    ragged: Sequence[tuple[int, list[str]]] = field(default=())


class LogText:
    """The text of one log, read once from its beginning.

    Parameters
    ----------
    file : opened in binary mode
    separator : between columns, one character
    stop : raises a fault at a line
    told : is given the bytes read so far
    """

    def __init__(
        self, file: BinaryIO, separator: str, stop: Stop, told: Callable[[int], None] | None = None
    ) -> None:
        self._file = file
        self._separator = separator
        self._stop = stop
        self._told = told or (lambda done: None)
        self._line = 0
        self._done = 0

    def header(self) -> tuple[int, list[str]]:
        """Return line number and fields of the first row that is not blank; no fields in an empty file."""
        while line := self._file.readline(LONGEST_LINE + 1):
            self._done += len(line)
            if self._line == 0:
                if line.startswith((b"\xff\xfe", b"\xfe\xff")):
                    self._stop(1, "is UTF-16 text; save as CSV UTF-8")
                line = line.removeprefix(b"\xef\xbb\xbf")
            rows = list(self._records(line))
            if rows:
                return rows[0]
        return 1, []

    def blocks(self, width: int) -> Iterator[Rows]:
        """Yield the rows after the header, in order.

        Parameters
        ----------
        width : number of columns of the header
        """
        rest = b""
        while data := self._file.read(_BLOCK_BYTES):
            self._done += len(data)
            self._told(self._done)
            data = rest + data
            cut = data.rfind(b"\n") + 1
            rest = data[cut:]
            if cut:
                yield self._rows(data[:cut], width)
            if len(rest) > LONGEST_LINE:
                self._stop(self._line + 1, _too_long())
        if rest:
            yield self._rows(rest, width)

    def _rows(self, data: bytes, width: int) -> Rows:
        """Cut whole lines into columns, the quick way where it can be sure."""
        columns = _cut(data, self._separator, width)
        if columns is not None:
            count = len(columns[0])
            line = np.arange(self._line + 1, self._line + 1 + count, dtype=np.int64)
            self._line += count
            return Rows(line, columns)
        lines: list[int] = []
        rows: list[list[str]] = []
        ragged: list[tuple[int, list[str]]] = []
        for number, row in self._records(data):
            if len(row) == width:
                rows.append(row)
                lines.append(number)
            else:
                ragged.append((number, row))
        texts = [list(column) for column in zip(*rows, strict=True)] if rows else [[] for _ in range(width)]
        return Rows(np.array(lines, dtype=np.int64), texts, ragged)

    def _lines(self, data: bytes) -> Iterator[str]:
        """Yield decoded lines; say what the file is where it is not lines of UTF-8."""
        file, number = io.BytesIO(data), self._line
        while line := file.readline(LONGEST_LINE + 1):
            number += 1
            if b"\0" in line:
                self._stop(number, "holds a NUL byte: not text, or UTF-16; save as CSV UTF-8")
            if b"\r" in line and line.index(b"\r") < len(line.rstrip(b"\n")) - 1:
                self._stop(number, "a CR stands inside the line; save with line ends LF or CR LF")
            if len(line) > LONGEST_LINE:
                self._stop(number, _too_long())
            try:
                text = line.decode("utf-8")
            except UnicodeDecodeError as error:
                self._stop(number, f"byte 0x{line[error.start]:02X} is not UTF-8; save as CSV UTF-8")
            yield text

    def _records(self, data: bytes) -> Iterator[tuple[int, list[str]]]:
        """Yield line number and fields of each row that is not blank; counts the lines."""
        reader = csv.reader(self._lines(data), strict=True, delimiter=self._separator)
        first, done = self._line, 0
        while True:
            try:
                row = next(reader, None)
            except csv.Error as error:
                if "end of data" in str(error) or "field limit" in str(error):
                    self._stop(first + done + 1, "a quote is left open")
                self._stop(first + reader.line_num, f"is not CSV: {error}")
            if row is None:
                self._line = first + reader.line_num
                return
            if reader.line_num > done + 1:
                self._stop(
                    first + done + 1, "a quote is left open: a field runs over the end of the line"
                )
            done = reader.line_num
            if row:
                yield first + done, row


def _too_long() -> str:
    """What is said of a line that cannot be one of a log."""
    return f"the line is longer than {LONGEST_LINE:,} bytes"


def _cut(data: bytes, separator: str, width: int) -> list[Cells] | None:
    """Cut lines into columns; None where a quote, a blank or ragged line or an odd byte is among them."""
    if b'"' in data or b"\0" in data:
        return None
    if b"\r" in data:
        data = data.replace(b"\r\n", b"\n")
        if b"\r" in data:
            return None
    if not data.isascii():
        try:
            data.decode("utf-8")
        except UnicodeDecodeError:
            return None
    if not data.endswith(b"\n"):
        data += b"\n"
    letters = np.frombuffer(bytes(PAD) + data + bytes(PAD), dtype=np.uint8)
    is_end = letters == ord("\n")
    at = np.flatnonzero(is_end | (letters == ord(separator)))
    if len(at) % width:
        return None
    ends = is_end[at].reshape(-1, width)
    if ends[:, :-1].any() or not ends[:, -1].all():
        return None
    stops = at.reshape(-1, width).T.copy()
    lengths = np.diff(stops[-1], prepend=PAD - 1)
    if lengths.max() > LONGEST_LINE or lengths.min() < 2:
        return None
    starts = np.concatenate([np.append(PAD, stops[-1, :-1] + 1)[None], stops[:-1] + 1])
    return [Cells(letters, start, stop) for start, stop in zip(starts, stops, strict=True)]
