"""What all commands share at the terminal: help width, free folder names, a progress bar, room for pictures.

Comes in: nothing.  Goes out: helpers.  Used by `cli` and the other command files.  Nothing here prints.
"""

from __future__ import annotations

import os
import shutil
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

from sim.errors import MachineError

__all__ = [
    "CONTEXT",
    "ReaderGoneError",
    "columns_for_pictures",
    "forget_output",
    "free_folder",
    "open_streams",
    "progress_bar",
    "progress_told",
    "shows_letters",
    "streams_told",
]

CONTEXT = {"help_option_names": ["-h", "--help"], "max_content_width": 80}

Tell = Callable[[int, int | None], None]


class ReaderGoneError(Exception):
    """Whoever read our output has closed it, as `head` does."""


@contextmanager
def streams_told() -> Iterator[None]:
    """Tell a closed pipe from a machine in trouble, while a block runs.

    Raises
    ------
    ReaderGoneError : nobody reads our output any more
    MachineError : the system refused something that nobody nearer could explain
    """
    try:
        yield
    except BrokenPipeError as error:
        raise ReaderGoneError from error
    except OSError as error:
        forget_output()
        place = f"{error.filename}: " if error.filename else ""
        raise MachineError(f"{place}{error.strerror or error}") from error


def open_streams() -> None:
    """Give a process that was started without standard streams such as lead nowhere: libraries want them."""
    for name, mode in (("stdin", "r"), ("stdout", "w"), ("stderr", "w")):
        if getattr(sys, name) is None:
            setattr(sys, name, os.fdopen(os.open(os.devnull, os.O_RDWR), mode, encoding="utf-8"))


def forget_output() -> None:
    """Send what is still to be written to standard output nowhere, so that no end of process complains."""
    try:
        sys.stdout.flush()
    except OSError:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


def free_folder(stem: str) -> Path:
    """Return a folder name in the working directory that is not taken."""
    folder, number = Path(f"{stem}-results"), 1
    while folder.exists():
        number += 1
        folder = Path(f"{stem}-results-{number}")
    return folder


def columns_for_pictures() -> int | None:
    """Return the columns of the terminal that standard output is, None where it is none: a pipe, a file."""
    if not sys.stdout.isatty():
        return None
    return shutil.get_terminal_size().columns


def shows_letters(letters: str) -> bool:
    """Whether standard output can carry these letters in its encoding."""
    try:
        letters.encode(getattr(sys.stdout, "encoding", None) or "ascii")
    except (UnicodeEncodeError, LookupError):
        return False
    return True


def progress_bar(unit: str = "replication") -> tuple[Tell, Callable[[], None]]:
    """Return what to call as pieces of work finish, and at the end; silent unless on a terminal."""
    if not sys.stderr.isatty():
        return (lambda done, expected: None), (lambda: None)
    from tqdm import tqdm

    bar = tqdm(unit=unit, unit_scale=unit == "B", leave=False, dynamic_ncols=True)

    def tell(done: int, expected: int | None) -> None:
        bar.total = expected
        bar.update(done - bar.n)

    return tell, bar.close


@contextmanager
def progress_told(unit: str = "replication") -> Iterator[Tell]:
    """Show a progress bar for as long as a block runs."""
    tell, close = progress_bar(unit)
    try:
        yield tell
    finally:
        close()
