"""A list of aisles from a spreadsheet, read strictly: one row an aisle, from the dock corner.

Comes in: a CSV file with the columns name, length [m] and, where it has them, luminaires, watts [W of one],
circuit, zone.  Goes out: `AisleRow`, or every fault with its line.  Before: `sim/logs`, whose form of CSV it
is; after: `scenario/questions`.  A column that is there is filled in every row; circuit and zone may have
gaps.
"""

from __future__ import annotations

import datetime as dt
import re
from pathlib import Path

import numpy as np

from sim.logs.reader import Batch, Log
from sim.records import FloatColumn
from sim.scenario.questions import QUESTIONS, AisleRow
from sim.scenario.schema import NAME_PATTERN
from sim.wording import printable

__all__ = ["read_aisle_list"]

_NAME = re.compile(NAME_PATTERN)
_LONGEST_NAME = 60
_NEEDED, _OPTIONAL = ("name", "length"), ("luminaires", "watts", "circuit", "zone")
_QUESTION = {"length": "aisle_length_m", "luminaires": "per_aisle", "watts": "full_w"}
_BY_KEY = {question.key: question for question in QUESTIONS}
_MOST_AISLES = int(_BY_KEY["aisles"].most or 0)


def read_aisle_list(path: Path | str) -> tuple[AisleRow, ...]:
    """Read a list of aisles.

    Parameters
    ----------
    path : CSV in UTF-8 with commas and decimal points; columns in any order

    Returns
    -------
    the aisles, in the order of the file

    Raises
    ------
    InputError : the file is no such list; names that stand twice, numbers out of range, empty cells: all
        faults together, up to twenty of them
    """
    log = Log(path, start=dt.datetime(2000, 1, 1), required=_NEEDED, optional=_OPTIONAL)
    rows: list[AisleRow] = []
    seen: dict[str, int] = {}
    for batch in log.batches():
        if len(rows) + len(batch) > _MOST_AISLES:
            log.stop(None, f"has more than {_MOST_AISLES:,} aisles")
        log.refuse_missing(batch, (column for column in ("name", *_QUESTION) if column in batch.columns))
        _check_names(log, batch, seen)
        for column in ("circuit", "zone"):
            _check_words(log, batch, column)
        numbers = {column: _read_numbers(log, batch, column) for column in _QUESTION}
        blank = [""] * len(batch)
        for row, name in enumerate(batch.columns["name"]):
            count, watts = float(numbers["luminaires"][row]), float(numbers["watts"][row])
            rows.append(
                AisleRow(
                    name=name,
                    length_m=float(numbers["length"][row]),
                    luminaires=None if np.isnan(count) else int(count),
                    watts=None if np.isnan(watts) else watts,
                    circuit=batch.columns.get("circuit", blank)[row],
                    zone=batch.columns.get("zone", blank)[row],
                )
            )
    log.finish()
    return tuple(rows)


def _check_names(log: Log, batch: Batch, seen: dict[str, int]) -> None:
    """Note names that no scenario may have, and those that stand twice."""
    for line, name in zip(batch.line.tolist(), batch.columns["name"], strict=True):
        if name and (not _NAME.fullmatch(name) or len(name) > _LONGEST_NAME):
            log.add(
                line, "name",
                f'"{printable(name)}" is no name; allowed: letters, digits, blanks, _ . -, a letter or digit '
                f"first, at most {_LONGEST_NAME}",
            )
        elif name in seen and name:
            log.add(line, "name", f'"{printable(name)}" stands in line {seen[name]} already')
        seen.setdefault(name, line)


def _check_words(log: Log, batch: Batch, column: str) -> None:
    """Note texts that a comment in a file cannot hold."""
    for line, text in zip(batch.line.tolist(), batch.columns.get(column, ()), strict=False):
        if not text.isprintable() or len(text) > _LONGEST_NAME:
            shown = printable(text)
            log.add(line, column, f'"{shown}" is not allowed; allowed: at most {_LONGEST_NAME} characters')


def _read_numbers(log: Log, batch: Batch, column: str) -> FloatColumn:
    """Return a column of numbers in their range, nan where it is absent or at fault (n,)."""
    question = _BY_KEY[_QUESTION[column]]
    texts, values = batch.columns.get(column), log.to_numbers(batch, column)
    if texts is None or question.least is None or question.most is None:
        return values
    is_out = (values < question.least) | (values > question.most)
    if question.is_whole:
        is_out |= ~np.isnan(values) & (values != np.round(values))
    log.add_rows(
        batch, is_out, column, lambda row: f"{printable(texts[row])} is out; allowed: {question.range_text}"
    )
    return np.where(is_out, np.nan, values)
