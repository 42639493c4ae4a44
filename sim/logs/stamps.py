"""ISO 8601 date-times taken apart: wall clock, offset, fraction; one by one, or a whole column at once.

Comes in: texts.  Goes out: whole seconds since 1970 of the clock that wrote them.  The ground: used by
`logs/times`.  Forms: 2027-03-01T06:00, T or a blank, seconds and up to nine digits of them, Z or an offset.
"""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from sim.logs.cells import Cells
from sim.logs.clock import wall_seconds
from sim.records import IntColumn

__all__ = ["Stamp", "Stamps", "cut_stamps", "is_stamp", "parse_stamp"]

_BEGINS = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}[T ][0-9]{2}:[0-9]{2}")
_STAMP = re.compile(
    r"([0-9]{4}-[0-9]{2}-[0-9]{2})[T ]([0-9]{2}:[0-9]{2})(:[0-9]{2})?(?:[.,]([0-9]{1,9}))?"
    r"(?:(Z)|([+-])([0-9]{2}):?([0-9]{2}))?"
)
_MONTH_DAYS = np.array([0, 31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31], dtype=np.int64)
_MOST_OFFSET_H = 15


class Stamp(NamedTuple):
    """One date-time: wall clock since 1970 [s], offset [s] or None, fraction as a whole number of digits."""

    wall: int
    offset: int | None
    fraction: int
    digits: int


@dataclass(frozen=True)
class Stamps:
    """Date-times by column, as in `Stamp` (n,); what is no date-time is 1970.

    Attributes
    ----------
    wall, offset, has_offset, fraction, digits : see `Stamp`; offset 0 where there is none
    """

    wall: IntColumn
    offset: IntColumn
    has_offset: NDArray[np.bool_]
    fraction: IntColumn
    digits: IntColumn

    @classmethod
    def of(cls, stamps: Sequence[Stamp | None]) -> Stamps:
        """Gather stamps that were read one by one."""
        rows = [stamp or Stamp(0, None, 0, 0) for stamp in stamps]
        table = np.array(
            [(row.wall, row.offset or 0, row.fraction, row.digits) for row in rows], dtype=np.int64
        ).reshape(-1, 4)
        has_offset = np.array([row.offset is not None for row in rows], dtype=bool)
        return cls(table[:, 0], table[:, 1], has_offset, table[:, 2], table[:, 3])


def is_stamp(text: str) -> bool:
    """Say whether a text begins as a date-time."""
    return _BEGINS.match(text) is not None


def parse_stamp(text: str) -> Stamp | None:
    """Take one date-time apart, None if the text is none.

    Examples
    --------
    >>> parse_stamp("1970-01-02T00:00:00.25+01:00")
    Stamp(wall=86400, offset=3600, fraction=25, digits=2)
    """
    match = _STAMP.fullmatch(text)
    if match is None or (match[4] and not match[3]):
        return None
    try:
        moment = dt.datetime.fromisoformat(f"{match[1]}T{match[2]}{match[3] or ':00'}")
    except ValueError:
        return None
    offset = 0 if match[5] else None
    if match[6]:
        hours, minutes = int(match[7]), int(match[8])
        if hours > _MOST_OFFSET_H or minutes > 59:
            return None
        offset = (hours * 3600 + minutes * 60) * (-1 if match[6] == "-" else 1)
    return Stamp(wall_seconds(moment), offset, int(match[4] or 0), len(match[4] or ""))


def cut_stamps(texts: Sequence[str]) -> Stamps | None:
    """Take a column apart in one go; None unless all are of one form and right.

    Examples
    --------
    >>> cut_stamps(["1970-01-02 00:00:00", "1970-01-01 00:00:07"]).wall.tolist()
    [86400, 7]
    >>> cut_stamps(["1970-01-02 00:00:00", "1970-02-30 00:00:07"]) is None
    True
    """
    letters = _table_of(texts)
    if letters is None:
        return None
    length = letters.shape[1]
    first = _STAMP.fullmatch(texts[0])
    if first is None or not first[3]:
        return None
    sign_at = first.start(6) if first[6] else -1
    signs = [place for place in range(length) if place != sign_at and not texts[0][place].isdigit()]
    numbers = [place for place in range(length) if texts[0][place].isdigit()]
    is_alike = (letters[:, signs] == letters[0, signs]).all()
    if sign_at >= 0:
        is_alike &= np.isin(letters[:, sign_at], (43, 45)).all()
    figures = letters[:, numbers]
    if not is_alike or (figures < 48).any() or (figures > 57).any():
        return None

    def number(begin: int, end: int) -> IntColumn:
        value = np.zeros(len(letters), dtype=np.int64)
        for place in range(begin, end):
            value = value * 10 + (letters[:, place] - np.uint8(48))
        return value

    year, month, day = number(0, 4), number(5, 7), number(8, 10)
    hour, minute, second = number(11, 13), number(14, 16), number(17, 19)
    leap = (month == 2) & (year % 4 == 0) & ((year % 100 != 0) | (year % 400 == 0))
    if (year < 1).any() or (month < 1).any() or (month > 12).any() or (day < 1).any():
        return None
    if (day > _MONTH_DAYS[month] + leap).any() or any(
        (value > most).any() for value, most in ((hour, 23), (minute, 59), (second, 59))
    ):
        return None
    wall = _days(year, month, day) * 86_400 + hour * 3600 + minute * 60 + second
    nothing = np.zeros(len(letters), dtype=np.int64)
    fraction = number(*first.span(4)) if first[4] else nothing
    offset = nothing
    if first[6]:
        hours, minutes = number(*first.span(7)), number(*first.span(8))
        if (hours > _MOST_OFFSET_H).any() or (minutes > 59).any():
            return None
        sign = np.where(letters[:, sign_at] == 45, -1, 1)
        offset = (hours * 3600 + minutes * 60) * sign
    has_offset = np.full(len(letters), bool(first[5] or first[6]))
    return Stamps(wall, offset, has_offset, fraction, nothing + len(first[4] or ""))


def _table_of(texts: Sequence[str]) -> NDArray[np.uint8] | None:
    """Letters of texts of one length that a date-time may have (n, length); None where they are not."""
    length = len(texts[0]) if len(texts) else 0
    if not 19 <= length <= 40:
        return None
    if isinstance(texts, Cells):
        table = texts.table()
        return None if table is None or table.shape[1] != length else table
    joined = "".join(texts)
    if not joined.isascii() or set(map(len, texts)) != {length}:
        return None
    return np.frombuffer(joined.encode("ascii"), dtype=np.uint8).reshape(-1, length)


def _days(year: IntColumn, month: IntColumn, day: IntColumn) -> IntColumn:
    """Days since 1970 in the Gregorian calendar, counted from 1 March of year 0."""
    shifted = year - (month <= 2)
    of_year = (153 * ((month + 9) % 12) + 2) // 5 + day - 1
    days: IntColumn = 365 * shifted + shifted // 4 - shifted // 100 + shifted // 400 + of_year - 719_468
    return days
