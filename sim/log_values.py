"""Numbers and times as a log writes them: strict, and exact to the digits given.

Comes in: texts of cells.  Goes out: doubles, or None for what is no such value, and why.  The ground: used
by `logs`.
"""

from __future__ import annotations

import datetime as dt
import itertools
import math
import re
from collections.abc import Sequence

import numpy as np

from sim.records import FloatColumn
from sim.wording import printable

__all__ = [
    "fast_numbers",
    "is_stamp",
    "number_fault",
    "parse_number",
    "parse_stamp",
    "ragged_fault",
    "time_fault",
]

_NUMBER = re.compile(r"[+-]?([0-9]+\.?[0-9]*|\.[0-9]+)([eE][+-]?[0-9]+)?")
_NUMBER_LETTERS = frozenset("0123456789+-.eE")
_STAMP = re.compile(r"([0-9]{4}-[0-9]{2}-[0-9]{2})[T ]([0-9]{2}:[0-9]{2})(:[0-9]{2})?(\.[0-9]{1,9})?")
_ZONE = re.compile(r"(Z|[+-][0-9]{2}:?[0-9]{2})\s*$")
_DECIMAL_COMMA = re.compile(r"\s*[+-]?[0-9]+,[0-9]+\s*")


def fast_numbers(texts: Sequence[str]) -> FloatColumn | None:
    """Return a column of plain finite numbers, nan for empty cells; None if any cell is something else.

    Examples
    --------
    >>> fast_numbers(["1.5", "2e3"]).tolist(), fast_numbers(["1_0"])
    ([1.5, 2000.0], None)
    """
    if not _NUMBER_LETTERS.issuperset("".join(texts)):
        return None
    try:
        values = np.array([float(text) if text else math.nan for text in texts], dtype=np.float64)
    except ValueError:
        return None
    return None if np.isinf(values).any() else values


def parse_number(text: str) -> float | None:
    """Return a finite number, None if the text is none.

    Examples
    --------
    >>> parse_number("-1.5e2"), parse_number("1e400"), parse_number("nan"), parse_number(" 1")
    (-150.0, None, None, None)
    """
    value = float(text) if _NUMBER.fullmatch(text) else math.inf
    return value if math.isfinite(value) else None


def is_stamp(text: str) -> bool:
    """Say whether a text begins as a date-time."""
    return _STAMP.match(text) is not None


def parse_stamp(text: str, start: dt.datetime) -> float | None:
    """Return an ISO 8601 local date-time as seconds from the start, None if the text is none.

    Notes
    -----
    The fraction is joined to the whole seconds before they become a double, so that the value is the
    double nearest to what is written.  A day has 86,400 s.

    Examples
    --------
    >>> parse_stamp("2027-03-02T00:00:00.1", dt.datetime(2027, 3, 1)), 86400.1
    (86400.1, 86400.1)
    """
    match = _STAMP.fullmatch(text)
    if match is None or (match[4] and not match[3]):
        return None
    try:
        moment = dt.datetime.fromisoformat(f"{match[1]}T{match[2]}{match[3] or ':00'}")
    except ValueError:
        return None
    since = moment - start
    whole, fraction = since.days * 86_400 + since.seconds, match[4] or ""
    if since.microseconds or whole < 0:
        return since.total_seconds() + float(f"0{fraction}")
    return float(f"{whole}{fraction}")


def number_fault(text: str) -> str:
    """Say why a text is not a number."""
    return f'"{printable(text)}" is not a finite number{_slip(text)}'


def time_fault(text: str, is_seconds: bool) -> str:
    """Say why a text is not a time, in a log of seconds or of date-times."""
    shown = f'"{printable(text)}"'
    if is_stamp(text) and _ZONE.search(text):
        return f"{shown} has a time zone; write local time without offset or Z"
    if is_stamp(text) if is_seconds else parse_number(text) is not None:
        first = "seconds" if is_seconds else "date-times"
        return f"{shown} is of another kind than the first time of the log, {first}; use one kind"
    return f"{shown} is not a time: seconds from the start, or as 2027-03-01T06:00:00{_slip(text)}"


def ragged_fault(row: Sequence[str], width: int) -> str:
    """Say that a row has another number of fields than the header.

    Examples
    --------
    >>> ragged_fault(["A01", "0", "5", "9"], 3)
    'has 4 fields where the header has 3; a decimal comma? write decimals with a point'
    """
    message = f"has {len(row)} field{'s' * (len(row) != 1)} where the header has {width}"
    if len(row) == 1 and ";" in row[0]:
        return f"{message}; use commas, not semicolons"
    is_split = any(left.lstrip("-").isdigit() and right.isdigit() for left, right in itertools.pairwise(row))
    if len(row) > width and is_split:
        return f"{message}; a decimal comma? write decimals with a point"
    return message


def _slip(text: str) -> str:
    """Return a hint for the mistakes that people and spreadsheets make."""
    if _DECIMAL_COMMA.fullmatch(text):
        return "; write decimals with a point"
    return "; spaces stand around it" if text != text.strip() else ""
