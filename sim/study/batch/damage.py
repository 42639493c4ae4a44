"""A damaged store moved aside, and what can still be read kept.

Comes in: the folder of a store.  Goes out: a new database with every row that matches its checksum.  Before:
`study/batch/store`; after: `study/batch/run`.
"""

from __future__ import annotations

import os
import sqlite3
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from sim.errors import MachineError
from sim.study.batch.files import DATABASE, disk_fault
from sim.study.batch.store import checksum, create_database, told
from sim.wording import printable

__all__ = ["move_aside"]


def move_aside(folder: Path, reason: str, command: str) -> MachineError:
    """Replace a damaged database by what can be read of it; return what to tell.

    Parameters
    ----------
    folder : of the store, whose lock is held
    reason : what is wrong with it
    command : with which to go on

    Raises
    ------
    MachineError : the disk refused; the damaged file is still in its place
    """
    path, fresh = folder / DATABASE, folder / f"{DATABASE}.new"
    aside = _free_name(folder)
    try:
        for left in folder.glob(f"{DATABASE}.new*"):
            left.unlink()
        with told(path):
            kept = _copy(path, fresh)
        # first the log: beside a new database it must not be taken for its own
        for end in ("-wal", "-shm"):
            beside = Path(f"{path}{end}")
            if beside.exists():
                os.replace(beside, f"{aside}{end}")
        try:
            os.link(path, aside)
        except OSError:
            os.replace(path, aside)
        os.replace(fresh, path)
    except OSError as error:
        raise disk_fault(path, error) from error
    return MachineError(
        f"{path}: is damaged ({printable(reason)}); it was moved to {aside.name}, and {kept:,} of its rows "
        f"could be read and are kept. Go on with: {command}"
    )


def _free_name(folder: Path) -> Path:
    """Return a name for the damaged file that is not taken."""
    aside, number = folder / f"{DATABASE}.corrupt", 1
    while aside.exists():
        number += 1
        aside = folder / f"{DATABASE}.corrupt-{number}"
    return aside


def _copy(path: Path, fresh: Path) -> int:
    """Copy every sound row into a new database; return how many."""
    target = create_database(fresh)
    source = sqlite3.connect(path, isolation_level=None)
    source.text_factory = lambda data: data.decode("utf-8", "replace")
    kept = 0
    try:
        outcomes, texts, points = (
            {row[0]: row[1:] for row in _read(source, query)}
            for query in (
                "SELECT id, name FROM outcome",
                "SELECT id, text FROM version",
                "SELECT id, key, seed FROM point",
            )
        )
        target.execute("BEGIN")
        for table, rows in (("outcome", outcomes), ("version", texts), ("point", points)):
            width = 3 if table == "point" else 2
            marks = ",".join("?" * width)
            target.executemany(
                f"INSERT OR IGNORE INTO {table} VALUES ({marks})",
                ((number, *row) for number, row in rows.items()),
            )
        for row in _figure_rows(source, points):
            point, replication, outcome, value, duration_s, version, mark = row
            if point in points and outcome in outcomes and version in texts:
                key, seed = points[point]
                rest = f"{seed} {duration_s!r} {texts[version][0]}"
                if mark == checksum(key, replication, outcomes[outcome][0], value, rest):
                    target.execute("INSERT OR IGNORE INTO figure VALUES (?,?,?,?,?,?,?)", row)
                    kept += 1
        target.execute("COMMIT")
    finally:
        source.close()
        target.close()
    return kept


def _read(source: sqlite3.Connection, query: str, values: tuple[Any, ...] = ()) -> Iterator[tuple[Any, ...]]:
    """Yield rows until the file can no longer be read."""
    try:
        yield from source.execute(query, values)
    except (sqlite3.DatabaseError, OverflowError, UnicodeDecodeError):
        return


def _figure_rows(source: sqlite3.Connection, points: dict[int, tuple[Any, ...]]) -> Iterator[tuple[Any, ...]]:
    """Yield figures; where one page is gone, go on behind it, point by point."""
    columns = "SELECT point, replication, outcome, value, duration_s, version, checksum FROM figure"
    for point in points:
        yield from _read(source, f"{columns} WHERE point = ?", (point,))
