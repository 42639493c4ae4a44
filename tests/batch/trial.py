"""What the trials of studies share: a small study, the command in a process of its own, its orphans.

The study takes about two seconds: a third of an aisle-day under settings, sensors and zones, two of every
kind of factor, so that a kill at a random moment falls into every part of a run.
"""

from __future__ import annotations

import hashlib
import os
import signal
import subprocess
import sys
import time
from collections.abc import Mapping
from pathlib import Path

from tests.house.source import ROOT
from tests.study.decide_site import TEXT

STUDY = """
format = 1
title = "Trial"
scenario = "site.toml"
replications = 3
[factors]
"sensors.at" = ["ends", "every"]
"floor.zones_per_aisle" = [1, 2]
skew = [0.8, 1.2]
"all.timeout_s" = { from = 60, to = 240, step = 60 }
"day.fade_down_s" = [0.0, 20.0]
"""
POINTS = 2 * 2 * 2 * 4 * 2
ROWS = POINTS * 3


def lay_out_files(folder: Path, study: str = STUDY) -> Path:
    """Write a site and a study of it; return the study's path."""
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "site.toml").write_text(TEXT, encoding="utf-8")
    path = folder / "study.toml"
    path.write_text(study, encoding="utf-8")
    return path


def environment(more: Mapping[str, str] | None = None) -> dict[str, str]:
    """Return the environment of a process that finds this source."""
    return {**os.environ, "PYTHONPATH": str(ROOT), "PYTHONUTF8": "1", **(more or {})}


def start(
    arguments: list[str], folder: Path, more: Mapping[str, str] | None = None, before: tuple[str, ...] = ()
) -> subprocess.Popen[str]:
    """Start the command in a process group of its own."""
    return subprocess.Popen(
        [*before, sys.executable, "-m", "sim", *arguments],
        cwd=folder,
        env=environment(more),
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        encoding="utf-8",
        start_new_session=True,
    )


def command(
    arguments: list[str], folder: Path, more: Mapping[str, str] | None = None, before: tuple[str, ...] = ()
) -> tuple[int, str, str]:
    """Run the command to its end: exit code, standard output, standard error."""
    process = start(arguments, folder, more, before)
    out, told = process.communicate(timeout=600)
    return process.returncode, out, told


def run_to_end(arguments: list[str], folder: Path) -> None:
    """Run the command, which must succeed."""
    code, out, told = command(arguments, folder)
    assert code == 0, out + told


def digest(path: Path) -> str:
    """Return the sha256 of a file."""
    return hashlib.sha256(path.read_bytes()).hexdigest()


def group_members(group: int) -> set[int]:
    """Return the living processes of a group (Linux)."""
    found = set()
    for path in Path("/proc").glob("[0-9]*/stat"):
        try:
            fields = path.read_text(encoding="utf-8", errors="replace").rpartition(")")[2].split()
        except OSError:
            continue
        if int(fields[2]) == group and fields[0] != "Z":
            found.add(int(path.parent.name))
    return found


def left_after(group: int, patience_s: float = 2.0) -> set[int]:
    """Return which processes of a group live on after a while."""
    end = time.monotonic() + patience_s
    while (left := group_members(group)) and time.monotonic() < end:
        time.sleep(0.05)
    return left


def kill_hard(process: subprocess.Popen[str]) -> set[int]:
    """Kill the process alone, as an out-of-memory killer does; return who of its group is left after 2 s."""
    process.kill()
    process.communicate()
    left = left_after(process.pid)
    for orphan in left:
        os.kill(orphan, signal.SIGKILL)
    return left
