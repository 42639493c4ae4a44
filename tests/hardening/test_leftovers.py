"""What a killed run leaves beside its results folder is taken up by the next one there."""

from __future__ import annotations

import os
import time
from pathlib import Path

import pytest

from sim.errors import InputError
from sim.show.folders.whole import MARK, write_folder


def fill(folder: Path) -> None:
    """A results folder with nothing but its mark."""
    (folder / MARK).write_text("{}", encoding="utf-8")


def aged(folder: Path, hours: float) -> Path:
    """Make a folder look as if it was last touched some hours ago."""
    folder.mkdir(exist_ok=True)
    then = time.time() - hours * 3600.0
    os.utime(folder, (then, then))
    return folder


def test_unfinished_work_goes_when_nobody_can_be_at_it(tmp_path: Path) -> None:
    old, young = aged(tmp_path / ".out.a.partial", 25.0), aged(tmp_path / ".out.b.partial", 0.5)
    other = aged(tmp_path / ".other.a.partial", 25.0)
    write_folder(tmp_path / "out", fill)
    assert not old.exists()
    assert young.exists()
    assert other.exists()


def test_what_was_being_replaced_comes_back(tmp_path: Path) -> None:
    """Killed between moving the old folder away and the new one to its place."""
    place = tmp_path / ".out.a.old"
    (place / "out").mkdir(parents=True)
    fill(place / "out")
    aged(place, 1.0)
    with pytest.raises(InputError, match="exists already"):
        write_folder(tmp_path / "out", fill)
    assert (tmp_path / "out" / MARK).is_file()
    assert not place.exists()
