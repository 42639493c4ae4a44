"""Numbers as a log writes them: strict, and exact to the digits given.

Comes in: texts of cells.  Goes out: doubles, or None for what is no such value, and why.  The ground: used
by `logs/reader` and `logs/times`.
"""

from __future__ import annotations

import itertools
import math
import re
from collections.abc import Sequence

import numpy as np

from sim.logs.cells import Cells
from sim.records import FloatColumn
from sim.wording import printable

__all__ = [
    "fast_numbers",
    "number_fault",
    "parse_number",
    "ragged_fault",
    "read_numbers",
    "slip_text",
    "with_points",
]

_NUMBER = re.compile(r"[+-]?([0-9]+\.?[0-9]*|\.[0-9]+)([eE][+-]?[0-9]+)?")
_NUMBER_LETTERS = b"0123456789+-.eE"
_DECIMAL_COMMA = re.compile(r"\s*[+-]?[0-9]+,[0-9]+\s*")


def read_numbers(texts: Sequence[str], point: str = ".") -> tuple[FloatColumn, list[int]]:
    """Return a column of finite numbers, nan for empty cells and for rows at fault, and which those are.

    Parameters
    ----------
    texts : of one column (n,)
    point : decimal sign, point or comma

    Examples
    --------
    >>> values, faults = read_numbers(["1.5", "", "x", "2e3"])
    >>> values.tolist(), faults
    ([1.5, nan, nan, 2000.0], [2])
    """
    if not isinstance(texts, Cells):
        return _read_texts(texts, point)
    values, is_odd = texts.numbers(point)
    odd = np.flatnonzero(is_odd)
    if not len(odd):
        return values, []
    values[odd], faults = _read_texts(list(texts.take(odd)), point)
    return values, odd[faults].tolist()


def _read_texts(texts: Sequence[str], point: str) -> tuple[FloatColumn, list[int]]:
    """Read numbers text by text where they are not all plain."""
    plain = with_points(texts) if point == "," else texts
    values = fast_numbers(plain)
    if values is not None:
        return values, []
    parsed = [parse_number(text) if text else math.nan for text in plain]
    faults = [row for row, value in enumerate(parsed) if value is None]
    return np.array([math.nan if value is None else value for value in parsed], dtype=np.float64), faults


def fast_numbers(texts: Sequence[str]) -> FloatColumn | None:
    """Return a column of plain finite numbers, nan for empty cells; None if any cell is something else.

    Examples
    --------
    >>> fast_numbers(["1.5", "2e3"]).tolist(), fast_numbers(["1_0"])
    ([1.5, 2000.0], None)
    """
    joined = "".join(texts)
    if not joined.isascii() or joined.encode("ascii").translate(None, _NUMBER_LETTERS):
        return None
    try:
        if "" in texts:
            values = np.array([float(text) if text else math.nan for text in texts], dtype=np.float64)
        else:
            values = np.fromiter(map(float, texts), dtype=np.float64, count=len(texts))
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


def with_points(texts: Sequence[str]) -> list[str]:
    """Return numbers that are written with decimal commas as with points; one with a point is made no number.

    Examples
    --------
    >>> with_points(["1,5", "2", "1.500"])
    ['1.5', '2', '.1.500']
    """
    return [f".{text}" if "." in text else text.replace(",", ".") for text in texts]


def number_fault(text: str) -> str:
    """Say why a text is not a number."""
    return f'"{printable(text)}" is not a finite number{slip_text(text)}'


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


def slip_text(text: str) -> str:
    """Return a hint for the mistakes that people and spreadsheets make."""
    if _DECIMAL_COMMA.fullmatch(text):
        return "; write decimals with a point"
    return "; spaces stand around it" if text != text.strip() else ""
