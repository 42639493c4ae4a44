"""A folder of results is written whole or not at all; what every such folder shares.

Comes in: a function that fills a folder.  Goes out: the folder, or a message and nothing.  Used by
`show/folders/run`, `show/folders/sweep`, `show/folders/recommend`.  Everything is first written to a hidden
folder beside the target, which is then renamed.  Numbers are the shortest text that reads back the same
double.
"""

from __future__ import annotations

import csv
import glob
import math
import os
import shutil
import tempfile
import time
from collections.abc import Callable, Iterable, Mapping, Sequence
from itertools import chain
from pathlib import Path
from typing import Any

import numpy as np

from sim.errors import InputError, MachineError
from sim.show.as_json.text import json_text

__all__ = [
    "MARK",
    "number_text",
    "put_text",
    "refuse_existing",
    "texts",
    "write_columns",
    "write_folder",
    "write_json",
    "write_long",
    "write_rows",
]

MARK = "summary.json"
"""The file by which a results folder is recognised."""

_ROWS_AT_ONCE = 1 << 16
_UNFINISHED_AFTER_S = 86_400.0
_REPLACED_AFTER_S = 60.0
"""Moving one folder away and another to its place takes less than this, whatever the disk."""


def number_text(value: float) -> str:
    """Return the shortest text that reads back the same double; nothing for an unknown value.

    >>> number_text(12.0), number_text(0.1), number_text(float("nan"))
    ('12', '0.1', '')
    """
    if math.isnan(value):
        return ""
    return str(int(value)) if value.is_integer() and abs(value) < 1e15 else repr(float(value))


def texts(column: np.ndarray[Any, Any]) -> list[str]:
    """Turn a column of numbers into texts."""
    return [number_text(value) for value in column.astype(np.float64).tolist()]


def put_text(path: Path, text: str) -> None:
    """Write a text file, alike on every system."""
    path.write_text(text, encoding="utf-8", newline="\n")


def write_json(path: Path, content: Any) -> None:
    """Write plain values as JSON."""
    put_text(path, json_text(content))


def write_rows(path: Path, header: Sequence[str], rows: Iterable[Sequence[str]]) -> None:
    """Write a CSV file with one kind of line end on every system."""
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.writer(file, lineterminator="\n")
        writer.writerow(header)
        writer.writerows(rows)


def write_columns(path: Path, columns: Mapping[str, Sequence[str]]) -> None:
    """Write columns of texts, all of one length."""
    write_rows(path, list(columns), zip(*columns.values(), strict=True))


def write_long(path: Path, count: int, columns: Callable[[slice], Mapping[str, Sequence[str]]]) -> None:
    """Write columns of any length; only some of their rows are texts at once.

    Parameters
    ----------
    path : CSV file
    count : of the rows
    columns : some of the rows to texts by column
    """
    pieces = (columns(slice(first, first + _ROWS_AT_ONCE)) for first in range(0, count, _ROWS_AT_ONCE))
    rows = chain.from_iterable(zip(*piece.values(), strict=True) for piece in pieces)
    write_rows(path, list(columns(slice(0, 0))), rows)


def refuse_existing(out: Path, *, force: bool) -> None:
    """Stop before any work where the results could not be put down.

    Raises
    ------
    InputError : the folder exists (without force), or is not one of ours (with force)
    """
    if out.is_symlink():
        raise InputError(f"{out}: is a link; give a real folder")
    if not out.exists():
        return
    if not force:
        raise InputError(f"{out}: exists already; choose another --out, or --force to replace it")
    if not (out.is_dir() and (out / MARK).is_file()):
        raise InputError(f"{out}: is not a results folder (no {MARK}); it is not replaced")


def _clear_leftovers(out: Path) -> None:
    """Take up what a killed run left beside a folder: its unfinished work goes, what it replaced comes back.

    Only what is old enough that nobody can still be at it.
    """
    now = time.time()
    for place in out.parent.glob(f".{glob.escape(out.name)}.*"):
        age_s = now - place.stat().st_mtime
        if place.suffix == ".partial" and age_s > _UNFINISHED_AFTER_S:
            shutil.rmtree(place, ignore_errors=True)
        elif place.suffix == ".old" and age_s > _REPLACED_AFTER_S:
            if (place / out.name).is_dir() and not out.exists():
                os.replace(place / out.name, out)
            shutil.rmtree(place, ignore_errors=True)


def write_folder(out: Path, fill: Callable[[Path], None], *, force: bool = False) -> None:
    """Make a results folder, whole or not at all.

    Parameters
    ----------
    out : the folder to make
    fill : writes every file into the folder it is given, `MARK` among them
    force : replace an earlier results folder

    Raises
    ------
    InputError : see `refuse_existing`
    MachineError : the disk refused; what was there before is untouched
    """
    partial: Path | None = None
    try:
        out.parent.mkdir(parents=True, exist_ok=True)
        _clear_leftovers(out)
        refuse_existing(out, force=force)
        partial = Path(tempfile.mkdtemp(prefix=f".{out.name}.", suffix=".partial", dir=out.parent))
        fill(partial)
        partial.chmod(0o755)
        if out.exists():
            old = Path(tempfile.mkdtemp(prefix=f".{out.name}.", suffix=".old", dir=out.parent))
            os.replace(out, old / out.name)
            os.replace(partial, out)
            shutil.rmtree(old, ignore_errors=True)
        else:
            os.replace(partial, out)
    except OSError as error:
        raise MachineError(_disk_words(out, error)) from error
    finally:
        if partial is not None and partial.exists():
            shutil.rmtree(partial, ignore_errors=True)


def _disk_words(out: Path, error: OSError) -> str:
    """Say what the disk refused, with the room that is left."""
    place = out.parent if out.parent.is_dir() else Path.cwd()
    free = shutil.disk_usage(place).free
    return f"{out}: {error.strerror or error}; nothing was written there; free space {free / 1e6:,.1f} MB"
