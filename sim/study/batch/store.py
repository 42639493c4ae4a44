"""The store of a study: figures of points in a SQLite file, each row with a checksum.

Comes in: figures by a point's key.  Goes out: the same, checked.  Before: `study/batch/files`; after:
`study/batch/run`, `show/folders/batch_table`; `study/batch/damage` where a check fails.

Tables: `point` (key, seed), `version`, `outcome`, and `figure`: a row per point, replication and outcome with
its value, its share of the duration, who computed it and a checksum.  The view `results` shows them in words.
"""

from __future__ import annotations

import json
import math
import sqlite3
import time
import zlib
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from sim.errors import MachineError
from sim.study.batch.files import DATABASE, disk_fault

__all__ = ["DamagedError", "Figures", "Store", "StoreStatus", "checksum", "create_database", "read_status"]

FORMAT = "1"
_TABLES = """
CREATE TABLE state (name TEXT PRIMARY KEY, value TEXT NOT NULL) WITHOUT ROWID;
CREATE TABLE point (id INTEGER PRIMARY KEY, key TEXT NOT NULL UNIQUE, seed INTEGER NOT NULL);
CREATE TABLE version (id INTEGER PRIMARY KEY, text TEXT NOT NULL UNIQUE);
CREATE TABLE outcome (id INTEGER PRIMARY KEY, name TEXT NOT NULL UNIQUE);
CREATE TABLE figure (
    point INTEGER NOT NULL, replication INTEGER NOT NULL, outcome INTEGER NOT NULL, value REAL,
    duration_s REAL NOT NULL, version INTEGER NOT NULL, checksum INTEGER NOT NULL,
    PRIMARY KEY (point, replication, outcome)
) WITHOUT ROWID;
CREATE TABLE failure (
    key TEXT NOT NULL, replication INTEGER NOT NULL, message TEXT NOT NULL, detail TEXT NOT NULL,
    PRIMARY KEY (key, replication)
) WITHOUT ROWID;
CREATE VIEW results AS
    SELECT point.key AS scenario_hash, seed, replication, outcome.name AS outcome, value, duration_s,
        version.text AS versions
    FROM figure JOIN point ON point.id = figure.point JOIN version ON version.id = figure.version
        JOIN outcome ON outcome.id = figure.outcome;
"""
_WAIT_S = 10.0


class DamagedError(Exception):
    """The database cannot be trusted; the text says why."""


@dataclass(frozen=True)
class Figures:
    """Figures of one point in one replication.

    Attributes
    ----------
    key : of the point
    seed : of its scenario
    replication : its number
    values : by outcome, nan where not known
    duration_s : this point's share of the work
    versions : that computed it
    """

    key: str
    seed: int
    replication: int
    values: Mapping[str, float]
    duration_s: float
    versions: Mapping[str, str]


@dataclass(frozen=True)
class StoreStatus:
    """How far a study is.

    Attributes
    ----------
    title : of the study that ran last
    planned, done, failed : rows of its table
    rate_per_s : rows a second since it was started last
    left_s : until the end at that rate, None where nothing is known
    updated : when it last wrote, seconds since 1970
    """

    title: str
    planned: int
    done: int
    failed: int
    rate_per_s: float
    left_s: float | None
    updated: float


def checksum(key: str, replication: int, outcome: str, value: float | None, rest: str) -> int:
    """Return the checksum of a row (CRC-32: it finds accidents, not malice)."""
    return zlib.crc32(f"{key} {replication} {outcome} {value!r} {rest}".encode())


def create_database(path: Path) -> sqlite3.Connection:
    """Make an empty database at a path that is free, and return it open."""
    connection = sqlite3.connect(path, isolation_level=None)
    connection.executescript(f"PRAGMA synchronous=FULL; BEGIN; {_TABLES} COMMIT;")
    connection.execute("INSERT INTO state VALUES ('format', ?)", (FORMAT,))
    return connection


@contextmanager
def told(path: Path) -> Iterator[None]:
    """Turn what SQLite says into damage, or into what the disk refused.

    Raises
    ------
    DamagedError : the file is not what was written
    MachineError : the disk is full, or cannot be read or written
    """
    try:
        yield
    except sqlite3.DatabaseError as error:
        code = getattr(error, "sqlite_errorcode", None)
        if code is not None and code & 0xFF in (sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB):
            raise DamagedError(str(error)) from error
        if isinstance(error, sqlite3.OperationalError) and "no such" not in str(error):
            raise disk_fault(path, str(error)) from error
        raise DamagedError(str(error)) from error
    except UnicodeDecodeError as error:
        raise DamagedError(f"a text is damaged: {error}") from error


class Store:
    """The open database of one folder; its writer holds the folder's lock."""

    def __init__(self, folder: Path) -> None:
        """Open the folder's database, making it where there is none.

        Raises
        ------
        DamagedError : it is not what was written
        MachineError : the disk refused
        """
        self.path = folder / DATABASE
        if not self.path.exists():
            self._create(folder)
        with told(self.path):
            if self.path.stat().st_size == 0:
                raise DamagedError("the file is empty")
            self._connection = sqlite3.connect(self.path, isolation_level=None, timeout=_WAIT_S)
            try:
                self._open()
            except BaseException:
                self._connection.close()
                raise

    def _create(self, folder: Path) -> None:
        """Make the database beside its place and move it there when it is whole."""
        fresh = folder / f"{DATABASE}.new"
        with told(self.path):
            for left in folder.glob(f"{DATABASE}.new*"):
                left.unlink()
            create_database(fresh).close()
        try:
            fresh.replace(self.path)
        except OSError as error:
            raise disk_fault(self.path, error) from error

    def _open(self) -> None:
        """Choose how to write, check the file, and read the short tables."""
        run = self._connection.execute
        # a log beside the file is faster and lets others read; some network disks cannot
        mode = run("PRAGMA journal_mode=WAL").fetchone()[0]
        run(f"PRAGMA synchronous={'NORMAL' if mode == 'wal' else 'FULL'}")
        found = [row[0] for row in run("PRAGMA quick_check(3)")]
        if found != ["ok"]:
            raise DamagedError("; ".join(" ".join(str(line).split()) for line in found[:3]))
        if run("SELECT value FROM state WHERE name = 'format'").fetchone() != (FORMAT,):
            raise DamagedError("it does not say which format it has")
        self._outcomes: dict[str, int] = dict(run("SELECT name, id FROM outcome"))
        self._versions: dict[str, int] = dict(run("SELECT text, id FROM version"))

    def close(self) -> None:
        """Close the file; what it holds is safe in any case."""
        self._connection.close()

    def check_rows(self) -> None:
        """Compare every row with its checksum.

        Raises
        ------
        DamagedError : a row was changed
        """
        with told(self.path):
            for _ in self.rows():
                pass

    def rows(self) -> Iterator[tuple[Any, ...]]:
        """Yield every row checked: key, seed, replication, outcome, value, duration, versions."""
        names = {number: name for name, number in self._outcomes.items()}
        texts = {number: text for text, number in self._versions.items()}
        query = (
            "SELECT point.key, seed, replication, outcome, value, duration_s, version, checksum "
            "FROM figure LEFT JOIN point ON point.id = figure.point"
        )
        for key, seed, replication, outcome, value, duration_s, version, kept in self._connection.execute(
            query
        ):
            name, text = names.get(outcome), texts.get(version)
            if (
                name is None
                or text is None
                or kept != checksum(key, replication, name, value, f"{seed} {duration_s!r} {text}")
            ):
                raise DamagedError("a row does not match its checksum")
            yield key, seed, replication, name, value, duration_s, text

    def complete(self, key: str, outcomes: Sequence[str]) -> set[int]:
        """Return the replications of a point for which every outcome is known."""
        numbers = [self._outcomes.get(name) for name in outcomes]
        if None in numbers:
            return set()
        listed = ",".join(map(str, numbers))
        query = (
            f"SELECT replication FROM figure WHERE point = (SELECT id FROM point WHERE key = ?) AND outcome "
            f"IN ({listed}) GROUP BY replication HAVING count(*) = ?"
        )
        with told(self.path):
            return {row[0] for row in self._connection.execute(query, (key, len(numbers)))}

    def figures(self, key: str) -> dict[int, dict[str, float]]:
        """Return what is known of a point, by replication and outcome.

        Raises
        ------
        DamagedError : a row was changed
        """
        names = {number: name for name, number in self._outcomes.items()}
        texts = {number: text for text, number in self._versions.items()}
        query = (
            "SELECT seed, replication, outcome, value, duration_s, version, checksum "
            "FROM figure JOIN point ON point.id = figure.point WHERE key = ?"
        )
        found: dict[int, dict[str, float]] = {}
        with told(self.path):
            for seed, replication, outcome, value, duration_s, version, kept in self._connection.execute(
                query, (key,)
            ):
                name, rest = names.get(outcome, ""), f"{seed} {duration_s!r} {texts.get(version)}"
                if kept != checksum(key, replication, name, value, rest):
                    raise DamagedError("a row does not match its checksum")
                found.setdefault(replication, {})[name] = math.nan if value is None else value
        return found

    def failures(self) -> dict[tuple[str, int], str]:
        """Return what failed, by key and replication."""
        with told(self.path):
            rows = self._connection.execute("SELECT key, replication, message FROM failure")
            return {(key, replication): message for key, replication, message in rows}

    def put(self, figures: Sequence[Figures], state: Mapping[str, Any]) -> None:
        """Keep figures and how far the study is, all or nothing.

        Raises
        ------
        MachineError : the disk refused; nothing of this is kept
        """
        with self._transaction() as run:
            for one in figures:
                version, text = self._number(run, self._versions, "version", _text(one.versions))
                run("INSERT OR IGNORE INTO point (key, seed) VALUES (?, ?)", (one.key, one.seed))
                point = run("SELECT id FROM point WHERE key = ?", (one.key,)).fetchone()[0]
                rest = f"{one.seed} {one.duration_s!r} {text}"
                rows = []
                for name, given in one.values.items():
                    value = None if math.isnan(given) else float(given)
                    outcome, _ = self._number(run, self._outcomes, "outcome", name)
                    mark = checksum(one.key, one.replication, name, value, rest)
                    rows.append((point, one.replication, outcome, value, one.duration_s, version, mark))
                self._connection.executemany("INSERT OR REPLACE INTO figure VALUES (?,?,?,?,?,?,?)", rows)
                run("DELETE FROM failure WHERE key = ? AND replication = ?", (one.key, one.replication))
            self._note(run, state)

    def put_failures(
        self, failed: Sequence[tuple[str, int]], message: str, detail: str, state: Mapping[str, Any]
    ) -> None:
        """Keep why points failed, by key and replication."""
        with self._transaction() as run:
            for key, replication in failed:
                run("INSERT OR REPLACE INTO failure VALUES (?,?,?,?)", (key, replication, message, detail))
            self._note(run, state)

    def forget_failures(self) -> None:
        """Have everything that failed tried again."""
        with self._transaction() as run:
            run("DELETE FROM failure")

    def note(self, state: Mapping[str, Any]) -> None:
        """Keep how far the study is."""
        with self._transaction() as run:
            self._note(run, state)

    @staticmethod
    def _note(run: Any, state: Mapping[str, Any]) -> None:
        """Write the state's names and values."""
        for name, value in {**state, "updated": time.time()}.items():
            run("INSERT OR REPLACE INTO state VALUES (?, ?)", (name, json.dumps(value)))

    @staticmethod
    def _number(run: Any, known: dict[str, int], table: str, text: str) -> tuple[int, str]:
        """Return the number of a text in a short table, adding it where it is new."""
        if text not in known:
            column = "text" if table == "version" else "name"
            run(f"INSERT OR IGNORE INTO {table} ({column}) VALUES (?)", (text,))
            known[text] = run(f"SELECT id FROM {table} WHERE {column} = ?", (text,)).fetchone()[0]
        return known[text], text

    @contextmanager
    def _transaction(self) -> Iterator[Any]:
        """Do all of a block or nothing."""
        run = self._connection.execute
        with told(self.path):
            run("BEGIN IMMEDIATE")
            try:
                yield run
                run("COMMIT")
            except BaseException:
                # numbers given inside are no longer there
                if self._connection.in_transaction:
                    run("ROLLBACK")
                self._outcomes = dict(run("SELECT name, id FROM outcome"))
                self._versions = dict(run("SELECT text, id FROM version"))
                raise


def _text(versions: Mapping[str, str]) -> str:
    """Write versions as one text."""
    return json.dumps(versions, sort_keys=True, separators=(",", ":"))


def read_status(folder: Path) -> StoreStatus | None:
    """Read how far a study is, also while it runs; None where none was begun.

    Raises
    ------
    MachineError : the store cannot be read
    """
    path = folder / DATABASE
    if not path.exists():
        return None
    try:
        with told(path):
            connection = sqlite3.connect(f"{path.resolve().as_uri()}?mode=ro", uri=True, timeout=_WAIT_S)
            try:
                found = dict(connection.execute("SELECT name, value FROM state"))
            finally:
                connection.close()
    except DamagedError as error:
        raise MachineError(f"{path}: is damaged ({error}); running the study again moves it aside") from error
    if "planned" not in found:
        return None
    state = {name: json.loads(value) for name, value in found.items()}
    spent_s = state["updated"] - state["started"]
    rate = (state["done"] - state["done_before"]) / spent_s if spent_s > 0 else 0.0
    missing = state["planned"] - state["done"] - state["failed"]
    left_s = 0.0 if missing <= 0 else missing / rate if rate > 0 else None
    return StoreStatus(
        state["title"], state["planned"], state["done"], state["failed"], rate, left_s, state["updated"]
    )
