"""Files and the lock of a store: a file is the old one or the new one, and only one run writes at a time.

Comes in: a folder.  Goes out: whole files, a lock.  Before: nothing; after: `study/batch/store`,
`show/folders/batch_table`.
"""

from __future__ import annotations

import json
import os
import shutil
import socket
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from sim.errors import InputError, MachineError
from sim.wording import printable

__all__ = [
    "OWN_NAMES",
    "disk_fault",
    "hold_store",
    "prepare_folder",
    "put_whole",
    "refuse_running",
    "running_process",
    "whole_file",
]

DATABASE = "results.sqlite"
_LOCK, _HOLDER = ".lock", "running.json"

OWN_NAMES = (_LOCK, _HOLDER, "study", "results.csv", "results.parquet", "point.toml")
"""What may stand in a store's folder besides the database."""
_TEMPORARY = ".writing-"
_PATIENCE_S = 0.3
"""How long a lock may be taken by somebody who only looks."""


def disk_fault(path: Path, error: OSError | str) -> MachineError:
    """Return the message for a disk that refuses, with the room that is left."""
    place = path if path.is_dir() else path.parent
    try:
        room = f"; free space {shutil.disk_usage(place).free / 1e6:,.1f} MB"
    except OSError:
        room = ""
    reason = error if isinstance(error, str) else error.strerror or str(error)
    return MachineError(f"{path}: {reason}{room}; what was finished is kept, the same command goes on")


@contextmanager
def whole_file(path: Path) -> Iterator[Path]:
    """Give a file to write beside the target, and put it in the target's place when it is whole.

    Raises
    ------
    MachineError : the disk refused; what was there before is untouched
    """
    temporary: Path | None = None
    try:
        handle, name = tempfile.mkstemp(prefix=_TEMPORARY, dir=path.parent)
        os.close(handle)
        temporary = Path(name)
        yield temporary
        _keep(temporary)
        temporary.chmod(0o666 & ~_umask())
        os.replace(temporary, path)
        temporary = None
        _keep(path.parent)
    except OSError as error:
        raise disk_fault(path, error) from error
    finally:
        if temporary is not None:
            temporary.unlink(missing_ok=True)


def put_whole(path: Path, text: str) -> None:
    """Write a small text file, whole or not at all."""
    with whole_file(path) as temporary:
        temporary.write_text(text, encoding="utf-8", newline="\n")


def _keep(path: Path) -> None:
    """Have the disk keep a file, or the names in a folder, before going on."""
    if path.is_dir() and os.name == "nt":
        return
    handle = os.open(path, os.O_RDONLY if path.is_dir() else os.O_RDWR)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def _umask() -> int:
    """Return which permissions new files must not have."""
    mask = os.umask(0)
    os.umask(mask)
    return mask


def prepare_folder(folder: Path) -> None:
    """Make a store's folder, or see that it is one.

    Raises
    ------
    InputError : it is something else
    MachineError : it cannot be made
    """
    if folder.is_symlink() or (folder.exists() and not folder.is_dir()):
        raise InputError(f"{folder}: is not a folder")
    try:
        folder.mkdir(parents=True, exist_ok=True)
        names = sorted(path.name for path in folder.iterdir())
    except OSError as error:
        raise disk_fault(folder, error) from error
    others = [name for name in names if name not in OWN_NAMES and not name.startswith((DATABASE, _TEMPORARY))]
    if others and DATABASE not in names:
        raise InputError(f"{folder}: holds {printable(others[0])} and no study; give a new folder as --out")


@contextmanager
def hold_store(folder: Path) -> Iterator[None]:
    """Keep every other run out of a store for as long as a block runs; the system frees it if we die.

    Raises
    ------
    MachineError : another process has it, named by its number; or the disk knows no locks
    """
    from filelock import FileLock, Timeout

    lock = FileLock(folder / _LOCK, mode=0o666 & ~_umask())
    try:
        lock.acquire(timeout=_PATIENCE_S, poll_interval=0.05)
    except Timeout:
        raise _taken(folder, _holder(folder)) from None
    except (OSError, NotImplementedError) as error:
        raise MachineError(f"{folder}: cannot be locked: {error}") from error
    try:
        for left in folder.glob(f"{_TEMPORARY}*"):
            left.unlink(missing_ok=True)
        holder = {
            "pid": os.getpid(),
            "host": socket.gethostname(),
            "since": time.strftime("%Y-%m-%d %H:%M:%S"),
        }
        put_whole(folder / _HOLDER, json.dumps(holder) + "\n")
        yield
    finally:
        (folder / _HOLDER).unlink(missing_ok=True)
        lock.release()


def refuse_running(folder: Path) -> None:
    """Stop at once, before any work, where another process has a store.

    Raises
    ------
    MachineError : it has, named by its number
    """
    holder = running_process(folder)
    if holder is not None:
        raise _taken(folder, holder)


def _taken(folder: Path, holder: str) -> MachineError:
    """Say who has a store."""
    return MachineError(f"{folder}: {holder} is running a study there; wait for it, or give another --out")


def running_process(folder: Path) -> str | None:
    """Say which process has a store now, None where none has."""
    from filelock import FileLock, Timeout

    if not (folder / _LOCK).exists():
        return None
    lock = FileLock(folder / _LOCK)
    try:
        lock.acquire(blocking=False)
    except (Timeout, OSError, NotImplementedError):
        return _holder(folder)
    lock.release()
    return None


def _holder(folder: Path) -> str:
    """Name the process that has a store."""
    try:
        content = json.loads((folder / _HOLDER).read_text(encoding="utf-8"))
        return f"process {content['pid']} on {content['host']} (since {content['since']})"
    except (OSError, ValueError, KeyError, TypeError):
        return "another process"
