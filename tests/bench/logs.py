"""Speed and memory of the readers of logs: `python -m tests.bench.logs [--size 1GB]`.

Makes a year's log of motion, of visits and of picks of the size asked for (100 MB by default), in a temporary
folder that needs as much room, and reads each in processes of their own: counted by `quality`; read as
`replay` does, strictly and trusted; with `--replay` also replayed as a whole.  Prints MB/s of the process's
own time, the most memory over what the process had before, and that by row of the log.  Targets: 40 MB/s
strict, 100 MB/s trusted, and 200 MB for `quality` whatever the size.
"""

from __future__ import annotations

import argparse
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import numpy as np

from sim.logs.form import LocationWords, LogForm
from sim.replication import Site
from sim.sensing.logs import read_detections
from sim.study.from_logs.traffic import LogKind, new_book, scan_log
from sim.study.replications.replicate import replay
from sim.traffic.logs import read_visit_rows
from sim.traffic.move_logs import read_stops
from tests.bench.site import bench_site

DAYS = 365.0
ROOT = Path(__file__).resolve().parents[2]
FORM = LogForm(locations=LocationWords(bay_m=3.0))
ROW_BYTES: dict[LogKind, float] = {"detections": 24.6, "visits": 41.9, "picks": 27.0}
HEADS: dict[LogKind, str] = {
    "detections": "zone,start,end",
    "visits": "aisle,enter,leave,truck,bay_m",
    "picks": "time,location,truck",
}
UNITS = {"GB": 1e9, "MB": 1e6, "kB": 1e3}
STATUS = Path("/proc/self/status")


def size_of(text: str) -> float:
    """Return a size such as 100MB in bytes."""
    for unit, factor in UNITS.items():
        if text.upper().endswith(unit.upper()):
            return float(text[: -len(unit)]) * factor
    return float(text)


def peak_bytes() -> float:
    """Return the most memory this process has had [byte]."""
    if STATUS.exists():  # getrusage also counts what the parent had as this process was made
        return 1024.0 * int(STATUS.read_text(encoding="utf-8").split("VmHWM:")[1].split()[0])
    import resource

    unit = 1 if sys.platform == "darwin" else 1024
    return float(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss) * unit


def rows_of(kind: LogKind, count: int, names: tuple[str, ...]) -> Iterator[str]:
    """Yield the rows of a log, in order of time: short rows of plain seconds, drawn."""
    rng = np.random.default_rng(1)
    step, clock, done = DAYS * 86_400.0 / count * 0.99, 0.0, 0
    while done < count:
        some = min(100_000, count - done)
        start = clock + np.cumsum(rng.exponential(step, some))
        clock, done = float(start[-1]), done + some
        place, truck = rng.integers(0, len(names), some), rng.integers(1, 31, some)
        bay = rng.uniform(0.0, 60.0, some)
        stay = rng.exponential(8.0 if kind == "detections" else 60.0, some) + 60.0 * (kind == "visits")
        columns = (column.tolist() for column in (start, start + stay, place, truck, bay))
        for begin, end, where, who, metres in zip(*columns, strict=True):
            if kind == "detections":
                yield f"{names[where]},{begin:.1f},{end:.1f}\n"
            elif kind == "visits":
                yield f"{names[where]},{begin:.2f},{end:.2f},reach-{who:02d},{metres:.2f}\n"
            else:
                yield f"{begin:.2f},{names[where]}-{1 + int(metres / 3.0)},reach-{who:02d}\n"


def make_log(folder: Path, kind: LogKind, size: float, names: tuple[str, ...]) -> Path:
    """Write a log of about so many bytes."""
    path = folder / f"{kind}.csv"
    with path.open("w", encoding="utf-8", newline="\n") as file:
        file.write(HEADS[kind] + "\n")
        file.writelines(rows_of(kind, max(1, int(size / ROW_BYTES[kind])), names))
    return path


def read(site: Site, kind: LogKind, path: Path, *, trusted: bool) -> Any:
    """Read a log as `replay` does."""
    how: dict[str, Any] = {"trusted": trusted, "book": new_book(site, kind)}
    if kind == "detections":
        return read_detections(path, site.scenario, site.layout, **how)
    if kind == "visits":
        return read_visit_rows(path, site.scenario, site.layout, **how)
    assert kind == "picks"
    return read_stops(path, kind, site.scenario, site.layout, form=FORM, **how)


WAYS: dict[str, Callable[[Site, LogKind, Path], Any]] = {
    "quality": lambda site, kind, path: scan_log(site, kind, path, form=FORM),
    "read, strict": lambda site, kind, path: read(site, kind, path, trusted=False),
    "read, trusted": lambda site, kind, path: read(site, kind, path, trusted=True),
    "replay, trusted": lambda site, kind, path: replay(
        site.scenario, **{kind: path}, form=FORM, trusted=True
    ),
}


def measure(kind: LogKind, way: str, path: Path) -> None:
    """Read one log in this process; print seconds and bytes."""
    site = bench_site(DAYS)
    before, clock = peak_bytes(), time.process_time()
    kept = WAYS[way](site, kind, path)
    took = time.process_time() - clock
    print(took, peak_bytes() - before, kept is not None)


def main() -> None:
    """Make the logs, read them apart, print a table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--size", default="100MB", type=size_of, help="of each log, such as 1GB")
    parser.add_argument("--replay", action="store_true", help="also replay each log as a whole: slow")
    parser.add_argument("--measure", nargs=3, metavar=("KIND", "WAY", "PATH"), help=argparse.SUPPRESS)
    given = parser.parse_args()
    if given.measure:
        kind, way, path = given.measure
        measure(kind, way, Path(path))
        return
    names = bench_site(DAYS).layout.aisles
    print(f"{'log':<12}{'way':<18}{'MB':>6}{'MB/s':>8}{'memory MB':>12}{'byte a row':>12}")
    with tempfile.TemporaryDirectory() as folder:
        for kind in ROW_BYTES:
            path = make_log(Path(folder), kind, given.size, names)
            size, rows = path.stat().st_size, max(1, int(given.size / ROW_BYTES[kind]))
            for way in [*WAYS][: None if given.replay else -1]:
                words = [sys.executable, "-m", "tests.bench.logs", "--measure", kind, way, str(path)]
                done = subprocess.run(words, cwd=ROOT, capture_output=True, text=True, check=True)
                took, memory, _ = done.stdout.split()
                print(
                    f"{kind:<12}{way:<18}{size / 1e6:>6.0f}{size / 1e6 / float(took):>8.0f}"
                    f"{float(memory) / 1e6:>12.0f}{float(memory) / rows:>12.0f}"
                )
            path.unlink()


if __name__ == "__main__":
    main()
