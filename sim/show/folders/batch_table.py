"""The table of a study: a row per point and replication, as CSV or Parquet.

Comes in: a `Batch` and its open store.  Goes out: results.csv or results.parquet in the store.  Before:
`study/batch/run`, `study/batch/store`; after: `commands/study`.

Columns: `point` (number in the order of the study), `key` (of its content), the factors as given,
`replication`, the outcomes.  No times and no durations, so that equal studies give equal bytes.  A row that
failed, or is not there yet, has empty figures.
"""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any

import numpy as np

from sim.show.folders.sweep import need_parquet
from sim.show.folders.whole import number_text
from sim.study.batch.files import whole_file
from sim.study.batch.points import Batch
from sim.study.batch.run import KEY_DIGITS
from sim.study.batch.store import Store
from sim.study.sweeping.values import value_text

__all__ = ["table_header", "table_line", "table_row", "write_table"]

_PIECE = 20_000
"""Rows of a Parquet file written at once."""


def table_header(batch: Batch) -> list[str]:
    """Return the names of the columns."""
    return ["point", "key", *batch.keys, "replication", *batch.study.outcomes]


def table_row(batch: Batch, point: int, replication: int, figures: Mapping[str, float]) -> list[str]:
    """Return one row as texts; figures that are not there stay empty."""
    words = [value_text(value) for value in batch.points[point]]
    numbers = [number_text(figures.get(name, math.nan)) for name in batch.study.outcomes]
    return [str(point), batch.hashes[point][:KEY_DIGITS], *words, str(replication), *numbers]


def table_line(cells: Sequence[str]) -> str:
    """Return a row as it stands in a CSV file, without the line's end."""
    text = io.StringIO()
    csv.writer(text, lineterminator="").writerow(cells)
    return text.getvalue()


def _rows(batch: Batch, store: Store) -> Iterator[tuple[int, int, Mapping[str, float]]]:
    """Yield point, replication and figures in the order of the table."""
    for point, key in enumerate(batch.hashes):
        known = store.figures(key)
        for replication in range(batch.replications[batch.site_of[point]]):
            yield point, replication, known.get(replication, {})


def write_table(batch: Batch, store: Store, folder: Path, form: str) -> tuple[Path, int]:
    """Write the whole table, or leave the old one.

    Parameters
    ----------
    batch, store : the study and its figures
    folder : where to
    form : "csv" or "parquet"

    Returns
    -------
    the file, and how many of its rows lack figures

    Raises
    ------
    InputError : Parquet cannot be written
    MachineError : the disk refused; an earlier table is untouched
    """
    if form == "parquet":
        need_parquet()
    path = folder / f"results.{form}"
    lacking = 0

    def counted() -> Iterator[tuple[int, int, Mapping[str, float]]]:
        nonlocal lacking
        for point, replication, figures in _rows(batch, store):
            lacking += any(name not in figures for name in batch.study.outcomes)
            yield point, replication, figures

    with whole_file(path) as temporary:
        if form == "parquet":
            _write_parquet(batch, counted(), temporary)
        else:
            with temporary.open("w", encoding="utf-8", newline="") as file:
                writer = csv.writer(file, lineterminator="\n")
                writer.writerow(table_header(batch))
                writer.writerows(table_row(batch, *row) for row in counted())
    return path, lacking


def _write_parquet(batch: Batch, rows: Iterator[tuple[int, int, Mapping[str, float]]], path: Path) -> None:
    """Write the same columns as Parquet: figures and numbers as doubles, all else as text."""
    import pyarrow as pa
    import pyarrow.parquet as pq

    is_number = [_is_numeric([point[place] for point in batch.points]) for place in range(len(batch.keys))]
    kinds = [pa.float64() if one else pa.string() for one in is_number]
    schema = pa.schema(
        [
            ("point", pa.int64()),
            ("key", pa.string()),
            *zip(batch.keys, kinds, strict=True),
            ("replication", pa.int64()),
            *((name, pa.float64()) for name in batch.study.outcomes),
        ]
    )

    def columns(piece: Sequence[tuple[int, int, Mapping[str, float]]]) -> list[Any]:
        points = [point for point, _, _ in piece]
        own = []
        for place, one in enumerate(is_number):
            values = [batch.points[point][place] for point in points]
            own.append([float(value) for value in values] if one else [value_text(v) for v in values])  # type: ignore[arg-type]
        return [
            points,
            [batch.hashes[point][:KEY_DIGITS] for point in points],
            *own,
            [replication for _, replication, _ in piece],
            *(np.array([row[2].get(name, math.nan) for row in piece]) for name in batch.study.outcomes),
        ]

    with pq.ParquetWriter(path, schema) as writer:
        piece: list[tuple[int, int, Mapping[str, float]]] = []
        for row in rows:
            piece.append(row)
            if len(piece) == _PIECE:
                writer.write_table(pa.table(columns(piece), schema=schema))
                piece = []
        writer.write_table(pa.table(columns(piece), schema=schema))


def _is_numeric(values: Sequence[Any]) -> bool:
    """Say whether every value is a number."""
    return all(isinstance(value, int | float) and not isinstance(value, bool) for value in values)
